"""Curves for charts: thinned to a screen's width, and no hot sample lost."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np
import pytest

from logger.pour import Stage
from logger.record.downsample import thin
from logger.store import pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.service.series_cache import Curves


def test_a_single_hot_sample_always_survives() -> None:
    """Averages would hide the one reading that matters (10,000 random series)."""
    random = np.random.default_rng(1)
    x = np.arange(900.0)
    for _ in range(10_000):
        y = 20 + random.random(900)
        hot = random.integers(900)
        y[hot] = 45.0
        if hot > 0:
            y[hot - 1] = np.nan  # a fault beside it in the same pixel column
        kept_x, kept_y = thin(x, y, 60)
        assert 45.0 in kept_y
        assert kept_x[np.nanargmax(kept_y)] == hot


def test_lowest_highest_first_and_last_of_each_column_are_kept() -> None:
    """M4's four (Jugel et al., PVLDB 7(10), 2014): the drawn line is the same to the pixel."""
    random = np.random.default_rng(2)
    x = np.sort(random.random(20_000)) * 72
    y = np.cumsum(random.standard_normal(20_000))
    kept_x, kept_y = thin(x, y, 300)
    column = np.minimum(((x - x[0]) * (300 / (x[-1] - x[0]))).astype(int), 299)
    kept = set(zip(kept_x.tolist(), kept_y.tolist(), strict=True))
    for wanted in range(300):
        mine = np.flatnonzero(column == wanted)
        for index in (mine[0], mine[-1], mine[np.argmin(y[mine])], mine[np.argmax(y[mine])]):
            assert (x[index], y[index]) in kept
    assert len(kept_x) <= 4 * 300


def test_faults_stay_visible_as_gaps() -> None:
    """A run of faults leaves at least one empty point behind."""
    x = np.arange(10_000.0)
    y = np.full(10_000, 20.0)
    y[4000:4100] = np.nan
    _kept_x, kept_y = thin(x, y, 100)
    assert np.isnan(kept_y).any()


def test_a_smooth_curve_has_no_gaps_on_a_narrow_screen(
    service: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """Thinned, its points lie minutes apart although it was read every five seconds: that is no gap. One of ten minutes
    is."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    rows = []
    for number in range(5760):
        clock.move(600 if number == 5000 else 5)
        # A probe's step is 1/16 °C.
        celsius = round(16 * (21 + 40 * np.exp(-(((number / 720 - 4) / 0.8) ** 2)))) / 16
        reading = (shop.PROBES["core"], "core", clock.stamp(), round(1000 * celsius), None, "00", None, None)
        rows.append(WireReading(*reading, seq=number + 1))
    with service.store.write() as tx:
        station = stations.by_name(tx, "bench-1")
        batch = ReadingBatch(station.id, "spool-1", clock.stamp(), rows)
        readings.save_batch(tx, batch, service.timeline.true_ms())
    with service.store.read() as connection:
        poured_ms = pours.get_pour(connection, pour).poured_ms
        (core,) = service.curves.thinned(connection, pour, poured_ms, 50)
    assert len(core["celsius"]) < 250, "it was thinned"
    (gap,) = [i for i, celsius in enumerate(core["celsius"]) if celsius is None]
    assert core["hours"][gap + 1] - core["hours"][gap - 1] == pytest.approx(600 / 3600, abs=0.001)
    assert max(value for value in core["celsius"] if value is not None) == 61.0


def test_a_curve_comes_back_from_its_steps_with_gaps_and_faults(
    service: Any, shop: Any, plan_toml: str
) -> None:
    """Sent as steps; hours and °C are again what was read, and what was not read stays empty."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.1, 30, lambda h: {"core": 21.06 + 10 * h, "room": "bad-crc"})
    shop.clock.move(3600)
    shop.feed(0.1, 30, lambda h: {"core": 25.0 - 30 * h, "room": 20.0})
    with service.store.read() as connection:
        poured_ms = pours.get_pour(connection, pour).poured_ms
        core, room = sorted(
            service.curves.thinned(connection, pour, poured_ms, 400), key=lambda one: one["place"]
        )
        assert service.curves.hottest(connection, pour, poured_ms) == pytest.approx(
            (24.75, 1.1 + 30 / 3600), abs=1e-6
        )
    assert len(core["hours"]) == 25
    assert core["celsius"][12] is None, "an hour without readings is drawn as a gap"
    assert core["hours"][:2] == pytest.approx([30 / 3600, 60 / 3600], abs=1e-5)
    assert core["celsius"][:2] == pytest.approx([21.06 + 10 * 30 / 3600, 21.06 + 10 * 60 / 3600], abs=0.006)
    assert core["celsius"][-1] == pytest.approx(22.0)
    assert room["celsius"][:12] == [None] * 12


def test_the_hottest_reading_is_the_same_from_the_database_and_from_memory(
    service: Any, shop: Any, plan_toml: str
) -> None:
    """A page that is opened right after a start asks the one, later ones the other."""
    pour = shop.plan(plan_toml)
    shop.sweep(core=90.0, room=20.0)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.05, 10, lambda h: {"core": 22.0 + h, "surface": 70.0, "room": 20.0})
    with service.store.read() as connection:
        poured_ms = pours.get_pour(connection, pour).poured_ms
        from_database = Curves().hottest(connection, pour, poured_ms)
        known = Curves()
        known.warm(connection, pour, threading.Event())
        assert known.hottest(connection, pour, poured_ms) == pytest.approx(from_database)
        assert from_database == pytest.approx((22.05, 0.05))


