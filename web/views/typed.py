"""What people type as a quantity: a number with or without its unit, a fraction, a range. Pure.

"50", "1 15/16", "2 in", "5 cm", "2 lb 3 oz", "40–60 min", "2,5". A number alone is in the reader's own unit, which the
field names. The parts of a number are read as the reader's language writes them; what could be read two ways is
refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from itertools import pairwise

from logger import units
from logger.errors import BadInput
from logger.facts import Quantity
from logger.words.numbers import decimal_sign
from logger.words.phrase import phrase
from logger.words.reader import G_PER_OUNCE, LITRES_PER_US_QUART, METRIC, ML_PER_US_FLUID_OUNCE, Reader

#: One number, or the two ends of a range, low before high.
Span = float | tuple[float, float]
Change = Callable[[float], float]

_DIGITS = r"[\d\s\u202f\u00a0.,]*\d"
#: A number: "1 15/16", "1-15/16", "15/16", "1 250", "2,5".
_NUMBER = rf"[-+\u2212]?(?:\d+[\s\u00a0\u202f-]+\d+\s*/\s*\d+|\d+\s*/\s*\d+|{_DIGITS}|[.,]\d+)"
_TO = r"-|\u2010|\u2011|\u2013|\u2014|\u2212|\.{2,3}|\u2026|to|bis|hasta|à|a"
_UNIT = r"[^\d\s,.;:+-][^\d]*?"
_SPAN = re.compile(
    r"^(?:about|approx\.?|ca\.?|etwa|unos|environ|~|\u2248)?\s*"
    rf"(?P<low>{_NUMBER})\s*(?P<low_unit>{_UNIT})?"
    rf"(?:\s*(?:{_TO})\s*(?P<high>{_NUMBER})\s*(?P<unit>{_UNIT})?)?\s*$",
    re.IGNORECASE,
)
_PART = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>{_UNIT})(?=\s*\d|\s*$)")
_MIXED = re.compile(r"^(?:(\d+)[\s\u00a0\u202f-]+)?(\d+)\s*/\s*(\d+)$")
_RATIO = re.compile(
    rf"^(?P<a>{_DIGITS})\s*(?:[a-z ]*?)\s*(?::|/|\u2236|to|and)\s*(?P<b>{_DIGITS})\s*(?P<words>[^\d]*)$",
    re.IGNORECASE,
)
_FRACTIONS = {
    "\u00bd": "1/2",
    "\u00bc": "1/4",
    "\u00be": "3/4",
    "\u215b": "1/8",
    "\u215c": "3/8",
    "\u215d": "5/8",
    "\u215e": "7/8",
}
_MINUTES = {"s": 1 / 60, "sec": 1 / 60, "min": 1.0, "h": 60.0, "hr": 60.0, "d": 1440.0}
_LONG = {"second": "s", "minute": "min", "hour": "h", "day": "d"}
_INCHES = (
    "in",
    "inch",
    "inches",
    '"',
    "''",
    "\u2033",
    "zoll",
    "pulgada",
    "pulgadas",
    "pouce",
    "pouces",
    "po",
)
_FEET = ("ft", "foot", "feet", "'", "\u2032")


def number_from(text: str, name: str, u: Reader = METRIC) -> float:
    """Return a number as people type it: "12.5", "12,5", "1/2". Raises BadInput naming the field."""
    cleaned = re.sub(r"[\s\u00a0\u202f]+", " ", _plain_fractions(text)).strip()
    sign = -1.0 if cleaned[:1] in ("-", "\u2212") else 1.0
    cleaned = cleaned.lstrip("-+\u2212").lstrip() if cleaned[:1] in ("-", "+", "\u2212") else cleaned
    if match := _MIXED.match(cleaned):
        parts = int(match[3])
        return sign * (int(match[1] or 0) + int(match[2]) / _no_zero(parts, text, name))
    # Blanks part thousands, nothing else.
    digits = re.sub(r"(?<=\d) (?=\d{3}(?!\d))", "", cleaned)
    # A comma or a point that three digits follow parts thousands for one reader and decimals for another.
    other = "," if decimal_sign(u.language) == "." else "."
    if re.fullmatch(rf"[1-9]\d{{0,2}}\{other}\d{{3}}", digits):
        left, _, right = digits.partition(other)
        raise BadInput(
            name,
            phrase("can be read two ways"),
            value=text,
            remedy=phrase(
                "type {whole} or {decimal}",
                whole=left + right,
                decimal=f"{left}{decimal_sign(u.language)}{right}",
            ),
        )
    if digits.count(",") == 1 and "." not in digits:
        digits = digits.replace(",", ".")
    number = math.nan
    if re.fullmatch(r"[\d.eE+-]+", digits):
        try:
            number = float(digits)
        except ValueError:
            number = math.nan
    if not math.isfinite(number):
        raise BadInput(
            name, phrase("is not a number"), value=text, remedy=phrase("type digits, with a point or a comma")
        )
    return sign * number


def minutes_from(text: str, name: str, u: Reader = METRIC, *, zero: bool = False) -> Span:
    """Return a time, min: "50", "40-60", "1 h". zero: may be none at all. Raises BadInput naming the field."""
    value = _span(text, name, {"": float} | _times(1.0), u)
    return value if zero and value == 0 else _positive(value, text, name)


def hours_from(text: str, name: str, u: Reader = METRIC) -> Span:
    """Return a time, h: "72", "48–72", "3 days". Raises BadInput naming the field."""
    return _positive(_span(text, name, {"": float} | _times(1 / 60), u), text, name)


def mm_from(text: str, name: str, u: Reader, *, signed: bool = False) -> Span:
    """Return a length, mm; without a unit in the reader's. signed: may be 0 or less. Raises BadInput."""
    named: dict[str, Change] = {"": u.to_mm, "mm": float, "cm": _times_by(10.0), "m": _times_by(1000.0)}
    named |= dict.fromkeys(("millimetre", "millimeter", "millimetres", "millimeters"), float)
    named |= dict.fromkeys(("metre", "meter", "metres", "meters"), _times_by(1000.0))
    named |= dict.fromkeys((*_INCHES, _word("in", u)), units.in_to_mm)
    named |= dict.fromkeys(_FEET, _times_by(12 * units.MM_PER_INCH))
    value = _span(text, name, named, u)
    return value if signed else _positive(value, text, name)


