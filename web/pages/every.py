"""Every page's router, for the app."""

from __future__ import annotations

from web.pages import alert, board, new_pour, pour, record, settings, stations

#: In the order in which paths are tried: "/pours/new" before "/pours/{id}".
ROUTERS = [module.router for module in (board, new_pour, pour, alert, record, stations, settings)]
