"""Quantities inside sentences: marked where a sentence is made, shown in somebody's units where it is read.

Alarms, forecasts and noted measures write a quantity as a mark, in SI: "The core reads {63.625 °C|1}", "{5 K|1}
apart", "rising by {108 K/h|1}", "{2.5 mm} lower". Behind the bar is how many decimals are shown. The unit tells what it
is: °C is a temperature, K a difference of two, K/h how fast one moves. So are sentences kept and sealed; `Units.shown`
writes them for a reader at the rim. What people type has no marks, and stays as they typed it.

Planning writes its quantities without braces, as a number, a blank and its unit (logger/planning/finding.py): a
sentence of planning is shown by `Units.sentence`. Sentences of alarms from before there were marks: `marked`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from logger import extremes, units
from logger.units import plain

# ---- marks: how a sentence carries a quantity ------------------------------------------------------


def temperature(celsius: float, digits: int = 1) -> str:
    """Return the mark of a temperature, °C."""
    return _mark(celsius, digits, "°C")


def peak(celsius: float, digits: int = 0) -> str:
    """Return the mark of a predicted peak, °C: none above what the model knows (`logger.extremes`)."""
    return extremes.shown(celsius, lambda c: temperature(c, digits))


def difference(kelvin: float, digits: int = 1, *, signed: bool = False) -> str:
    """Return the mark of a difference of temperatures, K."""
    return _mark(kelvin, digits, "K", signed=signed)


def rate(kelvin_per_hour: float, digits: int = 1) -> str:
    """Return the mark of how fast a temperature moves, K/h."""
    return _mark(kelvin_per_hour, digits, "K/h")


def length(mm: float, digits: int = 1, *, signed: bool = False) -> str:
    """Return the mark of a length, mm."""
    return _mark(mm, digits, "mm", signed=signed)


def volume(litres: float, digits: int = 1) -> str:
    """Return the mark of a volume, L."""
    return _mark(litres, digits, "L")


def quantity(value: float, unit: str, digits: int = 1) -> str:
    """Return the mark of a value in one of the marks' units; in another unit it is written as it is."""
    return _mark(value, digits, unit) if unit in _SHOWN else f"{value:.{digits}f} {unit}".rstrip()


def cut(text: str, longest: int) -> str:
    """Return the beginning of a sentence, at most so long, with no mark cut in two."""
    beginning = text[:longest]
    begin = beginning.rfind("{")
    return beginning[:begin] if len(text) > longest and begin > beginning.rfind("}") else beginning


#: Decimals that a mark carries at most: finer than any probe, so that a reader's units are rounded once.
_KEPT = 3


def _mark(value: float, digits: int, unit: str, *, signed: bool = False) -> str:
    number = f"{round(value, _KEPT) + 0.0:{'+' if signed else ''}.{_KEPT}f}".rstrip("0").rstrip(".")
    there = len(number.partition(".")[2])
    return f"{{{number} {unit}{'' if there == digits else f'|{digits}'}}}"


# ---- units: how a reader wants them ----------------------------------------------------------------

_Change = Callable[[float], float]
#: A mark's unit → which choice decides over it.
_SHOWN = {"°C": 0, "K": 0, "K/h": 0, "mm": 1, "L": 2, "kg": 3, "g": 3}
#: Choice and mark's unit → unit as shown, how to get there, and digits; None: as many as in the mark.
_CUSTOMARY: dict[tuple[str, str], tuple[str, _Change, int | None]] = {
    ("c", "K"): ("°C", float, None),
    ("c", "K/h"): ("°C an hour", float, None),
    ("f", "°C"): ("°F", units.c_to_f, None),
    ("f", "K"): ("°F", units.k_to_f, None),
    ("f", "K/h"): ("°F an hour", units.k_to_f, None),
    ("in", "mm"): ("in", units.mm_to_in, 2),
    ("gal", "L"): ("US gal", units.litres_to_us_gallons, 2),
    ("lb", "kg"): ("lb", units.kg_to_lb, 2),
    ("lb", "g"): ("lb", lambda grams: units.kg_to_lb(grams / 1000), 3),
}
#: Number, unit, and how many decimals are shown where that is not as many as the number has.
_MARK = re.compile(r"\{([+-]?\d+(?:\.(\d+))?) (°C|K/h|K|mm|L|kg|g)(?:\|(\d))?\}")


