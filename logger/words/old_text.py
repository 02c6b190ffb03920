"""Sentences from before decisions carried facts: kept rows and sealed records.

A quantity in one is a mark, "{63.625 °C|1}" (logger/facts.py), or stands there as a number with its unit.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from logger import units
from logger.facts import BEGINS, LARGEST, Quantity, parsed
from logger.units import plain
from logger.words.reader import ML_PER_US_FLUID_OUNCE, Reader

_Change = Callable[[float], float]
#: Number, unit, and how many decimals are shown where that is not as many as the number has.
_MARK = re.compile(r"\{([+-]?\d+(?:\.(\d+))?) (°C|K/h|K|mm|mL|L|kg|g|h|min|ms|s|chance)(?:\|(\d))?\}")


def shown(text: str, reader: Reader) -> str:
    """Return a sentence with its marks written for a reader; all else in it stays as it is."""

    def written(match: re.Match[str]) -> str:
        if abs(float(match[1])) > LARGEST:
            return match[0]  # somebody typed it
        digits = int(match[4]) if match[4] else len(match[2] or "")
        return reader.quantity(Quantity(float(match[1]), match[3], digits, signed=match[1].startswith("+")))

    return _MARK.sub(written, text)


# ---- sentences from before there were marks --------------------------------------------------------

_NUMBER = r"(?<![\w.,{])[+-]?\d+(?:\.\d+)?"
#: How the alarms wrote what is a difference, or a rate, under the unit °C: (a number's sentence around it, its unit).
_OLD: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern.replace("N", rf"({_NUMBER})")), unit)
    for pattern, unit in (
        (r"N °C an hour", "K/h"),
        (r"N °C(?= apart| above both| above the dew point| is the least)", "K"),
        (r"(?<= apart, limit )N °C", "K"),
        (r"(?<= by )N °C", "K"),
        (r"(?<=\()N °C(?=\))", "K"),  # the size of a cause: "the mix was poured warmer (+1.5 °C)"
    )
)
_OLD_REST = re.compile(rf"({_NUMBER}(?:(?: to | and | → ){_NUMBER})*) (°C|K|mm|L)(?![\w/·²³°}}])")


def marked(text: str) -> str:
    """Return a sentence of an alarm or of a noted measure with marks: as it is, or from before there were any."""
    if BEGINS in text or _MARK.search(text):
        return parsed(text)
    for pattern, unit in _OLD:
        text = pattern.sub(rf"{{\1 {unit}}}", text)
    return _OLD_REST.sub(lambda match: re.sub(_NUMBER, rf"{{\g<0> {match[2]}}}", match[1]), text)


# ---- sentences of planning -------------------------------------------------------------------------

_Rule = tuple[str, _Change]
#: A choice → unit as planned → (unit as shown, how to get there). A difference of temperatures is planned in K.
_RULES: dict[str, dict[str, _Rule]] = {
    "f": {"°C": ("°F", units.c_to_f), "K": ("°F", units.k_to_f)},
    "in": {"mm": ("in", units.mm_to_in)},
    "gal": {
        "L": ("US gal", units.litres_to_us_gallons),
        "mL": ("US fl oz", lambda ml: ml / ML_PER_US_FLUID_OUNCE),
    },
    "lb": {"kg": ("lb", units.kg_to_lb), "g": ("lb", lambda grams: units.kg_to_lb(grams / 1000))},
    "c": {"K": ("°C", float)},
}
_PLANNED = r"(?<![\w.,])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
# Not "kg/m³", not "g A" of a part that is called so: a unit ends where a word ends and no other unit follows it.
_QUANTITY = re.compile(
    rf"({_PLANNED}(?:(?:, | and | to | to about ){_PLANNED})*) (°C|K|mm|mL|L|kg|g)(?![\w/·²³°])"
)


def in_units(text: str, *choices: str) -> str:
    """Return a sentence of planning in the chosen units ("f", "in", "gal", "lb"; anything else stays metric)."""
    rules = {unit: rule for choice in choices for unit, rule in _RULES.get(choice, {}).items()}
    if not rules:
        return text

    def converted(match: re.Match[str]) -> str:
        rule = rules.get(match[2])
        if rule is None:
            return match[0]
        unit, change = rule
        return f"{re.sub(_PLANNED, lambda n: plain(change(float(n[0]))), match[1])} {unit}"

    # Every other piece is a name in quotation marks.
    pieces = re.split(r'("[^"]*")', text)
    return "".join(piece if at % 2 else _QUANTITY.sub(converted, piece) for at, piece in enumerate(pieces))
