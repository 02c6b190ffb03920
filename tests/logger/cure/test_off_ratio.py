"""A wrong mixing ratio against stoichiometry."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.cure.model.off_ratio import heat_factor, heat_from_equivalents, off_ratio
from logger.errors import OutOfRange
from logger.plan.file import Glass

#: Invented: no resin on the market.
GLASS = Glass()

ratios = st.floats(min_value=0.34, max_value=3.0)
shares = st.floats(min_value=0.1, max_value=0.6)


@pytest.mark.parametrize(("ratio", "network"), [(1.05, 0.952), (0.95, 0.95), (1.1, 0.909), (0.9, 0.9)])
def test_the_scarcer_side_limits_both(ratio, network):
    """Stoichiometry, worked by hand: 5 % too much hardener leaves 4.8 % of its hydrogens without a partner."""
    assert off_ratio(GLASS, ratio).network == pytest.approx(network, abs=5e-4)


def test_heat_per_gram_agrees_with_a_published_system():
    """486 J/g and 106.6 kJ/eq are both published for a DGEBA with a TETA-based amine (187 and 27.5 g/eq,
    14.7 parts per hundred; Polímeros, SciELO); they agree within 3 %, which is the source's own scatter."""
    assert heat_from_equivalents(106.6, 187.0, 27.5) == pytest.approx(486.0, rel=0.03)
    parts_per_hundred = 100 * 27.5 / 187.0
    assert parts_per_hundred == pytest.approx(14.7, abs=0.05)


@pytest.mark.parametrize(
    ("kj_eq", "eew", "ahew", "expected"),
    [
        (98, 187, 27.5, 457),
        (106.6, 170.2, 20.63, 559),
        (100, 170.2, 24.37, 514),
        (110, 187, 42.6, 479),
        (100, 187, 60, 405),
    ],
)
def test_heat_per_gram_is_heat_per_equivalent_over_both_weights(kj_eq, eew, ahew, expected):
    """Definition of the equivalent weights; molar masses of DETA, TETA and IPDA are exact."""
    assert heat_from_equivalents(kj_eq, eew, ahew) == pytest.approx(expected, abs=0.6)


@given(ratio=ratios, share=shares)
def test_no_ratio_gives_more_heat_than_the_right_one(ratio, share):
    """A gram of an off-ratio mix never holds more heat than a gram of the right one."""
    assert heat_factor(ratio, share) <= 1.0 + 1e-12


@given(ratio=ratios, share=shares)
def test_the_glass_transition_has_its_maximum_at_the_right_ratio(ratio, share):
    """Tg has its maximum at r = 1 (Galy, Sabra & Pascault 1986, abstract): never harder than the right mix."""
    mix = off_ratio(GLASS, ratio, share)
    assert mix.tg_inf_c <= GLASS.tg_inf_c + 1e-9
    assert mix.softer_k >= -1e-9


def test_a_bound_on_the_softening_agrees_with_dibenedetto_by_hand():
    """DiBenedetto at 0.95 of −19 to 124 °C with λ 0.4, worked by hand: 107 °C, 17 K softer."""
    glass = Glass.model_validate({"tg0_c": -19.0, "tg_inf_c": 124.0, "lambda": 0.4})
    assert off_ratio(glass, 0.95).tg_inf_c == pytest.approx(107.4, abs=0.1)


@pytest.mark.parametrize("ratio", [0.33, 3.1, 0.0, -1.0])
def test_a_ratio_that_never_gels_is_refused_with_its_range(ratio):
    """Outside 1/3 to 3 the mix never gels; the refusal names range and remedy."""
    with pytest.raises(OutOfRange, match=r"1/3 to 3.*do not pour"):
        off_ratio(GLASS, ratio)


def test_a_heat_that_is_no_epoxy_is_refused():
    """60 kJ per equivalent is no epoxy with amine."""
    with pytest.raises(OutOfRange, match="80 to 130"):
        heat_from_equivalents(60.0, 187.0, 27.5)