def test_a_tiles_course_is_that_of_its_core_and_a_page_never_waits_for_it(
    service: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From pouring on, a fault as a gap, a changed probe as one line; a long pour that is not in memory comes later."""
    pour = shop.plan(plan_toml)
    shop.sweep(core=90.0, room=20.0)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.05, 30, lambda h: {"core": 22.0 + h, "room": 20.0})
    shop.feed(0.02, 30, lambda _h: {"core": "bad-crc", "room": 20.0})
    shop.PROBES = shop.PROBES | {"core": "28-0000000000c9"}
    shop.feed(0.05, 30, lambda h: {"core": 23.0 + h, "room": 20.0})
    with service.store.read() as connection:
        poured_ms = pours.get_pour(connection, pour).poured_ms
        monkeypatch.setattr("web.service.series_cache.QUICKLY", 10)
        assert Curves().core(connection, pour, poured_ms, "core", 60) is None
        known = Curves()
        known.warm(connection, pour, threading.Event())
        course = known.core(connection, pour, poured_ms, "core", 60)
        assert course is not None
        assert known.core(connection, pour, poured_ms, "surface", 60) is None
    read = course.celsius[~np.isnan(course.celsius)]
    assert np.isnan(course.celsius).any()
    assert (read[0], read[-1]) == pytest.approx((22.0 + 30 / 3600, 23.05), abs=0.01)
    assert course.hours[0] == pytest.approx(30 / 3600)
    assert (np.diff(course.hours) > 0).all()
    assert course.late_c[-1] == pytest.approx(23.05, abs=0.01)


def test_a_time_that_is_learnt_later_moves_the_curve(service: Any, shop: Any, plan_toml: str) -> None:
    """The boot's offset was a guess; once it is known every point is where it belongs."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 10, lambda _h: {"core": 22.0, "room": 20.0})
    with service.store.read() as connection:
        poured_ms = pours.get_pour(connection, pour).poured_ms
        before = service.curves.thinned(connection, pour, poured_ms, 400)[0]["hours"]
    with service.store.write() as tx:
        tx.exec_driver_sql("UPDATE boot SET offset_ms = offset_ms + 3600000 WHERE station_id IS NOT NULL")
    with service.store.read() as connection:
        after = service.curves.thinned(connection, pour, poured_ms, 400)[0]["hours"]
    assert after == pytest.approx([hour + 1 for hour in before], abs=1e-4)


def test_reading_ahead_ends_when_the_service_stops(
    service: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A long pour is read in pieces, and a service that is told to stop reads none after the one it is at."""
    pour = shop.plan(plan_toml)
    asked: list[int] = []
    stop = threading.Event()

    def endless(_connection: Any, _pour: int, after: int) -> list[tuple[Any, ...]]:
        asked.append(after)
        if len(asked) == 3:
            stop.set()
        assert len(asked) < 10, "it goes on reading"
        return [(after + 1, 1, 1000 * after, "28-000000000001", "core", 21_000)]

    monkeypatch.setattr("web.service.series_cache.points_after", endless)
    monkeypatch.setattr("web.service.series_cache.offsets", lambda *_: {1: 0})
    with service.store.read() as connection:
        Curves().warm(connection, pour, stop)
    assert asked == [0, 1, 2]
