"""Every page's router, for the app."""

from __future__ import annotations

from web.pages import (
    ack_link,
    alarm_rates,
    alarm_table,
    alert,
    board,
    compare,
    fan,
    first_hour,
    first_hour_measures,
    import_page,
    label,
    messages,
    mix,
    new_pour,
    outcome,
    people,
    photos,
    plan,
    pour,
    probe_checks,
    ready,
    record,
    resins,
    settings,
    shared_links,
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
        alarm_rates,
        alarm_table,
        alert,
        ack_link,
        messages,
        first_hour_measures,
        fan,
        record,
        outcome,
        compare,
        shop,
        resins,
        import_page,
        stations,
        probe_checks,
        wiring,
        settings,
        people,
        shared_links,
    )
]
