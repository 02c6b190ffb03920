"""Who is asking, and whether they may. Stations show a token; people a sign-in cookie."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError
from fastapi import Depends, Request
from sqlalchemy import Row

from logger.errors import NotAllowed, NotFound
from logger.store.people import Role, owner_exists, person_by_name, signed_in
from logger.store.stations import by_token
from web.errors import Forbidden, SetUpNeeded, SignInNeeded
from web.service import Service

COOKIE = "pourlog_sign_in"
#: Shortest password, ASVS 5.0 6.2.1 (at least 8; longer is better).
SHORTEST_PASSWORD = 8
_RANK = {Role.VIEWER: 0, Role.MAKER: 1, Role.OWNER: 2}


@dataclass(frozen=True, slots=True)
class Who:
    """Somebody who is signed in."""

    id: int
    name: str
    role: Role
    sign_in_id: int

    def may(self, role: Role) -> bool:
        """Whether they hold that role or a higher one."""
        return _RANK[self.role] >= _RANK[role]


def service_of(request: Request) -> Service:
    """The running service."""
    service: Service = request.app.state.service
    return service


ServiceDep = Annotated[Service, Depends(service_of)]


def who_is(request: Request) -> Who | None:
    """Who is signed in, or None."""
    token = request.cookies.get(COOKIE)
    if not token:
        return None
    service = service_of(request)
    with service.store.read() as connection:
        found = signed_in(connection, token, service.timeline.now_ms())
    return None if found is None else Who(found.id, found.name, Role(found.role), found.sign_in_id)


def _signed_in(request: Request) -> Who:
    who = who_is(request)
    if who is None:
        with service_of(request).store.read() as connection:
            if not owner_exists(connection):
                raise SetUpNeeded("nobody owns this service yet; open its page and use the console's code")
        raise SignInNeeded("sign in first")
    request.state.who = who
    return who


def viewer(request: Request) -> Who:
    """Anybody who is signed in."""
    return _signed_in(request)


def maker(request: Request) -> Who:
    """A maker or owner, from one of our own pages. Raises Forbidden for a viewer or a foreign page."""
    who = _signed_in(request)
    own_page(request)
    if not who.may(Role.MAKER):
        raise Forbidden(f"{who.name} may look, not change; ask an owner for the maker's role")
    return who


def owner(request: Request) -> Who:
    """An owner, from one of our own pages."""
    who = _signed_in(request)
    own_page(request)
    if not who.may(Role.OWNER):
        raise Forbidden(f"only an owner may do this; {who.name} is a {who.role}")
    return who


def own_page(request: Request) -> None:
    """Refuses a change that another site's page asks for (the cookie is SameSite=Strict as well)."""
    site = request.headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        raise Forbidden("this change came from another site's page; open it from this service's own pages")
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise Forbidden("this change came from another site's page; open it from this service's own pages")


async def station(request: Request) -> Row[Any]:
    """The station whose token came with the request."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise SignInNeeded("a station shows its token: Authorization: Bearer …")
    # One indexed look-up: cheaper here than a hop to another thread and back for every batch.
    with service_of(request).store.read() as connection:
        try:
            return by_token(connection, token)
        except NotAllowed as error:
            raise SignInNeeded(str(error)) from error


ViewerDep = Annotated[Who, Depends(viewer)]
MakerDep = Annotated[Who, Depends(maker)]
OwnerDep = Annotated[Who, Depends(owner)]
StationDep = Annotated[Row[Any], Depends(station)]


@cache
def hasher() -> PasswordHasher:
    """Argon2id at 19 MiB, t=2, p=1: OWASP's minimum, fit for a machine of 1 GB."""
    return PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)


@cache
def _nobodys_hash() -> str:
    return hasher().hash("nobody has this password")


def check_password(service: Service, name: str, password: str) -> Row[Any]:
    """The person, if the password is theirs. An unknown name takes as long as a wrong password."""
    try:
        with service.store.read() as connection:
            person = person_by_name(connection, name.strip())
        kept = str(person.password_hash)
    except NotFound:
        person, kept = None, _nobodys_hash()
    try:
        hasher().verify(kept, password)
    except VerifyMismatchError as error:
        raise NotAllowed("name and password do not belong together") from error
    if person is None:
        raise NotAllowed("name and password do not belong together")
    return person
