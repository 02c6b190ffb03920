"""Probes that lie, on the bench as a whole: what goes into the spool is true, or says that it is not known."""

from __future__ import annotations

from pathlib import Path

from lying_station import LSB_C, run

from hardware.bench.w1_files import Misreading

FAULTS = 2000


def test_two_thousand_lies_give_no_false_temperature_and_cost_no_true_one(in_memory: Path) -> None:
    """Six probes, three of them clones, through 85 °C and back, replugged in other orders; every lie there is."""
    told = run(in_memory / "lies", faults=FAULTS, seed=1)
    assert sum(told.injected.values()) == FAULTS
    assert min(told.injected[lie.value] for lie in Misreading) > 100
    assert told.false == []
    assert told.refused == []
    assert told.true_85 > 5, "85.0 was met and recorded"
    assert {"empty-read", "missing", "power-on-85", "low-power-127", "bad-crc"} <= set(told.faults)
    assert 0 < told.repeated_off_c <= told.steepest_c + LSB_C, "one repeated sample is no older than a sweep"
    far = sum(off_c > 1.25 for off_c in told.stuck_off_c)
    assert far < 0.03 * told.old, "a stuck value is close to the truth, or is doubted"
