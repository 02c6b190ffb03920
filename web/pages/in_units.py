"""Planning's sentences in somebody's units: "75 mm is too deep" becomes "2.95 in is too deep".

Planning writes every quantity as a number, a blank and its unit (logger/planning/findings.py, `plain`); a span or a
list has its unit once, at its end. Names in quotation marks are somebody's own words and stay as they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from logger import units
from logger.planning.findings import plain

#: One US fluid ounce in millilitres: a US gallon of 3.785411784 L has 128 (NIST SP 811, 2008, B.8).
ML_PER_US_FLUID_OUNCE = 1000 * units.LITRES_PER_US_GALLON / 128
_Rule = tuple[str, Callable[[float], float]]
#: A choice → unit as planned → (unit as shown, how to get there). A difference of temperatures is planned in K.
_RULES: dict[str, dict[str, _Rule]] = {
    "f": {"°C": ("°F", units.c_to_f), "K": ("°F", lambda kelvin: 1.8 * kelvin)},
    "in": {"mm": ("in", units.mm_to_in)},
    "gal": {
        "L": ("US gal", units.litres_to_us_gallons),
        "mL": ("US fl oz", lambda ml: ml / ML_PER_US_FLUID_OUNCE),
    },
    "lb": {"kg": ("lb", units.kg_to_lb), "g": ("lb", lambda grams: units.kg_to_lb(grams / 1000))},
    "c": {"K": ("°C", float)},
}
_NUMBER = r"(?<![\w.,])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
# Not "kg/m³", not "g A" of a part that is called so: a unit ends where a word ends and no other unit follows it.
_QUANTITY = re.compile(
    rf"({_NUMBER}(?:(?:, | and | to | to about ){_NUMBER})*) (°C|K|mm|mL|L|kg|g)(?![\w/·²³°])"
)


def in_units(text: str, *choices: str) -> str:
    """The sentence in the chosen units ("f", "in", "gal", "lb"; anything else stays metric)."""
    rules = {unit: rule for choice in choices for unit, rule in _RULES.get(choice, {}).items()}
    if not rules:
        return text

    def told(found: re.Match[str]) -> str:
        rule = rules.get(found[2])
        if rule is None:
            return found[0]
        unit, change = rule
        return f"{re.sub(_NUMBER, lambda n: plain(change(float(n[0]))), found[1])} {unit}"

    # Every other piece is a name in quotation marks.
    pieces = re.split(r'("[^"]*")', text)
    return "".join(piece if at % 2 else _QUANTITY.sub(told, piece) for at, piece in enumerate(pieces))
