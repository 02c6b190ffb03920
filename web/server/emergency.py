"""What is answered when the database cannot be used: from memory, without a template, a sign-in or a file (a
translation is one: where it cannot be read, English).

Open to anybody, since nobody can be asked who they are: it tells how many pours are watched from memory and how many
of them are too hot, and nothing of whose they are.
"""

from __future__ import annotations

import logging
from html import escape
from typing import TYPE_CHECKING

from fastapi import Request
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from starlette.responses import HTMLResponse, JSONResponse, Response

from logger.facts import NOTHING
from logger.store.database import refuses
from logger.words import catalogues
from logger.words.phrase import phrase, phrases
from logger.words.reader import METRIC, Reader
from logger.words.render import say
from web.server.refusal import Refusal, error_body
from web.views.reader_units import language_of

if TYPE_CHECKING:
    from web.service.service import Service

log = logging.getLogger(__name__)

#: A browser looks again by itself after this, s.
AGAIN_S = 20


def cannot_use_the_database(
    service: Service, request: Request, error: SQLAlchemyError, *, for_people: bool
) -> Response:
    """503, as a plain page in the browser's language, or as JSON."""
    title, lines, kind = _words(service, error)
    over = _over(service)
    if for_people:
        return _page(_reader(request), title, lines, over)
    first = phrase("{title}. {line}", title=title, line=lines[0])
    message = phrase("{over}. {rest}", over=over, rest=first) if over else first
    return JSONResponse({"error": error_body(Refusal(kind, message, remedy=lines[-1]))}, 503)


def _reader(request: Request) -> Reader:
    """Return whoever asks, by their browser alone: in English where a dead card does not give the translation."""
    language = language_of(request)
    try:
        catalogues.of(language)
    except (OSError, ImportError) as error:
        log.warning("the translation %s cannot be read: %s", language, error)
        return METRIC
    return Reader(language=language)


def _over(service: Service) -> str:
    """Return what leads before everything else: that the plain watch, which needs no database, has seen heat."""
    over = len(service.plain.over())
    if not over:
        return NOTHING
    return phrases(
        "A pour is over the limit: go there now, and keep clear first",
        "{n} pours are over the limit: go there now, and keep clear first",
        over,
    )


def _words(service: Service, error: SQLAlchemyError) -> tuple[str, list[str], str]:
    """Return what has happened: a title, sentences with what to do as the last, and a word for programs."""
    if service.store.unread is not None:
        return phrase("The service cannot read its database"), [*_dead(service)], "database-unread"
    if isinstance(error, DBAPIError) and refuses(error):
        lines: list[str] = [
            phrase("Nothing was changed: its disk is full, or it fails."),
            phrase(
                "Whoever is signed in can still look. Alarms go on, and a core over its limit is still reported."
            ),
            phrase(
                "Make room on the disk: move old backups and photos to another one. Do not delete the database."
            ),
        ]
        return phrase("The service cannot write to its disk"), lines, "database-refuses"
    lines = [phrase("It is busy with something else."), phrase("Try it again in a few seconds.")]
    return phrase("The database does not answer"), lines, "database-busy"


def _dead(service: Service) -> list[str]:
    live = len(service.plain.pours())
    lines: list[str] = [
        phrase("Its card or disk has failed, or its server is away. No page here can be relied on.")
    ]
    if live:
        lines.append(
            phrases(
                "{n} pour is watched for the limit of its core alone; messages still go out.",
                "{n} pours are watched for the limit of their core alone; messages still go out.",
                live,
            )
        )
    lines.append(
        phrase(
            "Go to every pour and look; read a thermometer by hand. Do not restart the service before the pours are "
            "safe: it might not start again."
        )
    )
    return lines


def _page(reader: Reader, title: str, lines: list[str], over: str) -> Response:
    text = "".join(f"<p>{escape(say(line, reader))}</p>" for line in lines)
    # Over the limit looks over the limit here too: red, and first.
    look, first = ("alert high", say(over, reader)) if over else ("", say(title, reader))
    body = (
        f'<p class="lead"><strong>{escape(say(title, reader))}.</strong></p>{text}'
        if over
        else (f'<div class="problem" role="alert"><div>{text}</div></div>')
    )
    return HTMLResponse(
        f'<!doctype html><html lang="{reader.language}"><head><meta charset="utf-8"><title>{escape(first)}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="refresh" content="{AGAIN_S}"><link rel="stylesheet" href="/static/look.css"></head>'
        f'<body class="{look}"><main id="main"><h1>{escape(first)}</h1>{body}</main></body></html>',
        status_code=503,
        headers={"Retry-After": str(AGAIN_S)},
    )
