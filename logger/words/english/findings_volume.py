"""Findings on how much resin, what it costs, and voids that go right through."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "volume-unknown": "The volume is not known: the plan has no length.",
    "give-length": "Give the length, or widths at places along it, or points around its edge.",
    "mix-in-all": "Mix {volume} in all ({mass}): {parts}.",
    "litres-of-shape": "{volume} shape",
    "litres-of-voids": "{volume} voids",
    "litres-of-soak": "{volume} soak",
    "litres-of-waste": "{volume} waste",
    "litres-of-belly": "{volume} belly",
    "cost-in-all": "Resin and extras: {cost} ({mass}).",
    "void-open": '"{void}" goes right through and has no backing: it will drain.',
    "back-void": 'Tape over "{void}" from below and screw or clamp a backing board over the tape.',
    "stations-few": "The edge turns more than the stations show: two rules of area differ by {difference}.",
    "measure-more-stations": "Measure the width at twice as many stations.",
}
