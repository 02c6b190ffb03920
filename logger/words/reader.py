"""Whoever reads: in which language and in which units. Every method takes SI, °C, mm, litres or kg and gives text."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import tzinfo

from logger import extremes, units
from logger.facts import Bound, Quantity
from logger.words import catalogues, numbers

_Change = Callable[[float], float]
#: One US fluid ounce in millilitres: a US gallon of 3.785411784 L has 128 (NIST SP 811, 2008, B.8).
ML_PER_US_FLUID_OUNCE = 1000 * units.LITRES_PER_US_GALLON / 128
#: A quantity's unit → which choice decides over it.
_CHOSEN_BY = {"°C": 0, "K": 0, "K/h": 0, "mm": 1, "L": 2, "mL": 2, "kg": 3, "g": 3}
#: Choice and quantity's unit → unit as shown, and how to get there, with the quantity's own decimals.
_CHANGED: dict[tuple[str, str], tuple[str, _Change]] = {
    ("c", "K"): ("°C", float),
    ("c", "K/h"): ("°C an hour", float),
    ("f", "°C"): ("°F", units.c_to_f),
    ("f", "K"): ("°F", units.k_to_f),
    ("f", "K/h"): ("°F an hour", units.k_to_f),
}
#: A US liquid quart, L: less is given in fluid ounces. A gallon has four (NIST SP 811, 2008, B.8).
LITRES_PER_US_QUART = units.LITRES_PER_US_GALLON / 4
#: One avoirdupois ounce in grams: a pound of 0.45359237 kg has sixteen (NIST SP 811, 2008, B.8).
G_PER_OUNCE = 1000 * units.KG_PER_POUND / 16


@dataclass(frozen=True, slots=True)
class Reader:
    """How somebody reads numbers. Every method takes SI, °C, mm, litres or kg and gives text with its unit."""

    temperature: str = "c"
    length: str = "mm"
    volume: str = "l"
    mass: str = "kg"
    language: str = "en"
    zone: tzinfo | None = None
    now_ms: int | None = None

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
        return "–" if celsius is None else f"{self.number(self.degrees(celsius), digits)}\u00a0{self.degree}"

    def peak(self, celsius: float | None, digits: int = 0) -> str:
        """Return a predicted peak: "over 150 °C" for what the model does not know (`logger.extremes`)."""
        if celsius is None:
            return "–"
        if extremes.is_unknown(celsius):
            return self.translate("over {limit}").format(limit=self.temp(extremes.BEYOND_C, digits))
        return self.temp(celsius, digits)

    def rise(self, kelvin: float | None, digits: int = 1, *, signed: bool = False) -> str:
        """Return a difference of temperatures."""
        if kelvin is None:
            return "–"
        return self._one(kelvin, digits, "K", signed=signed).replace(" ", "\u00a0")

    def span(self, mm: float | None) -> str:
        """Return a length."""
        if mm is None:
            return "–"
        if self.length == "in":
            return _kept_together(self._inches(mm, fine=False))
        return f"{numbers.number(mm, 0, self.language, grouped=True)}\u00a0mm"

    def at_most(self, mm: float) -> str:
        """Return a length that is the most allowed: never rounded up."""
        return _kept_together(self.quantity(Quantity(math.floor(mm), "mm", 0, bound=Bound.MOST)))

    def level(self, mm: float) -> str:
        """Return a level against a mark, up is plus, as fine as it is read."""
        if self.length == "in":
            return _kept_together(self._inches(mm, fine=True, signed=True))
        return f"{self.number(mm, 1, signed=True)}\u00a0mm"

    def bare_span(self, mm: float) -> str:
        """Return a length's number in the chosen unit, for a field that names the unit: "1 15/16", "1.969"."""
        if self.length != "in":
            return self.bare(mm)
        inches = units.mm_to_in(mm)
        near = numbers.fraction(inches, 32)
        # What stands in a field is typed back: no more than a scribed line is lost.
        if abs(near.value - inches) * units.MM_PER_INCH <= min(0.1, 1e-3 * abs(mm)):
            return near.text
        return self.bare(round(inches, 3))

    def plain_span(self, mm: float) -> str:
        """Return a length's number in the chosen unit as a program reads it: for a drawing."""
        return f"{units.mm_to_in(mm) if self.length == 'in' else mm:.6g}"

    @property
    def length_keys(self) -> str:
        """Which keys a phone shows for a length: a fraction of an inch needs all of them."""
        return "text" if self.length == "in" else "decimal"

    def bare(self, value: float) -> str:
        """Return a number as a field shows it: six figures at most, no groups, the language's decimal sign."""
        digits = f"{value:.6g}"
        return digits if "e" in digits else numbers.localised(digits, self.language)

    def bare_temp(self, celsius: float, digits: int = 1) -> str:
        """Return a temperature's number in the chosen unit, for a field or a figure that names the unit."""
        return self.number(self.degrees(celsius), digits)

    def litres(self, litres: float | None) -> str:
        """Return a volume."""
        if litres is None:
            return "–"
        if self.volume == "gal":
            return _kept_together(self._us_volume(litres))
        return f"{self.number(litres, 2 if litres < 10 else 1)}\u00a0L"

    def weight(self, kg: float | None) -> str:
        """Return a mass."""
        if kg is None:
            return "–"
        if self.pounds:
            return _kept_together(self._us_mass(kg))
        return f"{self.number(kg, 2)}\u00a0kg"

    def scale(self, grams: float | None) -> str:
        """Return a mass as a bench scale shows it."""
        if grams is None:
            return "–"
        if self.pounds:
            return _kept_together(self._us_scale(grams))
        return f"{numbers.number(grams, 0, self.language, grouped=True)}\u00a0g"

    def weighed(self, grams: float) -> str:
        """Return a mass as it was typed, however small."""
        return self.scale(grams) if self.pounds or grams >= 100 else f"{self.number(grams)}\u00a0g"

    def bare_scale(self, grams: float) -> str:
        """Return a mass's number as the bench scale shows it, for a field that names the unit."""
        return self.scale(grams).partition("\u00a0")[0] if self.pounds else self.bare(round(grams))

    def quantity(self, quantity: Quantity) -> str:
        """Return a quantity in the reader's unit, with the unit."""
        value, unit, digits = quantity.value, quantity.unit, quantity.digits
        if unit == "ms":
            return self.moment(round(value))
        if unit == "chance":
            return self.chance(value)
        if unit == "count":
            return numbers.number(value, 0, self.language, grouped=True)
        if unit in ("h", "min", "s"):
            return self._span(value, unit)
        if unit in _CHOSEN_BY:
            return self._one(value, digits, unit, signed=quantity.signed, bound=quantity.bound)
        number = self.number(value, digits, signed=quantity.signed)
        return f"{number} {self.translate(unit)}" if unit else number

    def number(self, value: float, digits: int | None = None, *, signed: bool = False) -> str:
        """Return a bare number as the language writes it."""
        return numbers.number(value, digits, self.language, signed=signed)

    def moment(self, at_ms: int) -> str:
        """Return a moment: its time of day where it is near, else with its day."""
        if self.now_ms is not None and abs(at_ms - self.now_ms) < numbers.NEAR_MS:
            return numbers.time_of_day(at_ms, self.language, self.zone)
        return numbers.clock(at_ms, self.language, self.zone)

    def chance(self, chance: float) -> str:
        """Return a chance as people say it; never 0 or 100 %."""
        if chance < 0.01:
            return self.translate("below 1 %")
        return self.translate("above 99 %") if chance > 0.99 else f"{100 * chance:.0f}\u00a0%"

    @property
    def words(self) -> catalogues.Words:
        """The translations into the reader's language."""
        return catalogues.of(self.language)

    def translate(self, english: str) -> str:
        """Return a short English text in the reader's language."""
        return self.words.gettext(english)

    def _span(self, value: float, unit: str) -> str:
        if unit == "min":
            return numbers.minutes_words(value, self.language, self.translate)
        if unit == "h":
            return numbers.hours_minutes(value, self.translate)
        return numbers.span(value, self.translate)

    def _one(
        self,
        value: float,
        digits: int | None,
        unit: str,
        *,
        signed: bool = False,
        bound: Bound = Bound.NONE,
    ) -> str:
        if unit == "mm" and self.length == "in":
            # Finer than a millimetre is what does not lie on one.
            fine = digits != 0 and math.isfinite(value) and abs(value - round(value)) > 0.05
            return self._inches(value, fine=fine, signed=signed, bound=bound)
        if unit in ("L", "mL") and self.volume == "gal":
            return self._us_volume(value if unit == "L" else value / 1000, signed=signed)
        if unit == "kg" and self.pounds:
            return self._us_mass(value, signed=signed)
        if unit == "g" and self.pounds:
            return self._us_scale(value, signed=signed)
        name, change = _CHANGED.get((self.temperature, unit), (unit, float))
        shown = change(value)
        if digits is not None and shown != value:
            shown = numbers.towards(shown, digits, bound)
        return f"{self.number(shown, digits, signed=signed)} {self.translate(name)}"

    def _inches(self, mm: float, *, fine: bool, signed: bool = False, bound: Bound = Bound.NONE) -> str:
        """Return a length as a maker reads it off a rule: to 1/16 in, to 1/32 in below an inch or where it is fine."""
        inches = units.mm_to_in(mm)
        if 0 < abs(inches) < 1 / 64 or not math.isfinite(inches):
            number = self.number(inches, 3, signed=signed)  # a coat, or a play: no rule shows it
        else:
            parts = 32 if fine or abs(inches) < 1 else 16
            number = numbers.fraction(inches, parts, signed=signed, bound=bound).text
        return f"{number} {self.translate('in')}"

    def _us_volume(self, litres: float, *, signed: bool = False) -> str:
        if 0 < abs(litres) < LITRES_PER_US_QUART:
            ounces = 1000 * litres / ML_PER_US_FLUID_OUNCE
            number = self.number(ounces, 1 if abs(ounces) >= 1 else 2, signed=signed)
            return f"{number} {self.translate('US fl oz')}"
        gallons = units.litres_to_us_gallons(litres)
        number = self.number(gallons, 2 if abs(gallons) < 100 else 1, signed=signed)
        return f"{number} {self.translate('US gal')}"

    def _us_mass(self, kg: float, *, signed: bool = False) -> str:
        if 0 < abs(kg) < units.KG_PER_POUND:
            ounces = 1000 * kg / G_PER_OUNCE
            return (
                f"{self.number(ounces, 1 if abs(ounces) >= 1 else 2, signed=signed)} {self.translate('oz')}"
            )
        pounds = units.kg_to_lb(kg)
        return f"{self.number(pounds, 2 if abs(pounds) < 100 else 1, signed=signed)} {self.translate('lb')}"

    def _us_scale(self, grams: float, *, signed: bool = False) -> str:
        """Return a mass in the one unit that this person's scale is set to: pounds, or ounces."""
        if self.mass == "oz":
            return f"{self.number(grams / G_PER_OUNCE, 2, signed=signed)} {self.translate('oz')}"
        return f"{self.number(units.kg_to_lb(grams / 1000), 3, signed=signed)} {self.translate('lb')}"

    @property
    def pounds(self) -> bool:
        """Whether masses are read in pounds and ounces."""
        return self.mass in ("lb", "oz")

    @property
    def length_unit(self) -> str:
        """The unit beside a length's field."""
        return self.translate("in") if self.length == "in" else "mm"

    @property
    def mass_unit(self) -> str:
        """The unit beside a mass's field."""
        return self.translate("lb") if self.pounds else "kg"

    @property
    def scale_unit(self) -> str:
        """What a bench scale is read in."""
        return self.translate(self.mass) if self.pounds else "g"

    @property
    def volume_words(self) -> str:
        """What a volume is given in, in full."""
        return self.translate("US gallons" if self.volume == "gal" else "litres")

    def to_c(self, number: float) -> float:
        """°C of a number in the chosen unit."""
        return units.f_to_c(number) if self.temperature == "f" else number

    def to_mm(self, number: float) -> float:
        """mm of a number in the chosen unit."""
        return units.in_to_mm(number) if self.length == "in" else number

    def to_litres(self, number: float) -> float:
        """Litres of a number in the chosen unit."""
        return units.us_gallons_to_litres(number) if self.volume == "gal" else number

    def to_kg(self, number: float) -> float:
        """kg of a number in the chosen unit."""
        return units.lb_to_kg(number) if self.pounds else number

    def to_g(self, number: float) -> float:
        """Grams of what the bench scale shows."""
        if self.mass == "oz":
            return number * G_PER_OUNCE
        return 1000 * units.lb_to_kg(number) if self.mass == "lb" else number


