"""The intake: batches of many stations in few transactions, each answered for itself."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError

from hardware.clock import Stamp
from logger.errors import NotAllowed
from logger.live.ingest import Intake
from logger.store import stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.reading_batches import Conflict, ReadingBatch
from logger.store.stations import StationHealth
from logger.wire import WireReading

MANY = 12


@pytest.fixture
def enrolled(store: Store) -> list[tuple[int, str]]:
    """Stations: (id, hash of the token)."""
    made = []
    with store.write() as tx:
        for number in range(MANY):
            row_id, token = stations.enrol(tx, f"bench-{number}", 0)
            made.append((row_id, stations.token_hash(token)))
    return made


def batch(
    station: tuple[int, str], clock: Any, first: int = 1, count: int = 6, **changes: Any
) -> ReadingBatch:
    """A batch of some rows of one probe."""
    now = clock.stamp()
    boot = f"boot of {station[0]}"
    rows = [
        replace(
            WireReading(
                "28-000000000001",
                "core",
                Stamp(now.wall_ms, boot, now.boot_ms + seq, True),
                21_000,
                None,
                "00",
                None,
                seq=seq,
            ),
            **changes,
        )
        for seq in range(first, first + count)
    ]
    return ReadingBatch(station[0], "spool-1", Stamp(now.wall_ms, boot, now.boot_ms, True), rows, station[1])


class Gate:
    """Holds the first transaction until all batches wait, and counts transactions."""

    def __init__(self, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
        self.open = threading.Event()
        self.writes = 0
        write = store.write

        def counted() -> Any:
            self.open.wait(20)
            self.writes += 1
            return write()

        monkeypatch.setattr(store, "write", counted)


def test_batches_that_wait_together_are_stored_together(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twelve stations while another writes: one transaction, every row stored, each acknowledged its own."""
    intake, gate = Intake(store, timeline), Gate(store, monkeypatch)
    sent = [intake.submit(batch(enrolled[number], clock, count=number + 1)) for number in range(MANY)]
    gate.open.set()
    told = [answer.result() for answer in sent]
    assert [told[number].saved.acknowledged_seq for number in range(MANY)] == list(range(1, MANY + 1))
    assert gate.writes == 1
    with store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM reading").scalar() == sum(range(1, MANY + 1))


def test_one_bad_batch_costs_the_others_nothing(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A conflict, a withdrawn token and two that are well, in one transaction: each is told its own."""
    intake = Intake(store, timeline)
    intake.take(batch(enrolled[0], clock))
    with store.write() as tx:
        stations.revoke(tx, "bench-1", 1)
    gate = Gate(store, monkeypatch)
    sent = [
        batch(enrolled[0], clock, milli_c=99_000),
        batch(enrolled[1], clock),
        batch(enrolled[2], clock),
        batch(enrolled[3], clock),
    ]
    answers = [intake.submit(one) for one in sent]
    gate.open.set()
    came = [
        type(answer.exception()) if answer.exception() else answer.result().saved.stored for answer in answers
    ]
    assert came == [Conflict, NotAllowed, 6, 6]


def test_whoever_wants_to_know_hears_of_new_readings_once_they_are_kept(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any
) -> None:
    """The watch and the pages look at once, and find what they were told of; an empty hand is told too."""
    seen: list[tuple[frozenset[int], int]] = []

    def stored(pours: frozenset[int]) -> None:
        with store.read() as connection:
            seen.append((pours, connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one()))

    intake = Intake(store, timeline, stored)
    intake.take(batch(enrolled[0], clock))
    intake.close()
    assert seen == [(frozenset(), 6)]


def test_everybody_who_waits_is_told_that_the_database_is_out_of_reach(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No transaction begins at all: each station is answered, keeps its rows, and is taken later."""
    intake, gate = Intake(store, timeline), threading.Event()

    def refused() -> Any:
        gate.wait(20)
        raise OperationalError("BEGIN", None, Exception("out of reach"))

    with monkeypatch.context() as away:
        away.setattr(store, "write", refused)
        sent = [intake.submit(batch(one, clock)) for one in enrolled]
        gate.set()
        assert {type(answer.exception(20)) for answer in sent} == {OperationalError}
    assert intake.take(batch(enrolled[0], clock)).saved.stored == 6


def test_what_was_sent_is_stored_when_the_service_closes(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Batches that wait while it stops are not thrown away, and their stations are answered."""
    intake, gate = Intake(store, timeline), Gate(store, monkeypatch)
    sent = [intake.submit(batch(one, clock)) for one in enrolled]
    closing = threading.Thread(target=intake.close)
    closing.start()
    gate.open.set()
    closing.join(20)
    assert [answer.result(0).saved.stored for answer in sent] == [6] * MANY


def test_what_a_station_says_of_itself_is_kept(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any
) -> None:
    """Supply, disk, pins and the version of its program; a version that it does not tell stays."""
    intake = Intake(store, timeline)
    intake.take(batch(enrolled[0], clock), StationHealth(False, 900.0), "0.1.0")
    intake.take(batch(enrolled[0], clock, first=7), StationHealth(True, 800.0, "lamp (GPIO 23): busy"))
    with store.read() as connection:
        row = stations.by_name(connection, "bench-0")
    assert (row.power_low, row.disk_free_mb, row.version) == (True, 800.0, "0.1.0")
    assert row.pin_faults == "lamp (GPIO 23): busy"


def test_a_spool_that_is_gone_back_to_is_stored_once(
    store: Store, timeline: Timeline, clock: Any, enrolled: Any
) -> None:
    """Old rows of the spool before come again after new ones of another: known, though it is not the last spool."""
    intake = Intake(store, timeline)
    first = batch(enrolled[0], clock)
    intake.take(first)
    clock.move(60)
    intake.take(replace(batch(enrolled[0], clock), spool="spool-2"))
    again = intake.take(first).saved
    assert (again.stored, again.repeated, again.acknowledged_seq) == (0, 6, 6)
    clock.move(60)
    assert intake.take(batch(enrolled[0], clock, first=7, count=3)).saved.stored == 3
    assert intake.take(first).saved.repeated == 6
    with store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM reading").scalar() == 15
