"""Whom to tell and when, with the reason; and that no setting keeps a high-priority alarm quiet."""

from __future__ import annotations

import itertools
import json
from dataclasses import replace

import pytest

from logger.alarms.actions import Act, acknowledge, shelve, take_out_of_service
from logger.alarms.kind import Kind
from logger.alarms.notify_policy import (
    LocalTime,
    Notified,
    NotifyDecision,
    NotifyReason,
    Recipient,
    Rules,
    decide,
    notified_from_dict,
    notified_to_dict,
)
from logger.alarms.registry import KINDS, Priority
from logger.alarms.state import NORMAL, AlarmState, Observation, Phase, step, tick

T0 = 1_790_000_000_000
MINUTE = 60_000
HOT, COLD, DAMP = KINDS["core-hot"], KINDS["room-cold"], KINDS["air-damp"]
BOTH = Rules(first=1, second=1, second_after_min=10)
NIGHT = Rules(first=1, second=1, quiet_from_min=22 * 60, quiet_until_min=7 * 60)


def raised(kind: object = HOT, severity: int = 1, at_ms: int = T0) -> AlarmState:
    seen = Observation(True, at_ms, "The core reads 61.0 °C.", 61.0, 60.0, severity, sure=True)
    plain = replace(kind, on_delay_s=0, n_of_m=(1, 1))  # type: ignore[type-var]
    return step(plain, NORMAL, seen, at_ms).state  # type: ignore[arg-type]


def sent(telling: NotifyDecision) -> list[str]:
    return [f"{message.why} to {message.to}" for message in telling.messages]


class Phone:
    """Asks every half minute, as the service does, and notes what is sent with its minute."""

    def __init__(self, kind: object, rules: Rules) -> None:
        self.kind, self.rules, self.told = kind, rules, Notified()
        self.log: list[tuple[float, str]] = []
        self.last = NotifyReason.NOTHING_UP

    def ask(
        self, state: AlarmState, minutes: float, day_min: int | None = 12 * 60, failed: bool = False
    ) -> list[str]:
        now_ms = T0 + round(minutes * MINUTE)
        time = LocalTime(now_ms, day_min)
        telling = decide(self.kind, state, self.told, self.rules, time, failed)  # type: ignore[arg-type]
        # Through a restart each time: what was told must survive it.
        self.told = notified_from_dict(json.loads(json.dumps(notified_to_dict(telling.notified))))
        self.last = telling.why
        self.log += [(minutes, line) for line in sent(telling)]
        return sent(telling)

    def run(
        self, state: AlarmState, until_min: float, start_min: float = 0.0, day_min: int = 12 * 60
    ) -> list[str]:
        lines: list[str] = []
        for half in range(round(start_min * 2), round(until_min * 2) + 1):
            lines += self.ask(state, half / 2, day_min)
        return lines


def test_the_first_person_is_told_at_once_and_again_until_somebody_acknowledges() -> None:
    """core-hot repeats every 5 min; acknowledged, it falls silent."""
    phone = Phone(HOT, Rules(first=1))
    state = raised()
    phone.run(state, 14)
    assert phone.log == [(0, "first-time to first"), (5, "repeat-due to first"), (10, "repeat-due to first")]
    taken = acknowledge(HOT, state, Act("Jo", T0 + 14 * MINUTE)).state
    assert phone.run(taken, 29, 14) == []
    assert phone.last is NotifyReason.ALREADY_TOLD


def test_the_second_person_is_told_when_nobody_acknowledges_in_time_and_then_both_are() -> None:
    """After 10 min, once; repeats go to both."""
    phone = Phone(COLD, BOTH)
    phone.run(raised(COLD), 61)
    assert phone.log == [
        (0, "first-time to first"),
        (10, "second-person to second"),
        (60, "repeat-due to first"),
        (60, "repeat-due to second"),
    ]


def test_the_second_person_is_told_at_once_when_the_first_cannot_be_reached() -> None:
    """Channel failed for good: no waiting."""
    phone = Phone(HOT, BOTH)
    assert phone.ask(raised(), 0) == ["first-time to first"]
    assert phone.ask(raised(), 0.5, failed=True) == ["channel-failed to second"]
    assert phone.ask(raised(), 1, failed=True) == []


