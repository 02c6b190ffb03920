"""Reader at the edge. Factors are exact definitions (NIST SP 811, 2008, Appendix B.8)."""

from __future__ import annotations

from typing import Any

import pytest

from logger.errors import BadInput
from logger.words.reader import Reader, units_from
from tests.web.page_text import words
from web.security.setup_code import new_setup_code
from web.views.typed import number_from

AMERICAN = Reader("f", "in", "gal", "lb")


def test_the_customary_units_follow_their_definitions() -> None:
    """One inch is 25.4 mm, one pound 0.45359237 kg, one US gallon 3.785411784 L, 0 °C is 32 °F."""
    assert AMERICAN.temp(100.0, 0).replace("\u00a0", " ") == "212 °F"
    assert AMERICAN.rise(10.0, 0).replace("\u00a0", " ") == "18 °F"
    assert AMERICAN.span(50.8).replace("\u00a0", " ") == "2 in"
    assert AMERICAN.litres(3.785411784).replace("\u00a0", " ") == "1.00 US gal"
    assert AMERICAN.to_kg(1.0) == 0.45359237
    assert AMERICAN.to_c(-40.0) == -40.0


@pytest.mark.parametrize("text", [None, "", "c.mm", "k.mm.l.kg", "f.in.gal.lb.x", "<script>"])
def test_a_cookie_that_makes_no_sense_means_metric(text: str | None) -> None:
    """A device's cookie is anybody's to write."""
    assert units_from(text) == Reader()


def test_the_choice_survives_its_cookie() -> None:
    """What was chosen comes back."""
    assert units_from(AMERICAN.cookie) == AMERICAN


@pytest.mark.parametrize(
    ("text", "number"), [("12,5", 12.5), (" 12.5 ", 12.5), ("1 250", 1250.0), ("-3", -3.0)]
)
def test_numbers_are_read_as_people_type_them(text: str, number: float) -> None:
    """A decimal comma is a decimal point."""
    assert number_from(text, "Depth") == number


@pytest.mark.parametrize("text", ["", "abc", "1,2,3", "1,250.5", "nan", "inf"])
def test_a_number_that_could_be_read_two_ways_is_refused(text: str) -> None:
    """Nothing is guessed."""
    with pytest.raises(BadInput, match="is not a number"):
        number_from(text, "Depth")


def test_the_workshop_is_asked_once_for_its_units(service: Any, stranger: Any) -> None:
    """At the first set-up; every device has them until it chooses others."""
    code = new_setup_code(service)
    assert "Units: °C, mm, litres, kg" in words(stranger.get("/set-up"))
    asked = {
        "code": code,
        "name": "Ada",
        "password": "three plain words",
        "temperature": "f",
        "length": "in",
        "volume": "gal",
        "mass": "lb",
    }
    assert stranger.post("/set-up", data=asked).status_code == 200
    assert "Depth (in)" in stranger.get("/pours/new").text
    metric = {"temperature": "c", "length": "mm", "volume": "l", "mass": "kg"}
    stranger.post("/settings/units", data=metric)
    assert "Depth (mm)" in stranger.get("/pours/new").text
