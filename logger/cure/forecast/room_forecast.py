"""The room: what it was, smoothed, and how it may go on: persistence and a daily swing, with honest spread.

A Gaussian process (Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, eq. 2.22–2.24) around the
plan's schedule: a constant offset, a 24 h and a 12 h swing, a drift over a day and one over an hour or two.
The sizes are those of a shed or a heated workshop (common practice, no source).
"""

from __future__ import annotations

import numpy as np

from logger.arrays import Floats
from logger.cure.solver.ensemble import RoomHistory
from logger.plan.file import Plan

#: Spread of the offset from the plan, of the 24 h and 12 h swing, of the slow and the fast drift, K.
OFFSET_C, DAILY_C, HALF_DAILY_C, SLOW_C, FAST_C = 2.0, 1.8, 0.5, 1.2, 0.3
SLOW_H, FAST_H = 30.0, 2.0
#: A mean of several room readings is this good, K.
NOISE_C = 0.06
#: The measured room is gathered in pieces no longer than this, h.
PIECE_H = 0.5
STEP_H = 1.0


def room_draws(
    plan: Plan,
    measured: tuple[Floats, Floats],
    *,
    at_h: float,
    until_h: float,
    rng: np.random.Generator,
    count: int,
) -> tuple[RoomHistory, RoomHistory]:
    """Return the room until at_h (shared), and `count` ways on to until_h that all agree with it.

    measured: hours and °C (N,) of good room readings up to at_h; without any the plan's schedule stands alone.
    """
    schedule = plan.room_schedule()
    plan_h, plan_c = np.array([h for h, _ in schedule]), np.array([c for _, c in schedule])
    past_h, past_c = pieces(*measured, at_h)
    grid = np.unique(np.concatenate([[0.0], past_h, np.arange(0.0, at_h, 2.0), [at_h]]))
    ahead = np.unique(
        np.concatenate([np.arange(at_h + STEP_H, until_h, STEP_H), [max(until_h, at_h + STEP_H)]])
    )
    everywhere = np.concatenate([grid, ahead])
    mean = np.interp(everywhere, plan_h, plan_c)
    cov = _kernel(everywhere, everywhere)
    if len(past_h):
        k = _kernel(past_h, past_h) + NOISE_C**2 * np.eye(len(past_h))
        gain = np.linalg.solve(k, _kernel(past_h, everywhere)).T
        mean = mean + gain @ (past_c - np.interp(past_h, plan_h, plan_c))
        cov = cov - gain @ _kernel(past_h, everywhere)
    before = RoomHistory(grid, mean[: len(grid)])
    at_now = len(grid) - 1
    values, vectors = np.linalg.eigh(cov[at_now:, at_now:])
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    wander = (root @ rng.standard_normal((len(values), count))).T
    # What is known of the past is shared; only what is to come differs.
    draws = np.repeat(mean[None, :], count, axis=0)
    draws[:, at_now + 1 :] += wander[:, 1:]
    return before, RoomHistory(everywhere, draws)


def pieces(hours: Floats, celsius: Floats, at_h: float) -> tuple[Floats, Floats]:
    """Means of the readings over pieces of PIECE_H or less, so that half an hour is one piece of evidence."""
    inside = (hours >= 0.0) & (hours <= at_h)
    hours, celsius = hours[inside], celsius[inside]
    if not len(hours):
        return hours, celsius
    width = min(PIECE_H, max(at_h / 6.0, 1e-6))
    label = np.floor(hours / width)
    _, index = np.unique(label, return_inverse=True)
    number = np.bincount(index)
    return np.bincount(index, hours) / number, np.bincount(index, celsius) / number


def _kernel(a: Floats, b: Floats) -> Floats:
    gap = np.abs(a[:, None] - b[None, :])
    return (
        OFFSET_C**2
        + DAILY_C**2 * np.cos(2.0 * np.pi * gap / 24.0)
        + HALF_DAILY_C**2 * np.cos(2.0 * np.pi * gap / 12.0)
        + SLOW_C**2 * np.exp(-gap / SLOW_H)
        + FAST_C**2 * np.exp(-gap / FAST_H)
    )
