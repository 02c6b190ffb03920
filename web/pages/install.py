"""What a browser needs to keep the pages on a phone: manifest, service worker, the page for when it is offline.

Open to anybody: none of it says anything of a pour.
"""

from __future__ import annotations

import hashlib
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse, Response

from logger.words.reader import reading
from web.security.access import ServiceDep
from web.views.reader_units import reader_without_sign_in
from web.views.render import asset, templates, unsigned_page

router = APIRouter(include_in_schema=False)
#: The frame's colours, behind the icon while the pages load.
GROUND, ACCENT = "#eef1f0", "#0a5766"
_ICONS = (
    ("icon.svg", "any", "image/svg+xml", "any"),
    ("icon-192.png", "192x192", "image/png", "any"),
    ("icon-512.png", "512x512", "image/png", "any"),
    ("icon-maskable.png", "512x512", "image/png", "maskable"),
)


@router.get("/app.webmanifest")
def manifest(service: ServiceDep) -> Response:
    """Return the manifest (W3C Web Application Manifest)."""
    body: dict[str, Any] = {
        "name": service.settings.workshop,
        "short_name": service.settings.workshop[:12],
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": GROUND,
        "theme_color": ACCENT,
        "icons": [
            {"src": asset(name), "sizes": sizes, "type": kind, "purpose": purpose}
            for name, sizes, kind, purpose in _ICONS
        ],
    }
    return JSONResponse(body, media_type="application/manifest+json")


@router.get("/service-worker.js")
def service_worker(request: Request) -> Response:
    """Return the worker; it changes whenever what it keeps has changed, and browsers then take the new one."""
    worker = templates().env.get_template("service-worker.js")
    with reading(reader_without_sign_in(request, None)):
        version = hashlib.sha256(worker.render(version="0").encode()).hexdigest()[:12]
        source = worker.render(version=version)
    return Response(source, media_type="text/javascript")


@router.get("/offline")
def offline(request: Request) -> Response:
    """Return the page that stands in when the service cannot be reached."""
    return unsigned_page(request, "offline.html", {}, 200, None)
