"""What comes next, and when."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from logger.condition.evidence import Evidence, ExpectedPeak
from logger.condition.peak_call import PeakCall, call_of
from logger.condition.peaks import forecast_peak
from logger.cure.solver.prediction import predict
from logger.pour import Stage
from logger.words.reader import METRIC
from logger.words.render import say
from web.views import agenda
from web.views.predicted import COURSES, Foretold, foretold, predicted_of


def coming(*what: Any) -> list[agenda.Coming]:
    """What is to come, in words."""
    return [
        replace(one, what=say(one.what, METRIC), sure=say(one.sure, METRIC), ask=say(one.ask, METRIC))
        for one in agenda.coming(*what)
    ]


@pytest.fixture
def course(plan_toml: str) -> Foretold:
    """What the plan that works lets expect."""
    return foretold(predicted_of(plan_toml))


def called(
    course: Foretold, hour: float, forecast: Any = None, hottest_c: float | None = None, limit_c: float = 60.0
) -> PeakCall:
    """What the judgement says of the peak."""
    planned = ExpectedPeak(*[course.core_peak_c] * 3, 0.0, course.core_peak_at_h, course.core_peak_at_h)
    seen = None if hottest_c is None else (hottest_c, hour)
    made = None if forecast is None else forecast_peak(forecast)
    evidence = Evidence(Stage.CURING, 0, limit_c, hottest=seen, planned=planned, forecast=made)
    return call_of(evidence, round(hour * 3_600_000))


def whats(course: Foretold, hour: float, **more: object) -> list[str]:
    """The names of what is to come."""
    peak = called(course, hour, **more)  # type: ignore[arg-type]
    return [item.what for item in coming(Stage.CURING, hour, course, None, peak)]


def test_the_soonest_comes_first_and_what_is_past_is_gone(course: Foretold) -> None:
    """The peak is named until it is half an hour past."""
    peak_h = course.core_peak_at_h
    hours = [item.at_h for item in coming(Stage.CURING, 0.0, course, None, called(course, 0.0))]
    assert hours == sorted(hours)
    assert any(what.startswith("Core at its hottest") for what in whats(course, peak_h + 0.4))
    assert not any(what.startswith("Core at its hottest") for what in whats(course, peak_h + 0.6))


def test_the_forecast_wins_over_the_plan(course: Foretold) -> None:
    """Peak and release are the forecast's once there is one."""
    band = {"p05": 0.0, "p50": 0.0, "p95": 0.0}
    forecast = {
        "at_h": 5.0,
        "chance_core_over_limit": 0.0,
        "crosses_limit_at_h": None,
        "core_peak_c": {"p05": 47.0, "p50": 48.2, "p95": 49.5},
        "core_peak_at_h": {"p05": 9.0, "p50": 9.5, "p95": 10.0},
        "release_at_h": band | {"p50": 41.0},
    }
    items = coming(Stage.CURING, 5.0, course, forecast, called(course, 5.0, forecast))
    told = {item.what.split(",")[0]: item for item in items}
    assert told["Core at its hottest"].at_h == 9.5
    assert "48 °C" in told["Core at its hottest"].what
    assert told["Hard and cool enough to open the form"].at_h == 41.0


def released(
    course: Foretold, hour: float, p50: float | None, p95: float | None
) -> list[tuple[str, float, str]]:
    """What is said of opening the form where the forecast looked 72 h ahead: (what, when, what it rests on)."""
    band = {"p05": 0.0, "p50": 0.0, "p95": 0.0}
    release = {"p05": p50, "p50": p50, "p95": p95, "within_h": 72.0, "chance": 0.5}
    peak = {
        "core_peak_c": band,
        "core_peak_at_h": band,
        "chance_core_over_limit": 0.0,
        "crosses_limit_at_h": None,
    }
    forecast = {"at_h": 5.0, **peak, "release_at_h": release}
    items = coming(Stage.CURING, hour, course, forecast, called(course, hour, forecast))
    return [(i.what, i.at_h, f"{i.ask}, {i.sure}") for i in items if "hard" in i.what.lower()]


