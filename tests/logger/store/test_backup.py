"""Backups: taken while readings come in, verified, refused when damaged, restored with the same chain."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from logger.errors import StoreError
from logger.store import pours, readings, stations
from logger.store.backup import back_up, check_backup, restore
from logger.store.database import Store
from logger.store.reading_batches import ReadingBatch
from logger.store.readings import save_batch

#: A server has its own tools for backups.
ONLY_SQLITE = True


def database_of(store: Any) -> Path:
    """The store's file."""
    return Path(store.url.database)


def fill(store: Any, clock: Any, timeline: Any, rows: Any) -> None:
    """Stores some rows."""
    with store.write() as tx:
        save_batch(
            tx, ReadingBatch(stations.by_name(tx, "bench-1").id, "s", clock.stamp(), rows), timeline.true_ms()
        )


def heads(store: Any, pour_id: int) -> tuple[str, str]:
    """Heads of the pour's chains."""
    with store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
    return pour.reading_head, pour.event_head


def test_a_backup_taken_under_load_restores_to_the_same_chain(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """Readings come in while the copy is made; what was acknowledged before it is in it."""
    fill(store, clock, timeline, rows_of(1, 200))
    stop = threading.Event()

    def load() -> None:
        seq = 201
        while not stop.is_set():
            fill(store, clock, timeline, rows_of(seq, 20))
            seq += 20

    loader = threading.Thread(target=load)
    loader.start()
    made = back_up(database_of(store), tmp_path / "backups", timeline.true_ms())
    stop.set()
    loader.join()
    assert made.readings >= 200
    restore(made.path, tmp_path / "restored" / "pourlog.sqlite3")
    other = Store(f"sqlite:///{tmp_path / 'restored' / 'pourlog.sqlite3'}")
    with other.read() as connection:
        rows = readings.series(connection, pour_id)
        assert len(rows) == made.readings
        head = pours.get_pour(connection, pour_id).reading_head
        last = readings.after(connection, pour_id, 0, most=10**6)[-1]
    other.close()
    assert head == last.link, "the restored chain ends at the restored last row"


def test_a_damaged_backup_is_refused_and_nothing_changes(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """One flipped bit is enough; the database in place stays."""
    fill(store, clock, timeline, rows_of(1, 50))
    made = back_up(database_of(store), tmp_path / "backups", timeline.true_ms())
    before = heads(store, pour_id)
    damaged = bytearray(made.path.read_bytes())
    damaged[len(damaged) // 2] ^= 1
    made.path.write_bytes(damaged)
    with pytest.raises(StoreError, match="damaged"):
        restore(made.path, database_of(store))
    assert heads(store, pour_id) == before


def test_restoring_keeps_what_was_there_and_drops_its_stale_log(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """Restored by mistake? The database that was replaced is still beside it."""
    fill(store, clock, timeline, rows_of(1, 10))
    made = back_up(database_of(store), tmp_path / "backups", timeline.true_ms())
    fill(store, clock, timeline, rows_of(11, 10))
    path = database_of(store)
    store.close()
    restore(made.path, path)
    assert path.with_name(path.name + ".before-restore").exists()
    again = Store(f"sqlite:///{path}")
    with again.read() as connection:
        assert readings.counts(connection, pour_id) == (10, 0)
    again.close()


def test_only_the_newest_backups_are_kept(store: Any, timeline: Any, tmp_path: Path) -> None:
    """A card is small."""
    for i in range(5):
        back_up(database_of(store), tmp_path / "backups", timeline.true_ms() + i * 1000, most=3)
    kept = sorted((tmp_path / "backups").glob("*.sqlite3"))
    assert len(kept) == 3
    assert check_backup(kept[-1]).schema
    assert len(list((tmp_path / "backups").glob("*.json"))) == 3


def test_a_missing_database_is_a_clear_refusal(tmp_path: Path) -> None:
    """The message says what to check."""
    with pytest.raises(StoreError, match="data_dir"):
        back_up(tmp_path / "nothing.sqlite3", tmp_path, 0)


def test_a_backup_of_a_large_database_ends_while_another_process_writes_without_a_pause(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """A copy in steps would begin anew after each write of the service, and the timer's backup would never end."""
    with store.write() as tx:
        tx.exec_driver_sql(
            "CREATE TABLE bulk AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n "
            "WHERE i < 30000) SELECT randomblob(1000) AS b FROM n"
        )
    stop, written = threading.Event(), []

    def load() -> None:
        with closing(sqlite3.connect(database_of(store), timeout=30)) as other:
            other.execute("PRAGMA synchronous=OFF")  # a quick disk: a write between any two steps
            while not stop.is_set():
                other.execute("INSERT INTO bulk VALUES ('one more')")
                other.commit()
                written.append(1)

    loader = threading.Thread(target=load)
    loader.start()
    backup = threading.Thread(
        target=lambda: back_up(database_of(store), tmp_path / "backups", timeline.true_ms()), daemon=True
    )
    backup.start()
    backup.join(20)
    ended = not backup.is_alive()
    stop.set()
    loader.join()
    backup.join()
    assert ended, f"the copy began anew after each of {len(written)} writes"


def test_restoring_over_a_database_that_was_not_closed_keeps_what_is_only_in_its_log(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """After a kill the newest readings are in the log beside the database: they are in what is kept aside."""
    fill(store, clock, timeline, rows_of(1, 10))
    made = back_up(database_of(store), tmp_path / "backups", timeline.true_ms())
    fill(store, clock, timeline, rows_of(11, 10))
    killed = tmp_path / "killed" / "pourlog.sqlite3"
    killed.parent.mkdir()
    for ending in ("", "-wal"):
        shutil.copyfile(f"{database_of(store)}{ending}", f"{killed}{ending}")
    restore(made.path, killed)
    with closing(sqlite3.connect(f"{killed}.before-restore")) as aside:
        assert aside.execute("SELECT count(*) FROM reading").fetchone() == (20,)
    with closing(sqlite3.connect(killed)) as restored:
        assert restored.execute("SELECT count(*) FROM reading").fetchone() == (10,)


def test_restoring_under_a_running_service_is_refused(
    store: Any, clock: Any, timeline: Any, pour_id: int, rows_of: Any, tmp_path: Path
) -> None:
    """It would go on writing into the database that was replaced, and all of that would be lost."""
    fill(store, clock, timeline, rows_of(1, 10))
    path = database_of(store)
    made = back_up(path, tmp_path / "backups", timeline.true_ms())
    fill(store, clock, timeline, rows_of(11, 10))
    with pytest.raises(StoreError, match="in use: stop the service first"):
        restore(made.path, path)
    fill(store, clock, timeline, rows_of(21, 10))
    with store.read() as connection:
        assert readings.counts(connection, pour_id) == (30, 0)
    assert not path.with_name(f"{path.name}.before-restore").exists()
