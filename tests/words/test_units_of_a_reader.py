"""Quantities as a woodworker in the United States reads them, and numbers and days as each language writes them.

Factors: NIST SP 811 (2008), Appendix B.8, as printed there; forms of numbers and dates: Unicode CLDR, through Babel.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction

import pytest
from babel.dates import format_date, format_skeleton
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from logger import units
from logger.facts import Quantity, fact, parsed
from logger.quantities import (
    at_least,
    at_most,
    difference,
    grams,
    length,
    mass,
    quantity,
    rate,
    temperature,
    volume,
)
from logger.words import numbers
from logger.words.reader import (
    G_PER_OUNCE,
    LITRES_PER_US_QUART,
    ML_PER_US_FLUID_OUNCE,
    US,
    Reader,
    units_from,
)
from logger.words.render import say

OUNCES = replace(US, mass="oz")


@pytest.mark.parametrize(
    ("ours", "printed", "figures"),
    [
        # SP 811 B.8 prints seven figures, and exact ones in bold.
        (units.MM_PER_INCH / 1000, 2.54e-2, 15),  # inch → m, exact
        (units.LITRES_PER_US_GALLON / 1000, 3.785412e-3, 7),  # gallon (U.S.) → m³
        (LITRES_PER_US_QUART / 1000, 9.463529e-4, 7),  # quart (U.S. liquid) → m³
        (ML_PER_US_FLUID_OUNCE / 1e6, 2.957353e-5, 7),  # fluid ounce (U.S.) → m³
        (units.KG_PER_POUND, 4.535924e-1, 7),  # pound (avoirdupois) → kg
        (G_PER_OUNCE / 1000, 2.834952e-2, 7),  # ounce (avoirdupois) → kg
        (1 / units.k_to_f(1.0), 5.555556e-1, 7),  # degree Fahrenheit, interval → K
        (units.f_to_c(212.0), 100.0, 15),  # t/°C = (t/°F - 32)/1.8
    ],
)
def test_every_factor_is_the_printed_one(ours: float, printed: float, figures: int) -> None:
    """As many figures as the table has."""
    assert f"{ours:.{figures - 1}e}" == f"{printed:.{figures - 1}e}"


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        # 1 in = 25.4 mm.
        (length(0.0), "0 in"),
        (length(25.4, 0), "1 in"),
        (length(49.2125, 0), "1 15/16 in"),
        (length(50, 0), "1 15/16 in"),  # 1.9685 in
        (length(50.3), "1 31/32 in"),  # finer than a millimetre: to 1/32
        (length(19, 0), "3/4 in"),
        (length(18, 0), "23/32 in"),  # below an inch: to 1/32
        (length(12.7), "1/2 in"),
        (length(3.175, signed=True), "+1/8 in"),
        (length(-3.175, signed=True), "-1/8 in"),
        (length(-28.575), "-1 1/8 in"),
        (length(0.15, 2), "0.006 in"),  # a coat: no rule shows it
        (length(25.2, 0), "1 in"),  # carries over from 31.75/32
        (length(2438.4, 0), "96 in"),  # no feet
        # A US gallon of four quarts of 32 fl oz.
        (volume(0.0), "0.00 US gal"),
        (volume(0.9, 2), "30.4 US fl oz"),
        (volume(0.947, 2), "0.25 US gal"),
        (volume(18.92705892), "5.00 US gal"),
        (quantity(29.5735295625, "mL"), "1.0 US fl oz"),
        (quantity(3785.411784, "mL", 0), "1.00 US gal"),
        # A pound of sixteen ounces.
        (mass(0.0), "0.00 lb"),
        (mass(0.2267961850), "8.0 oz"),
        (mass(0.45359237), "1.00 lb"),
        (mass(22.6796185), "50.00 lb"),
        (grams(453.59237), "1.000 lb"),
        # Differences and rates are no temperatures.
        (temperature(5.0, 0), "41 °F"),
        (difference(5.0, 0), "9 °F"),
        (rate(5.0, 0), "9 °F an hour"),
    ],
)
def test_a_quantity_is_what_a_rule_a_jug_or_a_scale_shows(said: str, shown: str) -> None:
    """In the United States' units."""
    assert say(said, US) == shown


def test_a_bench_scale_shows_what_the_person_set_it_to() -> None:
    """Pounds with decimals, or ounces (1 lb = 16 oz); a heavy thing is in pounds for both."""
    assert say(grams(141.747615625), US) == "0.313 lb"  # 5/16 lb
    assert say(grams(141.747615625), OUNCES) == "5.00 oz"
    assert US.scale(907.18474) == "2.000\u00a0lb"
    assert OUNCES.scale(907.18474) == "32.00\u00a0oz"
    assert say(mass(9.0718474), OUNCES) == "20.00 lb"
    assert OUNCES.to_g(16.0) == pytest.approx(453.59237)
    assert units_from(OUNCES.cookie) == OUNCES


