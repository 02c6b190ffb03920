"""What is answered when the database cannot be used: from memory, without a template, a sign-in or a file.

Open to anybody, since nobody can be asked who they are: it tells how many pours are watched from memory and how many
of them are too hot, and nothing of whose they are.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from starlette.responses import HTMLResponse, JSONResponse, Response

from logger.store.database import refuses

if TYPE_CHECKING:
    from web.service.service import Service

#: A browser looks again by itself after this, s.
AGAIN_S = 20


def cannot_use_the_database(service: Service, error: SQLAlchemyError, *, for_people: bool) -> Response:
    """503, as a plain page or as JSON."""
    title, lines, kind = _words(service, error)
    over = _over(service)
    if for_people:
        return _page(title, lines, over)
    lead = f"{over}. " if over else ""
    body = {"kind": kind, "message": f"{lead}{title}. {lines[0]}", "where": None, "remedy": lines[-1]}
    return JSONResponse({"error": body}, 503)


def _over(service: Service) -> str:
    """Return what leads before everything else: that the plain watch, which needs no database, has seen heat."""
    over = len(service.plain.over())
    if not over:
        return ""
    return f"{'A pour is' if over == 1 else f'{over} pours are'} over the limit: go there now, and keep clear first"


def _words(service: Service, error: SQLAlchemyError) -> tuple[str, list[str], str]:
    """Return what has happened: a title, sentences with what to do as the last, and a word for programs."""
    if service.store.unread is not None:
        return "The service cannot read its database", [*_dead(service)], "database-unread"
    if isinstance(error, DBAPIError) and refuses(error):
        lines = [
            "Nothing was changed: its disk is full, or it fails.",
            "Whoever is signed in can still look. Alarms go on from memory, and a core over its limit is told.",
            "Make room on the disk: move old backups and photos to another one. Do not delete the database.",
        ]
        return "The service cannot write to its disk", lines, "database-refuses"
    lines = ["It is busy with something else.", "Try it again in a few seconds."]
    return "The database does not answer", lines, "database-busy"


def _dead(service: Service) -> list[str]:
    live = len(service.plain.pours())
    lines = ["Its card or disk has failed, or its server is away. No page here can be relied on."]
    if live:
        pours = "1 pour is" if live == 1 else f"{live} pours are"
        lines.append(f"{pours} watched from memory, for the limit of the core alone; messages still go out.")
    lines.append(
        "Go to every pour and look; read a thermometer by hand. Do not restart the service before the pours are safe: "
        "it might not start again."
    )
    return lines


def _page(title: str, lines: list[str], over: str) -> Response:
    text = "".join(f"<p>{escape(line)}</p>" for line in lines)
    # Over the limit looks over the limit here too: red, and first.
    look, first = ("alert high", over) if over else ("", title)
    body = (
        f'<p class="lead"><strong>{escape(title)}.</strong></p>{text}'
        if over
        else (f'<div class="problem" role="alert"><div>{text}</div></div>')
    )
    return HTMLResponse(
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(first)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="refresh" content="{AGAIN_S}"><link rel="stylesheet" href="/static/look.css"></head>'
        f'<body class="{look}"><main id="main"><h1>{escape(first)}</h1>{body}</main></body></html>',
        status_code=503,
        headers={"Retry-After": str(AGAIN_S)},
    )
