"""Who has signed what, and whether a pour may start. The one place that says so, for pages and programs alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logger.errors import BadInput, NotAllowed, NotReady
from logger.planning.readiness import Override, Signature, SigningPoint, obstacles
from logger.pour import Stage
from logger.store import events, page_queries, pours
from logger.store.rows import ListedPour
from web.answers import OverrideAnswer, PointAnswer, ReadinessAnswer
from web.service.service import Service
from web.views.assessed import assessment_of

#: Longest name of a person who signs, and longest reason of an override.
LONGEST_NAME, LONGEST_REASON = 60, 2000


@dataclass(frozen=True)
class Readiness:
    """A plan's points with who signed them since it was last changed, and what is still in the way."""

    points: tuple[SigningPoint, ...]
    signatures: list[Signature]
    overrides: list[Override]

    @property
    def left(self) -> list[str]:
        """What still keeps the pour from starting, one sentence each."""
        return obstacles(self.points, self.signatures, self.overrides)

    def left_of(self, point: SigningPoint) -> list[str]:
        """Return what still stands in the way at one point."""
        return obstacles([point], self.signatures, self.overrides)

    def to_answer(self) -> ReadinessAnswer:
        """Return it as programs see it."""
        left = self.left
        return ReadinessAnswer(
            ready=not left, obstacles=left, points=[self._point(point) for point in self.points]
        )

    def _point(self, point: SigningPoint) -> PointAnswer:
        signed = [signature for signature in self.signatures if signature.point == point.id]
        passed = next((one for one in reversed(self.overrides) if one.point == point.id), None)
        return PointAnswer(
            **point.to_json(),
            signed_by=[signature.person for signature in signed],
            has_photo=any(signature.has_photo for signature in signed),
            override=None if passed is None else OverrideAnswer(by=passed.person, reason=passed.reason),
            obstacles=self.left_of(point),
        )


def readiness_of(connection: Connection, pour_id: int) -> Readiness:
    """How ready a pour is. Raises NotFound, BadPlan, DidNotConverge."""
    pour = pours.get_pour(connection, pour_id)
    return Readiness(assessment_of(pour.plan_toml).points, *page_queries.signatures_of(connection, pour_id))


def must_be_ready(connection: Connection, pour: ListedPour) -> Readiness:
    """How ready it is, if nothing stands in the way. Raises NotReady with everything that does."""
    readiness = readiness_of(connection, pour.id)
    if readiness.left:
        raise NotReady(f"pour {pour.id} ({pour.title}) may not start", readiness.left)
    return readiness


def sign(service: Service, pour_id: int, point: str, person: str, by: str) -> None:
    """Somebody says yes to a point; `by` is who was signed in. Raises NotAllowed, BadInput, NotFound."""
    name = _named(person)
    _note(service, pour_id, by, "signed", f"{point}: signed by {name}", {"point": point, "person": name})


def unsign(service: Service, pour_id: int, point: str, person: str, by: str) -> None:
    """Take a signature back. Raises as `sign`."""
    name = _named(person)
    words = f"{point}: {name} took the signature back"
    _note(service, pour_id, by, "unsigned", words, {"point": point, "person": name})


def let_pass(service: Service, pour_id: int, point: str, person: str, reason: str, by: str) -> None:
    """Let a point pass by name and reason; what it let pass goes into the record. Raises as `sign`."""
    name, why = _named(person), reason.strip()[:LONGEST_REASON]
    if not why:
        raise BadInput(
            "reason", "is empty", remedy="say why it is poured all the same; it stands in the record"
        )
    _note(service, pour_id, by, "override", why, {"point": point, "person": name, "reason": why})


def may_sign(service: Service, pour_id: int, point: str) -> None:
    """Raise NotAllowed once nothing is signed any more, BadInput for a point that the plan does not ask."""
    with service.store.read() as connection:
        _point_of_plan(connection, pour_id, point)


def _note(service: Service, pour_id: int, by: str, kind: str, text: str, data: dict[str, Any]) -> None:
    point = data["point"]
    may_sign(service, pour_id, point)  # solves the plan before the write lock is taken
    with service.store.write() as tx:
        about = _point_of_plan(tx, pour_id, point)
        if kind == "override":
            data = data | {"let_pass": readiness_of(tx, pour_id).left_of(about)}
        events.add_event(tx, pour_id, service.timeline.true_ms(), kind, by, text, data)
    service.news.publish("pour", pour=pour_id)


def _point_of_plan(connection: Connection, pour_id: int, point: str) -> SigningPoint:
    pour = pours.get_pour(connection, pour_id)
    if pour.stage != Stage.PLANNED:
        raise NotAllowed(f"pour {pour_id} is {pour.stage}: points are signed while it is planned")
    signing_point = next((p for p in assessment_of(pour.plan_toml).points if p.id == point), None)
    if signing_point is None:
        raise BadInput(
            "point", "is not asked by this plan", value=point, remedy="reload the page; the plan was changed"
        )
    return signing_point


def _named(person: str) -> str:
    name = " ".join(person.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise BadInput(
            "person",
            "has no name that can be kept",
            value=person,
            allowed=f"1 to {LONGEST_NAME} characters",
            remedy="say who signs",
        )
    return name
