"""Every page's router, for the app."""

from __future__ import annotations

from web.pages import (
    alert,
    board,
    first_hour,
    label,
    links,
    mix,
    new_pour,
    people,
    photos,
    plan,
    pour,
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
        alert,
        record,
        stations,
        settings,
        people,
        links,
    )
]
