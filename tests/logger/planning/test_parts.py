"""Ratio, density and stoichiometry, judged by handbook examples and closed forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.planning.physics.parts import (
    Measure,
    Ratio,
    hardener_error_pct,
    mix_density_kg_m3,
    parts_per_hundred,
    portions,
    scale_error,
)
from logger.words.render import say


@pytest.mark.parametrize(
    ("a", "b", "density_a", "density_b", "by_volume", "mix"),
    [
        # Rv = Rw ρB/ρA and 1/Σ(w/ρ), closed forms computed by hand
        (100, 45, 1150, 960, 1.855, 1083.5),
        (2, 1, 1150, 950, 1.652, 1074.6),
        (100, 30, 1130, 980, 2.891, 1091.4),
        (2, 1, 1100, 1020, 1.8545, 1072.0),
    ],
)
def test_a_ratio_by_weight_becomes_one_by_volume(
    a: float, b: float, density_a: float, density_b: float, by_volume: float, mix: float
) -> None:
    """A to B by volume, and the density of the mix."""
    ratio = Ratio(a, b, "weight")
    volume = ratio.by_volume(density_a, density_b)

    assert volume.by == "volume"
    assert volume.a / volume.b == pytest.approx(by_volume, abs=6e-4)
    assert mix_density_kg_m3(ratio, density_a, density_b) == pytest.approx(mix, abs=0.1)


def test_ten_litres_are_shared_between_the_parts() -> None:
    """10 L at 1074.6 kg/m³, 2 : 1 by weight, are 7.165 kg and 3.583 kg (by hand)."""
    each = portions(10.748, Ratio(2, 1, "weight"), 1150, 950)

    assert each.a_g == pytest.approx(7165, abs=1)
    assert each.b_g == pytest.approx(3583, abs=1)
    assert each.a_ml + each.b_ml == pytest.approx(10_002, abs=2)


@pytest.mark.parametrize(
    ("done", "right", "error_pct"),
    [
        # by hand: 2 : 1 by weight measured by volume leaves 17.4 % short; 2 : 1 by volume weighed is 21.1 % too much
        (Ratio(2, 1, "volume"), Ratio(2, 1, "weight"), -17.4),
        (Ratio(2, 1, "weight"), Ratio(2, 1, "volume"), 21.1),
        (Ratio(1, 1, "weight"), Ratio(2, 1, "weight"), 100.0),
        (Ratio(100, 48, "weight"), Ratio(100, 50, "weight"), -4.0),
    ],
)
def test_the_wrong_measure_shows_as_too_much_or_too_little_hardener(
    done: Ratio, right: Ratio, error_pct: float
) -> None:
    """The same two numbers by the other measure are a spoiled batch."""
    assert hardener_error_pct(done, right, 1150, 950) == pytest.approx(error_pct, abs=0.06)


@pytest.mark.parametrize(
    ("ahew", "eew", "phr"),
    [
        # handbook text: DETA 20.6 with EEW 200; blend 43 with 209; Polímeros (SciELO) 27.5 with 187
        (20.6, 200, 10.3),
        (43, 209, 20.6),
        (27.5, 187, 14.7),
        # closed form 100 AHEW/EEW with exact molar masses: TETA, IPDA, a 60 g/eq polyetheramine
        (24.37, 190, 12.83),
        (42.58, 190, 22.41),
        (60, 190, 31.58),
    ],
)
def test_equivalent_weights_give_the_hardener_for_a_hundred_of_resin(
    ahew: float, eew: float, phr: float
) -> None:
    """Published examples, to the digits they print."""
    assert parts_per_hundred(ahew, eew) == pytest.approx(phr, abs=0.05 if phr > 20 else 0.03)


@pytest.mark.parametrize(
    ("a_g", "b_g", "step_g", "standard", "worst", "tared"),
    [
        # d/√12, d/√6 in quadrature and d/2A + d/2B (JCGM 100:2008, 4.3.7; closed form), by hand
        (2000, 1000, 1, 0.032, 0.075, 0.046),
        (2000, 1000, 5, 0.161, 0.375, 0.228),
        (200, 100, 1, 0.32, 0.75, 0.46),
        (60, 30, 1, 1.08, 2.5, 1.52),
    ],
)
def test_a_coarse_scale_spoils_a_small_batch(
    a_g: float, b_g: float, step_g: float, standard: float, worst: float, tared: float
) -> None:
    """1 g steps are nothing on kilograms and 2.5 % on 30 g."""
    found = scale_error(a_g, b_g, step_g)

    assert found.standard_pct == pytest.approx(standard, rel=0.02)
    assert found.worst_pct == pytest.approx(worst, rel=0.01)
    assert found.tared_pct == pytest.approx(tared, rel=0.02)


def test_a_ratio_never_stands_bare() -> None:
    """Its text carries the measure."""
    assert say(Ratio(2, 1, "volume").said) == "2 : 1 by volume"


@pytest.mark.parametrize(("a", "b"), [(0, 1), (2, -1), (math.nan, 1)])
def test_a_ratio_of_nothing_is_refused(a: float, b: float) -> None:
    """Zero, negative and not-a-number parts are refused with the remedy."""
    with pytest.raises(OutOfRange, match="parts") as refusal:
        Ratio(a, b, "weight")

    assert "datasheet" in say(refusal.value.remedy)


densities = st.floats(500, 2500)
parts = st.floats(0.1, 100)
measures: st.SearchStrategy[Measure] = st.sampled_from(["weight", "volume"])


@given(a=parts, b=parts, by=measures, density_a=densities, density_b=densities)
def test_weight_and_volume_go_both_ways(
    a: float, b: float, by: Measure, density_a: float, density_b: float
) -> None:
    """There and back is the same mix, and the mix is never denser than its denser part."""
    ratio = Ratio(a, b, by)
    back = ratio.by_volume(density_a, density_b).by_weight(density_a, density_b)

    assert back.b_over_a == pytest.approx(ratio.by_weight(density_a, density_b).b_over_a, rel=1e-9)
    mix = mix_density_kg_m3(ratio, density_a, density_b)
    assert min(density_a, density_b) * (1 - 1e-9) <= mix <= max(density_a, density_b) * (1 + 1e-9)
    assert hardener_error_pct(back, ratio, density_a, density_b) == pytest.approx(0, abs=1e-6)


@given(kg=st.floats(0, 1000), a=parts, b=parts, by=measures)
def test_the_portions_add_up(kg: float, a: float, b: float, by: Measure) -> None:
    """Both weights together are the batch, and neither is negative."""
    each = portions(kg, Ratio(a, b, by), 1150, 980)

    assert each.a_g + each.b_g == pytest.approx(1000 * kg)
    assert min(each.a_g, each.b_g, each.a_ml, each.b_ml) >= 0
