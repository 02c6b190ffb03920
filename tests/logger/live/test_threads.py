"""Threads that fail are started again, end no other, and are told until they work."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import pytest

from logger.live import threads as module
from logger.live.threads import WELL_S, Term, Workers


@pytest.fixture
def stop() -> Iterator[threading.Event]:
    """What ends the service."""
    made = threading.Event()
    yield made
    made.set()


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits for a pause to be over."""
    monkeypatch.setattr(module, "BACK_OFF_S", (0.001,))


def until(true: Callable[[], bool], seconds: float = 20) -> None:
    """Waits for what another thread does."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.001)


def test_a_thread_that_raises_anything_is_told_and_started_again(stop: threading.Event) -> None:
    """Three kinds of exception, one after the other; then it works, and nothing is told any more."""
    workers, tries = Workers(stop), iter((ValueError("bad"), KeyError("worse"), MemoryError()))
    works, told = threading.Event(), []

    def run(term: threading.Event) -> None:
        for error in tries:
            told.append(dict(workers.failed()))
            raise error
        told.append(dict(workers.failed()))
        workers.came_round("sender")
        works.set()
        term.wait()

    thread = workers.thread("sender", run)
    thread.start()
    assert works.wait(20)
    assert told == [
        {},
        {"sender": "ValueError: bad"},
        {"sender": "KeyError: 'worse'"},
        {"sender": "MemoryError: "},
    ]
    assert workers.failed() == {}
    stop.set()
    thread.join(20)
    assert not thread.is_alive()


def test_a_thread_that_fails_ends_no_other(stop: threading.Event) -> None:
    """One fails again and again; the other goes round and round."""
    workers, rounds = Workers(stop), [0]

    def fails(_term: threading.Event) -> None:
        raise RuntimeError("always")

    def goes_on(term: threading.Event) -> None:
        while not term.wait(0.001):
            rounds[0] += 1

    for thread in (workers.thread("learner", fails), workers.thread("watch", goes_on)):
        thread.start()
    until(lambda: rounds[0] > 20)
    assert list(workers.failed()) == ["learner"]


def test_a_loop_that_ends_before_its_time_is_a_failure(stop: threading.Event) -> None:
    """It returned, and nobody had told it to: otherwise nobody would judge any more."""
    workers = Workers(stop)
    workers.thread("watch", lambda _term: None).start()
    until(lambda: bool(workers.failed()))
    assert "before its time" in workers.failed()["watch"]


def test_what_is_to_be_done_once_is_done_once(stop: threading.Event) -> None:
    """And again where it failed."""
    workers, done = Workers(stop), []

    def load(_term: threading.Event) -> None:
        done.append(1)
        if len(done) == 1:
            raise OSError("not yet")

    thread = workers.thread("warm", load, once=True)
    thread.start()
    thread.join(20)
    assert len(done) == 2


def test_who_does_not_come_round_hangs_and_who_waits_for_its_turn_does_not(stop: threading.Event) -> None:
    """Its limit is its own; a process that does not decide has no loop that should come round."""
    now, turn = [0.0], threading.Event()
    workers = Workers(stop, lambda: now[0])
    running = threading.Event()

    def hangs(term: threading.Event) -> None:
        running.set()
        term.wait()

    workers.thread("watch", hangs, within_s=45).start()
    workers.thread("sender", hangs, within_s=45, term=Term(lambda: turn if turn.wait(20) else None))
    assert running.wait(20)
    until(lambda: workers._workers["watch"].round_s == 0.0)
    now[0] = 45.0
    assert workers.hung() == {}
    now[0] = 46.0
    assert workers.hung() == {"watch": 46.0}
    workers.still_at_it("watch")
    assert workers.hung() == {}


def test_one_without_a_loop_works_again_once_it_has_run_for_a_minute(stop: threading.Event) -> None:
    """It has nothing else to show."""
    now, tries, running = [0.0], iter((OSError("away"),)), threading.Event()
    workers = Workers(stop, lambda: now[0])

    def listens(term: threading.Event) -> None:
        for error in tries:
            raise error
        running.set()
        term.wait()

    workers.thread("news-in", listens).start()
    assert running.wait(20)
    assert workers.failed() == {"news-in": "OSError: away"}
    now[0] = WELL_S
    assert workers.failed() == {}
