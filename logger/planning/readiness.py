"""Are we really ready? The points that follow from this plan, who signs each, and what still stands in the way.

Not a fixed list: a plan without slabs has no point about bark. Experience is no exemption: every point is signed by a
named person, ratio and form by two, or by one who looks twice, some time apart. A point that stands at "stop" keeps the
pour from starting unless somebody overrides it by name and reason, which goes into the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from logger.errors import BadInput
from logger.facts import NOTHING, Fact, fact, in_a_row
from logger.plan.file import Plan
from logger.planning.finding import Finding, Light, worst
from logger.quantities import minutes


class Where(StrEnum):
    """Where a shop looks at a point: it is read at the desk, or walked to."""

    DESK = "desk"
    BENCH = "bench"
    FORM = "form"


@dataclass(frozen=True, slots=True)
class SigningPoint:
    """One point to sign. `people`: how many different persons; `evidence`: what is kept with the signature, NO_EVIDENCE
    where that is nothing but the name.

    where: where it is looked at;
    why: what makes it more than a formality, NOTHING where it is one; because: the findings that this tells.
    again: how the second check differs when the same person makes it; NOTHING for a point of one person. unknown: what
    is not known that the question asks, each with how to make it known: such a point is signed with a reason only.
    """

    id: str
    question: Fact
    people: int
    evidence: Fact
    light: Light
    why: str = NOTHING
    again: str = NOTHING
    unknown: tuple[str, ...] = ()
    where: Where = Where.DESK
    because: tuple[Finding, ...] = ()

    @property
    def needs_photo(self) -> bool:
        """Whether a photo is kept with the signature."""
        return self.evidence != NO_EVIDENCE

    @property
    def in_passing(self) -> bool:
        """Whether it may be signed together with the others of its place: nothing stops it, all of it is known."""
        return self.light is not Light.STOP and not self.unknown

    def to_json(self) -> dict[str, Any]:
        """Return the point as plain JSON types, its facts as they are: put into words at the rim."""
        return {
            "id": self.id,
            "question": self.question,
            "people": self.people,
            "evidence": self.evidence,
            "light": self.light.value,
            "why": self.why,
            "again": self.again,
            "unknown": list(self.unknown),
            "where": self.where.value,
        }


#: Least time between two checks of one point by the same person, minutes (this project's choice, no standard).
SAME_PERSON_MIN = 10.0


@dataclass(frozen=True, slots=True)
class SecondCheck:
    """The second check of a point, made by the person who made the first: minutes later, with which photo's number."""

    minutes: float
    photo: int

    @property
    def words(self) -> Fact:
        """As it stands in the record."""
        return fact("checked-twice", apart=minutes(int(self.minutes)), photo=str(self.photo))


@dataclass(frozen=True, slots=True)
class Signature:
    """Somebody says yes to a point; at_ms: when, where it is known; again: and looked at it a second time."""

    point: str
    person: str
    has_photo: bool = False
    at_ms: int | None = None
    again: SecondCheck | None = None


@dataclass(frozen=True, slots=True)
class Override:
    """Somebody lets the pour start although a point stands at stop, or, as_open, although it is not known."""

    point: str
    person: str
    reason: str
    as_open: bool = False

    def __post_init__(self) -> None:
        for word, value in (("person", self.person), ("reason", self.reason)):
            if not value.strip():
                raise BadInput(
                    fact("exception-at", point=self.point),
                    fact(f"has-no-{word}"),
                    value=value,
                    allowed=fact("name-and-reason"),
                    remedy=fact(f"give-the-{word}"),
                )


NO_EVIDENCE, PHOTO = fact("evidence-none"), fact("evidence-photo")


@dataclass(frozen=True)
class _PointMaker:
    """Makes a point from the keys of the findings that decide its light."""

    by_key: dict[str, list[Finding]]

    def __call__(
        self,
        name: str,
        question: Fact,
        keys: Sequence[str],
        *,
        where: Where = Where.DESK,
        evidence: Fact = NO_EVIDENCE,
        again: str = NOTHING,
        about: str = "",
    ) -> SigningPoint:
        """Return the point; of two persons where it says how to look again.

        about: only findings that are about it, by its name.
        """
        meant = [f for key in keys for f in self.by_key.get(key, []) if not about or f.about == about]
        bad = tuple(f for f in meant if f.light is not Light.OK)
        why = in_a_row([said for f in bad for said in (f.sentence, f.change) if said])
        return SigningPoint(
            name,
            question,
            2 if again else 1,
            evidence,
            worst(f.light for f in meant),
            why,
            again,
            where=where,
            because=bad,
        )


