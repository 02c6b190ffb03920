"""The assessment as text for a terminal: what must change first, then what to watch, then what is fine."""

from __future__ import annotations

import textwrap

from logger.facts import Fact
from logger.plan.file import Plan
from logger.planning.assess import Assessment
from logger.planning.finding import Light
from logger.planning.physics.batches import Card
from logger.planning.readiness import SigningPoint
from logger.planning.verdict import Item
from logger.quantities import grams, mass, minutes, quantity, volume
from logger.words.phrase import phrase
from logger.words.render import say

WIDTH = 100
_WORDS = {Light.STOP: phrase("STOP"), Light.WATCH: phrase("WATCH"), Light.OK: phrase("ok")}

_TOPICS = {
    "volume": phrase("volume"),
    "cost": phrase("cost"),
    "mixing": phrase("mixing"),
    "layers": phrase("layers"),
    "assumed": phrase("assumed"),
    "room": phrase("room"),
    "form": phrase("form"),
    "wood": phrase("wood"),
    "air": phrase("air"),
    "sun": phrase("sun"),
    "colour": phrase("colour"),
    "heat tools": phrase("heat tools"),
}


def plan_report(plan: Plan, assessment: Assessment) -> str:
    """Return the whole report in the current reader's words. Every answer carries the constants it used and where they
    come from.
    """
    verdict = assessment.verdict
    lines = [plan.title, "=" * min(len(plan.title), WIDTH), say(verdict.headline)]
    if (q := assessment.quantity) is not None:
        lines.append(
            say(
                phrase(
                    "To mix: {litres}; {mass}.", litres=volume(q.total_l, None), mass=mass(q.total_kg, None)
                )
            )
        )
    lines.append("")
    fine = [Item(f.light, f.sentence, f.change, (), f) for f in assessment.at(Light.OK)]
    for heading, items in (
        (phrase("Must change before the pour"), verdict.stops),
        (phrase("Look at these"), verdict.watches),
        (phrase("Fine"), fine),
    ):
        if items:
            lines += _heading(heading)
            for item in items:
                lines += _item(item)
            lines.append("")
    for card in assessment.cards:
        lines += [*card_text(card), ""]
    lines += _heading(phrase("To sign before the pour"))
    for point in assessment.points:
        lines += _wrapped(say(_to_sign(point)), "  ")
    return "\n".join(lines).rstrip() + "\n"


def _to_sign(point: SigningPoint) -> Fact:
    """Return a point to sign: its question, by how many, with what evidence."""
    values = {"question": point.question, "evidence": point.evidence}
    if point.people == 2:
        asked = phrase("{question} (two people; {evidence})", **values)
        bare = phrase("{question} (two people)", question=point.question)
    else:
        asked = phrase("{question} (one person; {evidence})", **values)
        bare = phrase("{question} (one person)", question=point.question)
    said = asked if point.needs_photo else bare
    # The list above says what, and counts it once.
    if point.light is Light.STOP:
        return phrase("{point}: not before it is changed, see above", point=said)
    return phrase("{point}: look first, see above", point=said) if point.light is Light.WATCH else said


def card_text(card: Card) -> list[str]:
    """Return the mixing card as lines, for a terminal or a printer."""
    b, each = card.batches, card.each
    lines = _heading(phrase("Mixing card: {title}, layer {layer}", title=card.title, layer=card.layer))
    lines.append(
        _line(
            phrase(
                "{count} × {litres} ({mass}), each in a {pail} pail",
                count=b.count,
                litres=volume(b.litres_each, None),
                mass=mass(b.kg_each, None),
                pail=volume(b.pail_l, None),
            )
        )
    )
    ratios = [say(ratio.said) for ratio in (card.by_weight, card.by_volume) if ratio is not None]
    lines.append("  " + "  =  ".join(ratios))
    for letter, part, part_g, part_ml in (
        ("A", card.part_a, each.a_g, each.a_ml),
        ("B", card.part_b, each.b_g, each.b_ml),
    ):
        weighed = "" if part_g is None else say(grams(part_g))
        measured = "" if part_ml is None else say(quantity(part_ml, "mL", 0))
        both = f"{weighed}  ({measured})" if weighed and measured else weighed or measured
        lines.append(f"  {letter} {part}: {both}")
    if card.by_volume is None:
        lines.append(_line(phrase("by volume: not known without the density of both parts")))
    elif card.by_weight is None:
        lines.append(_line(phrase("by weight: not known without the density of both parts")))
    lines.append(
        _line(
            phrase(
                "poured out within {use_by} (workable for {workable})",
                use_by=minutes(card.use_by_min),
                workable=minutes(b.working_time_min),
            )
        )
    )
    lines += [f"  {say(minutes(step.at_min)):>8}  {say(step.what)}" for step in card.steps]
    for caution in card.cautions:
        lines += _wrapped(f"! {say(caution)}", "  ")
    return lines


def _item(item: Item) -> list[str]:
    finding = item.finding
    topic = say(_TOPICS.get(finding.topic, finding.topic) if finding else phrase("to sign"))
    lines = _wrapped(f"{say(_WORDS[item.light]):<5} {topic}: {say(item.sentence)}", "  ")
    if item.change:
        change = phrase("do: {change}", change=item.change)
        lines += _wrapped(say(change), "        ")
    if finding and finding.constants:
        constants = "; ".join(say(constant.said) for constant in finding.constants)
        lines += _wrapped(say(phrase("with {constants}", constants=constants)), "        ")
    return lines


def _heading(text: Fact) -> list[str]:
    said = say(text)
    return [said, "-" * len(said)]


def _line(text: Fact) -> str:
    return f"  {say(text)}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")
