"""The one large button of a pour's page: each case of the decision, and what the button says and does."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from logger.alarms.kind import Priority
from logger.alarms.state import Phase
from logger.condition.evidence import ExpectedPeak, OpenAlarm
from logger.condition.judgement import Condition, ConditionCause, Severity
from logger.condition.peak_call import Call, PeakCall
from logger.facts import Fact
from logger.pour import Stage
from logger.words.phrase import phrase
from logger.words.reader import METRIC
from logger.words.render import say
from web.views.agenda import Coming
from web.views.one_action import Act, OneAction, Progress, one_action
from web.views.one_button import one_button
from web.views.peak_figures import peak_figures
from web.views.time_line import time_line

NOW_MS = 10_000_000
NO_PEAK = PeakCall(Call.UNKNOWN, None, None)


def alarm(
    number: int, priority: Priority = Priority.HIGH, phase: Phase = Phase.RAISED, kind: str = "core-hot"
) -> OpenAlarm:
    """An open alarm; somebody is on it where its phase says so."""
    by = "Ben" if phase is Phase.ACKNOWLEDGED else None
    return OpenAlarm(number, kind, priority, phase, "so it is", NOW_MS - 60_000, by)


def condition(severity: Severity = Severity.CALM, *alarms: OpenAlarm, **more: Any) -> Condition:
    """A condition about the first of the alarms."""
    lead, others = (alarms[0], alarms[1:]) if alarms else (None, ())
    return Condition(severity, ConditionCause.NOTHING, NO_PEAK, NOW_MS, lead, tuple(others), **more)


CURING = Progress(Stage.CURING)
HIGH_TAKEN = alarm(1, phase=Phase.ACKNOWLEDGED)
PROBE = alarm(2, Priority.MEDIUM, kind="probe-lost")
CLEARED = alarm(3, Priority.MEDIUM, Phase.RETURNED, "probe-lost")


@pytest.mark.parametrize(
    ("so", "progress", "act", "about"),
    [
        pytest.param(condition(Severity.DANGER, alarm(1)), CURING, Act.TAKE, 1, id="nobody is on the danger"),
        pytest.param(condition(Severity.CHECK, PROBE), CURING, Act.TAKE, 2, id="nobody is on what is wrong"),
        pytest.param(
            condition(Severity.DANGER, HIGH_TAKEN), CURING, Act.REMEDIES, 1, id="somebody is on the danger"
        ),
        pytest.param(
            condition(Severity.DANGER, HIGH_TAKEN, PROBE),
            CURING,
            Act.REMEDIES,
            1,
            id="the danger in hand comes before a lesser alarm",
        ),
        pytest.param(
            condition(Severity.DANGER, HIGH_TAKEN, alarm(4, kind="wet-under-form")),
            CURING,
            Act.TAKE,
            4,
            id="a second danger is taken first",
        ),
        pytest.param(condition(Severity.DANGER), CURING, Act.LOOK, None, id="danger before any alarm"),
        pytest.param(condition(Severity.BLIND), CURING, Act.LOOK, None, id="no readings, before any alarm"),
        pytest.param(
            condition(Severity.CHECK, alarm(5, Priority.MEDIUM, kind="look-due")),
            Progress(Stage.WATCHED),
            Act.LOOK,
            5,
            id="a look answers the alarm that it is due",
        ),
        pytest.param(
            condition(look_due_ms=NOW_MS), Progress(Stage.POURING), Act.LOOK, None, id="a look is due"
        ),
        pytest.param(
            condition(Severity.CHECK, CLEARED, look_due_ms=NOW_MS - 1),
            Progress(Stage.WATCHED),
            Act.LOOK,
            None,
            id="the look comes before an alarm that is over",
        ),
        pytest.param(condition(Severity.CHECK, CLEARED), CURING, Act.SEEN, 3, id="an alarm is over"),
        pytest.param(
            condition(look_due_ms=NOW_MS + 1), Progress(Stage.POURING), Act.FULL, None, id="pouring, calm"
        ),
        pytest.param(
            condition(look_due_ms=NOW_MS + 1), Progress(Stage.WATCHED), Act.LOOK, None, id="first hour, calm"
        ),
        pytest.param(
            condition(),
            Progress(Stage.WATCHED, looks_over=True, may_step=True),
            Act.STEP,
            None,
            id="the first hour is over",
        ),
        pytest.param(condition(), CURING, Act.NOTE, None, id="curing, calm"),
        pytest.param(
            condition(), Progress(Stage.CURING, may_step=True), Act.STEP, None, id="it may be opened"
        ),
        pytest.param(condition(Severity.NONE), Progress(Stage.PLANNED), Act.SIGN, None, id="planned"),
        pytest.param(condition(Severity.NONE), Progress(Stage.READY), Act.POUR, None, id="ready"),
        pytest.param(
            condition(Severity.NONE), Progress(Stage.READY, station=False), Act.STATION, None, id="no station"
        ),
        pytest.param(condition(Severity.NONE), Progress(Stage.RELEASED), Act.RECORD, None, id="released"),
        pytest.param(condition(Severity.NONE), Progress(Stage.CLOSED), Act.RECORD, None, id="sealed"),
        pytest.param(condition(Severity.NONE), Progress(Stage.SPOILED), Act.RECORD, None, id="given up"),
    ],
)
def test_the_one_thing_to_do(so: Condition, progress: Progress, act: Act, about: int | None) -> None:
    """Alarms nobody is on, then the danger in hand, then looks, then where the pour goes next."""
    one = one_action(so, progress, NOW_MS)
    assert one.act is act
    assert (None if one.alarm is None else one.alarm.id) == about


def test_no_step_that_is_held_down_is_a_filled_button() -> None:
    """What ends a watch or seals a record is never one press: the button leads to where it is held."""
    for act in Act:
        button = one_button(OneAction(act, HIGH_TAKEN), 7, condition(), may=True)
        assert button is not None
        assert button.to in (None, Stage.POURING, Stage.WATCHED), act
        assert (button.post is None) != (button.href is None), act


def test_the_button_takes_an_alarm_by_post_and_names_one_that_does_not_lead() -> None:
    """An alarm's link only shows it."""
    leads, other = alarm(1), alarm(4, kind="wet-under-form")
    so = condition(Severity.DANGER, leads, other)
    button = one_button(OneAction(Act.TAKE, leads), 7, so, may=True)
    assert button is not None
    assert (button.post, button.about) == ("/alarms/1/acknowledge", None)
    button = one_button(OneAction(Act.TAKE, other), 7, so, may=True)
    assert button is not None
    assert button.about is not None
    assert say(button.about, METRIC) == "Resin under the form"


