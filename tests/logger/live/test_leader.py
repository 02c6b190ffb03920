"""Which process decides: terms begin and end, whatever becomes of the database in between."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError

from logger.live.leader import Alone, Leadership
from logger.store import lease
from logger.store.lease import LostLease


class Seconds:
    """The processes' steady clock and the server's, moved together by hand."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 100.0
        monkeypatch.setattr(lease, "server_ms", lambda _tx: round(self.now_s * 1000))

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def seconds(monkeypatch: pytest.MonkeyPatch) -> Seconds:
    """One clock for all."""
    return Seconds(monkeypatch)


def test_a_term_ends_when_another_has_taken_over(store: Any, seconds: Seconds) -> None:
    """Paused for longer than its lease: it decides no more, at once and without asking."""
    one, other = Leadership(store, seconds=seconds), Leadership(store, seconds=seconds)
    one.step()
    other.step()
    assert (one.mine, other.mine) == (True, False)
    term = one.wait(threading.Event())
    assert term is not None
    assert not term.is_set()
    seconds.now_s += 6.0
    assert not one.mine, "a lease that nobody renewed is not believed in"
    other.step()
    assert other.mine
    with store.write() as tx, pytest.raises(LostLease):
        one.check(tx)
    one.step()
    assert term.is_set()
    assert not one.mine


def test_while_the_database_refuses_to_be_written_whoever_decided_goes_on_deciding(
    store: Any, seconds: Seconds, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: nobody can take the lease over, and alarms must still be told."""
    one = Leadership(store, seconds=seconds)
    one.step()

    def full(*_arguments: Any, **_options: Any) -> int:
        error = OperationalError("UPDATE", {}, Exception("no space left"))
        error.orig.sqlstate = "53100"  # type: ignore[union-attr]
        raise error

    monkeypatch.setattr(lease, "hold", full)
    for _ in range(4):
        seconds.now_s += 3.0
        one.step()
        assert one.mine
    monkeypatch.setattr(lease, "holding", lambda _connection: None)
    seconds.now_s += 6.0
    one.step()
    assert not one.mine, "and when somebody has it after all, it does not"


def test_a_process_that_stops_gives_the_lease_up(store: Any, seconds: Seconds) -> None:
    """Threads that wait to decide end; the next process decides at once."""
    one, other = Leadership(store, seconds=seconds), Leadership(store, seconds=seconds)
    stop = threading.Event()
    runs = threading.Thread(target=one.run, args=(stop,))
    runs.start()
    assert one.wait(stop) is not None
    stop.set()
    runs.join(10)
    assert one.wait(stop) is None
    other.step()
    assert other.mine


def test_a_single_process_always_decides() -> None:
    """SQLite has no other."""
    stop = threading.Event()
    assert Alone().mine
    assert Alone().wait(stop) is stop
    stop.set()
    assert Alone().wait(stop) is None
