"""Makes the app from a running service. Importing this does nothing."""

from __future__ import annotations

import gzip

from fastapi import FastAPI, Request
from fastapi.staticfiles import StaticFiles
from starlette.datastructures import MutableHeaders
from starlette.responses import Response, StreamingResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from logger.errors import NotFound
from web import errors
from web.access import ServiceDep, ViewerDep
from web.api import alarms, batches, health, pours, records, stations
from web.charts import chart_bundle, chart_version
from web.pages import entry
from web.pages.every import ROUTERS
from web.pages.frame import STATIC
from web.service import Service
from web.shapes import ErrorAnswer

#: Largest request body, bytes: a full batch is 150 kB, a photo is checked by its own route.
LARGEST_BODY = 16 * 1024 * 1024
#: Pages load nothing from elsewhere and run no inline code (ASVS 5.0, 3.4.3). Plotly sets styles from its script.
CONTENT_SECURITY_POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "object-src 'none'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # Not "no-referrer": browsers then send "Origin: null" with our own forms, which own_page() must refuse.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


class Guard:
    """Puts the guarding headers on every answer. Plain ASGI: the convenient kind costs a batch a third of its time."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        for_good = scope["path"].startswith("/static/") and scope["query_string"].startswith(b"v=")

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if for_good:
                    headers["Cache-Control"] = "public, max-age=31536000, immutable"
                else:
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        await self._app(scope, receive, guarded)


def make_app(service: Service) -> FastAPI:
    """The app over a running service."""
    app = FastAPI(
        title="pour-session logger",
        summary="Plans, watches, forecasts and records thick epoxy pours.",
        docs_url=None,
        redoc_url=None,
        responses={code: {"model": ErrorAnswer} for code in (401, 403, 404, 409, 422)},
        max_body_size=LARGEST_BODY,
    )
    app.state.service = service
    errors.install(app)

    app.add_middleware(Guard)

    for module in (batches, pours, records, alarms, stations, health, entry):
        app.include_router(module.router)
    for router in ROUTERS:
        app.include_router(router)

    @app.get("/live", include_in_schema=False)
    async def live(service: ServiceDep, _who: ViewerDep) -> Response:
        return StreamingResponse(service.news.listen(), media_type="text/event-stream",
                                 headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"})  # fmt: skip

    @app.get("/charts/{version}.js", include_in_schema=False)
    def charts(version: str, request: Request) -> Response:
        if version != chart_version():
            raise NotFound(f"charts {version} are not here; reload the page")
        packed = "gzip" in request.headers.get("accept-encoding", "")
        body = chart_bundle() if packed else gzip.decompress(chart_bundle())
        headers = {"Cache-Control": "public, max-age=31536000, immutable", "Vary": "Accept-Encoding"}
        if packed:
            headers["Content-Encoding"] = "gzip"
        return Response(body, media_type="text/javascript", headers=headers)

    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    return app
