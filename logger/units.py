"""Units at the edge. Inside the program: SI and °C; here they meet °F, mm/in, US gallons and pounds.

Exact factors: the inch, the pound and the US gallon are defined (NIST SP 811, 2008, Appendix B.8).
"""

from __future__ import annotations

import math

#: 0 °C in kelvin, exact (SI Brochure, 9th ed., 2019, section 2.3.1).
ZERO_CELSIUS_K = 273.15
#: Molar gas constant, J/(mol·K), exact (SI Brochure, 9th ed., 2019: product of the defining constants).
GAS_CONSTANT_J_MOL_K = 8.31446261815324
#: Reference temperature of the rate constants in a plan file, K (25 °C; shared contract of the plan file).
REFERENCE_K = 298.15
#: Standard acceleration of gravity, m/s², exact (NIST SP 811, 2008, B.8).
GRAVITY_M_S2 = 9.80665
#: Stefan–Boltzmann constant, W/(m²·K⁴) (CODATA 2018, exact in the revised SI to the digits given).
STEFAN_BOLTZMANN_W_M2K4 = 5.670374419e-8
#: One inch in millimetres, exact (NIST SP 811, B.8).
MM_PER_INCH = 25.4
#: One US liquid gallon in litres, exact (231 cubic inches; NIST SP 811, B.8).
LITRES_PER_US_GALLON = 3.785411784
#: One avoirdupois pound in kilograms, exact (NIST SP 811, B.8).
KG_PER_POUND = 0.45359237
#: Seconds in an hour.
SECONDS_PER_HOUR = 3600.0
#: Milliseconds in an hour and in a day.
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS


def c_to_f(celsius: float) -> float:
    """Degrees Fahrenheit of a temperature in °C."""
    return celsius * 1.8 + 32.0


def f_to_c(fahrenheit: float) -> float:
    """Degrees Celsius of a temperature in °F."""
    return (fahrenheit - 32.0) / 1.8


def k_to_f(kelvin: float) -> float:
    """Degrees Fahrenheit of a difference of temperatures in K."""
    return kelvin * 1.8


def mm_to_in(mm: float) -> float:
    """Inches of a length in mm."""
    return mm / MM_PER_INCH


def in_to_mm(inches: float) -> float:
    """Millimetres of a length in inches."""
    return inches * MM_PER_INCH


def litres_to_us_gallons(litres: float) -> float:
    """US gallons of a volume in litres."""
    return litres / LITRES_PER_US_GALLON


def us_gallons_to_litres(gallons: float) -> float:
    """Litres of a volume in US gallons."""
    return gallons * LITRES_PER_US_GALLON


def kg_to_lb(kg: float) -> float:
    """Pounds of a mass in kg."""
    return kg / KG_PER_POUND


def lb_to_kg(pounds: float) -> float:
    """Kilograms of a mass in pounds."""
    return pounds * KG_PER_POUND


def plain(value: float) -> str:
    """Return a number as a maker reads it: three or four figures, no exponent unless it is huge or tiny."""
    if value == 0:
        return "0"
    size = abs(value)
    if not 1e-3 <= size < 1e7:
        return f"{value:.3g}"
    digits = max(0, 2 - math.floor(math.log10(size)))
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
