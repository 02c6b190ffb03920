"""The assessment as text for a terminal: what must change first, then what to watch, then what is fine."""

from __future__ import annotations

import textwrap

from logger.plan.file import Plan
from logger.planning.assess import Assessment
from logger.planning.finding import Finding, Light, plain
from logger.planning.physics.batches import Card
from logger.planning.readiness import summary
from logger.units import kg_to_lb

WIDTH = 100
_WORDS = {Light.STOP: "STOP", Light.WATCH: "WATCH", Light.OK: "ok"}


def plan_report(plan: Plan, assessment: Assessment) -> str:
    """Return the whole report. Every answer carries the constants it used and where they come from."""
    lines = [plan.title, "=" * min(len(plan.title), WIDTH), summary(assessment.points)]
    if (q := assessment.quantity) is not None:
        lines.append(
            f"To mix: {plain(q.total_l)} L = {plain(q.total_gal)} US gal; {plain(q.total_kg)} kg = "
            f"{plain(kg_to_lb(q.total_kg))} lb."
        )
    lines.append("")
    for light, heading in (
        (Light.STOP, "Must change before the pour"),
        (Light.WATCH, "Look at these"),
        (Light.OK, "Fine"),
    ):
        findings = assessment.at(light)
        if findings:
            lines += [heading, "-" * len(heading)]
            for finding in findings:
                lines += _finding(finding)
            lines.append("")
    for card in assessment.cards:
        lines += [*card_text(card), ""]
    heading = "To sign before the pour"
    lines += [heading, "-" * len(heading)]
    for point in assessment.points:
        who = "two persons" if point.people == 2 else "one person"
        evidence = "" if point.evidence == "none" else f"; {point.evidence}"
        lines += _wrapped(f"[{_WORDS[point.light]}] {point.question} ({who}{evidence})", "  ")
    return "\n".join(lines).rstrip() + "\n"


def card_text(card: Card) -> list[str]:
    """Return the mixing card as lines, for a terminal or a printer."""
    b, each = card.batches, card.each
    heading = f"Mixing card: {card.title}, layer {card.layer}"
    lines = [heading, "-" * len(heading)]
    lines.append(
        f"  {b.count} × {plain(b.litres_each)} L ({plain(b.kg_each)} kg), each in a {plain(b.pail_l)} L pail"
    )
    lines.append(f"  {card.by_weight}  =  {card.by_volume}")
    lines.append(f"  A {card.part_a}: {each.a_g:.0f} g  ({each.a_ml:.0f} mL)")
    lines.append(f"  B {card.part_b}: {each.b_g:.0f} g  ({each.b_ml:.0f} mL)")
    lines.append(
        f"  poured out within {plain(card.use_by_min)} min (workable for {plain(b.working_time_min)} min)"
    )
    lines += [f"  {plain(step.at_min):>4} min  {step.what}" for step in card.steps]
    for caution in card.cautions:
        lines += _wrapped(f"! {caution}", "  ")
    return lines


def _finding(finding: Finding) -> list[str]:
    lines = _wrapped(f"{_WORDS[finding.light]:<5} {finding.topic}: {finding.sentence}", "  ")
    if finding.change:
        lines += _wrapped(f"do: {finding.change}", "        ")
    if finding.constants:
        lines += _wrapped("with " + "; ".join(str(constant) for constant in finding.constants), "        ")
    return lines


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
