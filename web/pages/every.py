"""Every page's router, for the app."""

from __future__ import annotations

from web.pages import (
    alert,
    board,
    fan,
    first_hour,
    label,
    links,
    measured,
    messages,
    mix,
    new_pour,
    one_tap,
    people,
    photos,
    plan,
    pour,
    rates,
    ready,
    record,
    settings,
    stations,
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
        alert,
        one_tap,
        messages,
        measured,
        fan,
        record,
        stations,
        settings,
        people,
        links,
    )
]
