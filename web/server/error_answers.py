"""From the domain's errors to answers: one JSON body for programs, one plain page for people.

{"error": {"kind": "not-found", "message": "…", "where": "…" | null, "remedy": "…" | null, "fact": {…} | null}}

Programs read English, SI and °C, and in "fact" the code with its values that the message is made of; people read their
own language and units.

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
from logger.words.phrase import phrase
from logger.words.render import say
from web.errors import Forbidden, LinkEnded, SetUpNeeded, SignInNeeded, TooMany
from web.security.access import who_is
from web.server.emergency import cannot_use_the_database
from web.server.refusal import Refusal, error_body

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
    404: (phrase("the address is mistyped, or old"), phrase("Go on from the menu, or from here:")),
    405: (phrase("this address takes no such request"), phrase("Go back, reload the page and press again.")),
    413: (phrase("what was sent is too large"), phrase("Send less, or a smaller file.")),
}


def refusal_of(error: LoggerError) -> Refusal:
    """Return an error of ours with its parts."""
    if isinstance(error, MayNotEnd):
        return Refusal(
            kind_of(error),
            error.fact,
            remedy=error.remedy,
            obstacles=error.obstacles,
            signable=error.signable,
        )
    if isinstance(error, NotReady):
        return Refusal(kind_of(error), error.fact, obstacles=error.obstacles, lead=error.lead)
    if isinstance(error, BadInput):
        return Refusal(kind_of(error), error.fact, error.where, error.remedy)
    return Refusal(kind_of(error), error.fact)


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
            if isinstance(error, SignInNeeded) and not isinstance(error, LinkEnded):
                return RedirectResponse(f"/sign-in?then={request.url.path}", 303)
        answer = _answer(request, status, refusal_of(error))
        if isinstance(error, TooMany):
            answer.headers["Retry-After"] = str(error.wait_s)
        return answer

    def http(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException | StarletteHTTPException)
        kind = {404: "not-found", 405: "not-allowed-here", 413: "too-large"}.get(error.status_code, "refused")
        own_words = error.detail != HTTPStatus(error.status_code).phrase
        message, remedy = _SAID.get(error.status_code, (str(error.detail), None))
        refusal = Refusal(kind, error.detail if own_words else message, remedy=remedy)
        return _answer(request, error.status_code, refusal)

    def invalid(request: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = most_telling(error.errors())
        # What the framework puts before a name: where it stood in the request.
        mistake = input_problem({**first, "loc": first["loc"][1:]}, _body_of(request))
        where = ".".join(mistake.path) or phrase("the request")
        refused = BadInput(where, mistake.problem, allowed=mistake.allowed, remedy=mistake.remedy)
        return _answer(request, 422, Refusal("bad-input", refused.fact, where, phrase("correct that value")))

    def failed(request: Request, error: Exception) -> Response:
        log.error("%s %r failed", request.method, request.url.path, exc_info=error)
        refusal = Refusal(
            "failed",
            phrase("the program has made a mistake: nothing was changed by this request"),
            remedy=phrase("Go back and try once more; if it comes again, report it with the service's log."),
        )
        answer = _answer(request, 500, refusal)
        answer.headers.update(guarding)
        return answer

    def database(request: Request, error: Exception) -> Response:
        assert isinstance(error, SQLAlchemyError)
        log.error("%s %r failed: %s", request.method, request.url.path, getattr(error, "orig", error))
        service = request.app.state.service
        return cannot_use_the_database(service, request, error, for_people=_wants_page(request))

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


def _answer(request: Request, status: int, refusal: Refusal) -> Response:
    if _wants_page(request):
        from web.views.reader_units import reader_of
        from web.views.render import page  # here: a start does not wait for the pages (lazy_routes.py)

        _keep_the_menu(request)

        message = say(refusal.message, reader_of(request))
        shown = {
            "status": status,
            "message": f"{message[:1].upper()}{message[1:]}{'' if message.endswith('.') else '.'}",
            "lead": refusal.lead,
            "remedy": refusal.remedy,
            "obstacles": refusal.obstacles,
            "ends": refusal.signable is not None,
            "back": _pour_of(request.url.path),
        }
        return page(request, "problem.html", shown, status=status)
    return JSONResponse({"error": error_body(refusal)}, status)


def _body_of(request: Request) -> type[BaseModel] | None:
    """Return the shape of a request's body, for the nearest known name; None where it is a form or has none."""
    field = getattr(request.scope.get("route"), "body_field", None)
    shape = getattr(getattr(field, "field_info", None), "annotation", None)
    return shape if isinstance(shape, type) and issubclass(shape, BaseModel) else None


def _pour_of(path: str) -> str | None:
    """Return the page of the pour that a path is about, or None."""
    match = re.match(r"/pours/\d+", path)
    return None if match is None else match[0]
