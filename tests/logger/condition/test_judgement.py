"""The judgement of a pour, point by point. Limits, peaks and people here are invented."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from typing import Any

import pytest

from logger.alarms.kind import Priority
from logger.alarms.registry import KINDS
from logger.alarms.state import Phase
from logger.condition.condition_words import words_of
from logger.condition.evidence import Evidence, ExpectedPeak, OpenAlarm, Thermometer
from logger.condition.judgement import ConditionCause, Severity, judge
from logger.pour import Stage
from logger.words.reader import Reader
from logger.words.render import say

START_MS = 1_000_000_000
HOUR = 3_600_000
NOW_MS = START_MS + 5 * HOUR
LIMIT_C = 60.0


def probe(place: str, celsius: float, age_s: float = 10.0, fault: str | None = None) -> Thermometer:
    """A thermometer that was last read so many seconds ago."""
    return Thermometer(place, celsius, NOW_MS - round(age_s * 1000), fault)


def alarm(kind: str, phase: Phase = Phase.RAISED, number: int = 1) -> OpenAlarm:
    """An alarm of that kind; Ada has acknowledged it where it is acknowledged."""
    by = "Ada" if phase is Phase.ACKNOWLEDGED else None
    since = NOW_MS - 600_000 if by else None
    return OpenAlarm(number, kind, KINDS[kind].priority, phase, KINDS[kind].limit, NOW_MS - HOUR, by, since)


def peak(low: float, middle: float, high: float, chance: float, **more: Any) -> ExpectedPeak:
    """A forecast's peak, eight hours after pouring, seen an hour ago."""
    return ExpectedPeak(low, middle, high, chance, **({"at_h": 8.0, "last_at_h": 9.0, "made_h": 4.0} | more))


CALM = Evidence(
    Stage.CURING,
    START_MS,
    LIMIT_C,
    (probe("core", 41.0), probe("surface", 35.0), probe("room", 21.0)),
    hottest=(41.0, 4.9),
    planned=ExpectedPeak(47.0, 47.0, 47.0, 0.0, 9.0, 9.0),
    forecast=peak(45.0, 47.0, 50.0, 0.0),
)


class At1420(Reader):
    """A reader whose clock says "14:20" at every moment."""

    def moment(self, at_ms: int) -> str:
        """One time for all."""
        assert at_ms
        return "14:20"


def said(evidence: Evidence) -> str:
    """All that is said of it, in one text."""
    condition = judge(evidence, NOW_MS)
    words = words_of(condition, evidence.stage, evidence.started_ms)
    parts = (words.state, words.headline, words.action, words.who, words.expected, words.certainty)
    return say(" | ".join(parts), At1420()).replace("\u00a0", " ")


def severity(evidence: Evidence) -> Severity:
    """How grave it is."""
    return judge(evidence, NOW_MS).severity


def test_a_pour_as_planned_is_calm_and_says_what_comes_next() -> None:
    """Nothing wrong, and when the peak comes."""
    assert severity(CALM) is Severity.CALM
    assert "Nothing wrong" in said(CALM)
    assert "14:20" in said(CALM)


@pytest.mark.parametrize("phase", list(Phase)[1:])
@pytest.mark.parametrize("with_alarm", [True, False])
def test_over_the_limit_is_red_whoever_has_acknowledged_what(phase: Phase, with_alarm: bool) -> None:
    """Also before its alarm is raised, and after it was tapped."""
    hot = replace(
        CALM,
        thermometers=(probe("core", 63.6), probe("room", 21.0)),
        alarms=[alarm("core-hot", phase), alarm("look-due", number=2)] if with_alarm else [],
    )
    assert severity(hot) is Severity.DANGER
    assert "63.6 °C" in said(hot)
    assert "60 °C" in said(hot)
    assert "Nothing wrong" not in said(hot)


def test_a_look_that_is_due_never_leads_over_a_hot_core_that_somebody_has() -> None:
    """The scene: hot, acknowledged by one tap, and a look due."""
    scene = replace(
        CALM,
        thermometers=(probe("core", 63.6),),
        alarms=[alarm("look-due", number=2), alarm("core-hot", Phase.ACKNOWLEDGED)],
    )
    condition = judge(scene, NOW_MS)
    assert condition.cause is ConditionCause.OVER_LIMIT
    assert condition.by == "Ada"
    assert condition.since_ms == NOW_MS - 600_000
    assert [other.kind for other in condition.others] == ["look-due"]


def test_what_was_over_the_limit_when_its_probe_died_stays_red() -> None:
    """A dead probe is no cool one."""
    dead = replace(CALM, thermometers=(probe("core", 63.6, 3600, "empty-read"), probe("room", 21.0)))
    assert severity(dead) is Severity.DANGER
    assert "1 h 00 min ago" in said(dead)