def test_what_may_come_later_than_the_forecast_looked_is_said_beside_it(course: Foretold) -> None:
    """Hard at 60 h, or not within 72 h; where it certainly is within, nothing is added."""
    ((_, at_h, words),) = released(course, 5.0, 60.0, None)
    assert at_h == 60.0
    assert "may not be hard within 72 h of pouring" in words
    assert "may not" not in released(course, 5.0, 60.0, 70.0)[0][2]


def test_what_the_forecast_does_not_see_hard_is_not_given_the_plans_hour_in_its_name(
    course: Foretold,
) -> None:
    """The plan's 50 h is over with a forecast that says "not within 72 h"; its 90 h stays, as the plan's."""
    ((what, at_h, words),) = released(replace(course, release_at_h=50.0), 5.0, None, None)
    assert (what, at_h) == ("Probably not hard yet", 72.0)
    assert "may not be hard within 72 h of pouring" in words
    later = released(replace(course, release_at_h=90.0), 5.0, None, None)
    assert [at for _, at, _ in later] == [72.0, 90.0]
    assert "predicted from the plan" in later[1][2]


def test_that_it_is_not_hard_stays_on_the_list_when_the_run_is_over(course: Foretold) -> None:
    """At 80 h of a run of 72 h, with no newer forecast."""
    assert [what for what, *_ in released(replace(course, release_at_h=50.0), 80.0, None, None)] == [
        "Probably not hard yet"
    ]


def test_a_peak_below_what_was_measured_is_not_foretold(course: Foretold) -> None:
    """With 63 °C measured, a coming 30 °C is no news."""
    assert not any("hottest" in what for what in whats(course, 1.0, hottest_c=63.0))


def test_what_has_gelled_is_not_announced_and_nothing_is_cured_before_it_is_hard(course: Foretold) -> None:
    """By the forecast, not by the plan: the pour runs away, or is hard far later."""

    def at(forecast: dict[str, Any]) -> dict[str, float]:
        hour = forecast["at_h"]
        items = coming(Stage.CURING, hour, course, forecast, called(course, hour, forecast))
        return {item.what.split(",")[0]: item.at_h for item in items}

    release = {"p05": 90.0, "p50": 90.0, "p95": 90.0, "within_h": 120.0, "chance": 1.0}
    forecast = {
        "at_h": 4.0,
        "core_peak_c": {"p05": 80.0, "p50": 81.0, "p95": 82.0},
        "core_peak_at_h": {"p05": 7.0, "p50": 7.0, "p95": 7.0},
        "chance_core_over_limit": 1.0,
        "crosses_limit_at_h": None,
        "release_at_h": release,
        "gel_at_h": {"p05": 5.8, "p50": 6.0, "p95": 6.2, "within_h": 120.0, "chance": 1.0},
    }
    assert at(forecast)["Resin may gel"] == 6.0
    assert at(forecast)["Fully cured"] >= at(forecast)["Hard and cool enough to open the form"] == 90.0
    gelled = forecast | {"at_h": 8.0, "gel_at_h": dict.fromkeys(("p05", "p50", "p95"), 8.0)}
    assert "Resin may gel" not in at(gelled)


def test_the_next_two_looks_are_asked_for(course: Foretold) -> None:
    """While somebody sits by the form."""
    items = coming(Stage.WATCHED, 0.05, course, None, called(course, 0.05), [0.25, 0.33, 0.42])
    assert [item.at_h for item in items if item.what == "Look at the form"] == [0.25, 0.33]


def test_a_plan_is_solved_once_and_not_again_after_a_restart(
    maker: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A runaway takes seconds to solve: planning it and every page about it share one solution, kept with the pour."""
    solved = []
    real = predict

    def counted(plan: Any, **asked: Any) -> Any:
        solved.append(plan.title)
        return real(plan, **asked)

    monkeypatch.setattr("web.views.predicted.predict", counted)
    text = plan_toml.replace("for a fictional client", "to be solved once")
    pour = shop.plan(text)
    for page in ("", "/plan", "/section", "/ready"):
        assert maker.get(f"/pours/{pour}{page}").status_code == 200
    assert solved == ["River table to be solved once"]
    shop.go(pour, Stage.READY, Stage.POURING)
    COURSES.clear()
    assert "Core at its hottest" in maker.get(f"/pours/{pour}").text
    assert len(solved) == 1, "what comes next was frozen with the pour"
