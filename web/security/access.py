"""Who is asking, and whether they may: people by a sign-in cookie, stations by a token, onlookers by a shared link.

Every route names one of the dependencies below; `routes_table.py` lists which, and a test holds the two together.
"""

from __future__ import annotations

import hmac
import logging
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, Request
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from logger.errors import NotAllowed
from logger.store import people, pours, shared_links
from logger.store.events import must_be_own
from logger.store.people import Role, owner_exists, signed_in
from logger.store.rows import SharedLinkRow, StationRow
from logger.store.shared_links import LinkKind
from logger.store.shops import FIRST
from logger.store.stations import by_token, token_hash
from logger.words.phrase import phrase
from web.errors import Forbidden, LinkEnded, SetUpNeeded, SignInNeeded
from web.schemas import RowId
from web.service.service import Service

log = logging.getLogger(__name__)

#: The cookie of a sign-in; over HTTPS its name says that no other host and no plain connection can have set it.
COOKIE = "pourlog_sign_in"
#: Cookies of shared links: one for the board, one for the wall view, one for each pour's record.
SCREEN_COOKIE, WALL_COOKIE, RECORD_COOKIE = "pourlog_screen", "pourlog_wall", "pourlog_record_{}"
#: Stations whose tokens are remembered at most.
MOST_KNOWN = 50_000
#: What may be asked about a record from elsewhere: to read it, to prove it, to take it along, to delete it.
FOREIGN_MAY = frozenset(
    f"/pours/{{pour_id}}{rest}"
    for rest in ("", "/record", "/record.pdf", "/record/paper", "/photos/{name}", "/remove")
) | frozenset(
    f"/api/pours/{{pour_id}}{rest}"
    for rest in ("", "/record", "/everything", "/tables/{name}", "/bundle", "/verify", "/alarms", "/remove")
)
_RANK = {Role.SCREEN: -1, Role.VIEWER: 0, Role.MAKER: 1, Role.OWNER: 2}

#: A role as it stands inside a sentence.
ROLES = {
    Role.SCREEN: phrase("screen"),
    Role.VIEWER: phrase("viewer"),
    Role.MAKER: phrase("maker"),
    Role.OWNER: phrase("owner"),
}


@dataclass(frozen=True, slots=True)
class Who:
    """Somebody who is signed in; a wall screen has the id 0."""

    id: int
    name: str
    role: Role
    sign_in_id: int
    shop_id: int = FIRST
    #: In which units and language they read everywhere; None: as the workshop.
    units: str | None = None
    language: str | None = None

    def may(self, role: Role) -> bool:
        """Whether they hold that role or a higher one."""
        return _RANK[self.role] >= _RANK[role]


def service_of(request: Request) -> Service:
    """Return the running service."""
    service: Service = request.app.state.service
    return service


async def _service(request: Request) -> Service:
    return service_of(request)


# Awaited: a plain function would be handed to another thread for each request.
ServiceDep = Annotated[Service, Depends(_service)]


def secure(request: Request) -> bool:
    """Whether this came over HTTPS, ours or a proxy's."""
    return request.url.scheme == "https"


def cookie_name(request: Request) -> str:
    """Return the sign-in cookie's name on this connection (ASVS 5.0, 3.3.1)."""
    return f"__Host-{COOKIE}" if secure(request) else COOKIE


def who_is(request: Request) -> Who | None:
    """Who is signed in, or None."""
    token = request.cookies.get(cookie_name(request))
    if not token:
        return None
    service = service_of(request)
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        session = signed_in(connection, token, now_ms)
    if session is None:
        return None
    if now_ms - session.seen_ms > people.SEEN_EVERY_MS:
        try:
            with service.store.write() as tx:
                people.note_use(tx, session.sign_in_id, now_ms)
        except DBAPIError as error:
            # Whoever is signed in may look while nothing can be written: now most of all.
            log.warning("when a sign-in was last seen could not be noted: %s", error.orig)
    return Who(
        session.id,
        session.name,
        Role(session.role),
        session.sign_in_id,
        session.shop_id,
        session.units,
        session.language,
    )


def _signed_in(request: Request) -> Who:
    who = who_is(request)
    if who is None:
        with service_of(request).store.read() as connection:
            if not owner_exists(connection):
                raise SetUpNeeded(
                    phrase("nobody owns this service yet; open its page and use the console's code")
                )
        raise SignInNeeded(phrase("sign in first"))
    request.state.who = who
    _not_in_a_foreign_record(request)
    return who


def _not_in_a_foreign_record(request: Request) -> None:
    """Raise NotAllowed where a route that is about the shop's own pours is asked about a record from elsewhere."""
    number = str(request.path_params.get("pour_id", ""))
    route = request.scope.get("route")
    if not number.isdecimal() or len(number) > 10 or getattr(route, "path", "") in FOREIGN_MAY:
        return
    with service_of(request).store.read() as connection:
        must_be_own(int(number), pours.origin_of(connection, int(number)))


def viewer(request: Request) -> Who:
    """Anybody who is signed in."""
    return _signed_in(request)


