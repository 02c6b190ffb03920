"""Are we really ready? The points that follow from this plan, who signs each, and what still stands in the way.

Not a fixed list: a plan without slabs has no point about bark. Experience is no exemption: every point is signed
by a named person, ratio and form by two. A point that stands at "stop" keeps the pour from starting unless somebody
overrides it by name and reason, which goes into the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from logger.errors import BadInput
from logger.plan.file import Plan
from logger.planning.finding import Finding, Light, plain, worst


@dataclass(frozen=True, slots=True)
class SigningPoint:
    """One point to sign. `people`: how many different persons; `evidence`: what is kept with the signature."""

    id: str
    question: str
    people: int
    evidence: str
    light: Light
    why: str

    def to_json(self) -> dict[str, Any]:
        """Return the point as plain JSON types."""
        return {
            "id": self.id,
            "question": self.question,
            "people": self.people,
            "evidence": self.evidence,
            "light": self.light.value,
            "why": self.why,
        }


@dataclass(frozen=True, slots=True)
class Signature:
    """Somebody says yes to a point."""

    point: str
    person: str
    has_photo: bool = False


@dataclass(frozen=True, slots=True)
class Override:
    """Somebody lets the pour start although a point stands at stop."""

    point: str
    person: str
    reason: str

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
        people: int = 1,
        evidence: str = _NO_EVIDENCE,
        about: str = "",
    ) -> SigningPoint:
        """Return the point. about: only findings that name it in quotation marks."""
        meant = [
            f for key in keys for f in self.by_key.get(key, []) if not about or f'"{about}"' in f.sentence
        ]
        bad = [f for f in meant if f.light is not Light.OK]
        why = " ".join(f"{f.sentence} {f.change}".strip() for f in bad)
        return SigningPoint(name, question, people, evidence, worst(f.light for f in meant), why)


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
            evidence=_PHOTO,
        ),
        point(
            "ratio",
            "Have two persons read the ratio off the datasheet, with its measure (weight or volume)?",
            ["ratio", "ratio-wrong", "ratio-chemistry", "mix-missing", "density-apart", "refused-mixing"],
            people=2,
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
                evidence="photo of the meter on the wood",
                about=slab.name,
            ),
            point(
                f"slab-{number}-edge",
                f'Are bark, dust and loose skin off "{slab.name}", down to sound wood?',
                ["bark", "bark-on", "seal-none", "seal-tacky", "seal-cured", "source-unknown"],
                evidence=_PHOTO,
                about=slab.name,
            ),
        ]
    checks += [
        point(
            f"void-{number}",
            f'Is "{void.name}" taped from below, with a backing board over the tape?',
            ["void-open"],
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
        checks.append(point("sun", "Is the form out of the sun all day long?", ["sun"]))
    if plan.colour is not None:
        checks.append(point("colour", "Has a cup at full depth been looked at?", ["colour"], evidence=_PHOTO))
    if plan.heat_tool is not None:
        checks.append(point("heat-tool", "Do all who hold the gun know how short a pass is?", ["heat-tool"]))
    return checks


def _form_points(plan: Plan, point: _PointMaker) -> list[SigningPoint]:
    if plan.pour.shape == "sheet" and plan.form.bottom.thickness_mm == 0:
        return []
    checks = [
        point(
            "form",
            "Have two persons looked under the form: supports, span, braces, level?",
            ["sag", "sag-wide", "support-unknown", "walls", "refused-form"],
            people=2,
            evidence="photo of the underside",
        ),
        point(
            "seams",
            "Are all seams sealed and tested, and does the form let go?",
            ["seams", "seams-open", "seams-unknown", "face", "face-sticks", "face-unknown"],
            people=2,
            evidence=_PHOTO,
        ),
    ]
    if plan.slab:
        checks.append(
            point(
                "clamps",
                "Are the slabs held down against floating up?",
                ["floating", "floating-loose"],
                evidence=_PHOTO,
            )
        )
    return checks


def _always(plan: Plan) -> list[SigningPoint]:
    """Points that no plan is without."""
    named = len({person.name.strip().casefold() for person in plan.person})
    light = Light.OK if named >= 2 else Light.STOP
    why = "" if named >= 2 else "Ratio and form need two different persons. Name two in [[person]]."
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
        ),
        SigningPoint(
            "fire",
            "If it smokes: does everybody know to leave, shut the door and call the fire service?",
            1,
            _NO_EVIDENCE,
            Light.OK,
            "",
        ),
        SigningPoint(
            "leak-kit",
            "Is the leak kit at hand: tape, silicone or hot glue, rags, a tray?",
            1,
            _PHOTO,
            Light.OK,
            "",
        ),
        SigningPoint(
            "watch",
            "Do all probes read, and did a test message reach a phone today?",
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
    for signature in signatures:
        name = signature.person.strip()
        if name:
            signed.setdefault(signature.point, set()).add(name.casefold())
        if signature.has_photo:
            photos.add(signature.point)
    passed = {override.point for override in overrides}
    reasons = []
    for point in points:
        by = len(signed.get(point.id, ()))
        let_pass = point.id in passed
        if by < (1 if let_pass else point.people):
            other = f"{point.people - by} more" if by else "two persons" if point.people == 2 else "a person"
            reasons.append(f"{point.question} Not signed yet: needs {other}.")
        if "photo" in point.evidence and point.id not in photos and not let_pass:
            reasons.append(f"{point.question} The {point.evidence} is missing.")
        if point.light is Light.STOP and not let_pass:
            reasons.append(
                f"{point.question} Stands at stop: {point.why} Mend it, or override by name and reason."
            )
    return reasons


def summary(points: Sequence[SigningPoint]) -> str:
    """One sentence: how the plan stands before anybody signs."""
    stops = [p for p in points if p.light is Light.STOP]
    watches = [p for p in points if p.light is Light.WATCH]
    if stops:
        return f"Not ready: {plain(len(stops))} point{'s' if len(stops) > 1 else ''} at stop."
    if watches:
        return f"Ready but for {plain(len(watches))} point{'s' if len(watches) > 1 else ''} to watch."
    return "Ready: every point stands at ok and waits for its signatures."
