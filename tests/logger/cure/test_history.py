"""The cure of one spot against closed forms and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from logger.cure.model.crossing import first_crossings
from logger.cure.model.diffusion import diffusion_from_glass
from logger.cure.model.history import conversion_along, cooled_to_room, time_to
from logger.cure.model.kinetics import rate_per_s
from logger.errors import DidNotConverge, OutOfRange
from logger.plan.file import Glass, Rate

# At 25 °C the rate constants are those of the plan: k1 = 1e-5, k2 = 5e-4 1/s.
LOGISTIC = Rate(k1_per_s=1e-5, k2_per_s=5e-4, m=1.0, n=1.0)
HORIE = Rate(k1_per_s=1e-5, k2_per_s=5e-4, m=1.0, n=2.0)
SLOW = Rate(k1_per_s=1e-6, k2_per_s=2e-5, m=0.5, n=1.6)


# m = n = 1, isothermal: α = [1 − e^−(k1+k2)t] / [1 + (k2/k1) e^−(k1+k2)t] (closed form).
@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(1e3, 0.01287695), (3e3, 0.06624492), (5e3, 0.18798994), (1e4, 0.76170664), (2e4, 0.99810783)],
)
def test_the_logistic_closed_form_is_met(seconds, expected):
    """Along a constant temperature the integrator gives the logistic's values."""
    hours = np.linspace(0, seconds / 3600, 7)
    found = conversion_along(hours, np.full(7, 25.0), LOGISTIC)
    assert found[0, -1] == pytest.approx(expected, abs=2e-6)


# Horie et al. 1970 with as many hydrogens as epoxides (m = 1, n = 2):
# t = α / [(1−α)(k1+k2)] + k2/(k1+k2)² ln[(k1 + k2 α) / (k1 (1−α))] (closed form).
@pytest.mark.parametrize(
    ("alpha", "seconds"),
    [
        (0.1, 3864.770),
        (0.3, 6855.837),
        (0.5, 9556.409),
        (0.577, 10857.200),
        (0.8, 18075.759),
        (0.9, 29433.346),
    ],
)
def test_the_time_to_a_conversion_is_hories_closed_form(alpha, seconds):
    """The inverse, hours to a conversion at one temperature, agrees to a millionth."""
    assert time_to(alpha, 25.0, HORIE) * 3600 == pytest.approx(seconds, rel=2e-6)


# nth order, isothermal: n = 1 gives 1 − e^−kt, n = 2 gives kt/(1 + kt) (closed forms).
@pytest.mark.parametrize(("n", "expected"), [(1.0, 1 - np.exp(-1.5)), (2.0, 1.5 / 2.5), (3.0, 1 - 4**-0.5)])
def test_nth_order_closed_forms_are_met(n, expected):
    """Without autocatalysis the classic nth-order curves come out."""
    rate = Rate(k1_per_s=1e-4, k2_per_s=0.0, m=1.0, n=n)
    found = conversion_along(np.array([0.0, 15000 / 3600]), np.array([25.0, 25.0]), rate)
    assert found[0, -1] == pytest.approx(expected, abs=2e-6)


# Order below 1, isothermal: the cure ends at a moment, n = 0 at 1/k, n = ½ at 2/k: α = 1 − (1 − kt/2)² (closed forms).
@pytest.mark.parametrize(("n", "half_way"), [(0.0, 0.5), (0.5, 1 - 0.75**2)])
def test_below_first_order_the_cure_ends_and_rests(n, half_way):
    """Half of 1/k on it is where the closed form has it, and weeks after its end it is still worked out at once."""
    rate = Rate(k1_per_s=1e-4, k2_per_s=0.0, m=1.0, n=n)
    hours = np.array([0.0, 5000 / 3600, 24.0, 1000.0])
    found = conversion_along(hours, np.full(4, 25.0), rate)[0]
    assert found[1] == pytest.approx(half_way, abs=2e-6)
    assert found[2:] == pytest.approx([1.0, 1.0], abs=1e-9)


@pytest.mark.parametrize("n", [0.0, 0.5, 1.0])
def test_what_is_spent_reacts_no_more(n):
    """At full conversion the rate is 0 at every order, 0⁰ = 1 or not."""
    rate = Rate(k1_per_s=1e-4, k2_per_s=0.0, m=0.0, n=n)
    assert rate_per_s(1.0, 298.15, rate) == 0.0


def test_a_changing_temperature_agrees_with_scipy():
    """A warm afternoon and a cold night, with vitrification: scipy's LSODA on the same rate (reference library)."""
    hours = np.linspace(0, 60, 61)
    celsius = 24 + 9 * np.sin(hours / 24 * 2 * np.pi)
    slow = diffusion_from_glass(Glass())
    rate = Rate(k1_per_s=4e-6, k2_per_s=4e-5, m=0.5, n=1.6)

    def speed(t, a):
        return rate_per_s(a, np.interp(t / 3600, hours, celsius) + 273.15, rate, slow)

    judge = solve_ivp(speed, (0, 60 * 3600), [0.0], "LSODA", t_eval=hours * 3600, rtol=1e-8, atol=1e-10,
                      max_step=600.0)  # fmt: skip
    found = conversion_along(hours, np.vstack([celsius, celsius]), rate, slow)
    assert np.abs(found[0] - judge.y[0]).max() < 5e-5
    assert np.array_equal(found[0], found[1])


def test_a_runaway_history_stays_below_full_conversion():
    """A spot that goes to 250 °C within minutes cures completely and never past 1."""
    hours = np.array([0.0, 1.0, 1.1, 1.2, 3.0])
    found = conversion_along(hours, np.array([25.0, 60.0, 250.0, 250.0, 40.0]), SLOW)
    assert 0.97 < found[0, -1] <= 1.0
    assert np.all(np.diff(found[0]) >= 0)


def test_after_the_end_the_cure_goes_on_at_the_room():
    """Two places carried on to 60 days keep the order they had and keep their hours."""
    hours = np.array([0.0, 72.0])
    start = conversion_along(hours, np.array([[22.0, 22.0], [30.0, 30.0]]), SLOW)
    later, cure = cooled_to_room(hours, start, 22.0, SLOW, None)
    assert later[-1] == pytest.approx(60 * 24)
    assert np.array_equal(cure[:, :2], start)
    assert np.all(cure[1] >= cure[0])
    assert first_crossings(later, cure, 0.88)[1] <= first_crossings(later, cure, 0.88)[0]
    direct = time_to(0.88, 22.0, SLOW)
    # The later hours are joined by straight lines: 3 %.
    assert first_crossings(later, cure, 0.88)[0] == pytest.approx(direct, rel=0.03)


def test_a_conversion_never_reached_has_no_time():
    """At 0 °C a slow system does not reach 90 % within 60 days (cold-cure rule: at 0 °C no cure)."""
    assert time_to(0.9, 0.0, SLOW, diffusion_from_glass(Glass())) is None
    assert time_to(1.0, 25.0, SLOW) is None
    assert time_to(0.0, 25.0, SLOW) == 0.0


def test_hours_that_do_not_rise_are_refused():
    """Unsorted readings are refused with the remedy."""
    with pytest.raises(OutOfRange, match="sort the readings"):
        conversion_along(np.array([0.0, 2.0, 1.0]), np.full(3, 22.0), SLOW)


def test_a_missing_temperature_is_refused():
    """A gap in the history is never silently bridged."""
    with pytest.raises(DidNotConverge, match="missing"):
        conversion_along(np.array([0.0, 2.0]), np.array([22.0, np.nan]), SLOW)
