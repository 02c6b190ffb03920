"""The routes that a start does not wait for.

After a power cut the watch stands and batches are taken before the pages are loaded, which are half of what the service
imports: seconds on a Pi. Whoever asks for a page before that waits for it, and is answered.
"""

from __future__ import annotations

import threading

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.routing import BaseRoute, Match, Mount
from starlette.types import Receive, Scope, Send


def the_rest() -> list[BaseRoute]:
    """Every route but those of stations and of health, as their modules have built them.

    `include_router` would build each once more, when the app is first asked: two thirds of a second that somebody
    waits for who opens a page right after a start.
    """
    from web.api import alarms, pours, readiness, record_entries, records, stations, watching
    from web.pages import sign_in
    from web.pages.routers import ROUTERS
    from web.server.packed_files import PackedFiles
    from web.views.render import STATIC

    apis = [
        module.router
        for module in (pours, readiness, record_entries, records, alarms, watching, stations, sign_in)
    ]
    routes = [route for router in (*apis, *ROUTERS) for route in router.routes]
    return [*routes, Mount("/static", PackedFiles(directory=STATIC), name="static")]


class Later(BaseRoute):
    """Stands in an app's routes, as the last of them, for those that are not loaded yet."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._lock = threading.Lock()

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Everything: whether a path is served at all is known once the routes are there."""
        return (Match.FULL if scope["type"] == "http" else Match.NONE), {}

    async def handle(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Ask the app's routes once more, when they are all there."""
        await run_in_threadpool(self.load)
        await self._app.router(scope, receive, send)

    def load(self) -> None:
        """Put the routes in its place, once. From any thread."""
        with self._lock:
            routes = self._app.router.routes
            if self in routes:
                # A new list: whoever is going through the old one ends here, and comes again.
                self._app.router.routes = [*(route for route in routes if route is not self), *the_rest()]
