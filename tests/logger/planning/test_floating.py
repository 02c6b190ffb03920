"""Slabs floating up: Archimedes, by hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.planning.physics.floating import HOLD, clamps_needed, float_up_n

SLAB_M3 = 0.5 * 1.5 * 0.05


@pytest.mark.parametrize(
    ("wood", "newtons"),
    # (ρr − ρw) g V in resin of 1100 kg/m³: walnut, maple, redcedar, a wood that sinks
    [(611, 179.8), (679, 154.8), (356, 273.6), (1150, -18.4)],
)
def test_light_wood_pulls_up_hard(wood: float, newtons: float) -> None:
    """A slab of 500 by 1500 by 50 mm under resin."""
    assert float_up_n(SLAB_M3, wood, 1100) == pytest.approx(newtons, abs=0.15)


def test_a_slab_under_half_its_height_of_resin_pulls_less() -> None:
    """Walnut in 25 of 50 mm still stays down: 550 kg/m³ of lift against 611."""
    assert float_up_n(SLAB_M3, 611, 1100, covered=0.5) < 0


@pytest.mark.parametrize(
    ("up", "each", "count"), [(180, 800, 2), (900, 400, 5), (1000, 400, 5), (-5, 400, 0)]
)
def test_clamps_hold_twice_the_pull_and_are_never_single(up: float, each: float, count: int) -> None:
    """Twice the force by this project's choice; one clamp alone would tip the slab."""
    assert HOLD.value == 2
    assert clamps_needed(up, each) == count


@pytest.mark.parametrize("force", [0.0, -10.0, math.nan])
def test_a_clamp_without_force_is_refused(force: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="N") as refusal:
        clamps_needed(100, force)

    assert refusal.value.remedy


@given(
    volume=st.floats(1e-5, 1), wood=st.floats(100, 1500), resin=st.floats(800, 2000), each=st.floats(10, 5000)
)
def test_enough_clamps_always_hold(volume: float, wood: float, resin: float, each: float) -> None:
    """Whatever the slab, the clamps asked for hold at least twice its pull."""
    up = float_up_n(volume, wood, resin)
    count = clamps_needed(up, each)

    assert count * each >= 2 * max(up, 0) * (1 - 1e-6)
