"""Points signed together where they are looked at: at the desk, at the bench, at the form.

What is told apart stays apart: each point gets its own signature and its own photo event. A point that stands at stop,
or of which something is not known, is never signed in passing.
"""

from __future__ import annotations

from collections.abc import Sequence

from logger.errors import BadInput, NotAllowed
from logger.planning.readiness import SigningPoint, Where
from logger.words.phrase import phrase
from web.actions.photos import keep_photo_of_points
from web.actions.readiness import Readiness, may_sign_again, readiness_of, sign, sign_again
from web.service.service import Service


def to_sign(state: Readiness, where: Where, person: str) -> list[SigningPoint]:
    """Return the points of a place that this person has not signed and may sign together."""
    mine = {s.point for s in state.signatures if s.person.casefold() == person.casefold()}
    return [
        point
        for point in state.points
        if point.where is where and point.in_passing and point.id not in mine and state.left_of(point)
    ]


def without_photo(state: Readiness, points: Sequence[SigningPoint]) -> list[SigningPoint]:
    """Return those of the points that still need their photo."""
    pictured = {s.point for s in state.signatures if s.has_photo}
    return [point for point in points if point.needs_photo and point.id not in pictured]


def to_check_again(state: Readiness, where: Where, person: str) -> tuple[list[SigningPoint], int]:
    """Return the points of a place that this person alone has signed once, and from when they may check again, ms."""
    from_ms = {
        point: at_ms
        for point in state.points
        if point.where is where and state.left_of(point)
        if (at_ms := state.again_from_ms(point, person)) is not None
    }
    return list(from_ms), max(from_ms.values(), default=0)


def sign_place(
    service: Service, pour_id: int, where: str, person: str, by: str, photos: Sequence[bytes]
) -> None:
    """Sign the points of a place together, with the photos that were taken there.

    Without a photo the points are signed all the same; those that need one say so. Raises NotAllowed when nothing is
    left to sign there, and as `sign`.
    """
    state = _state(service, pour_id)
    place = place_of(where)
    points = to_sign(state, place, person)
    missing = without_photo(state, points or [p for p in state.points if p.where is place])
    if not points and not (photos and missing):
        raise NotAllowed(
            phrase(
                "{where}: nothing is left here that may be signed together; look at what is still open",
                where=where,
            )
        )
    for raw in photos:
        keep_photo_of_points(service, pour_id, raw, by, [point.id for point in missing])
    for point in points:
        sign(service, pour_id, point.id, person, by)


def check_place_again(
    service: Service, pour_id: int, where: str, person: str, by: str, photos: Sequence[bytes]
) -> None:
    """Note the second check of a place's points by the person who made the first. Raises as `sign_again`."""
    state = _state(service, pour_id)
    points, _from_ms = to_check_again(state, place_of(where), person)
    if not points:
        raise NotAllowed(
            phrase("{where}: nothing here waits for a second check by {person}", where=where, person=person)
        )
    for point in points:
        may_sign_again(service, pour_id, point.id, person)
    if not photos:
        raise BadInput(
            phrase("photo"),
            phrase("is missing"),
            remedy=phrase("take one now; the second check needs a newer photo"),
        )
    for raw in photos:
        keep_photo_of_points(service, pour_id, raw, by, [point.id for point in points])
    for point in points:
        sign_again(service, pour_id, point.id, person, by)


def place_of(where: str) -> Where:
    """Return the place of a name. Raises BadInput."""
    try:
        return Where(where)
    except ValueError as error:
        raise BadInput(
            phrase("place"),
            phrase("is none where points are looked at"),
            value=where,
            allowed=", ".join(Where),
        ) from error


def _state(service: Service, pour_id: int) -> Readiness:
    with service.store.read() as connection:
        return readiness_of(service, connection, pour_id)