def test_an_acknowledgement_tells_the_others_who_took_it() -> None:
    """So that the second person can turn round."""
    phone = Phone(HOT, BOTH)
    state = raised()
    phone.run(state, 10)
    taken = acknowledge(HOT, state, Act("Jo", T0 + 11 * MINUTE)).state
    assert phone.ask(taken, 11) == ["taken to first", "taken to second"]
    assert phone.ask(taken, 11.5) == []


def test_worse_is_told_at_once_to_everybody_who_knows_of_it() -> None:
    """Even when it has been acknowledged."""
    phone = Phone(HOT, BOTH)
    state = raised()
    phone.run(state, 10)
    taken = acknowledge(HOT, state, Act("Jo", T0 + 11 * MINUTE)).state
    phone.ask(taken, 11)
    worse = step(
        HOT, taken, Observation(True, T0 + 12 * MINUTE, "75 °C", 75.0, 60.0, 2, sure=True), T0 + 12 * MINUTE
    )
    assert phone.ask(worse.state, 12) == ["worse to first", "worse to second"]


def test_still_true_after_acknowledgement_it_rings_again_and_climbs_again() -> None:
    """Acknowledged and forgotten: a new wait for the second person begins."""
    phone = Phone(HOT, BOTH)
    state = raised()
    phone.ask(state, 0)
    taken = acknowledge(HOT, state, Act("Jo", T0 + MINUTE)).state
    phone.ask(taken, 1)
    again = tick(HOT, taken, T0 + 31 * MINUTE).state
    assert phone.ask(again, 31) == ["realarm to first"]
    assert "second-person to second" in phone.run(again, 42, 31.5)


def test_that_it_is_over_is_told_once_and_only_to_those_who_heard_that_it_began() -> None:
    """Nobody gets an end without a beginning."""
    phone = Phone(COLD, BOTH)
    state = raised(COLD)
    phone.ask(state, 0)
    over = replace(state, phase=Phase.RETURNED)
    assert phone.ask(over, 5) == ["returned to first"]
    assert phone.ask(over, 6) == []
    closed = acknowledge(COLD, over, Act("Jo", T0 + 7 * MINUTE)).state
    assert phone.ask(closed, 7) == []


def test_what_came_and_went_between_two_looks_is_still_told_once() -> None:
    """Late readings can raise and return in one go: an excursion that nobody saw must be told."""
    phone = Phone(HOT, BOTH)
    assert phone.ask(replace(raised(), phase=Phase.RETURNED, late=True), 0) == ["returned to first"]
    assert phone.ask(replace(raised(), phase=Phase.RETURNED, late=True), 1) == []


def test_a_new_activation_is_told_as_new() -> None:
    """It was over, and comes again."""
    phone = Phone(HOT, BOTH)
    state = raised()
    phone.ask(state, 0)
    assert phone.ask(replace(state, activation=2), 1) == ["first-time to first"]


@pytest.mark.parametrize(
    ("minute", "held"), [(21 * 60 + 59, False), (22 * 60, True), (3 * 60, True), (7 * 60, False)]
)
def test_quiet_hours_hold_a_low_priority_alarm_over_midnight_and_let_it_go_in_the_morning(
    minute: int, held: bool
) -> None:
    """From 22:00 to 7:00, the end not included."""
    phone = Phone(DAMP, NIGHT)
    assert (phone.ask(raised(DAMP), 0, minute) == []) is held
    assert (phone.last is NotifyReason.HELD_QUIET_HOURS) is held
    if held:
        assert phone.ask(raised(DAMP), 300, 7 * 60) == ["first-time to first"]


def test_no_hour_is_quiet_when_the_clock_is_not_set() -> None:
    """A Pi that thinks it is 1970 must not sleep through a day."""
    assert Phone(DAMP, NIGHT).ask(raised(DAMP), 0, None) == ["first-time to first"]


def test_a_shelved_alarm_and_one_out_of_service_ring_nobody() -> None:
    """And say why not."""
    phone = Phone(HOT, BOTH)
    assert phone.ask(shelve(HOT, raised(), Act("Jo", T0), 1.0).state, 5) == []
    assert phone.last is NotifyReason.SHELVED
    assert phone.ask(take_out_of_service(HOT, raised(), Act("Jo", T0, "probe"), 1.0).state, 5) == []
    assert phone.last is NotifyReason.OUT_OF_SERVICE


