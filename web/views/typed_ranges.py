"""A number, or a range of numbers, as a datasheet prints it and people copy it: "50", "40–60 min", "2 to 3 h". Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from logger.errors import BadInput
from logger.units import f_to_c
from logger.words.reader import Reader
from web.views.reader_units import number_from

#: One number, or the two ends of a range, low before high.
Span = float | tuple[float, float]
Change = Callable[[float], float]

_NUMBER = r"[-+\u2212]?[\d\s\u202f\u00a0.,]*\d"
_SPAN = re.compile(
    rf"^(?:about|approx\.?|ca\.?|~|\u2248)?\s*(?P<low>{_NUMBER})"
    rf"(?:\s*(?:-|\u2010|\u2011|\u2013|\u2014|\u2212|\.{{2,3}}|\u2026|to)\s*(?P<high>{_NUMBER}))?\s*(?P<unit>[^\d\s].*)?$",
    re.IGNORECASE,
)
_RATIO = re.compile(
    rf"^(?P<a>{_NUMBER})\s*(?:[a-z ]*?)\s*(?::|/|\u2236|to|and)\s*(?P<b>{_NUMBER})\s*(?P<words>[^\d]*)$",
    re.IGNORECASE,
)
_MINUTES = {"s": 1 / 60, "sec": 1 / 60, "min": 1.0, "h": 60.0, "hr": 60.0, "d": 1440.0}
_LONG = {"second": "s", "minute": "min", "hour": "h", "day": "d"}


def minutes_from(text: str, name: str) -> Span:
    """Return a time, min: "50", "40-60", "1 h". Raises BadInput naming the field."""
    return _positive(_span(text, name, {"": float} | _times(1.0)), text, name)


def hours_from(text: str, name: str) -> Span:
    """Return a time, h: "72", "48–72", "3 days". Raises BadInput naming the field."""
    return _positive(_span(text, name, {"": float} | _times(1 / 60)), text, name)


def mm_from(text: str, name: str, u: Reader) -> Span:
    """Return a length, mm; without a unit in the reader's. Raises BadInput naming the field."""
    inch: Change = lambda value: 25.4 * value  # noqa: E731 - a table of changes reads as one
    units_by_name: dict[str, Change] = {"": u.to_mm, "mm": float, "cm": lambda value: 10 * value}
    units_by_name |= dict.fromkeys(("in", "inch", "inches", '"', "\u2033"), inch)
    return _positive(_span(text, name, units_by_name), text, name)


def celsius_from(text: str, name: str, u: Reader) -> Span:
    """Return a temperature, °C; without a unit in the reader's. Raises BadInput naming the field."""
    units_by_name: dict[str, Change] = (
        {"": u.to_c} | dict.fromkeys(("c", "°c"), float) | dict.fromkeys(("f", "°f"), f_to_c)
    )
    return _span(text, name, units_by_name)


def ratio_from(text: str) -> tuple[float, float, str]:
    """Return the parts A and B of "100:45", and "weight" or "volume" where it says so, else "". Raises BadInput."""
    match = _RATIO.match(text.strip())
    if match is None:
        raise BadInput(
            "Mixing ratio",
            "is not a ratio",
            value=text,
            allowed="resin first, as 3:1 or 100:45",
            remedy="copy it from the datasheet",
        )
    a, b = (number_from(match[part], "Mixing ratio") for part in ("a", "b"))
    if min(a, b) <= 0:
        raise BadInput("Mixing ratio", "has a part of nothing", value=text, remedy="give both parts")
    words = match["words"].lower()
    by = "volume" if "vol" in words or "v/v" in words else "weight" if "w" in words or "mass" in words else ""
    return a, b, by


def shown(value: Span) -> str:
    """Return a number or a range as a form shows it."""
    return "\u2013".join(f"{end:.6g}" for end in value) if isinstance(value, tuple) else f"{value:.6g}"


def changed(value: Span, change: Change) -> Span:
    """Return the value in another unit."""
    return tuple(change(end) for end in value) if isinstance(value, tuple) else change(value)  # type: ignore[return-value]


def low(value: Span | None) -> float | None:
    """Return the lower end."""
    return value[0] if isinstance(value, tuple) else value


def high(value: Span | None) -> float | None:
    """Return the upper end."""
    return value[1] if isinstance(value, tuple) else value


def _times(of_a_minute: float) -> dict[str, Change]:
    return {unit: (lambda value, by=by: value * by * of_a_minute) for unit, by in _MINUTES.items()}  # type: ignore[misc]


def _span(text: str, name: str, units_by_name: Mapping[str, Change]) -> Span:
    match = _SPAN.match(text.strip())
    if match is None:
        raise BadInput(name, "is not a number", value=text, remedy="type a number as 50, or a range as 40-60")
    unit = (match["unit"] or "").strip().rstrip(".").lower().replace(" ", "")
    unit = _LONG.get(unit.removesuffix("s"), unit if unit in units_by_name else unit.removesuffix("s"))
    if unit not in units_by_name:
        raise BadInput(
            name,
            f"has a word that is not understood: {match['unit'].strip()}",
            value=text,
            allowed=", ".join(dict.fromkeys(key for key in units_by_name if key)),
            remedy="type the number alone, in the unit that the field names",
        )
    ends = sorted(
        units_by_name[unit](number_from(_plain(end), name)) for end in (match["low"], match["high"]) if end
    )
    return (ends[0], ends[1]) if len(ends) == 2 and ends[0] < ends[1] else ends[0]


def _plain(number: str) -> str:
    return re.sub(r"\s", "", number).replace("\u2212", "-")


def _positive(value: Span, text: str, name: str) -> Span:
    if (low(value) or 0.0) <= 0:
        raise BadInput(
            name,
            "is impossible",
            value=text,
            allowed="more than 0",
            remedy="copy it from the datasheet again",
        )
    return value
