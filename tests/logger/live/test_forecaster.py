"""When a forecast is due, what the alarms learn from it, and that a dead worker stops nothing."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from logger.alarms.inputs import Remedy
from logger.cure.forecast.decision import next_due_h
from logger.cure.forecast.forecast import SearchStart
from logger.cure.solver.prediction import predict
from logger.facts import sentence
from logger.live.forecast_facts import answer_of
from logger.live.forecaster import (
    FIRST_H,
    Forecaster,
    ForecastTask,
    due_after,
    due_at_h,
    due_early_h,
    fan_runs,
    work_out,
)
from logger.live.schedule import Pace
from logger.plan.file import plan_from_text
from logger.pour import Stage
from logger.record.figures import Place
from logger.store import forecasts, pours, readings, stations
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from logger.worker import OwnProcess


def body(
    at_h: float, chance: float = 0.0, left_h: float | None = None, peak_h: float = 20.0
) -> dict[str, Any]:
    """A forecast's JSON as far as it matters here."""
    band = {"p05": 50.0, "p50": 62.0, "p95": 75.0}
    return {
        "at_h": at_h,
        "chance_core_over_limit": chance,
        "time_left_h": left_h,
        "core_peak_c": band,
        "core_peak_at_h": {"p05": peak_h - 1, "p50": peak_h, "p95": peak_h + 1},
        "crosses_limit_at_h": None,
        "release_at_h": None,
        "causes": [{"name": "sun_w_m2", "words": "sun on the surface (+200 W/m²)", "size": 200.0}],
    }


def test_a_young_pour_is_forecast_every_five_minutes_and_an_old_one_less_often() -> None:
    """And closer together when the limit is near."""
    assert due_at_h(None) == FIRST_H
    assert due_at_h(body(0.5, chance=0.4, peak_h=2.0)) == pytest.approx(0.5 + 5 / 60)
    assert due_at_h(body(10.0, chance=0.4)) > 10.4
    assert due_at_h(body(10.0, chance=0.7, left_h=0.5)) < due_at_h(body(10.0, chance=0.7))


def test_a_calm_slow_pour_is_forecast_a_third_as_often_while_its_core_keeps_to_the_forecast() -> None:
    """Fewer than 25 in the 20 h to its peak, where every five minutes and later every 6 % of its age make 60."""
    due = [FIRST_H]
    while due[-1] < 20.0:
        due.append(due_at_h(body(due[-1], chance=0.05)))
    assert len(due) < 25
    usual = [FIRST_H]
    while usual[-1] < 20.0:
        usual.append(next_due_h(usual[-1]))
    assert len(usual) > 2.5 * len(due)


def test_a_core_that_leaves_the_last_forecast_brings_the_next_one_forward() -> None:
    """As soon as a forecast could be due at all; one that keeps to it, within what a probe may be off, does not."""
    last = body(2.0) | {"bands": {"hours": [2.0, 10.0], "core_c": {"p05": [30.0, 38.0], "p95": [30.0, 46.0]}}}
    assert due_early_h(last, (3.0, 31.9)) == due_early_h(last, (3.0, 30.6)) == math.inf
    assert due_early_h(last, (3.0, 33.0)) == due_early_h(last, (3.0, 30.2)) == next_due_h(2.0)
    assert due_early_h(last, None) == due_early_h(last, (1.9, 50.0)) == math.inf


def test_a_forecast_that_calls_is_confirmed_soon_and_then_the_limit_may_come() -> None:
    """Two of three raise the alarm: after the first the next is not put off, and after both nothing is open."""
    once, calm = body(2.0, chance=0.97), body(1.9, chance=0.05)
    assert due_after([calm, calm, once]) == next_due_h(2.0)
    assert due_after([calm, once, once]) > 2.0 + 2 * (next_due_h(2.0) - 2.0)


def test_after_the_peak_only_the_release_is_of_interest() -> None:
    """One in six hours is enough."""
    assert due_at_h(body(30.0)) == 36.0


def test_a_quick_pour_is_past_its_peak_sooner() -> None:
    """Half an hour after pouring its peak is behind by six minutes: that is enough."""
    assert due_at_h(body(1.7, peak_h=0.5)) == pytest.approx(7.7)
    assert due_at_h(body(1.52, peak_h=0.5)) < 2.0


def test_the_alarms_get_the_chance_the_bands_and_the_sun() -> None:
    """What the judges need of a forecast."""
    answer = answer_of(body(2.0, chance=0.9), started_ms=1_000_000)
    assert answer.made_at_ms == 1_000_000 + 7_200_000
    assert answer.chance_over_limit == 0.9
    assert answer.core_peak_c.p50 == 62.0
    assert answer.surface_heating_w_m2 == 200.0
    assert answer.causes == (sentence("sun on the surface (+200 W/m²)"),)