def test_without_any_address_the_reason_says_so() -> None:
    """message-undelivered on the pages rests on this."""
    assert (
        decide(HOT, raised(), Notified(), Rules(first=0), LocalTime(T0, 0)).why is NotifyReason.NOBODY_TO_TELL
    )


def test_with_only_second_addresses_they_are_told_at_once() -> None:
    """Whoever is there is the first."""
    assert Phone(HOT, Rules(first=0, second=1)).ask(raised(), 0) == ["first-time to second"]


GRID = [
    Rules(first, second, after, start, end)
    for first, second in [(1, 0), (0, 1), (1, 1), (3, 2)]
    for after in (0.1, 10.0, 720.0)
    for start, end in [(None, None), (0, 1439), (1439, 0), (0, 0), (22 * 60, 7 * 60), (7 * 60, 22 * 60)]
]
HIGH = [kind for kind in KINDS.values() if kind.priority is Priority.HIGH]


def life(kind: Kind, state: AlarmState) -> list[tuple[int, int, AlarmState]]:
    """Minutes since it was raised, the time then and its state, until every silence is over: the same whoever is
    told, and when.
    """
    longest_min = 60 * max(kind.shelve_max_h, kind.out_of_service_max_h or 0) + kind.realarm_min
    lived = []
    for minutes in itertools.chain(range(20), range(20, round(longest_min) + 40, 10)):
        now_ms = T0 + minutes * MINUTE
        state = tick(kind, state, now_ms).state
        lived.append((minutes, now_ms, state))
    return lived


def test_no_combination_of_settings_silences_a_high_priority_alarm() -> None:
    """Exhaustive: every rule, hour of the day, and act of a person, over every high-priority kind.

    Raised, it is told at once (unless a person has silenced it, and then at the latest when that ends); it is told
    again until acknowledged; the second person, if there is one, within 15 min whatever the settings say; and again
    when it is still true long after an acknowledgement.
    """
    cases = 0
    silencing = [
        lambda _, state: state,
        lambda kind, state: shelve(kind, state, Act("Jo", T0), kind.shelve_max_h).state,
        lambda kind, state: (
            take_out_of_service(kind, state, Act("Jo", T0, "x"), kind.out_of_service_max_h).state
        ),
        lambda kind, state: acknowledge(kind, state, Act("Jo", T0)).state,
    ]
    lives = {
        (kind.name, silence): life(kind, silence(kind, raised(kind)))
        for kind in HIGH
        for silence in silencing
    }
    for kind, rules, minute, silence in itertools.product(
        HIGH, GRID, (*range(0, 1440, 131), None), silencing
    ):
        cases += 1
        told = Notified()
        at_once = silence is silencing[0]
        heard: list[tuple[float, Recipient]] = []
        for minutes, now_ms, state in lives[kind.name, silence]:
            telling = decide(kind, state, told, rules, LocalTime(now_ms, minute))
            told = telling.notified
            heard += [(minutes, message.to) for message in telling.messages]
        assert heard, (kind.name, rules, minute)
        assert not at_once or heard[0][0] == 0, (kind.name, rules, minute)
        assert len({minutes for minutes, _ in heard}) >= 2, "told once and never again"
        if at_once and rules.second:
            assert min(minutes for minutes, to in heard if to is Recipient.SECOND) <= 15
    assert cases == 4 * 72 * 12 * 4


@pytest.mark.parametrize("jump_min", [-1440, -60, -1, 0, 60, 1440])
def test_daylight_saving_moves_quiet_hours_and_nothing_else(jump_min: int) -> None:
    """Repeats and the second person run on the steady timeline, whatever the local day says."""
    phone = Phone(HOT, NIGHT)
    state = raised()
    for half in range(41):
        day = (3 * 60 + half // 2 + (jump_min if half > 5 else 0)) % 1440
        phone.ask(state, half / 2, day)
    assert [minutes for minutes, line in phone.log if line.endswith("first")] == [0, 5, 10, 15, 20]
    assert [minutes for minutes, line in phone.log if line == "second-person to second"] == [10]
