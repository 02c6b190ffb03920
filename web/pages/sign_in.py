"""First set-up with the console's code, signing in and out, joining by invitation."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from sqlalchemy import Connection
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, LoggerError, NotAllowed, NotFound
from logger.store import events, people, shop_events
from logger.store.rows import InvitationRow
from logger.words.numbers import LANGUAGE_NAMES, LANGUAGES
from logger.words.phrase import phrase
from logger.words.reader import units_from
from web.actions import sign_in as sign_in_actions
from web.errors import TooMany
from web.security import access, passwords
from web.security.access import PersonDep, ServiceDep
from web.security.setup_code import forget_codes, setup_code_right
from web.views.reader_units import COOKIE, ChosenUnits, forget_shop_reading, language_of, wished_units
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: From one of our own pages, though nobody is signed in yet.
OWN_PAGE = [Depends(access.own_page)]
#: Form fields: nothing required and no bounds but those that are checked below, so that a form which is refused comes
#: back with what was typed.
Password = Annotated[str, Form()]
Name = Annotated[str, Form()]
Code = Annotated[str, Form()]
#: Longest name, and longest code with its spaces, characters.
NAME_LETTERS, CODE_LETTERS = 100, 32


class WrongCode(NotAllowed):
    """The code of the first set-up is not the one that the console showed last."""


class SetUp(ChosenUnits):
    """The first owner, with the console's code, and the workshop's units."""

    # No shorter bounds than the request's own, and nothing required: what is refused must come back as it was typed.
    code: str = ""
    name: str = ""
    password: str = ""


@router.get("/set-up")
def set_up_page(request: Request, service: ServiceDep, code: str = "") -> Response:
    """Ask for name, password, and the code where the link has not brought it; closed once there is an owner."""
    with service.store.read() as connection:
        if people.owner_exists(connection):
            return RedirectResponse("/sign-in", 303)
    given = SetUp(code=code[:CODE_LETTERS].strip(), language=language_of(request))
    u = units_from(request.cookies.get(COOKIE) or wished_units(request), given.language)
    context = {
        "problem": None,
        "shortest": passwords.SHORTEST,
        "given": given,
        "u": u,
        "languages": LANGUAGE_NAMES,
    }
    return page(request, "set-up.html", context)


@router.post("/set-up", dependencies=OWN_PAGE)
def set_up(request: Request, service: ServiceDep, given: Annotated[SetUp, Form()]) -> Response:
    """Make the owner, once, for whoever can read the console; and ask once for the workshop's units."""
    try:
        with service.store.read() as connection:
            if people.owner_exists(connection):
                raise NotAllowed(phrase("this service has an owner already; sign in instead"))
        tries = sign_in_actions.take_code(request)
        if not setup_code_right(service, given.code):
            raise WrongCode(
                phrase(
                    "that is not the code on the console, or its hour is over; read it again, or get a new one "
                    "there: pourlog set-up-code SETTINGS"
                )
            )
        tries.give_back()
        name = checked_name(given.name)
        passwords.check_new(given.password, name, service.settings.workshop)
        now_ms = service.timeline.now_ms()
        password_hash = passwords.hash_of(given.password)
        with service.store.write() as tx:
            if people.owner_exists(tx):
                raise NotAllowed(phrase("this service has an owner already; sign in instead"))
            person_id = people.add_person(tx, name, people.Role.OWNER, password_hash, now_ms)
            forget_codes(tx)
            events.add_event(tx, None, now_ms, "owner-made", name)
            language = given.language if given.language in LANGUAGES else None
            data = {"units": given.reader.cookie, "language": language}
            events.add_event(tx, None, now_ms, shop_events.UNITS_CHOSEN, name, data=data)
    except (NotAllowed, BadInput, TooMany) as error:
        # The password alone is typed again. A code that was wrong is shown, to be corrected.
        shown = given.model_copy(update={"password": ""})
        wrong = isinstance(error, WrongCode)
        again = {"shortest": passwords.SHORTEST, "given": shown, "code_wrong": wrong}
        again |= {"u": given.reader, "languages": LANGUAGE_NAMES}
        return _again(request, "set-up.html", error, again)
    forget_shop_reading(request)
    return sign_in_actions.let_in(request, person_id, "/")


@router.get("/sign-in")
def sign_in_page(request: Request, then: str = "/", again: bool = False) -> Response:
    """Ask for name and password; whoever is signed in already goes on.

    A link in a mail is followed without the sign-in cookie (SameSite=Strict): the page asks for itself once more.
    """
    if access.who_is(request) is not None:
        return RedirectResponse(own_path(then), 303)
    look_again = own_path(then) if then != "/" and not again else None
    return page(request, "sign-in.html", {"problem": None, "then": own_path(then), "look_again": look_again})


