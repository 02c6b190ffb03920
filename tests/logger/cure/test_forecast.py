"""The forecast of an invented pour, end to end, against the course that made its readings."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.cure.forecast.forecast import Forecast, MemberSample, forecast
from logger.cure.forecast.what_if import what_if
from logger.cure.solver.ensemble import (
    EnsembleResult,
    EnsembleRun,
    Intervention,
    Members,
    RoomHistory,
    run_ensemble,
)
from logger.cure.solver.march import Resolution
from logger.errors import BadInput
from logger.plan.file import Plan, Possible, plan_from_text

Floats = NDArray[np.float64]

PLAN = """
title = "Invented quick pour"
[resin]
name = "Invented quick system"
heat_of_cure_j_g = 380.0
[resin.rate]
k1_per_s = 6e-6
k2_per_s = 1.6e-4
[pour]
shape = "river"
depth_mm = 7.0
width_mm = 180.0
length_mm = 900.0
start_c = 21.0
[form.bottom]
thickness_mm = 12.0
[air]
room_c = 21.0
top_w_m2k = 14.0
bottom_w_m2k = 7.0
side_w_m2k = 5.0
[run]
hours = 12.0
"""


@dataclass(frozen=True)
class Place:
    """Readings of one place."""

    hours: Floats
    celsius: Floats


@dataclass(frozen=True)
class Course:
    """A pour that was simulated: its plan, its readings, and what it really did."""

    plan: Plan
    history: dict[str, Place]
    truth: EnsembleResult


def simulated(members: Members, changes: tuple[Intervention, ...] = (), seed: int = 5) -> Course:
    """Readings every 2 minutes with 0.05 K noise, an offset and 1/16 K steps, from a solver on a finer mesh."""
    plan = plan_from_text(PLAN)
    rng = np.random.default_rng(seed)
    hours = np.arange(0.0, 12.0, 1.0 / 30.0)
    room = 21.5 + 0.8 * np.sin(2.0 * np.pi * hours / 24.0)
    truth = run_ensemble(
        plan,
        members,
        EnsembleRun(output_hours=hours, resolution=Resolution(1.1)),
        room=RoomHistory(hours, room),
        changes=changes,
    )
    true = {
        "core": truth.core_c[0],
        "surface": truth.surface_c[0],
        "underside": truth.underside_c[0],
        "room": room,
    }
    history = {}
    for place, celsius in true.items():
        read = celsius + 0.15 * rng.standard_normal() + 0.05 * rng.standard_normal(len(hours))
        history[place] = Place(hours, np.round(read * 16.0) / 16.0)
    return Course(plan, history, truth)


def with_what_if(plan: Plan, made: Forecast) -> Forecast:
    """The forecast with what would help; the plan has no fan of its own."""
    return replace(made, what_if=what_if(plan, made.state, made.ahead))


@pytest.fixture(scope="module")
def fast() -> Course:
    """A resin that cures 35 % faster than planned, with the fan forgotten: it passes the limit."""
    return simulated(Members(rate_factor=1.35, top_factor=0.6))


@pytest.fixture(scope="module")
def early(fast: Course) -> Forecast:
    """Its forecast at a third of the time to the peak."""
    at_h = float(fast.truth.core_peak_at_h[0]) / 3.0
    return with_what_if(fast.plan, forecast(fast.plan, fast.history, at_h=at_h))


def test_a_third_of_the_way_to_the_peak_the_band_holds_the_true_peak(fast: Course, early: Forecast) -> None:
    """The 90 % bands of height and time hold the truth, and the plan's own prediction is far below."""
    band, when = early.core_peak_c, early.core_peak_at_h
    assert band.p05 < fast.truth.core_peak_c[0] < band.p95
    assert when.p05 < fast.truth.core_peak_at_h[0] < when.p95
    frozen = run_ensemble(fast.plan, Members(), EnsembleRun(output_hours=[0.0])).core_peak_c[0]
    assert frozen < fast.plan.resin.limits.max_core_c < band.p50


