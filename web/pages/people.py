"""People: who may sign in, who is asked in, who is signed in where. The owner's page, and everybody's own."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, LoggerError, NotAllowed
from logger.facts import fact
from logger.store import events, people
from logger.store.people import Role
from logger.words.phrase import phrase
from web.actions import sign_in
from web.errors import Forbidden, TooMany
from web.pages.sign_in import Name, Password, checked_name
from web.schemas import RowId
from web.security import passwords
from web.security.access import OwnerDep, PersonDep, ServiceDep, ViewerDep, Who
from web.service.service import Service
from web.views.render import page

router = APIRouter(include_in_schema=False)
ROLE_WORDS = {
    Role.VIEWER: phrase("viewer: sees everything, changes nothing"),
    Role.MAKER: phrase("maker: plans and runs pours, answers alarms"),
    Role.OWNER: phrase("owner: also manages people and their roles"),
}


@router.get("/people")
def everybody(request: Request, service: ServiceDep, _who: OwnerDep) -> Response:
    """Who is here, who is asked in, who is signed in where."""
    return page(request, "people.html", _everybody(service))


@router.post("/people/invitations")
def invite(
    request: Request,
    service: ServiceDep,
    who: OwnerDep,
    name: Name = "",
    role: Annotated[str, Form()] = "",
) -> Response:
    """Ask somebody in: a code that holds for a day and once. Shown in the answer only."""
    try:
        name, chosen = checked_name(name), _role(role)
        code = sign_in.code_for(service, name, chosen, who.name)
    except (BadInput, NotAllowed, TooMany) as error:
        again = {"problem": error.fact, "typed": {"name": name, "role": role}}
        return page(request, "people.html", _everybody(service) | again, status=422)
    invitation = {"invited": name, "code": code}
    return page(request, "people.html", _everybody(service) | invitation)


@router.post("/people/{person_id}/new-password")
def new_password(request: Request, person_id: RowId, service: ServiceDep, who: OwnerDep) -> Response:
    """Give a code for somebody who forgot their password; the owner never knows the new one."""
    with service.store.read() as connection:
        person = people.person(connection, person_id)
    return invite(request, service, who, person.name, person.role)


@router.post("/people/invitations/{invitation_id}/withdraw")
def withdraw(invitation_id: RowId, service: ServiceDep, who: OwnerDep) -> Response:
    """Withdraw a code: it no longer holds."""
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        name = people.end_invitation(tx, invitation_id, now_ms)
        events.add_event(tx, None, now_ms, "invitation-withdrawn", who.name, name)
    return RedirectResponse("/people", 303)


@router.post("/people/{person_id}/role")
def change_role(
    person_id: RowId, service: ServiceDep, who: OwnerDep, role: Annotated[str, Form(max_length=16)]
) -> Response:
    """Somebody may do more, or less, from now on."""
    chosen, now_ms = _role(role), service.timeline.now_ms()
    with service.store.write() as tx:
        name = people.person(tx, person_id).name
        people.change_role(tx, person_id, chosen)
        events.add_event(tx, None, now_ms, "role-changed", who.name, f"{name}, {chosen}")
    return RedirectResponse("/people", 303)


@router.post("/people/{person_id}/remove")
def remove(person_id: RowId, service: ServiceDep, who: OwnerDep) -> Response:
    """Somebody may no longer come in; what they did keeps their name."""
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        name = people.person(tx, person_id).name
        people.leave(tx, person_id, now_ms)
        events.add_event(tx, None, now_ms, "removed", who.name, name)
    return RedirectResponse("/people", 303)


@router.post("/sign-ins/{sign_in_id}/end")
def end_sign_in(
    sign_in_id: RowId, request: Request, service: ServiceDep, who: PersonDep, present: Password = ""
) -> Response:
    """Sign another browser out: of one's own, or, for the owner, of anybody's; ask for the password first."""
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        holder = people.owner_of_sign_in(connection, sign_in_id)
    if holder.id != who.id and not who.may(Role.OWNER):
        raise Forbidden(phrase("that sign-in is somebody else's; only an owner may end it"))
    try:
        if sign_in_id != who.sign_in_id:
            sign_in.check_again(request, who, present)
    except (NotAllowed, TooMany) as error:
        return _not_ended(request, service, who, error, mine=holder.id == who.id)
    with service.store.write() as tx:
        people.end_sign_in(tx, sign_in_id, now_ms)
        events.add_event(tx, None, now_ms, "sign-in-ended", who.name, holder.name)
    return RedirectResponse("/me" if holder.id == who.id else "/people", 303)


@router.get("/me")
def me(request: Request, service: ServiceDep, who: ViewerDep) -> Response:
    """One's own password and sign-ins."""
    return page(request, "me.html", _mine(service, who))


