"""Messages to my phone: choose how they come, a test goes out at once, say that it arrived. No file to edit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlsplit

import segno
from fastapi import APIRouter, BackgroundTasks, Form, Path, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.delivery.channel_kinds import BROWSER, KINDS
from logger.delivery.channels import shown
from logger.delivery.library_kinds import PREFIX, services
from logger.delivery.signed_links import LONGEST, LinkRefused
from logger.errors import BadInput, LoggerError, NotAllowed
from logger.settings import EVERYWHERE, LOOPBACK
from logger.store import channels, people
from logger.store.rows import ChannelRow, PersonRow
from logger.words.phrase import phrase
from web.actions import phones, sign_in
from web.actions.first_steps import next_step
from web.errors import TooMany
from web.schemas import RowId
from web.security import access
from web.security.access import MakerDep, OwnerDep, ServiceDep, ViewerDep, Who
from web.service.service import Service
from web.views.render import page, unsigned_page

router = APIRouter(include_in_schema=False)
Token = Annotated[str, Path(max_length=2 * LONGEST)]
KindName = Annotated[str, Query(max_length=40)]
#: Machines on which a phone does not find this one.
NOT_FOR_PHONES = (*LOOPBACK, *EVERYWHERE)
#: Which turn a group of addresses is.
TURN_WORDS = {"first": phrase("at once"), "second": phrase("when nobody has answered in time")}


@router.get("/phone")
def mine(
    request: Request, service: ServiceDep, who: ViewerDep, kind: KindName = "", change: int | None = None
) -> Response:
    """Show how messages come to oneself, and the form for another way or for a changed one."""
    return _page(request, service, who.id, "/phone", kind, change)


@router.post("/phone")
async def set_up_mine(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Store a way and send a test by it."""
    given = await _given(request)
    return await run_in_threadpool(_set_up, request, service, who, who.id, "/phone", given)


@router.get("/people/{person_id}/phone")
def of_person(
    request: Request,
    service: ServiceDep,
    who: OwnerDep,
    person_id: RowId,
    kind: KindName = "",
    change: int | None = None,
) -> Response:
    """Show the same of somebody else, to an owner."""
    return _page(request, service, person_id, _base(who, person_id), kind, change)


@router.post("/people/{person_id}/phone")
async def set_up_of_person(
    request: Request, service: ServiceDep, who: OwnerDep, person_id: RowId
) -> Response:
    """Store a way for somebody else and send a test by it."""
    given = await _given(request)
    return await run_in_threadpool(_set_up, request, service, who, person_id, _base(who, person_id), given)


@router.post("/phone/channels/{channel_id}/test")
def send_test(request: Request, service: ServiceDep, who: MakerDep, channel_id: RowId) -> Response:
    """Send a test by it."""
    row = phones.of_whom(service, who, channel_id)
    _not_too_often(request, who.id)
    tried = phones.send_test(service, channel_id, who.name)
    return _back(who, row, tried.problem)


@router.post("/phone/channels/{channel_id}/arrived")
def arrived(service: ServiceDep, who: MakerDep, channel_id: RowId, later: BackgroundTasks) -> Response:
    """Say that its test has arrived."""
    row = phones.of_whom(service, who, channel_id)
    later.add_task(phones.say_goodbye, service, phones.arrived(service, channel_id, who.name))
    return _back(who, row)


@router.post("/phone/channels/{channel_id}/turn")
def change_turn(
    service: ServiceDep, who: MakerDep, channel_id: RowId, turn: Annotated[str, Form(max_length=8)]
) -> Response:
    """Call it at once, or when nobody has answered."""
    row = phones.of_whom(service, who, channel_id)
    phones.change_turn(service, channel_id, turn, who.name)
    return _back(who, row)


@router.post("/phone/channels/{channel_id}/remove")
def remove(service: ServiceDep, who: MakerDep, channel_id: RowId, later: BackgroundTasks) -> Response:
    """Remove it, and tell the phone."""
    row = phones.of_whom(service, who, channel_id)
    later.add_task(phones.say_goodbye, service, phones.remove(service, channel_id, who.name))
    return _back(who, row)


