"""The gel point against Flory–Stockmayer's closed form."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.model.gel import first_crossing, gel_at_h, gel_conversion, gel_message, gel_of_scarcer
from logger.cure.model.kinetics import EARLIEST_GEL
from logger.errors import OutOfRange

# Flory 1953, ch. 9, and Stockmayer 1952: p_E = sqrt(r / ((f_E − 1)(f_A − 1))); numbers worked by hand from it.
# DETA has five amine hydrogens, TETA six.
PUBLISHED = [
    (1.0, 2, 3, 0.7071), (1.0, 2, 4, 0.5774), (1.0, 2, 5, 0.5000), (1.0, 2, 6, 0.4472), (1.0, 3, 4, 0.4082),
    (0.5, 2, 4, 0.4082), (0.6, 2, 4, 0.4472), (0.7, 2, 4, 0.4830), (0.8, 2, 4, 0.5164), (0.9, 2, 4, 0.5477),
    (1.1, 2, 4, 0.6055), (1.25, 2, 4, 0.6455), (1.5, 2, 4, 0.7071), (2.0, 2, 4, 0.8165),
]  # fmt: skip


@pytest.mark.parametrize(("ratio", "epoxide", "amine", "expected"), PUBLISHED)
def test_the_gel_point_is_flory_and_stockmayers(ratio, epoxide, amine, expected):
    """The earliest gel agrees with the closed form for di-, tri- and polyfunctional mixes at every ratio."""
    assert gel_conversion(ratio, epoxide, amine) == pytest.approx(expected, abs=5e-5)


def test_the_solvers_gel_is_the_same_one():
    """The gel point that the solver uses is the one of a diepoxide with a diamine at the right ratio."""
    assert gel_of_scarcer() == pytest.approx(EARLIEST_GEL, rel=1e-12)


@pytest.mark.parametrize("ratio", [0.30, 0.333, 3.001, 5.0])
def test_a_mix_outside_a_third_and_three_never_gels(ratio):
    """Outside the range of ratios there is no gel point, and the message says that it stays a syrup."""
    assert gel_conversion(ratio) is None
    assert gel_at_h(np.array([0.0, 1.0]), np.array([0.0, 1.0]), gel_of_scarcer(ratio)) is None
    assert "never gels" in gel_message(ratio)


@pytest.mark.parametrize("ratio", [1 / 3, 3.0])
def test_at_the_edge_of_the_range_the_scarcer_side_must_react_to_the_last(ratio):
    """At 1/3 and at 3 the mix gels only at full conversion of the scarcer side (closed form)."""
    assert gel_of_scarcer(ratio) == pytest.approx(1.0)


@pytest.mark.parametrize(("ratio", "expected"), [(0.95, 0.592), (0.90, 0.609), (1.0, 0.577)])
def test_too_little_hardener_gels_later_in_the_scarcer_side(ratio, expected):
    """With hardener short, its own conversion at gel is 1/sqrt(3 r) (Flory–Stockmayer, closed form)."""
    assert gel_of_scarcer(ratio) == pytest.approx(expected, abs=5e-4)


def test_the_gel_time_is_read_between_two_hours():
    """The hour of gel lies on the straight line between two points of the curve."""
    assert gel_at_h(np.array([0.0, 2.0, 4.0]), np.array([0.0, 0.5, 0.6]), 0.575) == pytest.approx(3.5)


def test_a_curve_that_stays_below_never_gels():
    """A cure that stops short of the gel point has no gel time."""
    assert first_crossing(np.array([0.0, 9.0]), np.array([0.0, 0.5]), 0.577) is None


def test_the_message_says_about():
    """A maker is told that the gel point is the earliest one."""
    told = gel_message(1.0, 21.37)
    assert "about 21.4 h" in told
    assert "about 58 %" in told
    assert "somewhat later" in told


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("nan"), float("inf")])
def test_no_ratio_is_refused(ratio):
    """A ratio that is no ratio is refused with its range."""
    with pytest.raises(OutOfRange, match="above 0"):
        gel_conversion(ratio)


def test_places_are_refused_outside_their_range():
    """A molecule with fewer than one reactive place is refused."""
    with pytest.raises(OutOfRange, match="amine_places"):
        gel_conversion(1.0, 2.0, 0.5)
