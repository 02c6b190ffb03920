"""The slow-down by vitrification against a published parameter set, exact integrals and identities."""

from __future__ import annotations

import numpy as np
import pytest
from prefactors import rate_from_prefactors

from logger.cure.model.diffusion import (
    check_diffusion,
    conversion_at_tg,
    diffusion_from_glass,
    slow_down,
)
from logger.cure.model.history import conversion_along, time_to
from logger.cure.model.kinetics import diffusion_factor, glass_transition_c
from logger.errors import OutOfRange
from logger.plan.file import Diffusion, Glass, Rate, Resin
from logger.units import GAS_CONSTANT_J_MOL_K

# A hot-curing prepreg resin, used for its arithmetic only: A = 1.53e5 1/s, E = 66.5 kJ/mol, m = 0.813, n = 2.74,
# C = 43.09, α_c0 = −1.684, α_cT = 5.475e-3 1/K (Hubert & Johnston's model, as public codes have it).
# Conversions from α(0) = 1e-3 by scipy's integrators with R = 8.314: E/R is kept, so E is scaled to our R.
ENERGY = 66_500.0 * GAS_CONSTANT_J_MOL_K / 8.314
SET_H = rate_from_prefactors(1e-12, 1.53e5, ENERGY, ENERGY, 0.813, 2.74)
SLOW_H = Diffusion(c=43.09, ac0=-1.684, ac_t_per_k=5.475e-3)
SECONDS = np.array([0.0, 600, 1800, 3600, 7200, 14400, 36000])
COLD_H = [0.00159, 0.00362, 0.01010, 0.04666, 0.24411, 0.51952]
WARM_H = [0.07920, 0.54501, 0.75091, 0.81978, 0.84509, 0.86650]


@pytest.mark.parametrize(("kelvin", "expected"), [(393.15, COLD_H), (453.15, WARM_H)])
def test_a_published_set_gives_its_conversions(kelvin, expected):
    """Chern–Poehlein with the published set: five decimals at two temperatures, six times each."""
    found = conversion_along(SECONDS / 3600, np.full(7, kelvin - 273.15), SET_H, SLOW_H, start=1e-3)
    assert found[0, 1:] == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("kelvin", "critical"), [(393.15, 0.46850), (453.15, 0.79700)])
def test_the_rate_is_halved_at_the_critical_conversion(kelvin, critical):
    """f = ½ at α_c, an identity of the equation (closed form)."""
    assert diffusion_factor(critical, kelvin, SLOW_H) == pytest.approx(0.5, abs=2e-4)


@pytest.mark.parametrize("tg_c", [-22.0, -4.82, 19.71, 29.54, 57.64, 92.26, 124.0])
def test_the_glass_transition_turned_round_gives_back_the_temperature(tg_c):
    """DiBenedetto's equation and its inverse are one curve."""
    glass = Glass.model_validate({"tg0_c": -22.0, "tg_inf_c": 124.0, "lambda": 0.4})
    assert glass_transition_c(conversion_at_tg(tg_c, glass), glass) == pytest.approx(tg_c, abs=1e-9)


def test_beyond_the_ends_the_inverse_leaves_zero_to_one():
    """A Tg that the resin cannot have is answered by a conversion that it cannot have."""
    assert conversion_at_tg(200.0, Glass()) > 1.0
    assert conversion_at_tg(-90.0, Glass()) < 0.0


@pytest.mark.parametrize("room_c", [5.0, 12.0, 22.0, 30.0, 40.0])
def test_the_stand_in_halves_the_rate_ten_kelvin_past_vitrification(room_c):
    """The stand-in's line stays within 0.01 of conversion of Tg = room + 10 K over a workshop's temperatures."""
    glass = Glass()
    slow = diffusion_from_glass(glass)
    critical = slow.ac0 + slow.ac_t_per_k * (room_c + 273.15)
    assert critical == pytest.approx(float(conversion_at_tg(room_c + 10.0, glass)), abs=0.01)


def test_a_cold_room_slows_more_than_arrhenius():
    """At 5–10 °C vitrification slows the cure beyond what the energy of activation says (Moussa et al. 2012)."""
    rate = Rate(k1_per_s=4e-6, k2_per_s=4e-5)
    slow = diffusion_from_glass(Glass())
    bare = time_to(0.8, 8.0, rate)
    glassy = time_to(0.8, 8.0, rate, slow)
    assert glassy is None or glassy > 2 * bare


def test_a_resins_own_numbers_come_first():
    """Where the plan gives diffusion numbers, the stand-in is not used."""
    resin = Resin(name="invented", heat_of_cure_j_g=400.0, rate=Rate(k1_per_s=1e-6, k2_per_s=1e-5))
    assert slow_down(resin) == diffusion_from_glass(resin.glass)
    own = Diffusion(c=30.0, ac0=0.2, ac_t_per_k=0.002)
    assert slow_down(resin.model_copy(update={"diffusion": own})) is own
    with pytest.raises(OutOfRange, match="0 °C"):
        slow_down(resin.model_copy(update={"diffusion": SLOW_H}))


def test_numbers_that_stop_the_cure_at_once_are_refused():
    """The published prepreg set stops near zero conversion at room temperature: not for a workshop."""
    with pytest.raises(OutOfRange, match=r"0\.1 or above"):
        check_diffusion(SLOW_H)


def test_a_warmer_resin_never_stops_earlier():
    """A negative temperature coefficient is a wrong sign and is refused."""
    with pytest.raises(OutOfRange, match="check the sign"):
        check_diffusion(Diffusion(c=30.0, ac0=0.8, ac_t_per_k=-0.001))


def test_good_numbers_pass():
    """The stand-in itself passes its own check."""
    check_diffusion(diffusion_from_glass(Glass()))
