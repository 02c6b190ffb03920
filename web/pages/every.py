"""Every page's router, for the app."""

from __future__ import annotations

from web.pages import (
    alarm_table,
    alert,
    board,
    care,
    compare,
    fan,
    first_hour,
    import_page,
    label,
    links,
    measured,
    messages,
    mix,
    new_pour,
    one_tap,
    outcome,
    people,
    photos,
    plan,
    pour,
    rates,
    ready,
    record,
    resins,
    settings,
    shop,
    stations,
    wiring,
)

#: In the order in which paths are tried: "/pours/new" before "/pours/{id}".
ROUTERS = [
    module.router
    for module in (
        board,
        new_pour,
        pour,
        plan,
        ready,
        mix,
        first_hour,
        photos,
        label,
        rates,
        alarm_table,
        alert,
        one_tap,
        messages,
        measured,
        fan,
        record,
        outcome,
        compare,
        shop,
        resins,
        import_page,
        stations,
        care,
        wiring,
        settings,
        people,
        links,
    )
]
