"""From the domain's errors to answers: one JSON body for programs, one plain page for people.

{"error": {"kind": "not-found", "message": "…", "where": "…" | null, "remedy": "…" | null}}

A pour that may not start is answered with 409, kind "not-ready", and "obstacles": what stands in the way, a sentence
each. One whose watch must go on with 409, kind "may-not-end", "obstacles", and "signable": whether an exception may be
signed (POST /api/pours/{id}/ending/exception).
"""

from __future__ import annotations

import logging
import re
from collections.abc import Mapping
from contextlib import suppress
from http import HTTPStatus

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel
from sqlalchemy.exc import SQLAlchemyError
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from logger.errors import BadInput, DidNotConverge, LoggerError, MayNotEnd, NotAllowed, NotFound, NotReady
from logger.input_errors import input_problem, most_telling
from logger.store.readings import Conflict
from logger.words.reader import METRIC
from logger.words.render import say
from web.answers import ErrorBody
from web.errors import Forbidden, SetUpNeeded, SignInNeeded, TooMany
from web.security.access import who_is
from web.server.emergency import cannot_use_the_database

log = logging.getLogger(__name__)


#: Error → HTTP status, most special first.
STATUS: tuple[tuple[type[LoggerError], int], ...] = (
    (SignInNeeded, 401),
    (SetUpNeeded, 403),
    (Forbidden, 403),
    (TooMany, 429),
    (Conflict, 409),
    (NotFound, 404),
    (NotAllowed, 409),
    (BadInput, 422),
    (DidNotConverge, 422),
    (LoggerError, 500),
)


#: Status → what is said where nobody has said more, and where to go.
_SAID = {
    404: ("the address is mistyped, or old", "Go on from the menu, or from here:"),
    405: ("this address takes no such request", "Go back, reload the page and press again."),
    413: ("what was sent is too large", "Send less, or a smaller file."),
}


def kind_of(error: Exception) -> str:
    """Return the error's class name as words with hyphens."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "-", type(error).__name__).lower()


def install(app: FastAPI, guarding: Mapping[str, str]) -> None:
    """Give the app its answers to errors. `guarding`: headers of an answer that passes by the guard."""

    def ours(request: Request, error: Exception) -> Response:
        assert isinstance(error, LoggerError)
        status = next(code for kind, code in STATUS if isinstance(error, kind))
        if status == 500:
            log.error("%s %s failed: %s", request.method, request.url.path, error)
        if isinstance(error, Forbidden | TooMany):
            # repr: a path with a line break in it must not write a line of its own.
            log.warning("%s %r refused: %r", request.method, request.url.path, str(error))
        if _wants_page(request):
            if isinstance(error, SetUpNeeded):
                return RedirectResponse("/set-up", 303)
            if isinstance(error, SignInNeeded):
                return RedirectResponse(f"/sign-in?then={request.url.path}", 303)
        where = error.where if isinstance(error, BadInput) else None
        remedy = error.remedy if isinstance(error, BadInput) else None
        obstacles = list(error.obstacles) if isinstance(error, NotReady | MayNotEnd) else None
        ends = error if isinstance(error, MayNotEnd) else None
        body = ErrorBody(
            kind=kind_of(error),
            message=str(error),
            where=where,
            remedy=ends.remedy if ends else remedy,
            obstacles=obstacles or None,
            signable=None if ends is None else ends.signable,
        )
        answer = _answer(request, status, body)
        if isinstance(error, TooMany):
            answer.headers["Retry-After"] = str(error.wait_s)
        return answer

    def http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException | StarletteHTTPException)
        kind = {404: "not-found", 405: "not-allowed-here", 413: "too-large"}.get(error.status_code, "refused")
        own_words = error.detail != HTTPStatus(error.status_code).phrase
        message, remedy = _SAID.get(error.status_code, (str(error.detail), None))
        body = ErrorBody(
            kind=kind, message=str(error.detail) if own_words else message, where=None, remedy=remedy
        )
        return _answer(request, error.status_code, body)

    def invalid(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = most_telling(error.errors())
        # What the framework puts before a name: where it stood in the request.
        mistake = input_problem({**first, "loc": first["loc"][1:]}, _body_of(request))
        where = ".".join(mistake.path) or "the request"
        body = ErrorBody(
            kind="bad-input",
            message=f"{where}: {mistake.sentence()}",
            where=where,
            remedy="correct that value",
        )
        return _answer(request, 422, body)

    def failed(request: Request, error: Exception) -> Response:
        log.error("%s %r failed", request.method, request.url.path, exc_info=error)
        body = ErrorBody(
            kind="failed",
            message="the program has made a mistake: nothing was changed by this request",
            where=None,
            remedy="Go back and try once more; if it comes again, report it with the service's log.",
        )
        answer = _answer(request, 500, body)
        answer.headers.update(guarding)
        return answer

    def database(request: Request, error: Exception) -> Response:
        assert isinstance(error, SQLAlchemyError)
        log.error("%s %r failed: %s", request.method, request.url.path, getattr(error, "orig", error))
        service = request.app.state.service
        return cannot_use_the_database(service, error, for_people=_wants_page(request))

    app.add_exception_handler(SQLAlchemyError, database)
    app.add_exception_handler(LoggerError, ours)
    app.add_exception_handler(StarletteHTTPException, http)
    app.add_exception_handler(RequestValidationError, invalid)
    # Outermost, past the guard; the library raises the error anew once it is answered, so that no test overlooks it.
    app.add_exception_handler(Exception, failed)


def _wants_page(request: Request) -> bool:
    for_programs = request.url.path.startswith("/api") or request.url.path == "/metrics"
    return not for_programs and "text/html" in request.headers.get("accept", "")


def _keep_the_menu(request: Request) -> None:
    """Whoever is signed in keeps the menu, though what went wrong came before anybody asked who they are."""
    if getattr(request.state, "who", None) is None:
        with suppress(SQLAlchemyError):
            request.state.who = who_is(request)


def _answer(request: Request, status: int, error: ErrorBody) -> Response:
    if _wants_page(request):
        from web.views.render import page  # here: a start does not wait for the pages (lazy_routes.py)

        _keep_the_menu(request)

        shown = {
            "status": status,
            "message": error.message,
            "remedy": error.remedy,
            "obstacles": error.obstacles or (),
            "ends": error.signable is not None,
            "back": _pour_of(request.url.path),
        }
        return page(request, "problem.html", shown, status=status)
    # Programs read SI; a page writes what is marked in its reader's units (web/views/render.py).
    body = error.model_dump(exclude={"obstacles", "signable"}) | {"message": say(error.message, METRIC)}
    if error.obstacles:
        body["obstacles"] = [say(text, METRIC) for text in error.obstacles]
    if error.signable is not None:
        body["signable"] = error.signable
    return JSONResponse({"error": body}, status)


def _body_of(request: Request) -> type[BaseModel] | None:
    """Return the shape of a request's body, for the nearest known name; None where it is a form or has none."""
    field = getattr(request.scope.get("route"), "body_field", None)
    shape = getattr(getattr(field, "field_info", None), "annotation", None)
    return shape if isinstance(shape, type) and issubclass(shape, BaseModel) else None


def _pour_of(path: str) -> str | None:
    """Return the page of the pour that a path is about, or None."""
    match = re.match(r"/pours/\d+", path)
    return None if match is None else match[0]
