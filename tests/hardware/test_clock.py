"""The machine's clocks, with each source replaced."""

from __future__ import annotations

import threading
import time
from pathlib import Path

from hardware.clock import KernelClockState, SystemClock


def test_a_stamp_says_wall_time_boot_and_whether_the_clock_is_set(tmp_path: Path) -> None:
    """Milliseconds, rounded down, from nanoseconds."""
    boot_id = tmp_path / "boot_id"
    boot_id.write_text("0f6d2c1e-0000-4000-8000-00000000000a\n")
    clock = SystemClock(
        boot_id_file=boot_id,
        wall_ns=lambda: 1_700_000_000_123_999_999,
        boot_ns=lambda: 5_432_999_999,
        clock_set=lambda: False,
    )
    stamp = clock.stamp()
    assert (stamp.wall_ms, stamp.boot_ms) == (1_700_000_000_123, 5_432)
    assert stamp.boot_id == "0f6d2c1e-0000-4000-8000-00000000000a"
    assert stamp.clock_set is False
    assert stamp.boot_s == 5.432


def test_this_machines_clock_agrees_with_the_standard_library() -> None:
    """The real boot id, CLOCK_BOOTTIME and the wall clock."""
    before = time.time_ns() // 1_000_000
    stamp = SystemClock().stamp()
    assert before <= stamp.wall_ms <= time.time_ns() // 1_000_000
    assert stamp.boot_id == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    assert 0 < stamp.boot_ms <= time.clock_gettime_ns(time.CLOCK_BOOTTIME) // 1_000_000


def test_the_kernel_is_asked_whether_the_clock_was_set() -> None:
    """Whatever it answers here, it answers, and the same twice."""
    state = KernelClockState()
    assert state() is state()
    assert isinstance(state(), bool)


def test_waiting_ends_at_once_when_the_event_is_set() -> None:
    """An hour's wait that nobody has to sit through."""
    stop = threading.Event()
    stop.set()
    assert SystemClock().wait(stop, 3600) is True
    assert SystemClock().wait(threading.Event(), -1) is False