def test_without_a_core_that_reads_nothing_is_calm() -> None:
    """The surface goes on reading."""
    blind = replace(CALM, thermometers=(probe("core", 41.0, 3600), probe("surface", 35.0)))
    assert severity(blind) is Severity.BLIND
    assert "41.0 °C" in said(blind)


def test_a_forecast_over_the_limit_is_red_until_its_peak_is_past() -> None:
    """More likely than not is enough; whether somebody has its alarm does not matter."""
    over = replace(CALM, forecast=peak(55.0, 66.0, 90.0, 0.7))
    assert severity(over) is Severity.DANGER
    tapped = replace(over, alarms=[alarm("core-will-overheat", Phase.ACKNOWLEDGED)])
    assert severity(tapped) is Severity.DANGER
    past = replace(over, forecast=peak(55.0, 58.0, 59.0, 0.7, last_at_h=3.5), hottest=(58.0, 3.0))
    assert severity(past) is Severity.CALM


def test_while_the_limit_lies_in_the_band_no_single_number_is_given() -> None:
    """72 °C (35 to 171 °C) is no answer."""
    wide = replace(CALM, forecast=peak(35.0, 55.0, 171.0, 0.4, clear_h=6.5))
    assert severity(wide) is Severity.OPEN
    text = said(wide)
    assert "Too early to know" in text
    assert "55 °C" not in text
    assert "It will be clear by about 14:20." in text
    assert "Right either way" in text


def test_a_plan_over_the_limit_is_never_called_fine() -> None:
    """No forecast yet, and the plan says 345 °C."""
    plan = replace(
        CALM, forecast=None, planned=ExpectedPeak(345.0, 345.0, 345.0, 0.0, 5.5, 5.5), hottest=None
    )
    assert severity(plan) is Severity.DANGER
    assert "Nothing wrong" not in said(plan)


def test_a_core_hotter_than_its_forecast_allows_refutes_the_forecast() -> None:
    """Below the limit still, and the forecast's number is not offered any more."""
    refuted = replace(CALM, hottest=(58.0, 4.9), thermometers=(probe("core", 58.0),))
    assert judge(refuted, NOW_MS).cause is ConditionCause.FORECAST_REFUTED
    assert "47 °C" not in said(refuted)


def test_a_pour_that_went_over_its_limit_is_not_called_as_planned_afterwards() -> None:
    """It cools, and the alarm is closed."""
    after = replace(
        CALM, hottest=(116.0, 3.0), forecast=peak(115.0, 116.0, 117.0, 1.0, at_h=3.0, last_at_h=3.5)
    )
    assert "116.0 °C" in said(after)
    assert "Nothing wrong" not in said(after)


def test_an_alarm_of_lower_rank_never_leads_over_a_higher_one() -> None:
    """Whatever order they come in, and whoever has them."""
    for phase in (Phase.RAISED, Phase.ACKNOWLEDGED):
        both = replace(CALM, alarms=[alarm("room-cold", number=1), alarm("wet-under-form", phase, 2)])
        lead = judge(both, NOW_MS).alarm
        assert lead is not None
        assert lead.priority is Priority.HIGH


def test_a_pour_that_is_over_shows_its_stage_and_no_severity() -> None:
    """Out of the form: the watch has ended."""
    assert severity(replace(CALM, stage=Stage.RELEASED)) is Severity.NONE
    assert said(replace(CALM, stage=Stage.RELEASED)).startswith("Out of the form")


def test_the_hot_core_leads_in_whatever_order_its_alarms_came() -> None:
    """Hot and acknowledged, a look due, the clock not set, a probe lost: red, and Ada is on it, in all 120 orders."""
    alarms = [
        alarm("core-hot", Phase.ACKNOWLEDGED, 1),
        alarm("look-due", number=2),
        alarm("clock-unset", number=3),
        alarm("probe-lost", number=4),
        alarm("message-undelivered", number=5),
    ]
    dead = probe("surface", 40.0, age_s=900.0, fault="missing")
    said_in = set()
    for order in permutations(alarms):
        raised = tuple(replace(each, raised_ms=NOW_MS - HOUR + 60_000 * i) for i, each in enumerate(order))
        evidence = replace(CALM, thermometers=(dead, probe("core", 63.6)), alarms=raised, hottest=(63.6, 5.0))
        condition = judge(evidence, NOW_MS)
        assert condition.severity is Severity.DANGER
        assert condition.alarm is not None
        assert condition.alarm.kind == "core-hot"
        assert {other.id for other in condition.others} == {2, 3, 4, 5}
        said_in.add(said(evidence))
    (words,) = said_in
    assert "Core at 63.6 °C, over its limit of 60 °C" in words
    assert "Ada is on it since 14:20" in words