@router.post("/phone/code")
def code_for_mine(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Show a code that the phone's camera opens, to finish there."""
    return _code(request, service, who, who.id)


@router.post("/people/{person_id}/phone/code")
def code_for_person(request: Request, service: ServiceDep, who: OwnerDep, person_id: RowId) -> Response:
    """Show such a code for somebody else's phone."""
    return _code(request, service, who, person_id)


@router.get("/to-phone/{token}")
def on_the_phone(token: Token, request: Request, service: ServiceDep, kind: KindName = "") -> Response:
    """Show, on the phone that opened the code, what can be set up there. Opening it does nothing."""
    try:
        owner = phones.whose_code(service, token)
        form = _form_of(kind, {}, None)
    except LinkRefused as refusal:
        return unsigned_page(request, "phone-code.html", {"refused": refusal.fact}, 410, None)
    except BadInput as error:
        return unsigned_page(request, "phone-code.html", {"refused": error.fact}, 422, None)
    return unsigned_page(
        request, "phone-code.html", _choice(request, service) | form | {"whose": owner}, 200, None
    )


@router.post("/to-phone/{token}")
async def set_up_on_the_phone(token: Token, request: Request, service: ServiceDep) -> Response:
    """Store a way, from the phone itself, and send a test by it; the code is used up once a server has taken it."""
    given = await _given(request)
    return await run_in_threadpool(_set_up_on_the_phone, token, request, service, given)


def _set_up_on_the_phone(
    token: str, request: Request, service: Service, given: Mapping[str, str]
) -> Response:
    try:
        owner = phones.whose_code(service, token)
    except LinkRefused as refusal:
        return unsigned_page(request, "phone-code.html", {"refused": refusal.fact}, 410, None)
    context: dict[str, Any] = _choice(request, service) | {"whose": owner}
    kind, change = given.get("kind", ""), _number(given.get("change", ""))
    tries = sign_in.Tries(request)
    try:
        tries = _not_too_often(request, owner.person_id)
        tried = phones.set_up(
            service, owner.person_id, kind, given, given.get("turn", "first"), owner.name, change
        )
    except (BadInput, NotAllowed, TooMany) as error:
        tries.give_back()  # nothing was sent
        form = _form_of(kind, given, None) if _known(kind) else {}
        return unsigned_page(
            request, "phone-code.html", context | form | {"problem": error.fact, "change": change}, 422, None
        )
    if tried.problem is not None:
        form = _form_of(kind, given, None) | {"problem": tried.problem, "change": tried.channel_id}
        return unsigned_page(request, "phone-code.html", context | form, 422, None)
    phones.use_code(service, token)
    return unsigned_page(request, "phone-code.html", context | {"confirm": tried.token}, 200, None)


def _set_up(
    request: Request, service: Service, who: Who, person_id: int, base: str, given: Mapping[str, str]
) -> Response:
    kind, change = given.get("kind", ""), _number(given.get("change", ""))
    tries = sign_in.Tries(request)
    try:
        if change is not None:
            phones.of_whom(service, who, change)
        tries = _not_too_often(request, who.id)
        tried = phones.set_up(service, person_id, kind, given, given.get("turn", "first"), who.name, change)
    except (BadInput, NotAllowed, TooMany) as error:
        tries.give_back()  # nothing was sent
        return _page(request, service, person_id, base, kind, change, given, error.fact)
    if tried.problem is not None:
        return RedirectResponse(f"{base}?change={tried.channel_id}#form", 303)
    return RedirectResponse(base, 303)


def _page(
    request: Request,
    service: Service,
    person_id: int,
    base: str,
    kind: str = "",
    change: int | None = None,
    typed: Mapping[str, str] | None = None,
    problem: str | None = None,
) -> Response:
    with service.store.read() as connection:
        person = people.person(connection, person_id)
        rows = channels.of_person(connection, person_id)
    changed = next((row for row in rows if row.id == change), None)
    shift_ms = service.timeline.shift_ms
    kind = kind or (changed.kind if changed else "")
    form = _form_of(kind, typed, changed) if _known(kind) else {}
    context = (
        _choice(request, service)
        | form
        | {
            "person": person,
            "base": base,
            "ways": [_shown(service, row, shift_ms) for row in rows],
            "may_be_called": person.role in channels.MAY_ANSWER,
            "of_file": _of_file(service),
            "problem": problem or (changed.problem if changed else None),
            "change": changed.id if changed else None,
            "turn": (typed or {}).get("turn") or (changed.turn if changed else "first"),
            "unreachable": _unreachable(service),
            "behind_proxy": service.settings.https.behind_proxy or service.settings.public_url is not None,
            "others": _others(service, person),
            "code": None,
            "next_step": next_step(service, base) if base == "/phone" else None,
        }
    )
    return page(request, "phone.html", context, status=422 if problem else 200)


def _code(request: Request, service: Service, who: Who, person_id: int) -> Response:
    token = phones.code_for(service, person_id, who.name)
    address = f"{_own_address(request, service)}/to-phone/{token}"
    code = segno.make(address, error="m", micro=False)
    with service.store.read() as connection:
        person = people.person(connection, person_id)
    context = {
        "person": person,
        "base": _base(who, person_id),
        "code": code.svg_data_uri(border=3),
        "address": address,
        "unreachable": urlsplit(address).hostname in NOT_FOR_PHONES,
        "minutes": phones.CODE_MS // 60_000,
    }
    return page(request, "phone-scan.html", context)


def _own_address(request: Request, service: Service) -> str:
    """Return the address by which this page was opened, unless the settings name one for phones."""
    if service.settings.public_url is not None:
        return service.settings.link_base
    return str(request.base_url).rstrip("/")


def _choice(request: Request, service: Service) -> dict[str, Any]:
    return {
        "push": _push(request, service),
        "browser": False,
        "kinds": KINDS,
        "services": None,
        "prefix": PREFIX,
        "form": None,
        "change": None,
        "turn": "first",
        "turns": TURN_WORDS,
        "problem": None,
        "refused": None,
        "confirm": None,
        "second_after_min": service.settings.messages.second_after_min,
    }


def _push(request: Request, service: Service) -> dict[str, Any]:
    """Return whether this page's browser may take messages itself, and by which key it would know the service."""
    secure = access.secure(request) or request.url.hostname in LOOPBACK
    if not secure:
        return {"secure": False, "key": None, "problem": None}
    try:
        return {"secure": True, "key": service.push_key.public, "problem": None}
    except ModuleNotFoundError:
        return {"secure": True, "key": None, "problem": phrase("the library cryptography is not installed")}
    except (OSError, ValueError) as error:
        return {"secure": True, "key": None, "problem": str(error)}


def _known(kind: str) -> bool:
    try:
        return bool(kind) and (kind == "service" or phones.kind_called(kind) is not None)
    except BadInput:
        return False


def _form_of(kind: str, typed: Mapping[str, str] | None, row: ChannelRow | None) -> dict[str, Any]:
    """Return a kind's form with what was typed or is stored: secrets are never shown again. Raises BadInput."""
    if not kind:
        return {}
    if kind == "service":
        return {"services": services()}
    if kind == BROWSER.name:
        return {"browser": True}
    chosen = phones.kind_called(kind)
    stored = row.entries if row is not None and row.kind == kind else {}
    fields = [
        {
            "entry": entry,
            "value": "" if entry.secret else (typed or stored).get(entry.name, entry.start),
            "there": entry.secret and bool(stored.get(entry.name)),
        }
        for entry in chosen.entries
    ]
    return {"form": chosen, "fields": fields}


def _shown(service: Service, row: ChannelRow, shift_ms: int) -> dict[str, Any]:
    failing = None if service.sender is None else service.sender.failing(row.url)
    try:
        title, about = phones.kind_called(row.kind).title, phones.target_of_row(row).about
    except LoggerError:
        title, about = phrase("A way that the message library knows no longer"), shown(row.url)
    return {
        "row": row,
        "failing": failing,
        "failing_ms": None if failing is None else failing.since_ms + shift_ms,
        "title": title,
        "about": about,
        "confirmed_ms": None if row.confirmed_ms is None else row.confirmed_ms + shift_ms,
        "tried_ms": None if row.tried_ms is None else row.tried_ms + shift_ms,
    }


def _of_file(service: Service) -> list[tuple[str, str]]:
    messages = service.settings.messages
    return [
        *((shown(url), "first") for url in messages.urls),
        *((shown(url), "second") for url in messages.second_urls),
    ]


def _others(service: Service, person: PersonRow) -> list[str]:
    mine = {row.name for row in service.addresses.called() if row.shop_id == person.shop_id}
    return sorted(mine - {person.name})


def _unreachable(service: Service) -> str | None:
    """Return the address in messages' links, where it is one that no phone reaches."""
    return None if service.settings.phones_reach_it else service.settings.link_base


def _not_too_often(request: Request, person_id: int) -> sign_in.Tries:
    """Take one of somebody's tries: each sends a message to wherever they say. Raises TooMany."""
    tries = sign_in.Tries(request)
    tries.take(request.app.state.throttle.tries_of_known, ("phone", person_id))
    return tries


def _base(who: Who, person_id: int) -> str:
    return "/phone" if person_id == who.id else f"/people/{person_id}/phone"


def _back(who: Who, row: ChannelRow, problem: str | None = None) -> Response:
    base = _base(who, row.person_id)
    return RedirectResponse(base if problem is None else f"{base}?change={row.id}#form", 303)


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) <= 9 else None


async def _given(request: Request) -> dict[str, str]:
    form = await request.form(max_files=0, max_fields=40)
    return {name: value for name, value in form.items() if isinstance(value, str)}