@given(st.floats(-3000, 3000), st.integers(0, 1))
def test_a_length_is_never_further_off_than_half_the_rules_division(mm: float, digits: int) -> None:
    """Half of 1/16 in, or of 1/32 in below an inch; and in lowest terms."""
    said = say(length(mm, digits), US)
    match = re.fullmatch(r"(-?)(?:(\d+)(?: |(?= in)))?(?:(\d+)/(\d+) )? ?in", said)
    inches = round(mm, 3) / 25.4
    if match is None:
        assert abs(inches) < 1 / 64
        assert abs(float(said.removesuffix(" in")) - inches) <= 0.0005
        return
    part = Fraction(int(match[3] or 0), int(match[4] or 1))
    assert part.denominator == int(match[4] or 1)
    assert part.denominator in (1, 2, 4, 8, 16, 32)
    assert part < 1
    value = float(int(match[2] or 0) + part) * (-1 if match[1] else 1)
    division = 32 if abs(inches) < 1 else 16
    assert abs(value - inches) <= 0.5 / division + 1e-9


@pytest.mark.parametrize("language", numbers.LANGUAGES)
@pytest.mark.parametrize("value", [0.0, 0.5, -1.25, 12.75, 1234.5, -98765.0])
def test_a_number_is_written_as_the_language_writes_it(language: str, value: float) -> None:
    """Decimal sign and grouping by CLDR."""
    locale = numbers.LOCALES[language]
    whole = format_decimal(value, format="#,##0.00", locale=locale)
    assert numbers.number(value, 2, language, grouped=True) == whole
    assert numbers.number(value, 2, language) == format_decimal(value, format="0.00", locale=locale)


@pytest.mark.parametrize("language", numbers.LANGUAGES)
def test_a_day_is_written_as_the_language_writes_it(language: str) -> None:
    """Time of day, day and date by CLDR."""
    at = datetime(2026, 3, 5, 14, 7, tzinfo=UTC)
    at_ms, locale = at.timestamp() * 1000, numbers.LOCALES[language]
    assert numbers.time_of_day(at_ms, language, UTC) == format_skeleton("Hm", at, locale=locale)
    assert numbers.day(at_ms, language, UTC) == format_skeleton("MMMEd", at, locale=locale)
    assert numbers.date(at_ms, language, UTC) == format_date(at.date(), "medium", locale=locale)


def test_the_forms_of_each_language_are_those_that_its_readers_know() -> None:
    """Written out, so that a new Babel that changes them is seen."""
    at_ms = datetime(2026, 3, 5, 14, 7, tzinfo=UTC).timestamp() * 1000
    assert [numbers.number(1234.5, 1, language, grouped=True) for language in ("en", "de", "es", "fr")] == [
        "1,234.5",
        "1.234,5",
        "1.234,5",
        "1\u202f234,5",
    ]
    assert [numbers.date(at_ms, language, UTC) for language in ("en", "de", "es", "fr")] == [
        "5 Mar 2026",
        "05.03.2026",
        "5 mar 2026",
        "5 mars 2026",
    ]
    assert say(length(37.5), Reader(language="de")) == "37,5 mm"
    assert say(temperature(23.5), replace(US, language="fr")) == "74,3 °F"


@pytest.mark.parametrize(
    ("quantity", "shown"),
    [
        # An inch is 25.4 mm (NIST SP 811, 2008, B.8): 44 mm are 1.732 in, between 1 11/16 and 1 3/4.
        (at_most(length(44.0, None)), "1 11/16 in"),
        (at_least(length(44.0, None)), "1 3/4 in"),
        (length(44.0, None), "1 3/4 in"),
        (at_most(length(50.8, None)), "2 in"),
        (at_least(length(50.8, None)), "2 in"),
        (at_most(length(260.0, 0)), "10 3/16 in"),
        # °F = 1.8 °C + 32: 62.5 °C are 144.5 °F.
        (at_most(temperature(62.5, 0)), "144 °F"),
        (at_least(temperature(62.5, 0)), "145 °F"),
    ],
)
def test_no_unit_rounds_a_bound_to_its_wrong_side(quantity: Quantity, shown: str) -> None:
    """The deepest safe layer is never shown deeper than it is, nor the least panel thinner."""
    assert say(quantity, Reader("f", "in", "gal", "lb")) == shown
    assert say(parsed(str(fact("x", q=quantity))).values["q"], Reader("f", "in", "gal", "lb")) == shown  # type: ignore[attr-defined]  # a fact
