"""The room's temperature and its exact means."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.solver.room import RoomSchedule

HOURS = np.array([1.0, 3.0, 4.0, 8.0])


def test_the_room_is_straight_between_points_and_held_outside():
    """With each member's own offset."""
    room = RoomSchedule(HOURS, np.array([20.0, 24.0, 18.0, 18.0]), np.array([0.0, 1.5]))
    who = np.array([0, 1])
    assert room.at(np.array([2.0, 2.0]) * 3600, who) - 273.15 == pytest.approx([22.0, 23.5])
    assert room.at(np.array([0.0, 90.0]) * 3600, who) - 273.15 == pytest.approx([20.0, 19.5])


def test_the_mean_over_a_step_is_exact_across_corners():
    """Against a fine sum, over a step that spans two corners."""
    room = RoomSchedule(HOURS, np.array([20.0, 24.0, 18.0, 18.0]), np.zeros(1))
    fine = np.linspace(0.5, 6.5, 600_001)
    sampled = np.interp(fine, HOURS, [20.0, 24.0, 18.0, 18.0])
    exact = np.trapezoid(sampled, fine) / 6.0
    found = room.mean(np.array([0.5 * 3600]), np.array([6.5 * 3600]), np.array([0]))[0] - 273.15
    assert found == pytest.approx(exact, abs=1e-6)


def test_each_member_may_have_its_own_history():
    """Celsius of shape (M, K)."""
    room = RoomSchedule(np.array([0.0, 1.0]), np.array([[20.0, 22.0], [10.0, 30.0]]), np.zeros(2))
    assert room.at(np.array([1800.0, 1800.0]), np.array([0, 1])) - 273.15 == pytest.approx([21.0, 20.0])
