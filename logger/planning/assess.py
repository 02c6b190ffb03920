"""The plan's assessment: every topic asked, every answer with its light, its constants and what to change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from logger.cure.advice.layering import LayerPlan
from logger.cure.solver.prediction import Prediction
from logger.errors import BadInput
from logger.facts import fact
from logger.plan.file import Plan
from logger.planning import readiness
from logger.planning.chances import RED_ABOVE, Chances, sure_peak_c
from logger.planning.cure_answers import CureAnswers, answers_of, ask_cure
from logger.planning.finding import Finding, Light
from logger.planning.findings import air, form, mixing, wood
from logger.planning.findings import layers as depth
from logger.planning.findings import volume as quantity
from logger.planning.physics.batches import Card
from logger.planning.physics.volume import Quantity
from logger.planning.verdict import PlanVerdict, verdict_of


@dataclass(frozen=True, slots=True)
class Assessment:
    """What planning says about one plan; layers: those that it advises instead, where it advises any."""

    findings: tuple[Finding, ...]
    points: tuple[readiness.SigningPoint, ...]
    cards: tuple[Card, ...]
    quantity: Quantity | None
    layers: LayerPlan | None = None

    @property
    def verdict(self) -> PlanVerdict:
        """Headline, list and count of what must change and what to look at."""
        return verdict_of(self.findings, self.points)

    @property
    def light(self) -> Light:
        """The most serious light of all findings and points."""
        return self.verdict.light

    @property
    def ready(self) -> bool:
        """Whether nothing stands at stop (signatures apart)."""
        return self.light is not Light.STOP

    def at(self, light: Light) -> list[Finding]:
        """Return the findings at that light."""
        return [finding for finding in self.findings if finding.light is light]

    def to_json(self) -> dict[str, Any]:
        """Return the assessment as plain JSON types."""
        q = self.quantity
        return {
            "light": self.light.value,
            "ready": self.ready,
            **self.verdict.to_json(),
            "volume": None
            if q is None
            else {
                "to_mix_l": q.total_l,
                "to_mix_gal": q.total_gal,
                "to_mix_kg": q.total_kg,
                "shape_l": q.shape_l,
                "voids_l": q.voids_l,
                "soak_l": q.soak_l,
                "waste_l": q.waste_l,
                "belly_l": q.belly_l,
            },
            "findings": [finding.to_json() for finding in self.findings],
            "points": [point.to_json() for point in self.points],
            "cards": [card.to_json() for card in self.cards],
        }


def assess(
    plan: Plan, prediction: Prediction | None = None, answers: CureAnswers | None = None
) -> Assessment:
    """Ask every topic about the plan.

    `answers` (deepest safe layer, joints between layers …) wins over what `prediction` alone gives; `assess_fully`
    asks for them all. A topic that refuses a value is a finding at stop that says so, and hides no other topic.
    """
    cure = answers if answers is not None else answers_of(plan, prediction)
    findings: list[Finding] = []
    belly = 0.0
    try:
        belly = form.belly_m3(plan, cure)
    except BadInput:
        # The form's own topic below tells this refusal; the volume is then given without a belly.
        belly = 0.0
    topics: tuple[tuple[str, Callable[[], list[Finding]]], ...] = (
        ("volume", lambda: quantity.findings(plan, belly)),
        ("mixing", lambda: mixing.findings(plan, belly)),
        ("layers", lambda: depth.findings(plan, cure)),
        ("form", lambda: form.findings(plan, cure)),
        ("wood", lambda: wood.findings(plan, cure)),
        ("air", lambda: air.findings(plan)),
    )
    for topic, ask in topics:
        try:
            findings += ask()
        except BadInput as refusal:
            findings.append(
                Finding(
                    topic,
                    f"refused-{topic}",
                    Light.STOP,
                    fact("topic-refused", refusal=refusal.fact),
                    change=refusal.remedy,
                )
            )
    refused = {finding.topic for finding in findings if finding.key.startswith("refused-")}
    return Assessment(
        findings=tuple(findings),
        points=tuple(readiness.points(plan, findings)),
        cards=() if refused & {"volume", "mixing"} else tuple(mixing.cards_of(plan, belly)),
        quantity=None if "volume" in refused else quantity.quantity_of(plan, belly),
        layers=cure.layers,
    )


def assess_fully(
    plan: Plan, prediction: Prediction | None = None, chances: Chances | None = None
) -> Assessment:
    """Return the assessment with everything that the cure model can say; what is advised was solved. Raises
    DidNotConverge.
    """
    cure = ask_cure(plan, prediction, chances)
    try:
        thick = form.thicker_panel(plan, cure)
    except BadInput:
        thick = None  # the form's own topic tells this refusal
    if thick is not None and cure.chances is not None and cure.chances.over <= RED_ABOVE:
        # A thicker bottom sags less and keeps more heat in: it is no advice where that may be too much.
        cure = replace(cure, thick_panel_c=sure_peak_c(thick))
    return assess(plan, answers=cure)
