"""Who has signed what, and whether a pour may start. The one place that says so, for pages and programs alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logger.errors import BadInput, NotAllowed, NotReady
from logger.facts import Fact, fact
from logger.planning.assess import Assessment
from logger.planning.readiness import (
    SAME_PERSON_MIN,
    Override,
    SecondCheck,
    Signature,
    SigningPoint,
    obstacles,
    with_unknown,
)
from logger.planning.verdict import PlanVerdict, verdict_of
from logger.pour import Stage
from logger.quantities import minutes as minutes_of
from logger.store import events, page_queries, pours
from logger.store.rows import ListedPour
from logger.words.phrase import phrase
from logger.words.reader import METRIC
from logger.words.render import said, say
from web.actions.watch_facts import POINT, doubts_of_watch, unknown_of_watch
from web.answers import OverrideAnswer, PointAnswer, ReadinessAnswer
from web.service.service import Service
from web.views.assessed import assessment_kept, assessment_of

#: Longest name of a person who signs, and longest reason of an override.
LONGEST_NAME, LONGEST_REASON = 60, 2000


@dataclass(frozen=True)
class Readiness:
    """A plan's points with who signed them since it was last changed, the plan's verdict, and what is in the way."""

    points: tuple[SigningPoint, ...]
    signatures: list[Signature]
    overrides: list[Override]
    verdict: PlanVerdict

    @property
    def left(self) -> list[Fact]:
        """What still keeps the pour from starting: of each its point's question, and what is left to do there."""
        return obstacles(self.points, self.signatures, self.overrides)

    def left_of(self, point: SigningPoint) -> list[Fact]:
        """Return what still stands in the way at one point."""
        return obstacles([point], self.signatures, self.overrides)

    def again_from_ms(self, point: SigningPoint, person: str) -> int | None:
        """Return from when the one person who has checked a point of two may check it again, ms; None: not at all."""
        signed = [signature for signature in self.signatures if signature.point == point.id]
        if not point.again or len(signed) != 1 or signed[0].again is not None:
            return None
        first = signed[0]
        if first.person.casefold() != person.casefold() or first.at_ms is None:
            return None
        return first.at_ms + round(SAME_PERSON_MIN * 60_000)

    def to_answer(self) -> ReadinessAnswer:
        """Return it as programs see it."""
        left = self.left
        return ReadinessAnswer(
            ready=not left,
            obstacles=[say(one, METRIC) for one in left],
            headline=say(self.verdict.headline, METRIC),
            stops=[say(item.sentence, METRIC) for item in self.verdict.stops],
            points=[self._point(point) for point in self.points],
        )

    def _point(self, point: SigningPoint) -> PointAnswer:
        signed = [signature for signature in self.signatures if signature.point == point.id]
        passed = next((one for one in reversed(self.overrides) if one.point == point.id), None)
        return PointAnswer(
            **said(point.to_json(), METRIC),
            signed_by=[signature.person for signature in signed],
            second_check=next((say(s.again.words, METRIC) for s in signed if s.again is not None), None),
            has_photo=any(signature.has_photo for signature in signed),
            override=None if passed is None else OverrideAnswer(by=passed.person, reason=passed.reason),
            obstacles=[say(one, METRIC) for one in self.left_of(point)],
        )


def readiness_of(service: Service, connection: Connection, pour_id: int) -> Readiness:
    """How ready a pour is; waits for its plan to be worked out. Raises NotFound, BadPlan, DidNotConverge."""
    pour = pours.get_pour(connection, pour_id)
    return readiness_with(service, connection, pour, _worked_out(service, pour))


def readiness_with(
    service: Service, connection: Connection, pour: ListedPour, assessment: Assessment
) -> Readiness:
    """How ready a pour is by an assessment of its plan."""
    points = assessment.points
    if pour.stage == Stage.PLANNED:
        # Later nobody can sign any more: what is not known then is told by the watch itself, and stops no pour.
        unknown = unknown_of_watch(service, connection, pour)
        points = with_unknown(points, POINT, unknown, doubts_of_watch(connection, pour))
    signatures, overrides = page_queries.signatures_of(connection, pour.id)
    passed = {override.point for override in overrides}
    return Readiness(
        points, signatures, overrides, verdict_of(assessment.findings, assessment.points, passed)
    )


def still_worked_out(service: Service, pour: ListedPour) -> bool:
    """Whether a pour's plan is being worked out, so that nothing can be signed yet; has it done where it is not."""
    if service.plan_work is None or assessment_kept(pour.plan_toml) is not None:
        return False
    service.plan_work.ask(pour.id, pour.plan_toml)
    return service.plan_work.trouble(pour.plan_toml) is None


def _worked_out(service: Service, pour: ListedPour) -> Assessment:
    if service.plan_work is not None and assessment_kept(pour.plan_toml) is None:
        service.plan_work.wait(pour.id, pour.plan_toml)
    return assessment_of(pour.plan_toml)


def must_be_ready(service: Service, connection: Connection, pour: ListedPour) -> Readiness:
    """How ready it is, if nothing stands in the way. Raises NotReady with everything that does."""
    readiness = readiness_of(service, connection, pour.id)
    if readiness.left:
        raise NotReady(
            phrase("pour {pour} ({title}) may not start", pour=str(pour.id), title=pour.title), readiness.left
        )
    return readiness


def sign(service: Service, pour_id: int, point: str, person: str, by: str) -> None:
    """Somebody says yes to a point; `by` is who was signed in. Raises NotAllowed, BadInput, NotFound."""
    name = _named(person)
    _note(
        service,
        pour_id,
        by,
        "signed",
        fact("event-signed-point", point=point, name=name),
        {"point": point, "person": name},
    )