def celsius_from(text: str, name: str, u: Reader) -> Span:
    """Return a temperature, °C; without a unit in the reader's. Raises BadInput naming the field."""
    named: dict[str, Change] = {"": u.to_c, "°": u.to_c}
    named |= dict.fromkeys(("c", "°c", "celsius", "\u2103"), float)
    named |= dict.fromkeys(("f", "°f", "fahrenheit", "\u2109"), units.f_to_c)
    return _span(text, name, named, u)


def litres_from(text: str, name: str, u: Reader) -> Span:
    """Return a volume, L; without a unit in the reader's. "oz" is the fluid ounce. Raises BadInput."""
    named: dict[str, Change] = {"": u.to_litres, "l": float, "ml": _times_by(1e-3), "cl": _times_by(1e-2)}
    named |= dict.fromkeys(
        ("litre", "litres", "liter", "liters", "litro", "litros", _word("litres", u)), float
    )
    gallons = ("gal", "usgal", "gallon", "gallons", "usgallons", "galones", _word("US gal", u))
    named |= dict.fromkeys((*gallons, _word("US gallons", u)), units.us_gallons_to_litres)
    named |= dict.fromkeys(("qt", "quart", "quarts"), _times_by(LITRES_PER_US_QUART))
    named |= dict.fromkeys(("pt", "pint", "pints"), _times_by(LITRES_PER_US_QUART / 2))
    ounces = ("floz", "usfloz", "oz", "fluidounce", "fluidounces", _word("US fl oz", u))
    return _span(text, name, named | dict.fromkeys(ounces, _times_by(ML_PER_US_FLUID_OUNCE / 1000)), u)


def kg_from(text: str, name: str, u: Reader) -> Span:
    """Return a mass, kg; without a unit in the reader's. Raises BadInput naming the field."""
    return _span(text, name, _masses(u.to_kg, u), u)


def grams_from(text: str, name: str, u: Reader) -> Span:
    """Return a mass, g; without a unit as the reader's bench scale shows it. Raises BadInput naming the field."""
    in_kg = _masses(lambda number: u.to_g(number) / 1000, u)
    return changed(_span(text, name, in_kg, u), _times_by(1000.0))


def single(value: Span, text: str, name: str) -> float:
    """Return the one number that was typed. Raises BadInput for a range."""
    if isinstance(value, tuple):
        raise BadInput(name, phrase("is a range"), value=text, remedy=phrase("type one number"))
    return value


@contextmanager
def as_typed(text: str, name: str) -> Iterator[None]:
    """Within this, raise a refusal of the value under that name as it was typed, not as it was read."""
    try:
        yield
    except BadInput as error:
        if error.where != name or not isinstance(error.value, Quantity) or not text.strip():
            raise
        raise type(error)(
            name, error.problem, value=text.strip(), allowed=error.allowed, remedy=error.remedy
        ) from error


def ratio_from(text: str, u: Reader = METRIC) -> tuple[float, float, str]:
    """Return the parts A and B of "100:45", and "weight" or "volume" where it says so, else "". Raises BadInput."""
    match = _RATIO.match(text.strip())
    if match is None:
        raise BadInput(
            phrase("Mixing ratio"),
            phrase("is not a ratio"),
            value=text,
            allowed=phrase("resin first, as 3:1 or 100:45"),
            remedy=phrase("copy it from the datasheet"),
        )
    a, b = (number_from(match[part], phrase("Mixing ratio"), u) for part in ("a", "b"))
    if min(a, b) <= 0:
        raise BadInput(
            phrase("Mixing ratio"),
            phrase("has a part of nothing"),
            value=text,
            remedy=phrase("give both parts"),
        )
    words = match["words"].lower()
    by = "volume" if "vol" in words or "v/v" in words else "weight" if "w" in words or "mass" in words else ""
    return a, b, by


