"""The lease: one holder at a time, a higher fence with each, nothing written by one that has lost it."""

from __future__ import annotations

from typing import Any

import pytest

from logger.store import lease
from logger.store.lease import LostLease
from logger.words.reader import METRIC
from logger.words.render import say


@pytest.fixture
def server_clock(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The database server's time, moved by hand."""
    now = [1_000_000]
    monkeypatch.setattr(lease, "server_ms", lambda _tx: now[0])
    return now


def hold(store: Any, who: str, **says: Any) -> int | None:
    """Tries to hold it for five seconds."""
    with store.aside() as tx:
        return lease.hold(tx, who, 5000, **says)


def test_it_is_renewed_by_its_holder_and_taken_over_only_when_it_has_run_out(
    store: Any, server_clock: list[int]
) -> None:
    """The fence stays through renewals, and rises by one with the next holder."""
    assert hold(store, "a") == 1
    server_clock[0] += 4000
    assert hold(store, "b") is None
    assert hold(store, "a") == 1
    server_clock[0] += 4999
    assert hold(store, "b") is None
    server_clock[0] += 1
    assert hold(store, "b") == 2
    assert hold(store, "a") is None


def test_what_a_former_holder_writes_is_refused(store: Any, server_clock: list[int]) -> None:
    """It was paused, does not know, and its transaction comes to nothing."""
    first = hold(store, "a")
    assert first is not None
    fenced = store.fenced(lambda tx: lease.check(tx, "a", first))
    with fenced.write() as tx:
        tx.exec_driver_sql("UPDATE lease SET judged_ms = 1")
    server_clock[0] += 6000
    second = hold(store, "b")
    with pytest.raises(LostLease), fenced.write() as tx:
        tx.exec_driver_sql("UPDATE lease SET judged_ms = 2")
    with store.read() as connection:
        kept = lease.holding(connection)
    assert kept is not None
    assert (kept.holder, kept.fence, kept.judged_ms) == ("b", second, 1)


def test_a_holder_that_comes_back_under_its_name_after_losing_it_has_another_fence(
    store: Any, server_clock: list[int]
) -> None:
    """What it decided in its first term stays refused."""
    assert hold(store, "a") == 1
    server_clock[0] += 6000
    assert hold(store, "b") == 2
    server_clock[0] += 6000
    assert hold(store, "a") == 3
    with store.write() as tx, pytest.raises(LostLease):
        lease.check(tx, "a", 1)


def test_given_up_it_is_free_at_once(store: Any, server_clock: list[int]) -> None:
    """A process that stops lets nobody wait."""
    hold(store, "a")
    with store.aside() as tx:
        lease.give_up(tx, "a")
    assert hold(store, "b") == 2


def test_pages_of_the_others_say_what_troubles_the_watch(store: Any, server_clock: list[int]) -> None:
    """What the holder says; and that nobody decides, once the lease has been out for ten seconds."""
    hold(store, "a", judged_ms=5, trouble="pour 3 cannot be judged")
    with store.read() as connection:
        assert lease.trouble_of(connection) == "pour 3 cannot be judged"
    hold(store, "a", judged_ms=6)
    with store.read() as connection:
        assert lease.trouble_of(connection) is None
    server_clock[0] += 15_001
    with store.read() as connection:
        assert "no service process decides" in say(lease.trouble_of(connection) or "", METRIC)
