"""A quantity as people type it: with its unit or without, with fractions, in each language; and what is shown back.

Factors: NIST SP 811 (2008), Appendix B.8. How people write a quantity: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.errors import BadInput
from logger.words.numbers import LANGUAGES
from logger.words.reader import METRIC, US, Reader
from web.views.typed import celsius_from, grams_from, kg_from, litres_from, minutes_from, mm_from, number_from

READERS = [
    replace(reader, language=language)
    for reader in (METRIC, US, replace(US, mass="oz"))
    for language in LANGUAGES
]


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("2 in", 50.8),
        ("50 mm", 50.0),
        ("5 cm", 50.0),
        ("1.2 m", 1200.0),
        ("1 15/16", 49.2125),
        ("1-15/16 in", 49.2125),
        ("1 15/16 inches", 49.2125),
        ('2"', 50.8),
        ("2\u2033", 50.8),
        ("1/2 in", 12.7),
        ("\u00bd in", 12.7),
        ("1\u00bd", 38.1),
        ("1\u00a01/2\u00a0in", 38.1),
        ("2,5", 63.5),
        (".75", 19.05),
        ("8 ft", 2438.4),
        ("5' 3 1/2\"", 1612.9),
        ("1/2-3/4 in", (12.7, 19.05)),
        ("2 to 4 cm", (20.0, 40.0)),
        ("20 mm - 1 in", (20.0, 25.4)),
        ("2 Zoll", 50.8),
    ],
)
def test_a_length_is_taken_as_it_is_typed(text: str, mm: Any) -> None:
    """A number alone is in inches for somebody who reads inches; another unit is what it says."""
    assert mm_from(text, "Depth", US) == pytest.approx(mm)


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (celsius_from, "68 F", 20.0),
        (celsius_from, "20 °C", 20.0),
        (celsius_from, "68", 20.0),
        (celsius_from, "68°", 20.0),
        (celsius_from, "-40 °F", -40.0),
        (litres_from, "3 gal", 11.356235352),
        (litres_from, "3", 11.356235352),
        (litres_from, "12 fl oz", 0.35488235475),
        (litres_from, "12 US fl oz", 0.35488235475),
        (litres_from, "2 qt", 1.892705892),
        (litres_from, "750 mL", 0.75),
        (litres_from, "1 gal 12 fl oz", 4.14029413875),
        (kg_from, "2 lb 3 oz", 0.992233309375),
        (kg_from, "450 g", 0.45),
        (kg_from, "2,5 kg", 2.5),
        (kg_from, "2", 0.90718474),
        (grams_from, "0.5", 226.796185),
        (grams_from, "12 oz", 340.1942775),
        (grams_from, "0,45 kg", 450.0),
    ],
)
def test_every_quantity_is_taken_as_it_is_typed(read: Any, text: str, value: float) -> None:
    """By somebody in the United States."""
    assert read(text, "It", US) == pytest.approx(value, rel=1e-12)


def test_a_level_may_be_below_the_mark() -> None:
    """Up is plus; nothing else but a level may be 0 or less."""
    assert mm_from("+1/8 in", "Level", METRIC, signed=True) == pytest.approx(3.175)
    assert mm_from("-1 1/8", "Level", US, signed=True) == pytest.approx(-28.575)
    assert mm_from("\u22123 mm", "Level", US, signed=True) == -3.0
    assert mm_from("0", "Level", US, signed=True) == 0.0
    assert minutes_from("0", "Minutes since", METRIC, zero=True) == 0.0
    with pytest.raises(BadInput, match="impossible"):
        mm_from("-3", "Depth", US)


@pytest.mark.parametrize(
    ("language", "text"), [("en", "1,250"), ("de", "1.250"), ("es", "12.500"), ("fr", "1.250")]
)
def test_thousands_that_may_be_decimals_are_refused_with_both_ways_to_type_them(
    language: str, text: str
) -> None:
    """A factor of a thousand is not guessed."""
    with pytest.raises(BadInput, match="can be read two ways") as refused:
        number_from(text, "Depth", Reader(language=language))
    assert text.replace(".", "").replace(",", "") in str(refused.value)


@pytest.mark.parametrize("text", ["2 zorks", "2 lb 3 kg", "1/0", "1 2 3", "in", "2 in 3", "1 15", "5 kg"])
def test_what_makes_no_sense_is_refused(text: str) -> None:
    """With the field's name, and what was typed."""
    with pytest.raises(BadInput) as refused:
        mm_from(text, "Depth", US)
    assert "Depth" in str(refused.value)
    assert text in str(refused.value)


@pytest.mark.parametrize("u", READERS)
@settings(deadline=None)  # the first of a language reads its forms
@given(
    mm=st.floats(1, 5000), celsius=st.floats(-30, 250), litres=st.floats(0.01, 900), kg=st.floats(0.01, 900)
)
def test_what_is_shown_can_be_typed_back(
    u: Reader, mm: float, celsius: float, litres: float, kg: float
) -> None:
    """A field's number and a page's quantity with its unit, in every language, units and scale."""
    assert mm_from(u.bare_span(mm), "It", u) == pytest.approx(mm, rel=1.1e-3, abs=0.013)
    assert celsius_from(u.bare_temp(celsius), "It", u) == pytest.approx(celsius, abs=0.051)
    assert celsius_from(u.temp(celsius), "It", u) == pytest.approx(celsius, abs=0.051)
    if mm < 999 or u.length == "in":  # thousands are parted on a page, and refused in a field
        assert mm_from(u.span(mm), "It", u) == pytest.approx(mm, abs=0.8)
    assert mm_from(u.level(-mm), "It", u, signed=True) == pytest.approx(-mm, abs=0.41)
    assert litres_from(u.litres(litres), "It", u) == pytest.approx(litres, rel=0.06, abs=0.006)
    assert kg_from(u.weight(kg), "It", u) == pytest.approx(kg, rel=0.03, abs=0.006)
    if kg < 0.999 or u.pounds:
        assert grams_from(u.scale(1000 * kg), "It", u) == pytest.approx(1000 * kg, rel=1e-3, abs=0.51)
    assert grams_from(u.bare_scale(1000 * kg), "It", u) == pytest.approx(1000 * kg, rel=1e-3, abs=0.51)


def test_the_number_in_a_field_is_the_one_that_was_typed() -> None:
    """What a maker typed in sixteenths comes back in sixteenths; a metric size as exactly as it is."""
    assert US.bare_span(49.2125) == "1 15/16"
    assert US.bare_span(19) == "0.748"
    assert US.bare_span(50) == "1 31/32"  # 0.006 mm more: no rule shows it
    assert replace(US, language="de").bare_span(20) == "0,787"
    assert METRIC.bare_span(37.5) == "37.5"