def shown(value: Span, u: Reader = METRIC) -> str:
    """Return a number or a range as a form shows it."""
    return "\u2013".join(u.bare(end) for end in value) if isinstance(value, tuple) else u.bare(value)


def changed(value: Span, change: Change) -> Span:
    """Return the value in another unit."""
    return tuple(change(end) for end in value) if isinstance(value, tuple) else change(value)  # type: ignore[return-value]


def low(value: Span | None) -> float | None:
    """Return the lower end."""
    return value[0] if isinstance(value, tuple) else value


def high(value: Span | None) -> float | None:
    """Return the upper end."""
    return value[1] if isinstance(value, tuple) else value


def _masses(alone: Change, u: Reader) -> dict[str, Change]:
    named: dict[str, Change] = {"": alone, "kg": float, "g": _times_by(1e-3)}
    named |= dict.fromkeys(("kilo", "kilos", "kilogram", "kilograms"), float)
    named |= dict.fromkeys(("gram", "grams", "gramm", "gramos", "grammes"), _times_by(1e-3))
    named |= dict.fromkeys(("lb", "lbs", "pound", "pounds", _word("lb", u)), units.lb_to_kg)
    return named | dict.fromkeys(("oz", "ounce", "ounces", _word("oz", u)), _times_by(G_PER_OUNCE / 1000))


def _times(of_a_minute: float) -> dict[str, Change]:
    return {unit: _times_by(by * of_a_minute) for unit, by in _MINUTES.items()}


def _times_by(factor: float) -> Change:
    return lambda value: value * factor


def _word(unit: str, u: Reader) -> str:
    """Return a unit's word in the reader's language as it is looked up: what a page shows can be typed back."""
    return _looked_up(u.translate(unit))


def _looked_up(unit: str) -> str:
    return re.sub(r"[\s\u00a0\u202f-]", "", unit).rstrip(".").lower()


def _span(text: str, name: str, named: Mapping[str, Change], u: Reader) -> Span:
    typed = _plain_fractions(text).strip()
    match = _SPAN.match(typed)
    if match is None:
        if (sum_of_parts := _in_parts(typed, name, named, u)) is not None:
            return sum_of_parts
        remedy = phrase("type a number as 50, or a range as 40-60")
        raise BadInput(name, phrase("is not a number"), value=text, remedy=remedy)
    last = match["unit"] if match["high"] else match["low_unit"]
    ends = [(match["low"], match["low_unit"] or last)]
    ends += [(match["high"], last)] if match["high"] else []
    values = sorted(_change(unit, text, name, named)(number_from(end, name, u)) for end, unit in ends)
    return (values[0], values[1]) if len(values) == 2 and values[0] < values[1] else values[0]


def _in_parts(text: str, name: str, named: Mapping[str, Change], u: Reader) -> float | None:
    """Return a quantity that is given in two or three units, the larger first: "2 lb 3 oz"; None for what is none."""
    parts, at = [], 0
    while at < len(text):
        match = _PART.match(text, at)
        if match is None:
            return None
        change = _change(match["unit"], text, name, named)
        parts.append((change(1.0), change(number_from(match["number"], name, u))))
        at = match.end()
    if len(parts) < 2 or any(small >= large for (large, _), (small, _) in pairwise(parts)):
        return None
    return sum(value for _, value in parts)


def _change(unit: str | None, text: str, name: str, named: Mapping[str, Change]) -> Change:
    word = _looked_up(unit or "")
    word = word if word in named else _LONG.get(word.removesuffix("s"), word.removesuffix("s"))
    if word not in named:
        raise BadInput(
            name,
            phrase("has a word that is not understood: {word}", word=(unit or "").strip()),
            value=text,
            allowed=", ".join(dict.fromkeys(key for key in named if key)),
            remedy=phrase("type the number alone, in the unit that the field names"),
        )
    return named[word]


def _plain_fractions(text: str) -> str:
    for one, words in _FRACTIONS.items():
        text = text.replace(one, f" {words}")
    return text.replace("\u2044", "/").strip()


def _no_zero(parts: int, text: str, name: str) -> int:
    if parts == 0:
        raise BadInput(name, phrase("is not a number"), value=text, remedy=phrase("type it as 1/2"))
    return parts


def _positive(value: Span, text: str, name: str) -> Span:
    if (low(value) or 0.0) <= 0:
        raise BadInput(
            name,
            phrase("is impossible"),
            value=text,
            allowed=phrase("more than 0"),
            remedy=phrase("type it again"),
        )
    return value
