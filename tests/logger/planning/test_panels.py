"""Panel stiffness with its sources, and which panels stick."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import BadInput, OutOfRange
from logger.planning.physics.panels import find_panel, hdpe_modulus_gpa, panel_names, stiffness
from logger.words.render import say

TABLES = tomllib.loads((Path(__file__).parents[2] / "references" / "panels.toml").read_text("utf-8"))


@pytest.mark.parametrize(("hours", "modulus"), TABLES["polyethylene"]["rows"])
def test_polyethylene_softens_as_its_table_says(hours: float, modulus: float) -> None:
    """Handbook of PE Pipe, Table B.1.1, at its own rows."""
    assert hdpe_modulus_gpa(hours) == pytest.approx(modulus, abs=1e-9)


def test_a_day_of_load_takes_a_quarter_off_polyethylene() -> None:
    """Straight in the logarithm of time between 12 and 100 h: 0.396 GPa at 24 h (closed form)."""
    assert hdpe_modulus_gpa(24) == pytest.approx(0.396, abs=6e-4)
    assert hdpe_modulus_gpa(24) / hdpe_modulus_gpa(0.5) == pytest.approx(0.74, abs=0.005)


def test_warm_polyethylene_is_softer() -> None:
    """0.73 at 100 °F and 0.43 at 140 °F (Table B.1.2, from memory); beyond 60 °C it is refused.

    A public table of short-term moduli gives 50 000 psi at 140 °F and 110 000 at 73: no more than 0.46 of it is left.
    """
    assert hdpe_modulus_gpa(24, 37.8) == pytest.approx(0.73 * hdpe_modulus_gpa(24))
    assert hdpe_modulus_gpa(24, 60) == pytest.approx(0.43 * hdpe_modulus_gpa(24))
    assert hdpe_modulus_gpa(24, 60) < 0.46 * hdpe_modulus_gpa(24)
    with pytest.raises(OutOfRange, match="another panel"):
        hdpe_modulus_gpa(24, 61)


@pytest.mark.parametrize("name", panel_names())
def test_every_panel_says_where_its_stiffness_comes_from(name: str) -> None:
    """Modulus, creep and what to do about sticking are all there."""
    panel = find_panel(name.upper())

    assert panel.modulus_gpa > 0
    assert panel.creep >= 1
    assert panel.source
    assert panel.remedy
    assert all(constant.source for constant in stiffness(name, 24, 21, None, None))


def test_the_plans_own_modulus_wins() -> None:
    """A data sheet's number is taken as it is, without a creep that nobody gave."""
    modulus, creep = stiffness("some composite", 24, 21, 12.0, None)

    assert (modulus.value, creep.value) == (12.0, 1.0)


def test_an_unknown_panel_is_refused_with_the_known_ones() -> None:
    """The list is in the message, and so is the way out."""
    with pytest.raises(BadInput, match="HDPE") as refusal:
        find_panel("cardboard")

    assert "stiffness" in say(refusal.value.remedy)


@given(hours=st.floats(0.5, 8760), celsius=st.floats(-20, 60))
def test_polyethylene_never_stiffens_with_time(hours: float, celsius: float) -> None:
    """Creep only goes one way, and the modulus stays above zero."""
    now = hdpe_modulus_gpa(hours, celsius)

    assert now > 0
    assert hdpe_modulus_gpa(min(2 * hours, 8760.0), celsius) <= now
