"""`move`: everything from the Pi's file to a server, all or nothing, every record proven there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from logger.errors import NotAllowed, StoreError
from logger.pour import Stage
from logger.record import move as moving
from logger.record.move import move
from logger.record.verify import verify
from logger.store import pours, readings, seals, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch, save_batch
from logger.words.reader import METRIC
from logger.words.render import say


@pytest.fixture
def database() -> str:
    """What moves is the Pi's own."""
    return "sqlite"


@pytest.fixture
def server(on_server: str) -> Iterator[Store]:
    """An empty database on a server."""
    made = Store(on_server)
    yield made
    made.close()


@pytest.fixture
def sealed(cast: Any) -> Any:
    """A sealed pour with readings, faults, alarms and events."""
    casting = cast()
    casting.go(Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    casting.feed(0.5, 30, lambda h: {"core": 21 + 20 * h, "room": None if h > 0.4 else 21.0})
    casting.alarm("core-hot", "too hot", "Ada")
    casting.note(
        "note", "a fan, 45 °C: “so it goes” – ½", {"number": 0.1, "nested": {"b": 1, "a": [True, None]}}
    )
    casting.go(Stage.RELEASED)
    casting.close()
    return casting


def test_a_sealed_record_stands_on_the_server_as_it_did_on_the_pi(sealed: Any, server: Store) -> None:
    """The same verdict, the same seal, the same readings in the same order; and the months they came in are there."""
    with sealed.store.read() as old:
        before = verify(old, sealed.pour_id)
        rows = [tuple(row) for row in readings.series(old, sealed.pour_id)]
        body = seals.sealed_body(old, sealed.pour_id)
    moved = move(sealed.store, server)
    assert moved.broken == {}
    assert moved.rows["reading"] == len(rows) == 120
    with server.read() as new:
        after = verify(new, sealed.pour_id)
        assert (after.ok, after.sealed, after.seal_sha256) == (True, True, before.seal_sha256)
        assert [tuple(row) for row in readings.series(new, sealed.pour_id)] == rows
        assert seals.sealed_body(new, sealed.pour_id) == body
        assert new.exec_driver_sql("SELECT count(*) FROM reading_2026_11").scalar() == 120


def test_after_the_move_the_next_rows_get_the_next_numbers(
    sealed: Any, server: Store, plan_toml: str
) -> None:
    """A pour and a batch more, as if nothing had happened."""
    move(sealed.store, server)
    timeline = Timeline(server, sealed.clock)
    with server.write() as tx:
        station = stations.by_name(tx, "bench-1")
        number = pours.add_pour(
            tx,
            PlannedPour(title="The next", client="", plan_toml=plan_toml, station_id=station.id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        assert number == sealed.pour_id + 1
        first = sealed.seq
        sealed.store = server
        saved = save_batch(
            tx, ReadingBatch(station.id, "spool-1", sealed.clock.stamp(), []), timeline.true_ms()
        )
    assert saved.acknowledged_seq == first


def test_a_row_that_was_altered_before_is_still_called_altered(sealed: Any, server: Store) -> None:
    """Moving neither mends nor hides it: it is named, and the rest moves."""
    with sealed.store.write() as tx:
        tx.exec_driver_sql("UPDATE reading SET milli_c = 20000 WHERE id = 31")
    moved = move(sealed.store, server)
    assert "reading 31" in say(moved.broken[sealed.pour_id], METRIC)


def test_what_does_not_verify_on_the_server_is_not_kept(
    sealed: Any, server: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One reading changes on the way: the server stays empty, and the old database as it was."""
    put = moving.insert_many

    def garbles(tx: Connection, table: Any, rows: Any) -> None:
        rows[7]["milli_c"] += 1
        put(tx, table, rows)

    monkeypatch.setattr(moving, "insert_many", garbles)
    with pytest.raises(StoreError, match="nothing is kept"):
        move(sealed.store, server)
    with server.read() as new:
        assert new.exec_driver_sql("SELECT count(*) FROM pour").scalar() == 0
    with sealed.store.read() as old:
        assert verify(old, sealed.pour_id).ok


def test_a_database_that_has_anything_is_not_moved_into(sealed: Any, server: Store, tmp_path: Path) -> None:
    """Twice is refused; so is a second file."""
    move(sealed.store, server)
    with pytest.raises(NotAllowed, match="not empty"):
        move(sealed.store, server)
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite3'}")
    with pytest.raises(NotAllowed, match="postgresql://"):
        move(sealed.store, other)
    other.close()
