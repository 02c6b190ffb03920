"""One simulated time for several processes."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.bench.mapped_clock import HOLD_S, MappedClock, MovingClock, start_mapped_clock


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """The file of a time that runs 7200 times as fast."""
    file = tmp_path / "clock"
    start_mapped_clock(file, 1_700_000_000_000, 60_000, 7200.0)
    return file


def test_who_moves_the_time_moves_it_for_all(path: Path) -> None:
    """A minute later the others see a minute later, and the speed that it runs at."""
    moving, seen = MovingClock(path), MappedClock(path)
    moving.advance(60.0)
    assert seen.stamp().boot_ms == 120_000
    assert seen.speed == 7200.0


def test_the_time_stands_while_somebody_holds_it_and_goes_on_afterwards(path: Path) -> None:
    """The mover sees the wish of another process; moving on does not undo it."""
    moving, seen = MovingClock(path), MappedClock(path)
    assert not moving.held()
    with seen.hold():
        moving.advance(1.0)
        assert moving.held()
    assert not moving.held()


def test_a_hold_whose_process_was_killed_ends_by_itself(path: Path) -> None:
    """After a minute of real time it counts no more, and at once when its successor lets go of it."""
    moving = MovingClock(path)
    hold = MappedClock(path).hold(monotonic=lambda: 1000.0)
    hold.__enter__()
    assert moving.held(monotonic=lambda: 1000.0 + HOLD_S - 0.1)
    assert not moving.held(monotonic=lambda: 1000.0 + HOLD_S + 0.1)
    MappedClock(path).let_go()
    assert not moving.held(monotonic=lambda: 1000.0)


def test_the_time_does_not_pass_what_is_due_until_that_is_done(path: Path) -> None:
    """A maker who is to look at the form is not overtaken by a fast hour."""
    moving, seen = MovingClock(path), MappedClock(path)
    assert not moving.stopped()
    seen.stop_at(120_000)
    moving.advance(59.0)
    assert not moving.stopped()
    moving.advance(1.0)
    assert moving.stopped()
    with seen.hold():
        assert moving.stopped(), "one wish does not undo the other"
    seen.stop_at(None)
    assert not moving.stopped()
