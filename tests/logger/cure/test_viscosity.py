"""How the resin thickens as it cures: Castro & Macosko's form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from logger.cure.model.viscosity import viscosity_pa_s
from logger.plan.file import Flow

MIX = Flow(viscosity_pa_s=0.6, at_c=25.0)
ROOM_K = 298.15


def test_the_fresh_mix_is_as_thick_as_its_datasheet_says():
    assert viscosity_pa_s(ROOM_K, 0.0, MIX) == pytest.approx(0.6)
    assert viscosity_pa_s(293.15, 0.0, Flow(viscosity_pa_s=0.9, at_c=20.0)) == pytest.approx(0.9)


def test_warmth_thins_it_by_its_activation_energy():
    """Arrhenius: 50 kJ/mol halves it over the ten kelvins from 25 °C but for 4 % (closed form)."""
    thinner = viscosity_pa_s(308.15, 0.0, MIX) / viscosity_pa_s(ROOM_K, 0.0, MIX)
    assert thinner == pytest.approx(math.exp(50_000 / 8.31446 * (1 / 308.15 - 1 / 298.15)), rel=1e-6)
    assert thinner == pytest.approx(0.52, abs=0.01)


def test_a_published_polyurethane_is_as_thick_as_its_own_formula_says():
    """Castro & Macosko 1982 (from memory): 10.3e-8 Pa·s · exp(41.3 kJ/mol / RT) · [0.65/(0.65 − α)]^(1.5 + α)."""
    fresh = 10.3e-8 * math.exp(41_300 / (8.31446 * 323.15))
    theirs = Flow(
        viscosity_pa_s=fresh, at_c=50.0, e_j_mol=41_300.0, gel_conversion=0.65, exponent_a=1.5, exponent_b=1.0
    )
    at_40 = 10.3e-8 * math.exp(41_300 / (8.31446 * 313.15)) * (0.65 / (0.65 - 0.3)) ** 1.8
    assert viscosity_pa_s(313.15, 0.3, theirs) == pytest.approx(at_40, rel=1e-5)


def test_it_thickens_all_the_way_and_no_longer_flows_from_the_gel_on():
    cure = np.linspace(0.0, 0.579, 60)
    thick = viscosity_pa_s(ROOM_K, cure, MIX)
    assert (np.diff(thick) > 0).all()
    assert thick[-1] > 1e4 * thick[0]
    assert np.isinf(viscosity_pa_s(ROOM_K, np.array([0.58, 0.7, 1.0]), MIX)).all()