def test_the_alarms_get_what_would_help_the_best_first() -> None:
    """Fans before the underside; what brings less than two degrees is left out, and doing nothing is no help."""
    peaks = {"as it is": 78.0, "underside open": 71.0, "fans": 57.0, "cooler room": 77.0}
    answers = {
        name: {
            "words": f"{name}: {peak:.0f} °C",
            "core_peak_c": {"p05": peak - 5, "p50": peak, "p95": peak + 5},
        }
        for name, peak in peaks.items()
    }
    answer = answer_of({**body(2.0), "what_if": answers}, started_ms=0)
    assert answer.would_help == (
        Remedy("fans", "fans: 57 °C"),
        Remedy("underside open", "underside open: 71 °C"),
    )


def test_the_fan_ran_when_it_was_switched_and_from_the_start_when_it_was_on_before() -> None:
    """From the notes of switching it: hours after pouring, None while it still runs."""

    def switched(*steps: tuple[float, bool]) -> list[Any]:
        return [SimpleNamespace(at_ms=1000 + h * 3.6e6, facts={"on": on}) for h, on in steps]

    assert fan_runs([], 1000, on_now=False) == []
    assert fan_runs([], 1000, on_now=True) == [(0.0, None)]
    assert fan_runs(switched((2, True), (3, True), (4, False)), 1000, on_now=False) == [(2.0, 4.0)]
    assert fan_runs(switched((1, False), (2, True)), 1000, on_now=True) == [(0.0, 1.0), (2.0, None)]


@pytest.mark.parametrize(
    ("part", "told"), [((0.0, 0.1, 0.4), 0.1), ((0.1, 0.2, 1.2), None), ((0.6, 0.9, 1.3), 0.9)]
)
def test_that_a_fan_does_not_cool_is_told_only_when_the_readings_can_tell(
    part: tuple[float, float, float], told: float | None
) -> None:
    """A guess that the first readings after switching leave open raises no alarm."""
    found = body(2.0) | {"fan_cooling": dict(zip(("p05", "p50", "p95"), part, strict=True))}
    assert answer_of(found, 0).fan_cooling == told


def test_a_worker_that_dies_is_replaced() -> None:
    """The machine may kill the heavy process; the next forecast gets a new one."""
    heavy = OwnProcess()
    try:
        with pytest.raises(BrokenExecutor):
            heavy(os._exit, 9)
        assert heavy(max, 3, 7) == 7
    finally:
        heavy.close()


def test_a_simulated_time_stands_until_it_is_told_that_it_gets_too_hot_and_no_longer(
    store: Store, clock: Any, plan_toml: str
) -> None:
    """Half an hour is too soon for the next forecast, but not after one that calls: two of them make the alarm."""
    timeline, held = Timeline(store, clock), []

    @contextmanager
    def hold() -> Iterator[None]:
        held.append("held")
        yield
        held.append("let go")

    def compute(_work: Any, task: ForecastTask) -> dict[str, Any]:
        held.append(f"made at {task.at_h:.0f} h")
        return body(task.at_h, chance=0.6 if task.at_h < 2.0 else 1.0, peak_h=40.0)

    with store.write() as tx:
        station_id, _token = stations.enrol(tx, "bench-1", 0)
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, {}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
        row = WireReading("28-core", "core", clock.stamp(), 21_000, None, "0", None, seq=1)
        station = stations.by_name(tx, "bench-1")
        readings.save_batch(tx, ReadingBatch(station.id, "spool-1", clock.stamp(), [row]), timeline.true_ms())
    forecaster = Forecaster(store, timeline, compute, pace=Pace(apart_h=1.0, hold=hold))
    for hours, made in (
        (0.5, False),
        (0.5, True),
        (0.5, False),
        (5.5, True),
        (0.9, True),
        (0.5, False),
        (6.5, True),
    ):
        clock.move(3600.0 * hours)
        assert forecaster.make_due() == int(made)
    assert held == [
        "held",
        "made at 1 h",
        "let go",
        "held",
        "made at 7 h",
        "let go",
        "held",
        "made at 8 h",
        "let go",
        "made at 15 h",
    ]