def points(plan: Plan, findings: Iterable[Finding]) -> list[SigningPoint]:
    """Return the points of this plan, in the order in which a shop comes to them."""
    by_key: dict[str, list[Finding]] = {}
    for finding in findings:
        by_key.setdefault(finding.key, []).append(finding)
    point = _PointMaker(by_key)
    checks = [
        point(
            "depth",
            fact("ask-depth"),
            [
                "too-deep",
                "depth",
                "depth-unknown",
                "too-hot",
                "peak-open",
                "peak-close",
                "peak",
                "void-hot",
                "underside-unsaid",
                "widest",
                "spread",
                "refused-layers",
            ],
        ),
        point(
            "volume",
            fact("ask-volume"),
            ["volume", "volume-unknown", "stations-few", "refused-volume"],
            where=Where.BENCH,
            evidence=PHOTO,
        ),
        point(
            "ratio",
            fact("ask-ratio"),
            ["ratio", "ratio-wrong", "ratio-chemistry", "mix-missing", "density-apart", "refused-mixing"],
            where=Where.BENCH,
            again=fact("again-ratio"),
            evidence=PHOTO,
        ),
        point(
            "batches",
            fact("ask-batches"),
            ["batches", "scale", "scale-missing"],
        ),
        point(
            "room",
            fact("ask-room"),
            ["room", "room-warm", "room-cold", "heating", "heating-short", "refused-room"],
        ),
        point(
            "air",
            fact("ask-air"),
            ["air", "air-damp", "humidity-unknown", "heater-flame", "refused-air"],
        ),
    ]
    checks += _form_points(plan, point)
    checks += _wood_points(plan, point)
    checks += _points_of_options(plan, point)
    return [*checks, *_always(plan)]


def _wood_points(plan: Plan, point: _PointMaker) -> list[SigningPoint]:
    """Points of each slab and of each void that goes through."""
    checks = []
    for number, slab in enumerate(plan.slab, start=1):
        checks += [
            point(
                f"slab-{number}-moisture",
                fact("ask-moisture", slab=slab.name),
                ["damp", "moisture", "moisture-doubt", "moisture-unknown", "movement", "movement-wide"],
                where=Where.FORM,
                evidence=fact("evidence-meter"),
                about=slab.name,
            ),
            point(
                f"slab-{number}-edge",
                fact("ask-edge", slab=slab.name),
                ["bark", "bark-on", "seal-none", "seal-tacky", "seal-cured", "source-unknown"],
                where=Where.FORM,
                evidence=PHOTO,
                about=slab.name,
            ),
        ]
    checks += [
        point(
            f"void-{number}",
            fact("ask-void", void=void.name),
            ["void-open"],
            where=Where.FORM,
            evidence=fact("evidence-from-below"),
            about=void.name,
        )
        for number, void in enumerate(plan.void, start=1)
        if void.through
    ]
    return checks


def _points_of_options(plan: Plan, point: _PointMaker) -> list[SigningPoint]:
    """Points of layers, sun, colour and heat tools, where the plan has them."""
    checks = []
    if plan.layer:
        checks.append(
            point(
                "layers",
                fact("ask-layers"),
                ["joint-too-early", "joint-bonds", "joint-scuff", "joint-unknown"],
            )
        )
    if plan.sun is not None:
        checks.append(point("sun", fact("ask-sun"), ["sun"], where=Where.FORM))
    if plan.colour is not None:
        checks.append(
            point(
                "colour",
                fact("ask-colour"),
                ["colour"],
                where=Where.BENCH,
                evidence=PHOTO,
            )
        )
    if plan.heat_tool is not None:
        checks.append(
            point(
                "heat-tool",
                fact("ask-heat-tool"),
                ["heat-tool"],
                where=Where.BENCH,
            )
        )
    return checks


