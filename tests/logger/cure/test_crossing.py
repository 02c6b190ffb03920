"""When a course first reaches a level, and the gel point that the solver looks for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from logger.cure.model.crossing import first_crossing, first_crossings
from logger.cure.model.kinetics import EARLIEST_GEL

HOURS = np.array([0.0, 2.0, 4.0])


def test_the_hour_is_read_between_two_points():
    """The hour of gel lies on the straight line between two points of the curve."""
    assert first_crossing(HOURS, np.array([0.0, 0.5, 0.6]), 0.575) == pytest.approx(3.5)


def test_a_course_that_stays_below_never_crosses():
    """A cure that stops short of the gel point has no gel time; neither has one without a point."""
    assert first_crossing(HOURS, np.array([0.0, 0.5, 0.57]), 0.577) is None
    assert first_crossing(np.zeros(0), np.zeros(0), 0.577) is None


def test_many_courses_at_once_give_what_each_gives_alone():
    """One that starts above the level, one that crosses, one that never does."""
    rows = np.array([[0.7, 0.8, 0.9], [0.0, 0.5, 0.6], [0.0, 0.1, 0.2]])
    assert first_crossings(HOURS, rows, 0.55) == pytest.approx([0.0, 3.0, math.inf])


def test_the_earliest_gel_is_that_of_a_diepoxide_with_a_diamine():
    """Flory 1953, ch. 9: α² (f_E − 1)(f_A − 1) = 1 with two and four reactive places."""
    assert pytest.approx(1.0, rel=1e-12) == EARLIEST_GEL**2 * (2 - 1) * (4 - 1)