@router.post("/sign-in", dependencies=OWN_PAGE)
def sign_in(
    request: Request,
    service: ServiceDep,
    name: Name = "",
    password: Password = "",
    then: Annotated[str, Form(max_length=500)] = "/",
) -> Response:
    """Let somebody in."""
    try:
        person = sign_in_actions.check_password(request, name[:NAME_LETTERS], password)
    except (NotAllowed, TooMany) as error:
        again: dict[str, object] = {"then": own_path(then), "look_again": None, "name": name}
        return _again(request, "sign-in.html", error, again, 401)
    with service.store.write() as tx:
        browser = request.headers.get("user-agent", "")[:200]
        events.add_event(
            tx, None, service.timeline.now_ms(), "signed-in", person.name, browser, shop_id=person.shop_id
        )
    return sign_in_actions.let_in(request, person.id, own_path(then))


@router.post("/sign-out")
def sign_out(request: Request, service: ServiceDep, who: PersonDep) -> Response:
    """End this browser's sign-in, here and in the service; what the browser kept of our pages goes too."""
    with service.store.write() as tx:
        people.end_sign_in(tx, who.sign_in_id, service.timeline.now_ms())
        events.add_event(tx, None, service.timeline.now_ms(), "signed-out", who.name)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(access.cookie_name(request), secure=access.secure(request), httponly=True)
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@router.get("/join")
def join_page(request: Request) -> Response:
    """Ask for an invitation's code and a password."""
    return page(request, "join.html", {"problem": None, "shortest": passwords.SHORTEST})


@router.post("/join", dependencies=OWN_PAGE)
def join(request: Request, service: ServiceDep, code: Code = "", password: Password = "") -> Response:
    """Let in somebody who was asked in, once, with a password of their own."""
    now_ms = service.timeline.now_ms()
    number, _, word = re.sub(r"\s", "", code).partition("-")
    try:
        tries = sign_in_actions.take_code(request)
        with service.store.read() as connection:
            holding = {str(row.id): row for row in people.invitations(connection, now_ms)}
        asked = holding.get(number)
        code_hash = passwords.nobodys_hash() if asked is None else asked.code_hash
        if not tries.judge(code_hash, word.replace("-", "").upper()) or asked is None:
            raise NotAllowed(
                phrase("that code is wrong, was used or withdrawn, or its day is over; ask for a new one")
            )
        tries.give_back()
        passwords.check_new(password, asked.name, service.settings.workshop)
        password_hash = passwords.hash_of(password)
        with service.store.write() as tx:
            people.end_invitation(tx, asked.id, now_ms)
            person_id = _joined(tx, asked, password_hash, now_ms)
    except (NotAllowed, BadInput, TooMany) as error:
        return _again(request, "join.html", error, {"shortest": passwords.SHORTEST, "code": code})
    return sign_in_actions.let_in(request, person_id, "/")


def _joined(tx: Connection, asked: InvitationRow, password_hash: str, now_ms: int) -> int:
    """Add a new person; or keep a new password for one who forgot theirs, which ends every sign-in and changes no
    role.
    """
    try:
        person = people.person_by_name(tx, asked.name)
    except NotFound:
        events.add_event(
            tx,
            None,
            now_ms,
            "joined",
            asked.name,
            phrase("{role}, asked in by {who}", role=asked.role, who=asked.by),
            shop_id=asked.shop_id,
        )
        return people.add_person(
            tx, asked.name, people.Role(asked.role), password_hash, now_ms, asked.shop_id
        )
    if person.shop_id != asked.shop_id:
        # An invitation of one shop must give nobody another shop's person.
        raise NotAllowed(
            phrase(
                "somebody called '{name}' is in another shop; ask to be invited with a surname",
                name=asked.name,
            )
        )
    people.change_password(tx, person.id, password_hash)
    people.end_sign_ins(tx, person.id, now_ms)
    events.add_event(
        tx,
        None,
        now_ms,
        "password-changed",
        asked.name,
        phrase("by a code from {who}", who=asked.by),
        shop_id=asked.shop_id,
    )
    return int(person.id)


def checked_name(name: str) -> str:
    """Return a person's name as it is kept. Raises BadInput."""
    name = " ".join(name.split())
    if not name:
        raise BadInput(
            phrase("name"),
            phrase("is empty"),
            remedy=phrase("say who you are; alarms and records carry the name"),
        )
    if not name.isprintable() or len(name) > NAME_LETTERS:
        raise BadInput(
            phrase("name"),
            phrase("cannot be used"),
            value=name,
            allowed=phrase("letters, at most {name_letters}", name_letters=NAME_LETTERS),
        )
    return name


def own_path(then: str) -> str:
    """Return a path of our own, else the board: "//elsewhere" and "https://…" would send somebody away after signing
    in.
    """
    return then if re.fullmatch(r"/(?:[\w.~-]+/?)*", then, re.ASCII) else "/"


def _again(
    request: Request, template: str, error: LoggerError, context: dict[str, object], status: int = 422
) -> Response:
    status = 429 if isinstance(error, TooMany) else status
    answer = page(request, template, {"problem": error.fact, **context}, status=status)
    if isinstance(error, TooMany):
        answer.headers["Retry-After"] = str(error.wait_s)
    return answer
