"""Leaks: plane and round Poiseuille flow and Torricelli, computed by hand from the textbook forms."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.planning.physics.form import pressure_pa
from logger.planning.physics.leaks import (
    emptying_s,
    half_gone_h,
    lost_by_gel,
    slot_flow_m3_s,
)
from logger.words.render import say

HEAD_PA = pressure_pa(1100, 0.05)
ML_MIN = 6e7


@pytest.mark.parametrize(
    ("gap_mm", "at_0_3", "at_1_0"),
    # w h³ Δp / 12 μ L: 100 mm of seam, 18 mm thick, 50 mm of 1100 kg/m³; mL/min at 0.3 and 1.0 Pa·s
    [(0.1, 0.050, 0.015), (0.2, 0.40, 0.12), (0.5, 6.24, 1.87), (1.0, 49.9, 15.0)],
)
def test_a_seam_leaks_by_plane_poiseuille_flow(gap_mm: float, at_0_3: float, at_1_0: float) -> None:
    """A tenth of a millimetre is nothing, one millimetre is a cup in minutes."""
    flows = [slot_flow_m3_s(gap_mm / 1000, 0.1, 0.018, HEAD_PA, mu) * ML_MIN for mu in (0.3, 1.0)]

    assert flows == pytest.approx([at_0_3, at_1_0], rel=0.01)


@pytest.mark.parametrize(
    ("gap_mm", "seam_m", "hours"),
    # τ ln 2 = 0.693 · 12 μ L A / (w h³ ρ g), A 0.30 m², 18 mm, 0.5 Pa·s
    [(0.1, 0.1, 5783), (0.2, 0.1, 723), (0.5, 0.1, 46.3), (1.0, 0.1, 5.78), (0.5, 1.0, 4.63)],
)
def test_half_the_pour_is_gone_in(gap_mm: float, seam_m: float, hours: float) -> None:
    """From months at a tenth of a millimetre to a morning at one."""
    tau = emptying_s(gap_mm / 1000, seam_m, 0.018, 0.5, 0.30, 1100)

    assert half_gone_h(tau) == pytest.approx(hours, rel=0.005)
    assert lost_by_gel(tau, half_gone_h(tau)) == pytest.approx(0.5)


def test_a_closed_seam_never_empties() -> None:
    """No gap: half is gone never, and nothing is lost by gel."""
    tau = emptying_s(0.0, 0.1, 0.018, 0.5, 0.3, 1100)

    assert math.isinf(half_gone_h(tau))
    assert lost_by_gel(tau, 24) == 0


@given(
    gap=st.floats(1e-5, 0.01),
    width=st.floats(0.001, 5),
    mu=st.floats(0.01, 100),
    head=st.floats(0.001, 0.3),
    times=st.floats(0.2, 5),
    gel=st.floats(0, 200),
)
def test_a_leak_goes_with_the_cube_of_the_gap(
    gap: float, width: float, mu: float, head: float, times: float, gel: float
) -> None:
    """Doubling the gap leaks eight times as fast; what is lost stays between nothing and everything."""
    flow = slot_flow_m3_s(gap, width, 0.018, pressure_pa(1100, head), mu)

    assert flow > 0
    assert slot_flow_m3_s(times * gap, width, 0.018, pressure_pa(1100, head), mu) == pytest.approx(
        times**3 * flow
    )
    assert 0 <= lost_by_gel(emptying_s(gap, width, 0.018, mu, 0.3, 1100), gel) <= 1


@pytest.mark.parametrize("viscosity", [0.0, -1.0, math.nan])
def test_a_liquid_without_viscosity_is_refused(viscosity: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="Pa·s") as refusal:
        slot_flow_m3_s(0.001, 0.1, 0.018, HEAD_PA, viscosity)

    assert "datasheet" in say(refusal.value.remedy)
