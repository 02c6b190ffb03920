"""Curves for charts: thinned to a screen's width, and no hot sample lost."""

from __future__ import annotations

import numpy as np

from web.curves import thin


def test_a_single_hot_sample_always_survives() -> None:
    """Averages would hide the one reading that matters (10,000 random series)."""
    random = np.random.default_rng(1)
    x = np.arange(900.0)
    for _ in range(10_000):
        y = 20 + random.random(900)
        hot = random.integers(900)
        y[hot] = 45.0
        if hot > 0:
            y[hot - 1] = np.nan  # a fault beside it in the same pixel column
        kept_x, kept_y = thin(x, y, 60)
        assert 45.0 in kept_y
        assert kept_x[np.nanargmax(kept_y)] == hot


def test_lowest_highest_first_and_last_of_each_column_are_kept() -> None:
    """M4's four (Jugel et al., PVLDB 7(10), 2014): the drawn line is the same to the pixel."""
    random = np.random.default_rng(2)
    x = np.sort(random.random(20_000)) * 72
    y = np.cumsum(random.standard_normal(20_000))
    kept_x, kept_y = thin(x, y, 300)
    column = np.minimum(((x - x[0]) * (300 / (x[-1] - x[0]))).astype(int), 299)
    kept = set(zip(kept_x.tolist(), kept_y.tolist(), strict=True))
    for wanted in range(300):
        mine = np.flatnonzero(column == wanted)
        for index in (mine[0], mine[-1], mine[np.argmin(y[mine])], mine[np.argmax(y[mine])]):
            assert (x[index], y[index]) in kept
    assert len(kept_x) <= 4 * 300


def test_faults_stay_visible_as_gaps() -> None:
    """A run of faults leaves at least one empty point behind."""
    x = np.arange(10_000.0)
    y = np.full(10_000, 20.0)
    y[4000:4100] = np.nan
    _kept_x, kept_y = thin(x, y, 100)
    assert np.isnan(kept_y).any()