def _form_points(plan: Plan, point: _PointMaker) -> list[SigningPoint]:
    if plan.pour.shape == "sheet" and plan.form.bottom.thickness_mm == 0:
        return []
    checks = [
        point(
            "form",
            fact("ask-form"),
            ["sag", "sag-wide", "support-unknown", "walls", "refused-form"],
            where=Where.FORM,
            again=fact("again-form"),
            evidence=fact("evidence-underside"),
        ),
        point(
            "seams",
            fact("ask-seams"),
            ["seams", "seams-open", "seams-unknown", "face", "face-sticks", "face-unknown"],
            where=Where.FORM,
            again=fact("again-seams"),
            evidence=PHOTO,
        ),
    ]
    if plan.slab:
        checks.append(
            point(
                "clamps",
                fact("ask-clamps"),
                ["floating", "floating-loose"],
                where=Where.FORM,
                evidence=PHOTO,
            )
        )
    return checks


def _always(plan: Plan) -> list[SigningPoint]:
    """Points that no plan is without."""
    named = len({person.name.strip().casefold() for person in plan.person})
    why: str = NOTHING
    if named == 0:
        why = fact("nobody-named")
    elif named == 1:
        why = fact("one-person", wait=minutes(SAME_PERSON_MIN))
    light = Light.WATCH if why else Light.OK
    return [
        SigningPoint("people", fact("ask-people"), 1, NO_EVIDENCE, light, why),
        SigningPoint(
            "protection",
            fact("ask-protection"),
            1,
            NO_EVIDENCE,
            Light.OK,
            where=Where.BENCH,
        ),
        SigningPoint(
            "fire",
            fact("ask-fire"),
            1,
            NO_EVIDENCE,
            Light.OK,
            where=Where.FORM,
        ),
        SigningPoint(
            "leak-kit",
            fact("ask-leak-kit"),
            1,
            PHOTO,
            Light.OK,
            where=Where.FORM,
        ),
        SigningPoint(
            "watch",
            fact("ask-watch"),
            1,
            NO_EVIDENCE,
            Light.OK,
        ),
    ]


def obstacles(
    points: Sequence[SigningPoint], signatures: Iterable[Signature], overrides: Iterable[Override] = ()
) -> list[Fact]:
    """Return what still keeps the pour from starting, each with its point's question and what is left to do there
    (its value `left`); empty when it may start.

    An override lets one point pass that stands at stop, or for which the second pair of eyes or the photo cannot be
    had. It does not stand in for the first signature: every point has been looked at by somebody with a name.
    """
    signed: dict[str, set[str]] = {}
    photos: set[str] = set()
    twice: set[str] = set()
    for signature in signatures:
        name = signature.person.strip()
        if name:
            signed.setdefault(signature.point, set()).add(name.casefold())
        if signature.has_photo:
            photos.add(signature.point)
        if signature.again is not None:
            twice.add(signature.point)
    passed = {override.point: override for override in overrides}
    reasons: list[Fact] = []
    for point in points:
        names = signed.get(point.id, set())
        override = passed.get(point.id)
        let_pass = override is not None
        if override is not None and (point.unknown or override.as_open):
            # Whoever signs it as open, with a reason, has signed it: also when it has become known since.
            names = names | {override.person.strip().casefold()}
        by = max(len(names), 2 if point.id in twice else 0)
        if by < (1 if let_pass else point.people):
            reasons.append(_left(point, _unsigned(point, by)))
        if point.needs_photo and point.id not in photos and not let_pass:
            reasons.append(_left(point, fact("left-photo", evidence=point.evidence)))
        if point.unknown and not let_pass:
            reasons.append(_left(point, fact("left-unknown", unknown=in_a_row(point.unknown))))
        if point.light is Light.STOP and not let_pass:
            reasons.append(_left(point, fact("left-blocked", why=point.why)))
    return reasons


def _left(point: SigningPoint, left: Fact) -> Fact:
    return fact("left-at-point", question=point.question, left=left)


def _unsigned(point: SigningPoint, by: int) -> Fact:
    """Return who still has to sign a point that so many have signed."""
    if not by:
        return fact("left-two-people" if point.people == 2 else "left-one-person")
    if not point.again:
        return fact("left-one-more")
    return fact("left-one-more-or-again", wait=minutes(SAME_PERSON_MIN), again=point.again)


def with_unknown(
    points: Iterable[SigningPoint], name: str, unknown: Sequence[str], doubts: Sequence[str] = ()
) -> tuple[SigningPoint, ...]:
    """Return the points, the one of that name with what is not known of it, and with doubts: then it is not ok."""
    return tuple(
        replace(
            point,
            light=worst([point.light, Light.WATCH]),
            why=in_a_row([said for said in (point.why, *unknown, *doubts) if said]),
            unknown=tuple(unknown),
        )
        if (unknown or doubts) and point.id == name
        else point
        for point in points
    )