@router.post("/me/password")
def change_password(
    request: Request, service: ServiceDep, who: PersonDep, present: Password = "", password: Password = ""
) -> Response:
    """Another password. Every other sign-in ends, and this one gets a new token."""
    try:
        sign_in.check_again(request, who, present)
        passwords.check_new(password, who.name, service.settings.workshop)
        hashed = passwords.hash_of(password)
    except (BadInput, NotAllowed, TooMany) as error:
        status = 429 if isinstance(error, TooMany) else 422
        return page(request, "me.html", _mine(service, who) | {"problem": error.fact}, status=status)
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        people.change_password(tx, who.id, hashed)
        people.end_sign_ins(tx, who.id, now_ms)
        events.add_event(tx, None, now_ms, "password-changed", who.name)
    return sign_in.let_in(request, who.id, "/me")


@router.post("/me/sign-ins/end-others")
def end_others(request: Request, service: ServiceDep, who: PersonDep, present: Password = "") -> Response:
    """Sign oneself out everywhere else; ask for the password first."""
    try:
        sign_in.check_again(request, who, present)
    except (NotAllowed, TooMany) as error:
        return _not_ended(request, service, who, error, mine=True)
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        people.end_sign_ins(tx, who.id, now_ms, but=who.sign_in_id)
        events.add_event(tx, None, now_ms, "sign-in-ended", who.name, fact("event-other-sign-ins"))
    return RedirectResponse("/me", 303)


@router.post("/me/leave")
def leave(request: Request, service: ServiceDep, who: PersonDep, present: Password = "") -> Response:
    """Leave for good; ask for the password first."""
    try:
        sign_in.check_again(request, who, present)
        now_ms = service.timeline.now_ms()
        with service.store.write() as tx:
            people.leave(tx, who.id, now_ms)
            events.add_event(tx, None, now_ms, "left", who.name)
    except (NotAllowed, TooMany) as error:
        status = 429 if isinstance(error, TooMany) else 422
        return page(request, "me.html", _mine(service, who) | {"problem": error.fact}, status=status)
    return RedirectResponse("/sign-in", 303)


def _not_ended(request: Request, service: Service, who: Who, error: LoggerError, *, mine: bool) -> Response:
    status = 429 if isinstance(error, TooMany) else 422
    context = _mine(service, who) if mine else _everybody(service)
    return page(
        request, "me.html" if mine else "people.html", context | {"problem": error.fact}, status=status
    )


def _role(text: str) -> Role:
    if text not in {str(role) for role in ROLE_WORDS}:
        raise BadInput(
            phrase("role"),
            phrase("is not one of the roles"),
            value=text,
            allowed=", ".join(ROLE_WORDS),
            remedy=phrase("go back and choose one"),
        )
    return Role(text)


def _everybody(service: Service) -> dict[str, Any]:
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        rows = [
            {"row": row, "sign_ins": people.sign_ins_of(connection, row.id, now_ms)}
            for row in people.everybody(connection)
        ]
        asked = people.invitations(connection, now_ms)
    return {
        "people": rows,
        "invitations": asked,
        "called": {row.name for row in service.addresses.called()},
        "roles": ROLE_WORDS,
        "link": service.settings.link_base,
        "problem": None,
        "code": None,
        "invited": None,
    }


def _mine(service: Service, who: Who) -> dict[str, Any]:
    with service.store.read() as connection:
        sign_ins = people.sign_ins_of(connection, who.id, service.timeline.now_ms())
    return {"sign_ins": sign_ins, "shortest": passwords.SHORTEST, "problem": None}
