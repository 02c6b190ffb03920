"""Simulated three-day pours, with noise, drop-outs, power-on values, opened doors and a bus that fails.

The curves are invented. The benchmark runs 300 at full resolution and prints missed, false and late alarms.
"""

from __future__ import annotations

from types import ModuleType

import pytest


@pytest.mark.parametrize("noise_c", [0.03, 0.1, 0.3])
def test_no_pour_chatters_floods_or_tells_twice(drills: ModuleType, noise_c: float) -> None:
    """One activation for each true excursion, none without one, and one alarm for a bus that fails."""
    for seed in range(1000, 1012):
        found = drills.simulate(seed, noise_c=noise_c, thin=True)
        assert found.raised.get("core-hot", 0) == found.true_excursions, seed
        assert (found.chattering, found.fleeting, found.floods) == (0, 0, 0), seed
        assert found.raised.get("probe-lost", 0) <= 2, seed
        assert "room-cold" not in found.raised, f"an opened door raised room-cold (seed {seed})"
        assert "probe-doubtful" not in found.raised, seed
        assert found.busiest_hour <= 3, seed


def test_hot_pours_are_told_within_30_s_of_the_true_crossing(drills: ModuleType) -> None:
    """At 0.1 °C noise, by day three of the watch as at its start; none is missed."""
    for seed in range(2000, 2014):
        found = drills.simulate(seed, noise_c=0.1, hot=True, thin=True)
        assert found.delay_s is not None, seed
        assert found.delay_s <= 30.0, seed


def test_one_pour_at_full_resolution_behaves_like_the_thinned_ones(drills: ModuleType) -> None:
    """5 s in the first hour, 30 s for the rest: some 9,000 sweeps of six probes."""
    found = drills.simulate(3, noise_c=0.1, hot=True)
    assert found.sweeps > 9_000
    assert found.raised.get("core-hot") == found.true_excursions == 1
    assert found.chattering == 0