def person(request: Request) -> Who:
    """Anybody who is signed in, changing something of their own, from one of our own pages."""
    who = _signed_in(request)
    own_page(request)
    return who


def maker(request: Request) -> Who:
    """Return a maker or owner, from one of our own pages. Raises Forbidden for a viewer or a foreign page."""
    who = person(request)
    if not who.may(Role.MAKER):
        raise Forbidden(
            phrase("{name} may look, not change; ask an owner for the maker's role", name=who.name)
        )
    return who


def owner(request: Request) -> Who:
    """Return an owner, from one of our own pages."""
    who = person(request)
    if not who.may(Role.OWNER):
        raise Forbidden(
            phrase("only an owner may do this; {who} is a {role}", who=who.name, role=ROLES[who.role])
        )
    return who


def onlooker(request: Request) -> Who:
    """Anybody who is signed in, or a wall screen by its link."""
    token = request.cookies.get(SCREEN_COOKIE)
    if token and who_is(request) is None:
        service = service_of(request)
        with service.store.read() as connection:
            link = shared_links.by_token(connection, token, service.timeline.now_ms(), LinkKind.SCREEN)
        if link is not None:
            who = Who(0, link.label, Role.SCREEN, 0, link.shop_id)
            request.state.who = who
            return who
    return _signed_in(request)


def reader(pour_id: RowId, request: Request) -> Who | None:
    """Anybody who is signed in, or whoever was given a link to this pour's record (None)."""
    token = request.cookies.get(RECORD_COOKIE.format(pour_id))
    if token and who_is(request) is None:
        service = service_of(request)
        with service.store.read() as connection:
            link = shared_links.by_token(connection, token, service.timeline.now_ms(), LinkKind.RECORD)
        if link is not None and link.pour_id == pour_id:
            return None
    return _signed_in(request)


def wall(request: Request) -> SharedLinkRow | None:
    """Return the link of a screen with the wall view; None for anybody who is signed in. Raises LinkEnded.

    The link comes first: whoever made it sees in their own browser what the screen shows.
    """
    token = request.cookies.get(WALL_COOKIE)
    if token:
        service = service_of(request)
        with service.store.read() as connection:
            link = shared_links.by_token(connection, token, service.timeline.now_ms(), LinkKind.WALL)
        if link is not None:
            request.state.who = Who(0, link.label, Role.SCREEN, 0, link.shop_id)
            return link
        if who_is(request) is None:
            raise LinkEnded(
                phrase("the link of this screen was ended; make a new one in the settings, and open it here")
            )
    _signed_in(request)
    return None


def own_page(request: Request) -> None:
    """Refuse a change that another site's page asks for (the cookie is SameSite=Strict as well).

    Browsers send Origin with every cross-site POST; Sec-Fetch-Site comes only over HTTPS and from loopback.
    """
    if request.method in ("GET", "HEAD"):
        return
    site = request.headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        raise Forbidden(
            phrase("this change came from another site's page; open it from this service's own pages")
        )
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise Forbidden(
            phrase("this change came from another site's page; open it from this service's own pages")
        )


async def station(request: Request) -> StationRow:
    """Return the station whose token came with the request."""
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token:
        raise SignInNeeded(phrase("a station shows its token: Authorization: Bearer …"))
    service = service_of(request)
    # Looked up once: whether the token still holds is asked again in the transaction that stores its batch.
    known_station = service.known_stations.get(token_hash(token))
    if known_station is not None:
        return known_station
    try:
        with service.store.read() as connection:
            row = by_token(connection, token)
    except NotAllowed as error:
        raise SignInNeeded(error.fact) from error
    except SQLAlchemyError:
        remembered = service.memory.stations.get(token_hash(token))
        if remembered is None:
            raise
        return remembered  # its batch cannot be stored, but its core's limit is looked at
    if len(service.known_stations) >= MOST_KNOWN:
        service.known_stations.clear()
    service.known_stations[token_hash(token)] = row
    return row


def operator(request: Request) -> None:
    """Whoever shows the operators' token; without one in the settings, whoever asks from this machine."""
    expected = service_of(request).settings.operating.metrics_token
    if expected is None:
        here = request.client is not None and request.client.host in ("127.0.0.1", "::1")
        if not here:
            raise SignInNeeded(
                phrase(
                    "figures are for this machine alone; set [operating] metrics_token to ask from another"
                )
            )
        return
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not hmac.compare_digest(token.encode(), expected.encode()):
        raise SignInNeeded(phrase("figures are shown for the operators' token: Authorization: Bearer …"))


OperatorDep = Annotated[None, Depends(operator)]
ViewerDep = Annotated[Who, Depends(viewer)]
OnlookerDep = Annotated[Who, Depends(onlooker)]
WallDep = Annotated[SharedLinkRow | None, Depends(wall)]
ReaderDep = Annotated[Who | None, Depends(reader)]
PersonDep = Annotated[Who, Depends(person)]
MakerDep = Annotated[Who, Depends(maker)]
OwnerDep = Annotated[Who, Depends(owner)]
StationDep = Annotated[StationRow, Depends(station)]