@dataclass(frozen=True, slots=True)
class Units:
    """How somebody reads numbers. Every method takes SI, °C, mm, litres or kg and gives text with its unit."""

    temperature: str = "c"
    length: str = "mm"
    volume: str = "l"
    mass: str = "kg"

    @property
    def cookie(self) -> str:
        """As four words, "c.mm.l.kg": how a device and an event keep it."""
        return ".".join((self.temperature, self.length, self.volume, self.mass))

    @property
    def degree(self) -> str:
        """The temperature's unit."""
        return "°F" if self.temperature == "f" else "°C"

    def degrees(self, celsius: float) -> float:
        """Return a temperature's number in the chosen unit."""
        return units.c_to_f(celsius) if self.temperature == "f" else celsius

    def temp(self, celsius: float | None, digits: int = 1) -> str:
        """Return a temperature, or a dash where there is none."""
        return "–" if celsius is None else f"{self.degrees(celsius):.{digits}f}\u00a0{self.degree}"

    def peak(self, celsius: float | None, digits: int = 0) -> str:
        """Return a predicted peak: "over 150 °C" for what the model does not know (`logger.extremes`)."""
        return "–" if celsius is None else extremes.shown(celsius, lambda c: self.temp(c, digits))

    def rise(self, kelvin: float | None, digits: int = 1, *, signed: bool = False) -> str:
        """Return a difference of temperatures."""
        if kelvin is None:
            return "–"
        return self._one(kelvin, digits, "K", signed=signed).replace(" ", "\u00a0")

    def span(self, mm: float | None) -> str:
        """Return a length."""
        if mm is None:
            return "–"
        return f"{units.mm_to_in(mm):.2f}\u00a0in" if self.length == "in" else f"{mm:,.0f}\u00a0mm"

    def level(self, mm: float) -> str:
        """Return a level against a mark, up is plus, as fine as it is read."""
        return f"{units.mm_to_in(mm):+.2f}\u00a0in" if self.length == "in" else f"{mm:+.1f}\u00a0mm"

    def bare_span(self, mm: float) -> str:
        """Return a length's number in the chosen unit, for a field that names the unit."""
        return f"{units.mm_to_in(mm):.3g}" if self.length == "in" else f"{mm:g}"

    def litres(self, litres: float | None) -> str:
        """Return a volume."""
        if litres is None:
            return "–"
        if self.volume == "gal":
            return f"{units.litres_to_us_gallons(litres):.2f}\u00a0US gal"
        return f"{litres:.2f}\u00a0L" if litres < 10 else f"{litres:.1f}\u00a0L"

    def weight(self, kg: float | None) -> str:
        """Return a mass."""
        if kg is None:
            return "–"
        return f"{units.kg_to_lb(kg):.2f}\u00a0lb" if self.mass == "lb" else f"{kg:.2f}\u00a0kg"

    def scale(self, grams: float | None) -> str:
        """Return a mass as a bench scale shows it."""
        if grams is None:
            return "–"
        return f"{units.kg_to_lb(grams / 1000):.3f}\u00a0lb" if self.mass == "lb" else f"{grams:,.0f}\u00a0g"

    def weighed(self, grams: float) -> str:
        """Return a mass as it was typed, however small."""
        return self.scale(grams) if self.mass == "lb" or grams >= 100 else f"{plain(grams)}\u00a0g"

    def shown(self, text: str) -> str:
        """Return a sentence with its marks written in these units; all else in it stays as it is."""
        return _MARK.sub(self._mark_shown, text)

    def _mark_shown(self, match: re.Match[str]) -> str:
        digits = int(match[4]) if match[4] else len(match[2] or "")
        return self._one(float(match[1]), digits, match[3], signed=match[1].startswith("+"))

    def sentence(self, text: str) -> str:
        """Return a sentence of planning; one that refuses a value of the plan file keeps the file's own units."""
        if "; allowed: " in text:
            return text
        return in_units(self.shown(text), self.temperature, self.length, self.volume, self.mass)

    def _one(self, value: float, digits: int, unit: str, *, signed: bool = False) -> str:
        choice = (self.temperature, self.length, self.volume, self.mass)[_SHOWN[unit]]
        name, change, fixed = _CUSTOMARY.get((choice, unit), (unit, float, None))
        digits = digits if fixed is None else fixed
        number = round(change(value), digits) + 0.0  # no "-0.0"
        return f"{number:{'+' if signed else ''}.{digits}f} {name}"

    @property
    def scale_unit(self) -> str:
        """What a bench scale is read in."""
        return "lb" if self.mass == "lb" else "g"

    def to_c(self, number: float) -> float:
        """°C of a number in the chosen unit."""
        return units.f_to_c(number) if self.temperature == "f" else number

    def to_mm(self, number: float) -> float:
        """mm of a number in the chosen unit."""
        return units.in_to_mm(number) if self.length == "in" else number

    @property
    def volume_words(self) -> str:
        """What a volume is given in, in full."""
        return "US gallons" if self.volume == "gal" else "litres"

    def to_litres(self, number: float) -> float:
        """Litres of a number in the chosen unit."""
        return units.us_gallons_to_litres(number) if self.volume == "gal" else number

    def to_kg(self, number: float) -> float:
        """kg of a number in the chosen unit."""
        return units.lb_to_kg(number) if self.mass == "lb" else number

    def to_g(self, number: float) -> float:
        """Grams of what the bench scale shows."""
        return 1000 * units.lb_to_kg(number) if self.mass == "lb" else number


#: What programs read, and whoever has chosen nothing.
METRIC = Units()
_CHOICES: tuple[tuple[str, ...], ...] = (("c", "f"), ("mm", "in"), ("l", "gal"), ("kg", "lb"))


def units_from(text: str | None) -> Units:
    """Return the units that four words name ("c.mm.l.kg"); metric where there are none or they make no sense."""
    parts = (text or "").split(".")
    if len(parts) != len(_CHOICES) or any(part not in may for part, may in zip(parts, _CHOICES, strict=True)):
        return METRIC
    return Units(*parts)


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
    if _MARK.search(text):
        return text
    for pattern, unit in _OLD:
        text = pattern.sub(rf"{{\1 {unit}}}", text)
    return _OLD_REST.sub(lambda match: re.sub(_NUMBER, rf"{{\g<0> {match[2]}}}", match[1]), text)


# ---- sentences of planning -------------------------------------------------------------------------

#: One US fluid ounce in millilitres: a US gallon of 3.785411784 L has 128 (NIST SP 811, 2008, B.8).
ML_PER_US_FLUID_OUNCE = 1000 * units.LITRES_PER_US_GALLON / 128
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