def test_a_pour_for_which_none_is_due_costs_a_look_a_minute(
    store: Store, clock: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A school has a hundred live pours, and a look each second at each would keep a core busy."""
    timeline, looked = Timeline(store, clock), Forecaster.make
    with store.write() as tx:
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=None),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, {}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
    asked: list[int] = []

    def counted(self: Forecaster, pour: int) -> bool:
        asked.append(pour)
        return looked(self, pour)

    monkeypatch.setattr(Forecaster, "make", counted)
    forecaster = Forecaster(store, timeline, lambda *_told: {})
    for moved_s, looks in ((1.0, 1), (1.0, 1), (57.0, 1), (3.0, 2), (30.0, 2)):
        clock.move(moved_s)
        assert forecaster.make_due() == 0
        assert len(asked) == looks


@pytest.mark.parametrize("stages", [(), (Stage.SPOILED,), (Stage.SPOILED, Stage.CLOSED)])
def test_a_forecast_that_comes_after_the_pour_has_ended_is_put_into_no_record(
    store: Store, clock: Any, plan_toml: str, stages: tuple[Stage, ...]
) -> None:
    """The worker takes seconds: a record that was sealed meanwhile must stay what was sealed."""
    timeline = Timeline(store, clock)
    with store.write() as tx:
        station_id, _token = stations.enrol(tx, "bench-1", 0)
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, {}, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", timeline)
        row = WireReading("28-core", "core", clock.stamp(), 21_000, None, "0", None, seq=1)
        readings.save_batch(
            tx,
            ReadingBatch(stations.by_name(tx, "bench-1").id, "spool-1", clock.stamp(), [row]),
            timeline.true_ms(),
        )

    def compute(_work: Any, task: ForecastTask) -> dict[str, Any]:
        with store.write() as tx:
            for stage in stages:
                pours.move_on(tx, pour_id, stage, "Ada", timeline)
        return body(task.at_h)

    clock.move(3600.0)
    assert Forecaster(store, timeline, compute).make(pour_id) == (not stages)
    with store.read() as connection:
        assert len(forecasts.newest(connection, pour_id, 9)) == (0 if stages else 1)


#: An invented table that cures a fifth faster than planned, poured warm, in still air: its limit falls after 10 h.
RUNAWAY = """
title = "Invented deep river"
[resin]
name = "Invented slow system"
density_kg_m3 = 1100.0
specific_heat_j_kgk = 1900.0
heat_of_cure_j_g = 360.0
[resin.rate]
k1_per_s = {k1}
k2_per_s = {k2}
[resin.limits]
max_core_c = 60.0
[pour]
shape = "river"
depth_mm = 45.0
width_mm = 280.0
length_mm = 2100.0
start_c = {start_c}
[form]
underside = "open"
[form.bottom]
thickness_mm = 18.0
[form.side]
thickness_mm = 260.0
[air]
room_c = {room_c}
{top}
[run]
hours = 72.0
"""


def running_away(at_h: float) -> ForecastTask:
    """What is known of that table at an hour: readings every five minutes, with a little of a wobble."""
    plan_toml = RUNAWAY.format(k1=6e-7, k2=1.6e-5, start_c=21.0, room_c=21.0, top="")
    truth = RUNAWAY.format(k1=7.32e-7, k2=1.952e-5, start_c=23.0, room_c=22.0, top="top_w_m2k = 8.0")
    curve = predict(plan_from_text(truth)).curve
    hours = np.arange(0.0, at_h, 1.0 / 12.0)
    wobble = 0.03 * np.sin(997.0 * hours)
    felt = {name: getattr(curve, f"{name}_c") for name in ("core", "surface", "underside")}
    history = {
        name: Place(hours, np.interp(hours, curve.hours, true) + wobble) for name, true in felt.items()
    }
    history["room"] = Place(hours, 22.0 + wobble)
    return ForecastTask(plan_toml, history, at_h, seed=5, help_from=2.0)


def test_a_forecast_after_a_restart_is_that_of_a_service_that_ran_on() -> None:
    """The bands overlap by nine tenths of the narrower one: from nothing (the database was restored from an older
    copy), from the forecast an hour before, and from one of another pour, which no search may trust."""
    task = running_away(10.6)
    before = work_out(replace(running_away(9.4), seed=5))
    left = SearchStart.of_json(before)
    assert left is not None
    other = replace(left, theta=dict.fromkeys(left.theta, 0.0), axes=0.3 * np.eye(len(left.theta)))
    starts = [None, left, other]
    bands = [work_out(replace(task, start=start))["core_peak_c"] for start in starts]
    for one in bands:
        for two in bands:
            both = min(one["p95"], two["p95"]) - max(one["p05"], two["p05"])
            assert both > 0.9 * min(one["p95"] - one["p05"], two["p95"] - two["p05"])


def test_a_forecast_begins_where_the_last_stored_one_ended() -> None:
    """Through the stored body alone, as after a restart; a body of an older program has no such place."""
    search = {"theta": {"rate": 0.7, "heat": 0.1}, "axes": [[0.3, 0.1], [0.0, 0.2]], "memory_h": 1.5}
    start = SearchStart.of_json(json.loads(json.dumps(body(2.0) | {"search": search})))
    assert start is not None
    axes = start.axes_of(["heat", "rate"])
    assert start.place(["heat", "rate"]).tolist() == [0.1, 0.7]
    assert axes is not None
    assert axes.tolist() == [[0.1, 0.3], [0.2, 0.0]]
    # A program that knows one more unknown begins at its plan's value, with axes of its own.
    assert start.place(["heat", "rate", "flow"]).tolist() == [0.1, 0.7, 0.0]
    assert start.axes_of(["heat", "rate", "flow"]) is None
    assert SearchStart.of_json(body(2.0)) is None
