"""The life of one alarm, transition by transition (names: OPC 10000-9, sections 4.8 and 5.8)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from logger.alarms.actions import Act, acknowledge
from logger.alarms.registry import KINDS
from logger.alarms.state import NORMAL, AlarmState, Observation, Phase, Transition, Why, step, tick
from logger.words.reader import METRIC
from logger.words.render import say

T0 = 1_790_000_000_000
HOT = KINDS["core-hot"]
PLAIN = replace(HOT, deadband=2.0, on_delay_s=0, off_delay_s=60, n_of_m=(1, 1), realarm_min=30)
SLOW = replace(PLAIN, on_delay_s=60, n_of_m=(2, 3))


def over(at_s: float, value: float = 61.0, severity: int = 1, **more: object) -> Observation:
    return Observation(True, T0 + round(at_s * 1000), f"It reads {value} °C.", value, 60.0, severity, **more)  # type: ignore[arg-type]


def under(at_s: float, value: float = 50.0) -> Observation:
    return Observation(False, T0 + round(at_s * 1000), "", value, 60.0)


def unknown(at_s: float) -> Observation:
    return Observation(None, T0 + round(at_s * 1000))


def live(kind: object, *seen: Observation, state: AlarmState = NORMAL) -> tuple[AlarmState, list[Transition]]:
    changes: list[Transition] = []
    for one in seen:
        state, found = (lambda s: (s.state, s.changes))(step(kind, state, one, one.at_ms))  # type: ignore[arg-type]
        changes += found
    return state, changes


def whys(changes: list[Transition]) -> list[str]:
    return [str(change.why) for change in changes]


def test_it_is_raised_with_its_reason_acknowledged_and_returns_to_normal() -> None:
    """The plain life, and each change tells the numbers behind it."""
    state, changes = live(PLAIN, under(0), over(5))
    assert (state.phase, state.activation, whys(changes)) == (Phase.RAISED, 1, ["first-time"])
    assert changes[0].text == "It reads 61.0 °C."
    assert (changes[0].value, changes[0].limit) == (61.0, 60.0)
    state = acknowledge(PLAIN, state, Act("Jo", T0 + 10_000)).state
    assert (state.phase, state.acknowledged_by) == (Phase.ACKNOWLEDGED, "Jo")
    state, changes = live(PLAIN, under(15), under(45), under(75), state=state)
    assert (state.phase, whys(changes)) == (Phase.NORMAL, ["returned"])
    assert "50.0 °C" in say(changes[0].text, METRIC)


def test_returned_before_anybody_saw_it_stays_on_the_page_until_acknowledged() -> None:
    """Nobody may miss that it happened."""
    state, _ = live(PLAIN, over(0), under(5), under(40), under(75))
    assert state.phase is Phase.RETURNED
    state = acknowledge(PLAIN, state, Act("Jo", T0 + 80_000)).state
    assert state.phase is Phase.NORMAL


def test_raised_again_before_acknowledgement_is_a_new_activation() -> None:
    """Two excursions are two, even when nobody looked in between."""
    state, changes = live(PLAIN, over(0), under(5), under(40), under(75), over(100))
    assert (state.phase, state.activation) == (Phase.RAISED, 2)
    assert whys(changes) == ["first-time", "returned", "again"]


def test_missing_data_never_clears_and_never_counts_towards_clearing() -> None:
    """A lost probe must not look like a cooled pour: not by silence, nor by the gap between two readings."""
    state, changes = live(PLAIN, over(0), *(unknown(t) for t in range(5, 7200, 5)))
    assert (state.phase, whys(changes)) == (Phase.RAISED, ["first-time"])
    state, changes = live(PLAIN, under(7205), under(14_400), under(21_600), state=state)
    assert state.phase is Phase.RAISED, "hours without a reading were counted as calm"
    state, _ = live(PLAIN, *(under(21_600 + t) for t in range(5, 70, 5)), state=state)
    assert state.phase is Phase.RETURNED


def test_inside_the_deadband_it_neither_clears_nor_raises_anew() -> None:
    """An hour just below the limit is not over: the next rise is the same alarm."""
    state, changes = live(PLAIN, over(0), *(under(t, 58.5) for t in range(5, 3600, 5)))
    assert (state.phase, whys(changes)) == (Phase.RAISED, ["first-time"])


def test_one_reading_over_the_limit_starts_the_off_delay_again() -> None:
    """Off-delay: back inside without a break."""
    state, _ = live(PLAIN, over(0), under(5), under(40), over(60), under(65), under(100))
    assert state.phase is Phase.RAISED


def test_n_of_m_holds_back_a_lone_reading_and_not_two_of_three() -> None:
    """Not consecutive readings: a dip in between does not start it again."""
    kind = replace(PLAIN, n_of_m=(2, 3))
    assert live(kind, over(0), under(5), under(10), over(15))[0].phase is Phase.NORMAL
    assert live(kind, over(0), under(5), over(10))[0].phase is Phase.RAISED
    assert live(kind, over(0, sure=True))[0].phase is Phase.RAISED


def test_the_on_delay_counts_time_over_less_time_back_inside() -> None:
    """An open door of half a minute does not raise it, and a dip does not start it again."""
    state, _ = live(SLOW, *(over(t) for t in range(0, 35, 5)), *(under(t) for t in range(35, 70, 5)))
    assert (state.phase, state.pending_ms) == (Phase.NORMAL, 0)
    seen = [under(t) if t == 30 else over(t) for t in range(0, 75, 5)]
    assert live(SLOW, *seen[:13])[0].phase is Phase.NORMAL
    assert live(SLOW, *seen)[0].phase is Phase.RAISED


def test_worse_is_told_again_and_asks_for_a_new_acknowledgement() -> None:
    """A rise in severity never hides behind an acknowledgement; a fall and a rise back is no news."""
    state, _ = live(PLAIN, over(0))
    state = acknowledge(PLAIN, state, Act("Jo", T0 + 1_000)).state
    state, changes = live(PLAIN, over(5, 75.0, 2), state=state)
    assert (state.phase, whys(changes), state.activation) == (Phase.RAISED, ["worse"], 1)
    state = acknowledge(PLAIN, state, Act("Jo", T0 + 6_000)).state
    state, changes = live(PLAIN, over(10, 62.0, 1), over(15, 76.0, 2), state=state)
    assert (state.phase, changes) == (Phase.ACKNOWLEDGED, [])


def test_a_lone_worse_reading_does_not_call_it_worse() -> None:
    """Severity is confirmed by n of m like the alarm itself."""
    kind = replace(PLAIN, n_of_m=(2, 3))
    _, changes = live(kind, over(0), over(5), over(10, 99.0, 3), over(15), over(20))
    assert whys(changes) == ["first-time"]
    _, changes = live(kind, over(0), over(5), over(10, 99.0, 3), over(15, 99.0, 3))
    assert whys(changes) == ["first-time", "worse"]


def test_still_true_long_after_acknowledgement_it_is_raised_again() -> None:
    """Acknowledged at night and forgotten: even without any reading (OPC 10000-9: ReAlarmTime)."""
    state, _ = live(PLAIN, over(0))
    state = acknowledge(PLAIN, state, Act("Jo", T0 + 1_000)).state
    assert tick(PLAIN, state, T0 + 1_000 + 30 * 60_000 - 1).state.phase is Phase.ACKNOWLEDGED
    again = tick(PLAIN, state, T0 + 1_000 + 30 * 60_000)
    assert (again.state.phase, again.changes[0].why, again.state.activation) == (Phase.RAISED, Why.REALARM, 1)
    assert "30 min after Jo acknowledged it" in say(again.changes[0].text, METRIC)


def test_a_latching_alarm_stays_until_a_person_has_seen_it_over() -> None:
    """Wood that looks dry again does not undo a leak."""
    wet = KINDS["wet-under-form"]
    state, _ = live(wet, Observation(True, T0, "Wet under the form."))
    state = acknowledge(wet, state, Act("Jo", T0 + 1_000)).state
    dry = [Observation(False, T0 + t * 1000, "Dry.") for t in range(5, 100, 5)]
    state, changes = live(wet, *dry, state=state)
    assert (state.phase, whys(changes)) == (Phase.RETURNED, ["returned"])
    assert acknowledge(wet, state, Act("Jo", T0 + 200_000)).state.phase is Phase.NORMAL


def test_late_readings_raise_it_and_say_that_they_are_late() -> None:
    """Caught-up data is judged at its own time, and told as late."""
    seen = over(0, late=True)
    moved = step(PLAIN, NORMAL, seen, T0 + 3_600_000)
    assert moved.changes[0].late
    assert (moved.changes[0].measured_ms, moved.changes[0].at_ms) == (T0, T0 + 3_600_000)
    assert moved.state.late


@pytest.mark.parametrize("jump_s", [-86_400, -3600, -1, 0, 1, 3600, 86_400])
def test_a_step_of_time_neither_raises_clears_nor_loses_it(jump_s: int) -> None:
    """However a time comes in, no delay is cut short by it: what lies in a gap is not known."""
    pending, _ = live(SLOW, over(0), over(5))
    moved = step(SLOW, pending, over(5 + jump_s), T0 + (5 + jump_s) * 1000)
    assert moved.state.phase is Phase.NORMAL
    assert moved.state.pending_ms == 5_000 + (1_000 if jump_s == 1 else 0)
    up, _ = live(PLAIN, over(0), under(5))
    assert step(PLAIN, up, under(5 + jump_s), T0 + (5 + jump_s) * 1000).state.phase is Phase.RAISED


def test_quiet_observations_leave_a_normal_alarm_untouched() -> None:
    """Nearly every call is of this sort: nothing is made, nothing is said."""
    moved = step(PLAIN, NORMAL, under(0), T0)
    assert moved.state is NORMAL
    assert moved.changes == ()
