"""Temperatures, lengths, volumes and masses in the units that somebody chose, and back to SI.

The workshop chooses once, at the first set-up; each device may choose others: a phone and the wall screen may differ.
Either is kept as four words, "c.mm.l.kg".
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fastapi import Request

from logger import units
from logger.errors import BadInput
from logger.store import shop
from web.pages.in_units import in_units

COOKIE = "pourlog_units"
#: The event that keeps the workshop's own choice.
SHOP_UNITS = "units-chosen"
_CHOICES: tuple[tuple[str, ...], ...] = (("c", "f"), ("mm", "in"), ("l", "gal"), ("kg", "lb"))


@dataclass(frozen=True, slots=True)
class Units:
    """How numbers are written. Every method takes SI, °C, mm, litres or kg and gives text with its unit."""

    temperature: str = "c"
    length: str = "mm"
    volume: str = "l"
    mass: str = "kg"

    @property
    def cookie(self) -> str:
        """As kept on the device."""
        return ".".join((self.temperature, self.length, self.volume, self.mass))

    @property
    def degree(self) -> str:
        """The temperature's unit."""
        return "°F" if self.temperature == "f" else "°C"

    def degrees(self, celsius: float) -> float:
        """A temperature's number in the chosen unit."""
        return units.c_to_f(celsius) if self.temperature == "f" else celsius

    def temp(self, celsius: float | None, digits: int = 1) -> str:
        """A temperature, or a dash where there is none."""
        return "–" if celsius is None else f"{self.degrees(celsius):.{digits}f}\u00a0{self.degree}"

    def rise(self, kelvin: float | None, digits: int = 1) -> str:
        """A difference of temperatures."""
        if kelvin is None:
            return "–"
        return f"{kelvin * (1.8 if self.temperature == 'f' else 1.0):.{digits}f}\u00a0{self.degree}"

    def span(self, mm: float | None) -> str:
        """A length."""
        if mm is None:
            return "–"
        return f"{units.mm_to_in(mm):.2f}\u00a0in" if self.length == "in" else f"{mm:,.0f}\u00a0mm"

    def level(self, mm: float) -> str:
        """A level against a mark, up is plus, as fine as it is read."""
        return f"{units.mm_to_in(mm):+.2f}\u00a0in" if self.length == "in" else f"{mm:+.1f}\u00a0mm"

    def bare_span(self, mm: float) -> str:
        """A length's number in the chosen unit, for a field that names the unit."""
        return f"{units.mm_to_in(mm):.3g}" if self.length == "in" else f"{mm:g}"

    def litres(self, litres: float | None) -> str:
        """A volume."""
        if litres is None:
            return "–"
        if self.volume == "gal":
            return f"{units.litres_to_us_gallons(litres):.2f}\u00a0US gal"
        return f"{litres:.2f}\u00a0L" if litres < 10 else f"{litres:.1f}\u00a0L"

    def weight(self, kg: float | None) -> str:
        """A mass."""
        if kg is None:
            return "–"
        return f"{units.kg_to_lb(kg):.2f}\u00a0lb" if self.mass == "lb" else f"{kg:.2f}\u00a0kg"

    def scale(self, grams: float | None) -> str:
        """A mass as a bench scale shows it."""
        if grams is None:
            return "–"
        return f"{units.kg_to_lb(grams / 1000):.3f}\u00a0lb" if self.mass == "lb" else f"{grams:,.0f}\u00a0g"

    def told(self, text: str) -> str:
        """A sentence of planning; one that refuses a value of the plan file keeps the file's own units."""
        if "; allowed: " in text:
            return text
        return in_units(text, self.temperature, self.length, self.volume, self.mass)

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


def units_from(text: str | None) -> Units:
    """The choice that a cookie holds; metric where it holds none or makes no sense."""
    parts = (text or "").split(".")
    if len(parts) != len(_CHOICES) or any(part not in may for part, may in zip(parts, _CHOICES, strict=True)):
        return Units()
    return Units(*parts)


def units_of(request: Request) -> Units:
    """The choice of whoever asks: this device's, else the workshop's."""
    return units_from(request.cookies.get(COOKIE) or shop_units(request))


def chosen(request: Request) -> bool:
    """Whether somebody has chosen, on this device or for the workshop."""
    return COOKIE in request.cookies or shop_units(request) is not None


def shop_units(request: Request) -> str | None:
    """What was chosen for the whole workshop at the first set-up, as a cookie would hold it; None before."""
    state = request.app.state
    if getattr(state, "shop_units", None) is None:
        with state.service.store.read() as connection:
            told = [row.data["units"] for row in shop.shop_events(connection, SHOP_UNITS) if row.data]
        state.shop_units = told[-1] if told else None
    kept: str | None = state.shop_units
    return kept


def number_from(text: str, name: str) -> float:
    """A number as people type it: "12.5" or "12,5". Raises BadInput naming the field."""
    cleaned = text.strip().replace("\u202f", "").replace(" ", "")
    # One comma and no point is a decimal comma; anything else with a comma could be read two ways.
    if cleaned.count(",") == 1 and "." not in cleaned:
        cleaned = cleaned.replace(",", ".")
    try:
        number = float(cleaned)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise BadInput(name, "is not a number", value=text, remedy="type digits, with a point or a comma")
    return number