def test_whoever_only_looks_gets_nothing_to_press_but_the_way_to_the_alarm() -> None:
    """A viewer may read what to do, and changes nothing."""
    so = condition(Severity.DANGER, alarm(1))
    button = one_button(OneAction(Act.TAKE, so.alarm), 7, so, may=False)
    assert button is not None
    assert (button.post, button.href) == (None, "/alarms/1")
    assert one_button(OneAction(Act.NOTE), 7, so, may=False) is None
    assert one_button(OneAction(Act.POUR), 7, so, may=False) is None


PEAK = ExpectedPeak(51.4, 55.0, 63.2, 0.3, at_h=6.0, last_at_h=8.0, clear_h=5.0, crossing_h=5.5, made_h=2.0)


def figures_of(call: Call, planned: bool = False, hour: float = 2.0) -> Any:
    """The figures of a peak at an hour of a pour that began at 0."""
    so = replace(condition(), peak=PeakCall(call, PEAK, (30.0, 1.0), planned), at_ms=round(hour * 3.6e6))
    return peak_figures(so, 0)


def test_the_peak_is_a_range_rounded_outwards_with_when_and_how_likely() -> None:
    """Never one number: 51.4 to 63.2 °C is 51 to 64."""
    shown = figures_of(Call.OPEN)
    assert (shown.low_c, shown.high_c, shown.at_ms, shown.chance) == (51, 64, round(6 * 3.6e6), 0.3)
    assert (shown.unclear, shown.clear_ms, shown.crosses) == (True, 5 * 3_600_000, False)
    rather = figures_of(Call.LIKELY_OVER)
    assert (rather.crosses, rather.crosses_ms) == (True, round(5.5 * 3.6e6))
    assert figures_of(Call.LIKELY_OVER, hour=5.6).crosses_ms is None, "any minute now"


def test_what_a_sentence_has_to_say_has_no_figures() -> None:
    """A refuted forecast, a peak that is past, a plan alone: figures would be taken for the present truth."""
    for call in (Call.REFUTED, Call.PAST, Call.UNKNOWN):
        assert figures_of(call) is None
    assert figures_of(Call.BELOW, planned=True) is None


def test_what_opens_under_a_row_waits_for_its_reader() -> None:
    """Said where it is built, it would be English for everybody; said once, its figures are in no other unit."""
    item = Coming(
        "resin-may-gel", phrase("Resin may gel"), 3.0, sure=phrase("planned"), ask=phrase("stay nearby")
    )
    (row,) = time_line([item], 1.0, 0)
    assert isinstance(row.more, Fact)
    assert say(row.more, METRIC) == "stay nearby (planned)"
    assert row.tone == "next"
