"""A drawn line has fewer points, and no one sees which are gone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.record.straighten import UNSEEN_PX, straightened


def distance_to(line: np.ndarray, point: np.ndarray) -> float:
    """Return how far a point is from a line of straight pieces, by its nearest piece."""
    starts, along = line[:-1], np.diff(line, axis=0)
    part = ((point - starts) * along).sum(axis=1) / np.maximum((along**2).sum(axis=1), 1e-12)
    nearest = starts + np.clip(part, 0.0, 1.0)[:, None] * along
    return float(np.hypot(*(point - nearest).T).min())


@given(st.lists(st.tuples(st.floats(0, 700), st.floats(0, 300)), min_size=2, max_size=60))
def test_no_point_of_a_line_is_further_from_what_is_drawn_than_can_be_seen(
    points: list[tuple[float, float]],
) -> None:
    """Whatever its course; both ends stay."""
    every = np.array(points)
    drawn = straightened(every)
    assert all(distance_to(drawn, point) <= UNSEEN_PX + 1e-9 for point in every)
    assert drawn[0].tolist() == every[0].tolist()
    assert drawn[-1].tolist() == every[-1].tolist()


def test_a_day_of_steady_readings_is_two_points_and_a_spike_of_one_reading_stays() -> None:
    """What was measured once and was real is in the picture."""
    flat = np.column_stack([np.linspace(0, 600, 1441), np.full(1441, 120.0)])
    assert len(straightened(flat)) == 2
    flat[700, 1] = 90.0
    assert 90.0 in straightened(flat)[:, 1]


def test_a_line_of_one_reading_stays_one_point() -> None:
    """A station that sent a single sweep."""
    assert straightened(np.array([[3.0, 4.0]])).tolist() == [[3.0, 4.0]]


def test_a_curve_of_a_pour_takes_a_third_of_its_points() -> None:
    """Three days, one in five minutes, on the width of a sheet."""
    hours = np.linspace(0, 72, 865)
    course = 21 + 38 * np.exp(-(((hours - 17) / 6) ** 2))
    assert len(straightened(np.column_stack([hours * 8.6, 230 - 4 * course]))) < 100


@pytest.mark.parametrize("unseen", [0.0])
def test_without_a_tolerance_every_point_that_is_off_the_line_stays(unseen: float) -> None:
    """A triangle keeps its corner."""
    corner = np.array([[0.0, 0.0], [1.0, 1e-6], [2.0, 0.0]])
    assert len(straightened(corner, unseen)) == 3
