"""What people may do to an alarm, and what nobody may do to a high-priority one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from logger.alarms.actions import Act, acknowledge, return_to_service, shelve, take_out_of_service, unshelve
from logger.alarms.kind import Kind
from logger.alarms.registry import KINDS, Priority
from logger.alarms.state import NORMAL, AlarmState, Observation, Phase, Why, step, tick
from logger.errors import BadInput, NotAllowed, OutOfRange
from logger.words.reader import METRIC
from logger.words.render import say

T0 = 1_790_000_000_000
HOUR = 3_600_000
HOT = KINDS["core-hot"]
DAMP = KINDS["air-damp"]
HIGH = [kind for kind in KINDS.values() if kind.priority is Priority.HIGH]


def raised(kind: Kind, severity: int = 1) -> AlarmState:
    seen = Observation(True, T0, "It is so.", severity=severity, sure=True)
    state = step(replace(kind, on_delay_s=0), NORMAL, seen, T0).state
    assert state.phase is Phase.RAISED
    return state


def test_a_second_acknowledgement_changes_nothing() -> None:
    """Two people tap at once: the first has it."""
    state = acknowledge(HOT, raised(HOT), Act("Jo", T0)).state
    again = acknowledge(HOT, state, Act("Sam", T0 + 1))
    assert (again.state, again.changes) == (state, ())


def test_an_old_link_does_not_acknowledge_a_newer_alarm() -> None:
    """Each activation wants its own look."""
    with pytest.raises(NotAllowed, match=r"number 7.*number 1"):
        acknowledge(HOT, raised(HOT), Act("Jo", T0), activation=7)


@pytest.mark.parametrize("act", [acknowledge, unshelve, return_to_service])
def test_every_act_has_a_name_to_it(act: object) -> None:
    """Who did it is part of the record."""
    with pytest.raises(BadInput, match="no name"):
        act(HOT, raised(HOT), Act("  ", T0))  # type: ignore[operator]


def test_a_shelved_alarm_is_quiet_still_judged_and_comes_back_by_itself() -> None:
    """Shelved until a time, never for good."""
    state = shelve(DAMP, raised(DAMP), Act("Jo", T0, "door open"), 2.0).state
    assert state.quiet
    assert tick(DAMP, state, T0 + 2 * HOUR - 1).state.quiet
    back = tick(DAMP, state, T0 + 2 * HOUR)
    assert (back.state.quiet, back.state.phase) == (False, Phase.RAISED)
    assert back.changes[0].why is Why.SHELF_ENDED
    assert "has not cleared: It is so." in say(back.changes[0].text, METRIC)


def test_an_acknowledged_alarm_that_comes_off_the_shelf_must_be_acknowledged_again() -> None:
    """What was hidden is as new."""
    state = acknowledge(DAMP, raised(DAMP), Act("Jo", T0)).state
    state = shelve(DAMP, state, Act("Jo", T0), 1.0).state
    assert unshelve(DAMP, state, Act("Sam", T0 + 5)).state.phase is Phase.RAISED


@pytest.mark.parametrize("hours", [0.0, -1.0, math.nan, math.inf, 1e9, 1.01])
def test_shelving_for_longer_than_the_kind_bears_is_refused(hours: float) -> None:
    """core-hot may be shelved for an hour at most."""
    with pytest.raises(OutOfRange, match=r"above 0 to 1 h"):
        shelve(HOT, raised(HOT), Act("Jo", T0), hours)


def test_shelving_again_and_again_does_not_add_up() -> None:
    """The longest time counts from the first shelving."""
    state = shelve(HOT, raised(HOT), Act("Jo", T0), 1.0).state
    with pytest.raises(OutOfRange):
        shelve(HOT, state, Act("Jo", T0 + HOUR // 2), 0.6)
    assert shelve(HOT, state, Act("Jo", T0 + HOUR // 2), 0.5).state.shelf is not None


def test_getting_worse_takes_it_off_the_shelf() -> None:
    """Shelved at 61 °C says nothing about 75 °C."""
    state = shelve(HOT, raised(HOT), Act("Jo", T0), 1.0).state
    moved = step(HOT, state, Observation(True, T0 + 5_000, "75 °C", 75.0, 60.0, 2, sure=True), T0 + 5_000)
    assert [change.why for change in moved.changes] == [Why.SHELF_ENDED, Why.WORSE]
    assert not moved.state.quiet
    assert not moved.changes[1].quiet


def test_shelved_in_advance_the_first_severity_is_quiet_and_the_second_is_heard() -> None:
    """A door that will be open for an hour may be told beforehand; a fire may not."""
    state = shelve(HOT, NORMAL, Act("Jo", T0), 1.0).state
    mild = step(HOT, state, Observation(True, T0 + 1, "61 °C", 61.0, 60.0, 1, sure=True), T0 + 1)
    assert [change.quiet for change in mild.changes] == [True]
    severe = step(HOT, state, Observation(True, T0 + 1, "90 °C", 90.0, 60.0, 2, sure=True), T0 + 1)
    assert not severe.state.quiet


@pytest.mark.parametrize("kind", HIGH, ids=lambda kind: kind.name)
@pytest.mark.parametrize("hours", [None, 0.0, 4.5, 1e9])
def test_a_high_priority_alarm_is_never_out_of_service_without_a_near_end(
    kind: Kind, hours: float | None
) -> None:
    """No end, or one that is too far away, is refused."""
    with pytest.raises(OutOfRange, match="4 h"):
        take_out_of_service(kind, raised(kind), Act("Jo", T0, "probe broken"), hours)


@pytest.mark.parametrize("kind", HIGH, ids=lambda kind: kind.name)
def test_a_high_priority_alarm_comes_back_into_service_by_itself(kind: Kind) -> None:
    """And must then be acknowledged as if new; taken out again, the time counts from the first time."""
    state = take_out_of_service(kind, raised(kind), Act("Jo", T0, "probe broken"), 4.0).state
    state = acknowledge(kind, state, Act("Jo", T0)).state
    with pytest.raises(OutOfRange):
        take_out_of_service(kind, state, Act("Jo", T0 + HOUR, "still broken"), 4.0)
    back = tick(kind, state, T0 + 4 * HOUR).state
    assert (back.quiet, back.phase) == (False, Phase.RAISED)


def test_a_low_one_may_stay_out_of_service_by_name_and_reason() -> None:
    """Until somebody puts it back; who and why is on the page."""
    with pytest.raises(BadInput, match="no reason"):
        take_out_of_service(DAMP, raised(DAMP), Act("Jo", T0, " "))
    out = take_out_of_service(DAMP, raised(DAMP), Act("Jo", T0, "humidity sensor broken"))
    assert "Jo took it out of service: humidity sensor broken" in say(out.changes[0].text, METRIC)
    assert tick(DAMP, out.state, T0 + 1000 * HOUR).state.quiet
    assert not return_to_service(DAMP, out.state, Act("Sam", T0 + 5)).state.quiet