def test_a_resin_that_its_datasheet_leaves_open_is_forecast_as_widely(fast: Course) -> None:
    """Planned at a fifth of its true rate, as a depth and a working time may leave it (40 resins, spread 0.7)."""
    rates = np.exp(0.7 * np.random.default_rng(3).standard_normal(40))
    rate = fast.plan.resin.rate
    slow = rate.model_copy(update={"k1_per_s": 0.25 * rate.k1_per_s, "k2_per_s": 0.25 * rate.k2_per_s})
    ones = (1.0,) * 40
    left_open = Possible(rate=tuple(rates), first=ones, energy=ones, heat=ones)
    at_h = float(fast.truth.core_peak_at_h[0]) / 3.0

    def planned(possible: Possible | None) -> Forecast:
        resin = fast.plan.resin.model_copy(update={"rate": slow, "possible": possible})
        return forecast(fast.plan.model_copy(update={"resin": resin}), fast.history, at_h=at_h)

    as_open, as_known = planned(left_open), planned(None)
    true_c, true_h = float(fast.truth.core_peak_c[0]), float(fast.truth.core_peak_at_h[0])
    assert as_open.core_peak_c.p05 < true_c < as_open.core_peak_c.p95
    assert as_open.core_peak_at_h.p05 < true_h < as_open.core_peak_at_h.p95
    assert not as_known.core_peak_c.p05 < true_c < as_known.core_peak_c.p95, "as usual it would be too narrow"


def test_it_says_that_the_limit_will_be_passed_and_when(fast: Course, early: Forecast) -> None:
    """The chance is high, and the true crossing lies in the band of its hour."""
    limit = fast.plan.resin.limits.max_core_c
    truly = float(fast.truth.hours[np.argmax(fast.truth.core_c[0] > limit)])
    assert early.chance_core_over_limit > 0.8
    assert early.crosses_limit_at_h is not None
    assert early.crosses_limit_at_h.p05 < truly < early.crosses_limit_at_h.p95
    assert early.time_left_h == pytest.approx(early.crosses_limit_at_h.p50 - early.at_h)


def test_it_names_the_resin_that_cures_faster_than_planned(early: Forecast) -> None:
    """35 % faster in truth: named first, with its size, and agreed on by most members."""
    cause = early.causes[0]
    assert cause.name == "rate_factor"
    assert cause.size == pytest.approx(35.0, abs=15.0)
    assert cause.sure > 0.85
    assert cause.words.code == "cures-faster"


def test_fans_now_would_help_most_of_all(early: Forecast) -> None:
    """The same members with fans on peak far lower; doing nothing gives the forecast's own peak."""
    assert early.what_if["as it is"].core_peak_c == early.core_peak_c
    assert early.what_if["fans"].core_peak_c.p50 < early.core_peak_c.p50 - 15.0
    assert early.what_if["cooler room"].core_peak_c.p50 < early.core_peak_c.p50


def test_the_json_has_what_the_replay_promises(early: Forecast) -> None:
    """Keys of the replay contract, as plain JSON without NaN."""
    body = json.loads(json.dumps(early.to_json(), allow_nan=False))
    for key in ("core_peak_c", "core_peak_at_h", "hottest_peak_c"):
        assert set(body[key]) == {"p05", "p50", "p95"}
        assert body[key]["p05"] <= body[key]["p50"] <= body[key]["p95"]
    assert body["at_h"] == pytest.approx(early.at_h, abs=1e-3)
    assert 0.0 <= body["chance_core_over_limit"] <= 1.0


def test_a_forecast_never_looks_at_later_readings_and_repeats_itself(fast: Course, early: Forecast) -> None:
    """Cutting the readings off at its hour changes nothing at all."""
    cut = {}
    for name, place in fast.history.items():
        keep = place.hours <= early.at_h
        cut[name] = Place(place.hours[keep], place.celsius[keep])
    again = forecast(fast.plan, cut, at_h=early.at_h)
    assert again.core_peak_c == early.core_peak_c
    assert again.chance_core_over_limit == early.chance_core_over_limit


def test_a_core_probe_that_contradicts_the_others_is_reported_not_believed(
    fast: Course, early: Forecast
) -> None:
    """A second core probe that lies 12 K low for the whole time is doubted; the peak's median stays."""
    core = fast.history["core"]
    lying = {**fast.history, "core-2": Place(core.hours, core.celsius - 12.0)}
    made = forecast(fast.plan, lying, at_h=early.at_h)
    assert [probe.place for probe in made.doubted] == ["core-2"]
    spread = early.core_peak_c.p95 - early.core_peak_c.p05
    assert abs(made.core_peak_c.p50 - early.core_peak_c.p50) < 0.5 * spread


def test_once_the_limit_is_passed_the_chance_is_one_and_no_time_is_left(fast: Course) -> None:
    """Late forecasts know the peak that was measured."""
    late = forecast(
        fast.plan,
        fast.history,
        at_h=float(fast.truth.core_peak_at_h[0]) + 1.0,
        sample=MemberSample(members=24),
    )
    assert late.chance_core_over_limit == 1.0
    assert late.crosses_limit_at_h is None
    assert late.core_peak_c.p50 == pytest.approx(float(fast.truth.core_peak_c[0]), abs=0.6)


