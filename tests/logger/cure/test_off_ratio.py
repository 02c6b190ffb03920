"""A wrong mixing ratio against stoichiometry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.cure.model.kinetics import glass_transition_c, rate_per_s
from logger.cure.model.off_ratio import heat_factor, heat_from_equivalents, off_ratio, ratio_of_masses
from logger.errors import OutOfRange
from logger.plan.file import Glass, Rate, Resin
from logger.plan.tables import Mix

# Invented: no resin on the market.
RESIN = Resin(
    name="invented",
    heat_of_cure_j_g=420.0,
    rate=Rate(k1_per_s=1e-6, k2_per_s=2e-5, m=1.0, n=2.0),
)

ratios = st.floats(min_value=0.34, max_value=3.0)
shares = st.floats(min_value=0.1, max_value=0.6)


@pytest.mark.parametrize(
    ("ratio", "epoxide", "amine"), [(1.05, 1.0, 0.952), (0.95, 0.95, 1.0), (1.1, 1.0, 0.909), (0.9, 0.9, 1.0)]
)
def test_the_scarcer_side_limits_both(ratio, epoxide, amine):
    """Stoichiometry, worked by hand: 5 % too much hardener leaves 4.8 % of its hydrogens without a partner."""
    found = off_ratio(RESIN, ratio)
    assert found.epoxide == pytest.approx(epoxide, abs=5e-4)
    assert found.amine == pytest.approx(amine, abs=5e-4)


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


@given(ratio=ratios, share=shares, alpha=st.floats(min_value=0.0, max_value=1.0))
def test_the_glass_transition_has_its_maximum_at_the_right_ratio(ratio, share, alpha):
    """Tg has its maximum at r = 1 (Galy, Sabra & Pascault 1986, from memory): never harder than the right mix,
    at the same conversion of the scarcer side."""
    found = off_ratio(RESIN, ratio, share)
    assert found.tg_inf_c <= RESIN.glass.tg_inf_c + 1e-9
    assert glass_transition_c(alpha, found.resin.glass) <= glass_transition_c(alpha, RESIN.glass) + 1e-9


@given(ratio=ratios, share=shares, released=st.floats(min_value=0.0, max_value=0.999))
def test_at_the_same_heat_released_it_is_never_faster(ratio, share, released):
    """With the same heat already out of a gram at the same temperature, the off-ratio mix gives off no more."""
    found = off_ratio(RESIN, ratio, share)
    alpha = released / found.heat_factor
    if alpha >= 1.0:
        return
    off = found.heat_factor * rate_per_s(alpha, 300.0, found.resin.rate)
    assert off <= rate_per_s(released, 300.0, RESIN.rate) * (1 + 1e-9)


@given(ratio=ratios, network=st.floats(min_value=1e-3, max_value=0.3))
def test_autocatalysis_follows_the_network_formed(ratio, network):
    """At the same part of the network formed, the surplus does not drive the cure: its growth is at most the right
    mix's, times the part that can form."""
    found = off_ratio(RESIN, ratio)
    growth = found.network * rate_per_s(network / found.network, 300.0, found.resin.rate)
    assert growth <= found.network * rate_per_s(network, 300.0, RESIN.rate) * (1 + 1e-9)


def test_the_network_glass_is_the_right_ones_stopped_early():
    """Tg of the off-ratio mix along its cure is DiBenedetto's curve of the right mix up to conversion s."""
    found = off_ratio(RESIN, 1.1)
    alpha = np.linspace(0, 1, 11)
    right = glass_transition_c(alpha / 1.1, RESIN.glass)
    assert np.allclose(glass_transition_c(alpha, found.resin.glass), right, atol=1e-9)


def test_a_bound_on_the_softening_agrees_with_dibenedetto_by_hand():
    """DiBenedetto at 0.95 of −19 to 124 °C with λ 0.4, worked by hand: 107 °C, 17 K softer."""
    resin = RESIN.model_copy(
        update={"glass": Glass.model_validate({"tg0_c": -19.0, "tg_inf_c": 124.0, "lambda": 0.4})}
    )
    assert off_ratio(resin, 0.95).tg_inf_c == pytest.approx(107.4, abs=0.1)


@pytest.mark.parametrize(
    ("ratio", "severity"),
    [(1.0, "ok"), (1.015, "ok"), (0.97, "mention"), (1.04, "mention"), (0.94, "warn"), (1.06, "warn")],
)
def test_more_than_five_percent_off_is_warned_about(ratio, severity):
    """Common practice, no source: beyond 5 % a batch is not poured."""
    found = off_ratio(RESIN, ratio)
    assert found.severity == severity
    assert ("Do not pour" in found.message) == (severity == "warn")


@pytest.mark.parametrize("ratio", [0.33, 3.1, 0.0, -1.0])
def test_a_ratio_that_never_gels_is_refused_with_its_range(ratio):
    """Outside 1/3 to 3 the mix never gels; the refusal names range and remedy."""
    with pytest.raises(OutOfRange, match=r"1/3 to 3.*do not pour"):
        off_ratio(RESIN, ratio)


def test_weighing_a_volume_ratio_is_caught():
    """2 : 1 by volume at 1150 and 950 kg/m³, weighed 2 : 1, is 21 % too much hardener (worked by hand)."""
    mix = Mix(density_a_kg_m3=1150.0, density_b_kg_m3=950.0, ratio_parts=(2.0, 1.0), ratio_by="volume")
    ratio, share = ratio_of_masses(2000.0, 1000.0, mix)
    assert ratio == pytest.approx(1.2105, abs=1e-4)
    assert share == pytest.approx(950 / (2 * 1150 + 950))
    assert off_ratio(RESIN, ratio, share).severity == "warn"


def test_equivalent_weights_decide_where_they_are_given():
    """With 187 and 27.5 g per equivalent, 14.7 g of hardener on 100 g is the right mix (published pair)."""
    mix = Mix(
        density_a_kg_m3=1150.0,
        density_b_kg_m3=950.0,
        ratio_parts=(100.0, 14.7),
        ratio_by="weight",
        eew_g_eq=187.0,
        ahew_g_eq=27.5,
    )
    assert ratio_of_masses(100.0, 14.7, mix)[0] == pytest.approx(1.0, abs=1e-3)


def test_no_mass_is_refused():
    """A batch without hardener has no ratio."""
    mix = Mix(density_a_kg_m3=1150.0, density_b_kg_m3=950.0, ratio_parts=(2.0, 1.0), ratio_by="weight")
    with pytest.raises(OutOfRange, match="hardener_g"):
        ratio_of_masses(100.0, 0.0, mix)


def test_a_heat_that_is_no_epoxy_is_refused():
    """60 kJ per equivalent is no epoxy with amine."""
    with pytest.raises(OutOfRange, match="80 to 130"):
        heat_from_equivalents(60.0, 187.0, 27.5)
