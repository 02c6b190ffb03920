"""How many layers, how deep, and when the next goes on."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.cure.bond import BondWindow
from logger.errors import OutOfRange
from logger.planning.layers import layer_plan, split_depth


@pytest.mark.parametrize(
    ("total", "deepest", "parts"),
    # ⌈total / deepest⌉ equal layers, by hand
    [(75, 50, [37.5, 37.5]), (50, 50, [50]), (100, 50, [50, 50]), (101, 50, [33.667] * 3), (12, 50, [12])],
)
def test_a_deep_pour_is_split_into_equal_layers(total: float, deepest: float, parts: list[float]) -> None:
    """None deeper than allowed, and no more layers than needed."""
    assert split_depth(total, deepest) == pytest.approx(parts, abs=1e-3)


def test_each_layer_waits_for_the_one_below() -> None:
    """The third goes on two windows after the first; later each must be scuffed, the walls too."""
    steps = layer_plan([30, 30, 30], BondWindow(20.0, 36.0, 60.0))

    assert [(s.from_h, s.until_h) for s in steps] == [(0, 0), (20, 36), (40, 72)]
    assert "walls" in steps[1].words
    assert "scuff" in steps[2].words


def test_a_surface_that_turns_to_glass_first_must_always_be_scuffed() -> None:
    """A window that closes before it opens is no window."""
    step = layer_plan([30, 30], BondWindow(20.0, 20.0, 40.0))[1]

    assert step.from_h == step.until_h == 20
    assert "scuff" in step.words


@pytest.mark.parametrize("window", [None, BondWindow(None, None, None)])
def test_without_a_window_it_waits_until_hard_and_is_scuffed(window: BondWindow | None) -> None:
    """Nothing is promised that the model did not say."""
    step = layer_plan([30, 30], window)[1]

    assert step.until_h is None
    assert "hard and cool" in step.words


def test_a_window_without_an_end_says_only_when_it_opens() -> None:
    """A resin that never turns to glass bonds at any later hour."""
    assert layer_plan([30, 30], BondWindow(20.0, None, None))[1].until_h is None


@pytest.mark.parametrize("deepest", [0.0, -5.0, math.nan])
def test_a_deepest_layer_that_cannot_be_is_refused(deepest: float) -> None:
    """Value, unit and remedy."""
    with pytest.raises(OutOfRange, match="mm") as refusal:
        split_depth(75, deepest)

    assert "datasheet" in refusal.value.remedy


@given(total=st.floats(1, 1000), deepest=st.floats(1, 200))
def test_layers_fill_the_depth(total: float, deepest: float) -> None:
    """They add up, none is too deep, and one layer fewer would be."""
    parts = split_depth(total, deepest)

    assert sum(parts) == pytest.approx(total)
    assert max(parts) <= deepest * (1 + 1e-6)
    assert len(parts) == 1 or total / (len(parts) - 1) > deepest * (1 - 1e-6)
