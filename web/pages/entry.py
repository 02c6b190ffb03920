"""The doors: first set-up with the console's code, sign in, sign out."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, NotAllowed
from logger.store import events, people
from web import access
from web.access import ServiceDep, ViewerDep
from web.pages.frame import page
from web.service import Service

router = APIRouter(include_in_schema=False)


@router.get("/set-up")
def set_up_page(request: Request, service: ServiceDep) -> Response:
    """Asks for the code, a name and a password; closed once there is an owner."""
    with service.store.read() as connection:
        if people.owner_exists(connection):
            return RedirectResponse("/sign-in", 303)
    return page(request, "set-up.html", {"problem": None, "shortest": access.SHORTEST_PASSWORD})


@router.post("/set-up")
def set_up(
    request: Request,
    service: ServiceDep,
    code: Annotated[str, Form(max_length=32)],
    name: Annotated[str, Form(max_length=100)],
    password: Annotated[str, Form(max_length=1000)],
) -> Response:
    """Makes the owner, once, for whoever can read the console."""
    access.own_page(request)
    try:
        if not service.setup_code_right(code):
            raise NotAllowed("that is not the code on the console; read it again, or restart for a new one")
        if len(password) < access.SHORTEST_PASSWORD:
            raise BadInput("password", "is too short", value=f"{len(password)} characters",
                           allowed=f"{access.SHORTEST_PASSWORD} or more", remedy="use a few words")  # fmt: skip
        if not name.strip():
            raise BadInput("name", "is empty", remedy="say who you are; alarms and records carry the name")
        now_ms = service.timeline.now_ms()
        kept = access.hasher().hash(password)
        with service.store.write() as tx:
            if people.owner_exists(tx):
                raise NotAllowed("this service has an owner already; sign in instead")
            person_id = people.add_person(tx, name.strip(), people.Role.OWNER, kept, now_ms)
            people.set_secret(tx, "set-up", None, now_ms)
            events.add_event(tx, None, now_ms, "owner-made", name.strip())
    except (NotAllowed, BadInput) as error:
        context = {"problem": str(error), "shortest": access.SHORTEST_PASSWORD}
        return page(request, "set-up.html", context, status=422)
    return _let_in(request, service, person_id, "/")


@router.get("/sign-in")
def sign_in_page(request: Request, then: str = "/") -> Response:
    """Asks for name and password."""
    return page(request, "sign-in.html", {"problem": None, "then": _own_path(then)})


@router.post("/sign-in")
def sign_in(
    request: Request,
    service: ServiceDep,
    name: Annotated[str, Form(max_length=100)],
    password: Annotated[str, Form(max_length=1000)],
    then: Annotated[str, Form(max_length=500)] = "/",
) -> Response:
    """Lets somebody in."""
    access.own_page(request)
    try:
        person = access.check_password(service, name, password)
    except NotAllowed as error:
        return page(request, "sign-in.html", {"problem": str(error), "then": _own_path(then)}, status=401)
    return _let_in(request, service, person.id, _own_path(then))


@router.post("/sign-out")
def sign_out(request: Request, service: ServiceDep, who: ViewerDep) -> Response:
    """Ends this browser's sign-in."""
    access.own_page(request)
    with service.store.write() as tx:
        people.end_sign_in(tx, who.sign_in_id, service.timeline.now_ms())
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(access.COOKIE)
    return answer


def _let_in(request: Request, service: Service, person_id: int, then: str) -> Response:
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        token = people.start_sign_in(tx, person_id, now_ms, request.headers.get("user-agent", ""))
    answer = RedirectResponse(then, 303)
    answer.set_cookie(
        access.COOKIE,
        token,
        max_age=people.SIGN_IN_MS // 1000,
        httponly=True,
        samesite="strict",
        secure=request.url.scheme == "https",
    )
    return answer


def _own_path(then: str) -> str:
    # Only a path of our own: "//elsewhere" and "https://…" would send somebody away after signing in.
    return then if then.startswith("/") and not then.startswith(("//", "/\\")) else "/"
