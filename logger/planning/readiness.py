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
from logger.plan.file import Plan
from logger.planning.finding import PROJECT_CHOICE, Constant, Finding, Light, plain, worst


class Where(StrEnum):
    """Where a shop looks at a point: it is read at the desk, or walked to."""

    DESK = "desk"
    BENCH = "bench"
    FORM = "form"


@dataclass(frozen=True, slots=True)
class SigningPoint:
    """One point to sign. `people`: how many different persons; `evidence`: what is kept with the signature.

    where: where it is looked at;
    again: how the second check differs when the same person makes it; empty for a point of one person. unknown: what
    is not known that the question asks, each with how to make it known: such a point is signed with a reason only.
    """

    id: str
    question: str
    people: int
    evidence: str
    light: Light
    why: str
    again: str = ""
    unknown: tuple[str, ...] = ()
    where: Where = Where.DESK

    @property
    def needs_photo(self) -> bool:
        """Whether a photo is kept with the signature."""
        return "photo" in self.evidence

    @property
    def in_passing(self) -> bool:
        """Whether it may be signed together with the others of its place: nothing stops it, all of it is known."""
        return self.light is not Light.STOP and not self.unknown

    def to_json(self) -> dict[str, Any]:
        """Return the point as plain JSON types."""
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


#: between two checks of one point by the same person
SAME_PERSON = Constant("time between two checks by the same person", 10.0, "min", PROJECT_CHOICE)


@dataclass(frozen=True, slots=True)
class SecondCheck:
    """The second check of a point, made by the person who made the first: minutes later, with which photo's number."""

    minutes: float
    photo: int

    @property
    def words(self) -> str:
        """As it stands in the record."""
        return f"checked twice by the same person, {int(self.minutes)} min apart, photo {self.photo}"


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
                    f"override of {self.point}",
                    f"has no {word}",
                    value=value,
                    allowed="a name and a reason in words",
                    remedy=f"give the {word}",
                )


_NO_EVIDENCE, _PHOTO = "none", "photo"


@dataclass(frozen=True)
class _PointMaker:
    """Makes a point from the keys of the findings that decide its light."""

    by_key: dict[str, list[Finding]]

    def __call__(
        self,
        name: str,
        question: str,
        keys: Sequence[str],
        *,
        where: Where = Where.DESK,
        evidence: str = _NO_EVIDENCE,
        again: str = "",
        about: str = "",
    ) -> SigningPoint:
        """Return the point; of two persons where it says how to look again.

        about: only findings that name it in quotation marks.
        """
        meant = [
            f for key in keys for f in self.by_key.get(key, []) if not about or f'"{about}"' in f.sentence
        ]
        bad = [f for f in meant if f.light is not Light.OK]
        why = " ".join(f"{f.sentence} {f.change}".strip() for f in bad)
        people = 2 if again else 1
        light = worst(f.light for f in meant)
        return SigningPoint(name, question, people, evidence, light, why, again, where=where)