def _kept_together(text: str) -> str:
    """Return a quantity that no line breaks within."""
    return text.replace(" ", "\u00a0")


#: What programs read, and whoever has chosen nothing.
METRIC = Reader()
#: What a workshop in the United States reads.
US = Reader("f", "in", "gal", "lb")
#: What may be chosen, word by word. Ounces: a bench scale that shows ounces; what is heavy is in pounds.
_CHOICES: tuple[tuple[str, ...], ...] = (("c", "f"), ("mm", "in"), ("l", "gal"), ("kg", "lb", "oz"))


def units_from(text: str | None, language: str = "en") -> Reader:
    """Return a reader of the units that four words name ("c.mm.l.kg"); metric where there are none or no sense."""
    parts = (text or "").split(".")
    if len(parts) != len(_CHOICES) or any(part not in may for part, may in zip(parts, _CHOICES, strict=True)):
        parts = METRIC.cookie.split(".")
    temperature, length, volume, mass = parts
    return Reader(temperature, length, volume, mass, language)


#: Who reads what is being written now: set around a page, a message, a paper, a command.
_CURRENT: ContextVar[Reader] = ContextVar("reader", default=METRIC)


def current() -> Reader:
    """Return who reads what is being written; metric and English where nobody in particular does."""
    return _CURRENT.get()


@contextmanager
def reading(reader: Reader) -> Iterator[None]:
    """Within this, what is written is for this reader."""
    token = _CURRENT.set(reader)
    try:
        yield
    finally:
        _CURRENT.reset(token)
