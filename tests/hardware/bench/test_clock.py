"""The bench's clocks: lock-step, beside, and scaled."""

from __future__ import annotations

import threading

import pytest

from hardware.bench.clock import ScaledClock, SteppedClock


def test_waiting_on_a_stepped_clock_is_exactly_what_moves_it() -> None:
    """Ten thousand waits of 30 s are 300,000 s, to the millisecond."""
    clock, stop = SteppedClock(boot_ms=0), threading.Event()
    for _ in range(10_000):
        assert clock.wait(stop, 30) is False
    assert clock.stamp().boot_ms == 300_000_000


def test_a_stop_moves_nothing() -> None:
    """Once stopped, time stands."""
    clock, stop = SteppedClock(boot_ms=0), threading.Event()
    stop.set()
    assert clock.wait(stop, 30) is True
    assert clock.stamp().boot_ms == 0


def test_waiting_beside_does_not_move_it() -> None:
    """The forwarder waits in real time, and sees the simulated one."""
    clock = SteppedClock(boot_ms=0, speed=1e6)
    assert clock.beside().wait(threading.Event(), 30) is False
    assert clock.beside().stamp() == clock.stamp()
    assert clock.stamp().boot_ms == 0


def test_a_wall_clock_that_jumps_leaves_boot_time_alone() -> None:
    """The network sets the clock three months on."""
    clock = SteppedClock(boot_ms=0, clock_set=False)
    clock.advance(60)
    before = clock.stamp()
    clock.step_wall(90 * 86_400)
    after = clock.stamp()
    assert after.wall_ms - before.wall_ms == 90 * 86_400_000
    assert after.boot_ms == before.boot_ms
    assert (before.clock_set, after.clock_set) == (False, True)


def test_a_second_boot_begins_again() -> None:
    """Another id, boot time from the start, and a wall clock that missed what it was off for."""
    clock = SteppedClock()
    before = clock.stamp()
    clock.reboot("second", gap_s=600, lost_s=600, clock_set=False)
    after = clock.stamp()
    assert after.boot_id != before.boot_id
    assert after.boot_ms < before.boot_ms
    assert after.wall_ms == before.wall_ms


def test_a_scaled_clock_runs_so_many_times_as_fast() -> None:
    """Ten real seconds at 7200 are twenty hours."""
    real = [100.0]
    clock = ScaledClock(7200, wall_ms=0, boot_ms=0, monotonic=lambda: real[0])
    real[0] += 10
    assert clock.stamp().boot_ms == 72_000_000


def test_two_scaled_clocks_with_one_start_agree() -> None:
    """Two processes of one demo."""
    one, two = (ScaledClock(60, wall_ms=5, started=100.0, monotonic=lambda: 101.5) for _ in range(2))
    assert one.stamp() == two.stamp()


def test_a_clock_that_stands_is_refused() -> None:
    """Speed 0 would wait for ever."""
    with pytest.raises(ValueError, match="must be above 0"):
        ScaledClock(0, wall_ms=0)
