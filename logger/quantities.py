"""Quantities by name, as a decision gives them to its facts (logger/facts.py): SI, °C, mm, litres, kg, hours."""

from __future__ import annotations

from logger import extremes
from logger.facts import Bound, Fact, Quantity, fact


def temperature(celsius: float, digits: int | None = 1) -> Quantity:
    """Return a temperature, °C."""
    return Quantity(celsius, "°C", digits)


def peak(celsius: float, digits: int | None = 0) -> Quantity | Fact:
    """Return a predicted peak, °C: none above what the model knows (`logger.extremes`)."""
    if extremes.is_unknown(celsius):
        return fact("over", limit=temperature(extremes.BEYOND_C, digits))
    return temperature(celsius, digits)


def difference(kelvin: float, digits: int | None = 1, *, signed: bool = False) -> Quantity:
    """Return a difference of temperatures, K."""
    return Quantity(kelvin, "K", digits, signed=signed)


def rate(kelvin_per_hour: float, digits: int | None = 1) -> Quantity:
    """Return how fast a temperature moves, K/h."""
    return Quantity(kelvin_per_hour, "K/h", digits)


def length(mm: float, digits: int | None = 1, *, signed: bool = False) -> Quantity:
    """Return a length, mm."""
    return Quantity(mm, "mm", digits, signed=signed)


def typed_length(mm: float) -> Quantity:
    """Return a length that somebody typed, mm: with every decimal that it was given with."""
    return Quantity(mm, "mm", min(3, len(f"{mm:.6g}".partition(".")[2])))


def number(value: float, digits: int | None = None) -> Quantity:
    """Return a number without a unit."""
    return Quantity(value, "", digits)


def volume(litres: float, digits: int | None = 1) -> Quantity:
    """Return a volume, L."""
    return Quantity(litres, "L", digits)


def mass(kg: float, digits: int | None = 2) -> Quantity:
    """Return a mass, kg."""
    return Quantity(kg, "kg", digits)


def grams(grams: float, digits: int | None = 0) -> Quantity:
    """Return a mass as the bench's scale shows it, g."""
    return Quantity(grams, "g", digits)


def hours(hours: float) -> Quantity:
    """Return a span of time given in hours: shown as "4 h 05 min"."""
    return Quantity(hours, "h", None)


def whole_hours(hours: float) -> Quantity:
    """Return a span of time given in hours, to the hour: shown as "31 h"."""
    return Quantity(60.0 * round(hours), "min", None)


def hours_alone(hours: float) -> Quantity:
    """Return a span of time given in hours, shown in hours whatever its length: "72 h", "26.5 h"."""
    return Quantity(60.0 * hours, "min", None)


def minutes(minutes: float) -> Quantity:
    """Return a span of time given in minutes: shown as "5 min"."""
    return Quantity(minutes, "min", None)


def seconds(seconds: float) -> Quantity:
    """Return a span of time given in seconds: shown as "45 s"."""
    return Quantity(seconds, "s", None)


def moment(at_ms: int) -> Quantity:
    """Return a moment, milliseconds since 1970 UTC: shown as a time of day, with its day where it is not near."""
    return Quantity(at_ms, "ms", None)


def chance(chance: float) -> Quantity:
    """Return a chance, 0 to 1: shown in percent, never as 0 or 100 %."""
    return Quantity(chance, "chance", None)


def count(n: int) -> Quantity:
    """Return how many: a large number is shown in groups of three digits, which the number of a row is not."""
    return Quantity(n, "count", 0)


def percent(value: float, digits: int | None = None, *, signed: bool = False) -> Quantity:
    """Return a share in percent."""
    return Quantity(value, "%", digits, signed=signed)


def quantity(value: float, unit: str, digits: int | None = 1, *, signed: bool = False) -> Quantity:
    """Return a value in any unit; one that no reader converts is shown as it is."""
    return Quantity(value, unit, digits, signed=signed)


def at_most(quantity: Quantity) -> Quantity:
    """Return a quantity that is the most allowed: what a reader's unit cannot show exactly is rounded down."""
    return Quantity(quantity.value, quantity.unit, quantity.digits, signed=quantity.signed, bound=Bound.MOST)


def at_least(quantity: Quantity) -> Quantity:
    """Return a quantity that is the least needed: what a reader's unit cannot show exactly is rounded up."""
    return Quantity(quantity.value, quantity.unit, quantity.digits, signed=quantity.signed, bound=Bound.LEAST)
