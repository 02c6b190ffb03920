"""When the fan runs: a person's word, the plan's times, the forecast, and never a chatter between them."""

from __future__ import annotations

import random

import pytest

from logger.alarms.fan_rule import (
    LEAST_RUN_MS,
    By,
    FanNow,
    FanRequest,
    Switch,
    decide,
    forecast_request,
    planned_request,
)
from logger.alarms.inputs import ForecastAnswer, Quantiles
from logger.alarms.state import AlarmState, OutOfService, Phase
from logger.facts import fact
from logger.quantities import hours, temperature

HOUR = 3_600_000
MINUTE = 60_000
LIMIT_C = 60.0


def answer(*, made_h: float = 5.0, peak_h: float = 12.0, without: float | None = None) -> ForecastAnswer:
    """A forecast made at an hour."""
    peak = Quantiles(peak_h - 1, peak_h, peak_h + 1)
    return ForecastAnswer(round(made_h * HOUR), 0.05, Quantiles(50, 55, 58), peak, chance_without_fan=without)


def wanted(found: ForecastAnswer | None, *alarms: AlarmState, core_c: float | None = 40.0) -> FanRequest:
    """What the forecast wants."""
    return forecast_request(alarms, found, core_c, LIMIT_C, 0)


RAISED = AlarmState(
    phase=Phase.RAISED, activation=1, reason=fact("core-probably-passes", limit=temperature(60, 0))
)


def test_a_core_that_will_overheat_switches_the_fan_on_and_says_why() -> None:
    """Also while somebody has the alarm in hand; not when it was taken out of service as wrong."""
    assert wanted(None, RAISED) == FanRequest(True, By.FORECAST, RAISED.reason)
    assert wanted(None, AlarmState(phase=Phase.ACKNOWLEDGED, activation=1, reason="x")).on
    out = AlarmState(phase=Phase.RAISED, activation=1, out=OutOfService("Jo", "probe broken", 0, HOUR))
    assert wanted(None, out).on is None
    assert decide(FanNow(False), [wanted(None, RAISED)], 0) == Switch(True, By.FORECAST, RAISED.reason)


def test_it_stops_only_when_the_pour_would_do_without_it() -> None:
    """That the chance is small with the fan running is the fan's work, and no reason to stop."""
    running = FanNow(True, By.FORECAST, 0)
    for without, stops in ((0.6, False), (0.3, False), (0.05, True)):
        found = decide(running, [wanted(answer(without=without))], HOUR)
        assert (found == Switch(False, None, fact("fan-not-needed", limit=temperature(60, 0)))) is stops
    assert decide(running, [wanted(answer())], HOUR) is None, "not known: it goes on"
    assert decide(running, [wanted(None)], HOUR) is None


def test_it_stops_after_the_peak_once_the_core_is_well_below_its_limit() -> None:
    """And not while it is still hot, or not known."""
    past = answer(made_h=14.0, peak_h=12.0)
    assert wanted(past, core_c=54.9).on is False
    assert wanted(past, core_c=58.0).on is None
    assert wanted(past, core_c=None).on is None


def test_once_on_it_runs_for_a_while() -> None:
    """Relays and motors wear by switching."""
    off = [FanRequest(False, By.FORECAST, "does without")]
    assert decide(FanNow(True, By.FORECAST, 0), off, LEAST_RUN_MS - 1) is None
    assert decide(FanNow(True, By.FORECAST, 0), off, LEAST_RUN_MS) == Switch(False, None, "does without")


@pytest.mark.parametrize("on", [True, False])
def test_a_persons_word_holds_until_it_is_given_back(on: bool) -> None:
    """Neither plan nor forecast switches what somebody has switched by hand."""
    wants = [FanRequest(not on, By.PLAN, "planned"), FanRequest(not on, By.FORECAST, "hot")]
    assert decide(FanNow(on, By.HAND, 0), wants, 10 * HOUR) is None
    found = decide(FanNow(on, None, 0), wants, 10 * HOUR)
    assert found is not None
    assert found.on is not on


def test_the_planned_times_are_kept_to_the_minute() -> None:
    """On from their start, off from their end."""
    times = [(2 * HOUR, 4 * HOUR), (6 * HOUR, 7 * HOUR)]
    on = [planned_request(times, t * HOUR).on for t in (1, 2, 3, 4, 5, 6, 7)]
    assert on == [False, True, True, False, False, True, False]
    switched = decide(FanNow(False), [planned_request(times, 2 * HOUR)], 2 * HOUR)
    assert switched == Switch(True, By.PLAN, fact("fan-planned", time=hours(2.0)))
    ended = decide(FanNow(True, By.PLAN, 2 * HOUR), [planned_request(times, 4 * HOUR)], 4 * HOUR)
    assert ended == Switch(False, None, fact("fan-plan-over"))


def test_a_planned_run_that_the_forecast_needs_goes_on() -> None:
    """At the end of the planned time, by the forecast's word; that is written down once."""
    over = planned_request([(2 * HOUR, 4 * HOUR)], 4 * HOUR)
    needs = wanted(answer(without=0.8))
    found = decide(FanNow(True, By.PLAN, 2 * HOUR), [over, needs], 4 * HOUR)
    assert found == Switch(True, By.FORECAST, needs.why)
    assert decide(FanNow(True, By.FORECAST, 2 * HOUR), [over, needs], 4 * HOUR) is None
    unsure = wanted(answer())
    assert decide(FanNow(True, By.PLAN, 2 * HOUR), [over, unsure], 4 * HOUR) == Switch(
        False, None, fact("fan-plan-over")
    )


def test_of_two_pours_on_one_station_either_keeps_the_fan_on() -> None:
    """It stops when neither wants it."""
    one, other = FanRequest(False, By.FORECAST, "done"), FanRequest(True, By.FORECAST, "hot")
    assert decide(FanNow(True, By.FORECAST, 0), [one, other], HOUR) is None
    assert decide(FanNow(False), [one, other], HOUR) == Switch(True, By.FORECAST, "hot")


def test_whatever_plan_and_forecast_say_the_relay_does_not_chatter() -> None:
    """200,000 random minutes: never off twice within the shortest run, never off while it is wanted on."""
    dice = random.Random(1)
    fan, last_off_ms = FanNow(False), -HOUR
    for minute in range(200_000):
        now_ms = minute * MINUTE
        wants = [
            FanRequest(dice.choice((None, False, False, True)), by, "x") for by in (By.PLAN, By.FORECAST)
        ]
        if dice.random() < 0.001:
            fan = FanNow(fan.on, dice.choice((By.HAND, None)), fan.since_ms)
        found = decide(fan, wants, now_ms)
        if found is None:
            wished = any(want.on for want in wants)
            assert fan.on or not wished or fan.by is By.HAND, "wanted on, and left off"
            continue
        assert fan.by is not By.HAND
        if not found.on:
            assert not any(want.on for want in wants)
            assert fan.since_ms is None or now_ms - fan.since_ms >= LEAST_RUN_MS
            assert now_ms - last_off_ms >= LEAST_RUN_MS
            last_off_ms = now_ms
        fan = FanNow(found.on, found.by, now_ms if found.on is not fan.on else fan.since_ms)