def points(plan: Plan, findings: Iterable[Finding]) -> list[SigningPoint]:
    """Return the points of this plan, in the order in which a shop comes to them."""
    by_key: dict[str, list[Finding]] = {}
    for finding in findings:
        by_key.setdefault(finding.key, []).append(finding)
    point = _PointMaker(by_key)
    checks = [
        point(
            "depth",
            "Is the depth of each layer allowed, and is the predicted peak bearable?",
            [
                "too-deep",
                "depth",
                "depth-unknown",
                "too-hot",
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
            "Are there enough of both parts on the bench for this volume?",
            ["volume", "volume-unknown", "stations-few", "refused-volume"],
            where=Where.BENCH,
            evidence=_PHOTO,
        ),
        point(
            "ratio",
            "Has the ratio been read twice, with its measure (weight or volume), off both labels?",
            ["ratio", "ratio-wrong", "ratio-chemistry", "mix-missing", "density-apart", "refused-mixing"],
            where=Where.BENCH,
            again="read it off the other part's label",
            evidence=_PHOTO,
        ),
        point(
            "batches",
            "Do pails, scale and hands suffice to mix and pour in time?",
            ["batches", "scale", "scale-missing"],
        ),
        point(
            "room",
            "Is the room within the limits now, and will it stay so through the night?",
            ["room", "room-warm", "room-cold", "heating", "heating-short", "refused-room"],
        ),
        point(
            "air",
            "Is the air dry enough, and is every surface warmer than its dew point?",
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
                f'Is "{slab.name}" dry all through?',
                ["damp", "moisture", "moisture-doubt", "moisture-unknown", "movement", "movement-wide"],
                where=Where.FORM,
                evidence="photo of the meter on the wood",
                about=slab.name,
            ),
            point(
                f"slab-{number}-edge",
                f'Are bark, dust and loose skin off "{slab.name}", down to sound wood?',
                ["bark", "bark-on", "seal-none", "seal-tacky", "seal-cured", "source-unknown"],
                where=Where.FORM,
                evidence=_PHOTO,
                about=slab.name,
            ),
        ]
    checks += [
        point(
            f"void-{number}",
            f'Is "{void.name}" taped from below, with a backing board over the tape?',
            ["void-open"],
            where=Where.FORM,
            evidence="photo from below",
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
                "Does everybody know when the next layer may go on, and when to scuff?",
                ["joint-too-early", "joint-bonds", "joint-scuff", "joint-unknown"],
            )
        )
    if plan.sun is not None:
        checks.append(point("sun", "Is the form out of the sun all day long?", ["sun"], where=Where.FORM))
    if plan.colour is not None:
        checks.append(
            point(
                "colour",
                "Has a cup at full depth been looked at?",
                ["colour"],
                where=Where.BENCH,
                evidence=_PHOTO,
            )
        )
    if plan.heat_tool is not None:
        checks.append(
            point(
                "heat-tool",
                "Do all who hold the gun know how short a pass is?",
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
            "Has the form been looked at twice from below: supports, span, braces, level?",
            ["sag", "sag-wide", "support-unknown", "walls", "refused-form"],
            where=Where.FORM,
            again="look from the other end of the form",
            evidence="photo of the underside",
        ),
        point(
            "seams",
            "Are all seams sealed and tested, and does the form let go?",
            ["seams", "seams-open", "seams-unknown", "face", "face-sticks", "face-unknown"],
            where=Where.FORM,
            again="test from the other end of the form",
            evidence=_PHOTO,
        ),
    ]
    if plan.slab:
        checks.append(
            point(
                "clamps",
                "Are the slabs held down against floating up?",
                ["floating", "floating-loose"],
                where=Where.FORM,
                evidence=_PHOTO,
            )
        )
    return checks


def _always(plan: Plan) -> list[SigningPoint]:
    """Points that no plan is without."""
    named = len({person.name.strip().casefold() for person in plan.person})
    why = {
        0: "Nobody is named. Name who pours and who checks.",
        1: "One person: what two should look at, the same one looks at again, at least 10 min later and with a photo.",
    }.get(named, "")
    light = Light.WATCH if why else Light.OK
    return [
        SigningPoint(
            "people", "Who pours, who checks, and who looks in the first hour?", 1, _NO_EVIDENCE, light, why
        ),
        SigningPoint(
            "protection",
            "Gloves, eye protection and fresh air, as the makers' safety data sheets ask?",
            1,
            _NO_EVIDENCE,
            Light.OK,
            "",
            where=Where.BENCH,
        ),
        SigningPoint(
            "fire",
            "If it smokes: does everybody know to leave, shut the door and call the fire service?",
            1,
            _NO_EVIDENCE,
            Light.OK,
            "",
            where=Where.FORM,
        ),
        SigningPoint(
            "leak-kit",
            "Is the leak kit at hand: tape, silicone or hot glue, rags, a tray?",
            1,
            _PHOTO,
            Light.OK,
            "",
            where=Where.FORM,
        ),
        SigningPoint(
            "watch",
            "Do all probes read, and does a message reach a phone?",
            1,
            _NO_EVIDENCE,
            Light.OK,
            "",
        ),
    ]


def obstacles(
    points: Sequence[SigningPoint], signatures: Iterable[Signature], overrides: Iterable[Override] = ()
) -> list[str]:
    """Return what still keeps the pour from starting, one sentence each; empty when it may start.

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
    reasons = []
    for point in points:
        names = signed.get(point.id, set())
        override = passed.get(point.id)
        let_pass = override is not None
        if override is not None and (point.unknown or override.as_open):
            # Whoever signs it as open, with a reason, has signed it: also when it has become known since.
            names = names | {override.person.strip().casefold()}
        by = max(len(names), 2 if point.id in twice else 0)
        if by < (1 if let_pass else point.people):
            other = f"{point.people - by} more" if by else "two persons" if point.people == 2 else "a person"
            alone = f", or yours again after {plain(SAME_PERSON.value)} min: {point.again}, with a photo"
            reasons.append(
                f"{point.question} Not signed yet: needs {other}{alone if by and point.again else ''}."
            )
        if point.needs_photo and point.id not in photos and not let_pass:
            reasons.append(f"{point.question} The {point.evidence} is missing.")
        if point.unknown and not let_pass:
            reasons.append(
                f"{point.question} Not known: {' '.join(point.unknown)} Make it known, or sign it as open with a "
                "reason."
            )
        if point.light is Light.STOP and not let_pass:
            reasons.append(
                f"{point.question} Stands at stop: {point.why} Mend it, or override by name and reason."
            )
    return reasons


def with_unknown(
    points: Iterable[SigningPoint], name: str, unknown: Sequence[str], doubts: Sequence[str] = ()
) -> tuple[SigningPoint, ...]:
    """Return the points, the one of that name with what is not known of it, and with doubts: then it is not ok."""
    return tuple(
        replace(
            point,
            light=worst([point.light, Light.WATCH]),
            why=" ".join([*filter(None, [point.why]), *unknown, *doubts]),
            unknown=tuple(unknown),
        )
        if (unknown or doubts) and point.id == name
        else point
        for point in points
    )
