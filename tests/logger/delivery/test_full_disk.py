"""The database refuses to be written: alarms are still raised and delivered, and written down when it can be."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection
from sqlalchemy.exc import OperationalError

from logger.store import alarms, outbox
from logger.store.ballast import Ballast
from logger.store.database import Store
from logger.store.outbox import NewMessage
from logger.words.reader import METRIC
from logger.words.render import say


class Disk:
    """Makes a store's writes fail as SQLite does on a full disk: at the commit."""

    def __init__(self, store: Store, code: int) -> None:
        self.full = False
        self._code = code
        self._write = store.write
        store.write = self.write  # type: ignore[method-assign]

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A write that is rolled back while the disk is full."""
        with self._write() as tx:
            yield tx
            if self.full:
                error = sqlite3.OperationalError("database or disk is full")
                error.sqlite_errorcode = self._code
                raise OperationalError("COMMIT", None, error)


@pytest.fixture(params=[sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR | (3 << 8)], ids=["full", "write error"])
def disk(request: Any, store: Store) -> Callable[[], Disk]:
    """Both ways in which a full disk shows itself."""
    return lambda: Disk(store, request.param)


def hot(shop: Any) -> list[str]:
    """Titles about the hot core, as received."""
    return [title for title in shop.receivers.titles("one://first") if "core is too hot" in title]


def test_an_alarm_is_raised_and_delivered_while_the_disk_is_full(bench: Any, disk: Any) -> None:
    """The readings came just before; judging and sending do without the disk, and say each thing once."""
    shop = bench()
    shop.sweep(59)
    for core_c in (59.5, 60.0, 60.5):
        shop.clock.move(5)
        shop.save(core_c)
    full = disk()
    full.full = True
    shop.watch.judge_all()
    shop.sender.send_due()
    assert hot(shop) == ["URGENT: The core is too hot - Table"]
    assert "full" in say(shop.watch.trouble, METRIC)
    for _ in range(5):
        shop.clock.move(10)
        shop.watch.judge_all()
        shop.sender.send_due()
    assert len(hot(shop)) == 1, "the state is kept in memory: nobody is told twice"

    full.full = False
    shop.clock.move(5)
    shop.watch.judge_all()
    shop.sender.send_due()
    assert "full" in say(shop.watch.trouble, METRIC), (
        "a large write may still be refused: nothing is well at once"
    )
    shop.clock.move(60)
    shop.watch.judge_all()
    shop.sender.send_due()
    assert shop.watch.trouble is None
    assert len(hot(shop)) == 1
    assert shop.alarm("core-hot").phase == "raised"
    (message,) = shop.messages("core-hot")
    assert message.state == "sent"
    with shop.store.read() as connection:
        assert outbox.oldest_waiting_ms(connection) is None


def test_a_restart_after_the_disk_was_full_goes_on_where_memory_was(bench: Any, disk: Any) -> None:
    """Written down once there is room, the alarm survives the restart that follows."""
    shop = bench()
    shop.sweep(59)
    for core_c in (59.5, 60.0, 60.5):
        shop.clock.move(5)
        shop.save(core_c)
    full = disk()
    full.full = True
    shop.watch.judge_all()
    shop.sender.send_due()
    full.full = False
    shop.clock.move(5)
    shop.watch.judge_all()
    shop.watch = shop.new_watch()
    shop.sender = shop.new_sender()
    for _ in range(3):
        shop.clock.move(5)
        shop.watch.judge_all()
        shop.sender.send_due()
    with shop.store.read() as connection:
        rows = [row for row in alarms.alarms_of(connection, shop.pour_id) if row.kind == "core-hot"]
    assert [row.activation for row in rows] == [1]


def test_a_message_written_before_the_disk_was_full_is_sent_once(bench: Any, disk: Any) -> None:
    """That it has been sent cannot be noted: it is remembered, and noted later."""
    shop = bench()
    shop.heat()
    full = disk()
    full.full = True
    for _ in range(10):
        shop.sender.send_due()
        shop.clock.move(3)
    assert len(hot(shop)) == 1
    full.full = False
    shop.sender.send_due()
    (message,) = shop.messages("core-hot")
    assert message.state == "sent"
    assert len(hot(shop)) == 1


def test_somebody_can_take_an_alarm_while_the_disk_is_full(bench: Any, disk: Any) -> None:
    """The acknowledgement ends the repeats at once, and is written down later."""
    shop = bench()
    shop.heat()
    shop.sender.send_due()
    full = disk()
    full.full = True
    number = shop.alarm("core-hot").id
    shop.watch.act(number, "Ada", lambda book, key, now_ms: book.acknowledge(key, "Ada", now_ms))
    for _ in range(12):
        shop.clock.move(30)
        shop.watch.judge_all()
        shop.sender.send_due()
    assert hot(shop) == ["URGENT: The core is too hot - Table"], "no repeat after five minutes"
    full.full = False
    shop.watch.judge_all()
    assert shop.alarm("core-hot").acknowledged_by == "Ada"


def test_messages_that_fail_from_memory_are_tried_again_there(bench: Any, disk: Any) -> None:
    """Disk full and receiver away: it arrives when the receiver is back, once."""
    shop = bench()
    shop.sweep(59)
    for core_c in (59.5, 60.0, 60.5):
        shop.clock.move(5)
        shop.save(core_c)
    full = disk()
    full.full = True
    shop.receivers.down = {"one://first"}
    shop.watch.judge_all()
    shop.sender.send_due()
    shop.clock.move(6)
    shop.receivers.down = set()
    shop.watch.judge_all()
    shop.sender.send_due()
    assert hot(shop) == ["URGENT: The core is too hot - Table"]


def test_the_reserve_makes_room_when_the_disk_is_full(tmp_path: Path) -> None:
    """It is laid up once, given up once, and laid up again when there is room."""
    reserve = Ballast(tmp_path, size_bytes=1_000_000, beside_bytes=0)
    assert reserve.lay_up()
    assert (tmp_path / "reserve.bin").stat().st_size == 1_000_000
    assert reserve.give_up()
    assert not reserve.give_up()
    assert reserve.lay_up()
    reserve.give_up()
    assert not Ballast(tmp_path, beside_bytes=10**18).lay_up(), "a disk that is low anyway keeps its room"


def test_a_refused_write_gives_the_reserve_up_and_the_next_one_succeeds(tmp_path: Path) -> None:
    """A database that may not grow (a page limit stands for the disk): the reserve's end lets it grow."""
    store = Store(f"sqlite:///{tmp_path / 'small.sqlite3'}")
    with store.write() as tx:
        pages = tx.exec_driver_sql("PRAGMA page_count").scalar_one()
        tx.exec_driver_sql(f"PRAGMA max_page_count = {pages + 2}")
    raised_limits = []

    def make_room() -> bool:
        with store._writer.connect() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 100000")
        raised_limits.append(1)
        return True

    store.make_room = make_room

    def fill(times: int) -> None:
        with store.write() as tx:
            for _ in range(times):
                outbox.add_message(
                    tx, NewMessage(alarm_id=None, why="x", to="first", title="t", body="b" * 4000), now_ms=0
                )

    with pytest.raises(OperationalError, match="full"):
        fill(50)
    assert raised_limits == [1]
    fill(50)
    store.close()