def test_sun_on_the_surface_is_found_and_told_in_watts() -> None:
    """200 W/m² from 0.4 h on: found as heating of the surface, its size within 60 W/m²."""
    sunny = simulated(Members(), (Intervention(0.4, absorbed_w_m2=200.0),))
    made = forecast(sunny.plan, sunny.history, at_h=1.0, sample=MemberSample(members=32))
    cause = next(c for c in made.causes if c.name == "sun_w_m2")
    assert cause.size == pytest.approx(200.0, abs=60.0)


def test_without_a_reading_the_plan_speaks_for_itself() -> None:
    """No history: a wide band around the plan's own prediction, and nothing to blame."""
    plan = plan_from_text(PLAN)
    made = forecast(plan, {}, at_h=0.0, sample=MemberSample(members=64))
    frozen = float(run_ensemble(plan, Members(), EnsembleRun(output_hours=[0.0])).core_peak_c[0])
    assert made.core_peak_c.p05 < frozen < made.core_peak_c.p95
    assert made.causes == ()


def test_forecasts_at_several_hours_narrow_on_the_truth(fast: Course) -> None:
    """Once the peak is past, its band is a tenth of what it was at the start."""
    peak_h = float(fast.truth.core_peak_at_h[0])
    first = forecast(fast.plan, fast.history, at_h=0.15 * peak_h, sample=MemberSample(members=32))
    second = forecast(
        fast.plan, fast.history, at_h=1.2 * peak_h, previous=first.search, sample=MemberSample(members=32)
    )
    widths = [f.core_peak_c.p95 - f.core_peak_c.p05 for f in (first, second)]
    assert widths[1] < 0.1 * widths[0]


def test_an_hour_before_pouring_is_refused() -> None:
    """The error names the hour and what is allowed."""
    with pytest.raises(BadInput, match="before pouring"):
        forecast(plan_from_text(PLAN), {}, at_h=-1.0)


@pytest.mark.parametrize(("hours", "told"), [(12.0, 3), (4.8, 2), (2.5, 0)])
def test_a_core_that_may_stay_soft_for_longer_than_the_run_has_an_open_end_not_an_infinite_one(
    hours: float, told: int
) -> None:
    """Every member is hard within 12 h; within 4.8 h nine in ten are; within 2.5 h none is. JSON has no infinity."""
    course = simulated(Members())
    plan = course.plan.model_copy(update={"run": course.plan.run.model_copy(update={"hours": hours})})
    made = forecast(plan, course.history, at_h=1.0)
    body = json.loads(json.dumps(made.to_json(), allow_nan=False))
    release = body["release_at_h"]
    assert [release[name] is not None for name in ("p05", "p50", "p95")] == [
        place < told for place in range(3)
    ]
    assert release["within_h"] == hours
    assert (release["chance"] == 1.0) is (told == 3)


def test_no_number_of_a_forecast_is_infinite_however_odd_the_pour() -> None:
    """Short runs, cold rooms, gaps, dead probes, hours after the run: each forecast is JSON (seeded random pours)."""
    course = simulated(Members())
    rng = np.random.default_rng(17)
    for number in range(10):
        at_h = float(rng.choice([0.0, 0.02, 0.3, 1.5, 3.0, 7.0]))
        plan = plan_from_text(
            PLAN.replace("hours = 12.0", f"hours = {rng.choice([0.5, 2.0, 5.0])}")
            .replace("room_c = 21.0", f"room_c = {rng.choice([5.0, 13.0, 21.0])}")
            .replace("depth_mm = 7.0", f"depth_mm = {rng.choice([2.0, 5.0, 7.0])}")
        )
        history = {}
        for name, place in course.history.items():
            if rng.random() < 0.25:
                continue  # this probe is not there
            celsius = place.celsius.copy()
            celsius[rng.random(len(celsius)) < rng.choice([0.0, 0.1, 1.0], p=[0.6, 0.3, 0.1])] = np.nan
            celsius[rng.random(len(celsius)) < 0.01] = rng.choice([-55.0, 85.0, 125.0])
            history[name] = Place(place.hours, celsius)
        made = forecast(plan, history, at_h=at_h, sample=MemberSample(members=8))
        if number % 3 == 0:
            made = with_what_if(plan, made)
        json.dumps(made.to_json(), allow_nan=False)
