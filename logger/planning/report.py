"""The assessment as text for a terminal: what must change first, then what to watch, then what is fine."""

from __future__ import annotations

import textwrap

from logger.plan.file import Plan
from logger.planning.assess import Assessment
from logger.planning.finding import Light, plain
from logger.planning.physics.batches import Card
from logger.planning.verdict import Item
from logger.units import kg_to_lb

WIDTH = 100
#: What follows a point to sign: the list above it says what, and counts it once.
_FIRST = {
    Light.STOP: ": not before it is changed, see above",
    Light.WATCH: ": look first, see above",
    Light.OK: "",
}
_WORDS = {Light.STOP: "STOP", Light.WATCH: "WATCH", Light.OK: "ok"}


def plan_report(plan: Plan, assessment: Assessment) -> str:
    """Return the whole report. Every answer carries the constants it used and where they come from."""
    verdict = assessment.verdict
    lines = [plan.title, "=" * min(len(plan.title), WIDTH), verdict.headline]
    if (q := assessment.quantity) is not None:
        lines.append(
            f"To mix: {plain(q.total_l)} L = {plain(q.total_gal)} US gal; {plain(q.total_kg)} kg = "
            f"{plain(kg_to_lb(q.total_kg))} lb."
        )
    lines.append("")
    fine = [Item(f.light, f.sentence, f.change, (), f) for f in assessment.at(Light.OK)]
    for heading, items in (
        ("Must change before the pour", verdict.stops),
        ("Look at these", verdict.watches),
        ("Fine", fine),
    ):
        if items:
            lines += [heading, "-" * len(heading)]
            for item in items:
                lines += _item(item)
            lines.append("")
    for card in assessment.cards:
        lines += [*card_text(card), ""]
    heading = "To sign before the pour"
    lines += [heading, "-" * len(heading)]
    for point in assessment.points:
        who = "two persons" if point.people == 2 else "one person"
        evidence = "" if point.evidence == "none" else f"; {point.evidence}"
        first = _FIRST[point.light]
        lines += _wrapped(f"{point.question} ({who}{evidence}){first}", "  ")
    return "\n".join(lines).rstrip() + "\n"


def card_text(card: Card) -> list[str]:
    """Return the mixing card as lines, for a terminal or a printer."""
    b, each = card.batches, card.each
    heading = f"Mixing card: {card.title}, layer {card.layer}"
    lines = [heading, "-" * len(heading)]
    lines.append(
        f"  {b.count} × {plain(b.litres_each)} L ({plain(b.kg_each)} kg), each in a {plain(b.pail_l)} L pail"
    )
    lines.append(
        "  " + "  =  ".join(str(ratio) for ratio in (card.by_weight, card.by_volume) if ratio is not None)
    )
    for letter, part, grams, millilitres in (
        ("A", card.part_a, each.a_g, each.a_ml),
        ("B", card.part_b, each.b_g, each.b_ml),
    ):
        weighed = None if grams is None else f"{grams:.0f} g"
        measured = None if millilitres is None else f"{millilitres:.0f} mL"
        both = f"{weighed}  ({measured})" if weighed and measured else weighed or measured
        lines.append(f"  {letter} {part}: {both}")
    if card.by_weight is None or card.by_volume is None:
        other = "volume" if card.by_volume is None else "weight"
        lines.append(f"  by {other}: not known without the density of both parts")
    lines.append(
        f"  poured out within {plain(card.use_by_min)} min (workable for {plain(b.working_time_min)} min)"
    )
    lines += [f"  {plain(step.at_min):>4} min  {step.what}" for step in card.steps]
    for caution in card.cautions:
        lines += _wrapped(f"! {caution}", "  ")
    return lines


def _item(item: Item) -> list[str]:
    finding = item.finding
    topic = finding.topic if finding else "to sign"
    lines = _wrapped(f"{_WORDS[item.light]:<5} {topic}: {item.sentence}", "  ")
    if item.change:
        lines += _wrapped(f"do: {item.change}", "        ")
    if finding and finding.constants:
        lines += _wrapped("with " + "; ".join(str(constant) for constant in finding.constants), "        ")
    return lines


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
