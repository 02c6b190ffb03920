"""Makes the app from a running service. Importing this does nothing."""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable
from typing import Any

from fastapi import FastAPI, Request
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES, GZipMiddleware
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from logger.store.database import SEES
from logger.store.people import owner_exists
from logger.store.shops import sees
from logger.words.phrase import phrase
from web.api import health, reading_batches
from web.errors import TooMany
from web.security.access import OnlookerDep, ServiceDep, ViewerDep
from web.security.tenancy import open_to_anybody, shop_of
from web.security.throttle import Throttle, address_key
from web.server import error_answers
from web.server.emergency import cannot_use_the_database
from web.server.lazy_routes import Later
from web.server.refusal import Refusal, error_body
from web.service.service import Service

log = logging.getLogger(__name__)

#: Largest request body, bytes, where the route does not say otherwise: a form with its longest note.
LARGEST_BODY = 64 * 1024
#: Open live pages at most: each holds a connection and a queue.
MOST_LISTENERS = 200
#: The chart library makes an empty style element and fills it from its script: the hash of nothing lets in no more.
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
#: Pages load nothing from elsewhere, and run no inline code and no inline styles (ASVS 5.0, 3.4.3).
CONTENT_SECURITY_POLICY = (
    f"default-src 'self'; script-src 'self'; style-src 'self' {EMPTY_STYLE}; img-src 'self' data: blob:; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": browsers then send "Origin: null" with our own forms, which own_page() must refuse.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
#: Over HTTPS, a browser never falls back to plain HTTP for a year (ASVS 5.0, 3.4.1).
STRICT_TRANSPORT = "max-age=31536000"
_STRICT = (b"strict-transport-security", STRICT_TRANSPORT.encode())
#: The same, as they are sent: of what changes, and of files whose address changes with their contents.
_GUARDING = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
_FOR_GOOD = [*_GUARDING, (b"cache-control", b"public, max-age=31536000, immutable")]
_GUARDING.append((b"cache-control", b"no-store"))
#: Before there is an owner, nothing else is reachable. A batch needs a token that only an owner can have given.
BEFORE_OWNER = ("/set-up", "/static/", "/api/health", "/api/ready", "/metrics", "/api/batches")
BATCHES = "/api/batches"


#: Answers from this size on are sent compressed, bytes, and how hard: 5 is half the work of 9, and 3 % larger.
PACKED_FROM, PACKED_LEVEL = 1000, 5
#: Compressed already.
SENT_AS_THEY_ARE = (*DEFAULT_EXCLUDED_CONTENT_TYPES, "application/pdf")


class Guard:
    """Refuses whoever asks too often, and everything before set-up; puts the guarding headers on every answer.

    Plain ASGI: the convenient kind costs a batch a third of its time.
    """

    def __init__(
        self, app: ASGIApp, service: Service, throttle: Throttle, seconds: Callable[[], float]
    ) -> None:
        self._app, self._service, self._throttle, self._seconds = app, service, throttle, seconds
        self._owned = False
        #: A server's database may have several shops.
        self._apart = not service.store.is_sqlite

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        path, key = scope["path"], address_key(scope)
        for_good = path.startswith("/static/") and scope["query_string"].startswith(b"v=")

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {name for name, _value in message["headers"]}
                headers = _FOR_GOOD if for_good else _GUARDING
                if scope["scheme"] == "https":
                    headers = [*headers, _STRICT]
                # Ours never take another's place: a page that says something of its own has its reasons.
                added = [header for header in headers if header[0] not in there]
                message["headers"] = [*message["headers"], *added]
                # A batch that the service itself cannot store is not its station's doing.
                if path == BATCHES and 400 <= message["status"] < 500:
                    self._throttle.refused_batches.take(key, self._seconds())
            await send(message)

        try:
            answer = self._refusal(path, key)
        except SQLAlchemyError as error:
            answer = self._without_database(scope, error)
        if answer is not None or not self._apart or path == BATCHES or open_to_anybody(path):
            await (answer or self._app)(scope, receive, guarded)
            return
        try:
            shop_id = await run_in_threadpool(shop_of, Request(scope), self._service)
        except SQLAlchemyError as error:
            await self._without_database(scope, error)(scope, receive, guarded)
            return
        with sees(shop_id):
            await self._app(scope, receive, guarded)

    def _without_database(self, scope: Scope, error: SQLAlchemyError) -> Response:
        log.error("%r cannot be answered: %s", scope["path"], getattr(error, "orig", error))
        accepts = dict(scope["headers"]).get(b"accept", b"")
        page = b"text/html" in accepts and not scope["path"].startswith("/api")
        return cannot_use_the_database(self._service, Request(scope), error, for_people=page)

    def _refusal(self, path: str, key: str) -> Response | None:
        if path == BATCHES:
            # A station that is let in is never slowed, however much it catches up with.
            wait_s = 1.0 if self._throttle.refused_batches.empty(key, self._seconds()) else 0.0
        else:
            wait_s = self._throttle.requests.take(key, self._seconds())
        if wait_s:
            message = phrase("too many requests; wait a little")
            return _refused(429, "too-many", message, {"Retry-After": str(math.ceil(wait_s))})
        if not self._owned and not path.startswith(BEFORE_OWNER):
            with self._service.store.read() as connection:
                self._owned = owner_exists(connection)
            if not self._owned:
                where = {"Location": "/set-up"}
                message = phrase("nobody owns this service yet; open its page and use the console's code")
                return _refused(403 if path.startswith("/api/") else 303, "set-up-needed", message, where)
        return None


def _refused(status: int, kind: str, message: str, headers: dict[str, str]) -> Response:
    return JSONResponse({"error": error_body(Refusal(kind, message))}, status, headers)


def make_app(
    service: Service,
    throttle: Throttle | None = None,
    seconds: Callable[[], float] = time.monotonic,
    *,
    pages_later: bool = False,
) -> FastAPI:
    """Return the app over a running service. `seconds` is the steady clock of its limits.

    With `pages_later` the pages are not loaded yet: call `app.state.later.load()` soon, from another thread.
    """
    app = FastAPI(
        title="pour-session logger",
        summary="Plans, watches, forecasts and records thick epoxy pours.",
        docs_url=None,
        redoc_url=None,
        # Served below to whoever is signed in: nobody else needs to know what there is to ask.
        openapi_url=None,
        max_body_size=LARGEST_BODY,
    )
    throttle = throttle or Throttle()
    app.state.service, app.state.throttle, app.state.seconds = service, throttle, seconds
    error_answers.install(app, HEADERS | {"Cache-Control": "no-store"})

    app.add_middleware(Guard, service=service, throttle=throttle, seconds=seconds)
    app.add_middleware(
        GZipMiddleware,
        minimum_size=PACKED_FROM,
        compresslevel=PACKED_LEVEL,
        exclude_content_types=SENT_AS_THEY_ARE,
    )

    for module in (health, reading_batches):
        app.router.routes.extend(module.router.routes)

    @app.get("/live", include_in_schema=False)
    async def live(service: ServiceDep, _who: OnlookerDep) -> Response:
        if service.news.listeners >= MOST_LISTENERS:
            raise TooMany(
                phrase("{n} pages are open already; close some", n=MOST_LISTENERS),
                30,
            )
        return StreamingResponse(
            service.news.listen(SEES.get()),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    @app.get("/api/openapi.json", include_in_schema=False)
    def openapi(_who: ViewerDep) -> dict[str, Any]:
        app.state.later.load()
        return app.openapi()

    app.state.later = Later(app)
    app.router.routes.append(app.state.later)
    if not pages_later:
        app.state.later.load()
    return app
