"""Makes the app from a running service. Importing this does nothing."""

from __future__ import annotations

import gzip
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from fastapi import FastAPI, Request
from fastapi.staticfiles import StaticFiles
from starlette.middleware.base import RequestResponseEndpoint
from starlette.responses import Response, StreamingResponse

from logger.errors import NotFound
from web import errors
from web.access import ServiceDep, ViewerDep
from web.api import alarms, batches, health, pours, records, stations
from web.pages import entry
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
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
}


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

    @app.middleware("http")
    async def guard(request: Request, call_next: RequestResponseEndpoint) -> Response:
        answer = await call_next(request)
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        if request.url.path.startswith("/static/") and "v" in request.query_params:
            answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
        else:
            answer.headers.setdefault("Cache-Control", "no-store")
        return answer

    for module in (batches, pours, records, alarms, stations, health, entry):
        app.include_router(module.router)

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


@cache
def _plotly_folder() -> Path:
    # Found, not imported: the page needs its script alone, and importing the package costs memory.
    spec = find_spec("plotly")
    if spec is None or not spec.submodule_search_locations:
        raise NotFound("the chart library is not installed; install the project's dependencies")
    return Path(next(iter(spec.submodule_search_locations)))


@cache
def chart_version() -> str:
    """Changes with the installed chart library, so that browsers may keep the script for good."""
    stat = (_plotly_folder() / "package_data" / "plotly.min.js").stat()
    return f"{stat.st_size:x}-{int(stat.st_mtime):x}"


@cache
def chart_bundle() -> bytes:
    """The chart library's script from its installed package, compressed once."""
    return gzip.compress((_plotly_folder() / "package_data" / "plotly.min.js").read_bytes(), 9)
