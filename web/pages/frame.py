"""Draws a page from its template, with what every page needs: who is signed in, the workshop, trouble elsewhere."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from starlette.responses import HTMLResponse
from starlette.templating import Jinja2Templates

from web.pages import words

HERE = Path(__file__).resolve().parent.parent
STATIC = HERE / "static"


@cache
def templates() -> Jinja2Templates:
    """The templates, compiled once, with the words that pages share."""
    made = Jinja2Templates(directory=HERE / "templates")
    made.env.trim_blocks = made.env.lstrip_blocks = True
    made.env.globals["asset"] = asset
    for name in words.__all__:
        made.env.filters[name] = getattr(words, name)
    return made


@cache
def asset(name: str) -> str:
    """A static file's address with its contents' hash, so that browsers may keep it for good."""
    digest = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12]
    return f"/static/{name}?v={digest}"


def page(
    request: Request, template: str, context: Mapping[str, Any] | None = None, status: int = 200
) -> HTMLResponse:
    """A page."""
    service = request.app.state.service
    shared = {"workshop": service.settings.workshop, "who": getattr(request.state, "who", None)}
    return templates().TemplateResponse(request, template, shared | dict(context or {}), status_code=status)
