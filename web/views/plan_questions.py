"""What a plan's page asks next: one question, the one that would change the answer most. Pure.

First what stands at stop for want of data; then what may move the peak over its limit; then the rest of what moves the
peak by more than a kelvin; then what is not known yet, in the order of the work.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from logger.plan.file import Plan
from logger.planning.finding import Finding, Light
from logger.quantities import difference
from logger.words.phrase import phrase

#: What moves the peak by less is not worth a question, K (this project's choice).
WORTH_K = 1.0


@dataclass(frozen=True, slots=True)
class Question:
    """One question: which section it belongs to, and which of its fields are asked (names or their beginnings).

    stops: the plan stands at stop for want of its answer. new: it asks for rows that the plan has not yet.
    """

    name: str
    section: str
    title: str
    fields: tuple[str, ...]
    why: str = ""
    stops: bool = False
    new: bool = False

    def asks(self, name: str) -> bool:
        """Whether it asks for the field of that name."""
        return any(
            name == one or (one.endswith(".") and name.startswith(one)) or name.endswith(f".{one}")
            for one in self.fields
        )


#: What may move the peak: the names of plan_effects.
_MOVES = {
    "underside": Question(
        "underside",
        "form",
        phrase("Does air move freely under the form, or does it stand on a bench?"),
        ("form.underside",),
    ),
    "night": Question("night", "room", phrase("How warm is the room through the night?"), ("air.room_c.",)),
    "start": Question("start", "piece", phrase("How warm is the mix as you pour it?"), ("pour.start_c",)),
    "panel": Question(
        "panel", "form", phrase("How thick is the bottom panel?"), ("form.bottom.thickness_mm",)
    ),
}
#: Finding → what is asked for it, in the order of the work.
_ASKS = {
    "volume-unknown": Question("length", "piece", phrase("How long is the pour?"), ("pour.length_mm",)),
    "slabs-missing": Question(
        "slabs",
        "slabs",
        phrase("Which slabs, and how damp are they?"),
        ("name", "species", "thickness_mm", "width_mm", "length_mm", "meter.readings_pct", "bark", "seal"),
        new=True,
    ),
    "moisture-unknown": Question(
        "moisture", "slabs", phrase("How damp is the slab?"), ("meter.readings_pct",)
    ),
    "bark-on": Question("bark", "slabs", phrase("Is the bark off?"), ("bark",)),
    "support-unknown": Question(
        "support",
        "form",
        phrase("What does the bottom panel rest on?"),
        ("form.support.span_mm", "form.support.supports", "form.support.panel"),
    ),
    "floating-loose": Question(
        "clamps", "form", phrase("What holds the slabs down?"), ("form.clamp.count", "form.clamp.force_n")
    ),
    "seams-unknown": Question(
        "seams", "form", phrase("Are the seams sealed and tested?"), ("form.seam.sealed", "form.seam.tested")
    ),
    "face-unknown": Question(
        "face",
        "form",
        phrase("What does the resin touch in the form?"),
        ("form.face.material", "form.face.taped", "form.face.release"),
    ),
    "mix-missing": Question(
        "ratio", "mix", phrase("How are the two parts mixed?"), ("mix.ratio_parts", "mix.ratio_by")
    ),
    "scale-missing": Question("scale", "mix", phrase("How fine is the scale?"), ("scale.resolution_g",)),
    "humidity-unknown": Question(
        "humidity", "room", phrase("How damp is the air?"), ("air.relative_humidity_pct",)
    ),
    "void-open": Question("void", "voids", phrase("Is the hole closed from behind?"), ("backed",)),
}
_PEOPLE = Question("people", "mix", phrase("Who pours, and who checks?"), ("name",), new=True)


def questions_of(
    plan: Plan, findings: Mapping[str, Finding], effects: Mapping[str, float], peak_c: float | None
) -> list[Question]:
    """Return what is still asked, the most telling first. findings: by key; effects: K, by plan_effects' names."""
    lights = {key: findings[key].light for key in _ASKS if key in findings}
    stops = [replace(_ASKS[key], stops=True) for key, light in lights.items() if light is Light.STOP]
    rest = [_ASKS[key] for key, light in lights.items() if light is Light.WATCH]
    moving = [
        (effect, _because(_MOVES[name], effect, plan, peak_c))
        for name, effect in effects.items()
        if effect >= WORTH_K
    ]
    if not effects and "underside-unsaid" in findings:
        moving.append((WORTH_K, _MOVES["underside"]))
    moving.sort(key=lambda one: -one[0])
    people = [] if plan.person else [_PEOPLE]
    return [*stops, *(question for _, question in moving), *rest, *people]


def finding_asked(question: Question) -> str:
    """Return the key of the finding that a question's answer would settle; empty where none says that it is open."""
    if question.name == "underside":
        return "underside-unsaid"
    return next((key for key, one in _ASKS.items() if one.name == question.name), "")


def _because(question: Question, effect_k: float, plan: Plan, peak_c: float | None) -> Question:
    limit_c = plan.resin.limits.max_core_c
    over = peak_c is not None and peak_c <= limit_c < peak_c + effect_k
    effect = difference(effect_k, 0)
    words = (
        phrase("It may move the hottest point by {effect}, over the limit.", effect=effect)
        if over
        else phrase("It may move the hottest point by {effect}.", effect=effect)
    )
    return replace(question, why=words)