def sign_again(service: Service, pour_id: int, point: str, person: str, by: str) -> None:
    """Note that the same person checked a point of two persons a second time, with a photo taken since the first.

    Raises NotAllowed with what is missing: the first check, the time between the two, the photo; raises as `sign`.
    """
    name = _named(person)
    may_sign_again(service, pour_id, point, name)
    with service.store.write() as tx:
        first_ms = _first_check(service, tx, pour_id, point, name)
        photos = page_queries.events_of_kind(tx, pour_id, "photo")
        since = [
            number
            for number, photo in enumerate(photos, start=1)
            if photo.facts.get("point") == point and photo.at_ms > first_ms
        ]
        if not since:
            raise NotAllowed(
                phrase(
                    "{point}: take a photo now; the second check by the same person needs one that is newer than the "
                    "first",
                    point=point,
                )
            )
        at_ms = service.timeline.true_ms()
        minutes = round((at_ms - first_ms) / 60_000, 1)
        data = {"point": point, "person": name, "minutes": minutes, "photo": since[-1]}
        words = fact(
            "event-signed-again", point=point, check=SecondCheck(minutes, since[-1]).words, name=name
        )
        events.add_event(tx, pour_id, at_ms, "signed-again", by, words, data)
    service.news.publish("pour", pour=pour_id)


def may_sign_again(service: Service, pour_id: int, point: str, person: str) -> None:
    """Raise NotAllowed where a point may not, or not yet, be checked again by the same person; raises as `sign`."""
    name = _named(person)
    may_sign(service, pour_id, point)
    with service.store.read() as connection:
        _first_check(service, connection, pour_id, point, name)


def _first_check(service: Service, connection: Connection, pour_id: int, point: str, name: str) -> int:
    """Return when somebody signed a point that they may check again now, ms. Raises NotAllowed where they may not."""
    about = _point_of_plan(service, connection, pour_id, point)
    signatures = [s for s in page_queries.signatures_of(connection, pour_id)[0] if s.point == point]
    mine = next((s for s in signatures if s.person.casefold() == name.casefold()), None)
    if not about.again:
        raise NotAllowed(phrase("{point}: one check is enough; it has no second one", point=point))
    if mine is None or mine.at_ms is None:
        raise NotAllowed(
            phrase(
                "{point}: {name} has not signed it yet; the second check follows the first",
                point=point,
                name=name,
            )
        )
    left_min = SAME_PERSON_MIN - (service.timeline.true_ms() - mine.at_ms) / 60_000
    if left_min > 0:
        raise NotAllowed(
            phrase(
                "{point}: too soon; the same person checks again after {wait}, {left} from now",
                point=point,
                wait=minutes_of(SAME_PERSON_MIN),
                left=minutes_of(round(left_min)),
            )
        )
    return mine.at_ms


def unsign(service: Service, pour_id: int, point: str, person: str, by: str) -> None:
    """Take a signature back. Raises as `sign`."""
    name = _named(person)
    words = fact("event-unsigned-point", point=point, name=name)
    _note(service, pour_id, by, "unsigned", words, {"point": point, "person": name})


def let_pass(service: Service, pour_id: int, point: str, person: str, reason: str, by: str) -> None:
    """Let a point pass by name and reason; what it let pass goes into the record. Raises as `sign`."""
    name, why = _named(person), reason.strip()[:LONGEST_REASON]
    if not why:
        raise BadInput(
            phrase("reason"),
            phrase("is empty"),
            remedy=phrase("say why it is poured all the same; it goes into the record"),
        )
    _note(service, pour_id, by, "override", why, {"point": point, "person": name, "reason": why})


def may_sign(service: Service, pour_id: int, point: str) -> None:
    """Raise NotAllowed once nothing is signed any more, BadInput for a point that the plan does not ask."""
    with service.store.read() as connection:
        _point_of_plan(service, connection, pour_id, point)


def _note(service: Service, pour_id: int, by: str, kind: str, text: str, data: dict[str, Any]) -> None:
    point = data["point"]
    may_sign(service, pour_id, point)  # solves the plan before the write lock is taken
    with service.store.write() as tx:
        about = _point_of_plan(service, tx, pour_id, point)
        if kind == "override":
            now = readiness_of(service, tx, pour_id)
            unknown = next((list(one.unknown) for one in now.points if one.id == point), [])
            data = data | {"let_pass": now.left_of(about), "unknown": unknown}
        events.add_event(tx, pour_id, service.timeline.true_ms(), kind, by, text, data)
    service.news.publish("pour", pour=pour_id)


def _point_of_plan(service: Service, connection: Connection, pour_id: int, point: str) -> SigningPoint:
    pour = pours.get_pour(connection, pour_id)
    if pour.stage != Stage.PLANNED:
        raise NotAllowed(
            phrase("pour {pour}: points are signed while it is planned, not later", pour=str(pour_id))
        )
    signing_point = next((p for p in _worked_out(service, pour).points if p.id == point), None)
    if signing_point is None:
        raise BadInput(
            phrase("point"),
            phrase("is not asked by this plan"),
            value=point,
            remedy=phrase("reload the page; the plan was changed"),
        )
    return signing_point


def _named(person: str) -> str:
    name = " ".join(person.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise BadInput(
            phrase("person"),
            phrase("has no name that can be kept"),
            value=person,
            allowed=phrase("1 to {most} characters", most=LONGEST_NAME),
            remedy=phrase("say who signs"),
        )
    return name
