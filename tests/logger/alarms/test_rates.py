"""The alarms' own figures, against the definitions of ISA-18.2 and EEMUA 191 (both at second hand)."""

from __future__ import annotations

import pytest

from logger.alarms.rates import Span, rates
from logger.alarms.registry import Priority
from logger.facts import fact

T0 = 1_790_000_000_000
S, M, H = 1000, 60_000, 3_600_000


def span(
    at_ms: int, lasts_ms: int | None = 10 * M, kind: str = "room-cold", priority: Priority = Priority.LOW
) -> Span:
    return Span(kind, "pour", priority, T0 + at_ms, None if lasts_ms is None else T0 + at_ms + lasts_ms)


def test_six_alarms_an_hour_spread_evenly_keep_every_mark() -> None:
    """About 6 an hour is very likely acceptable (ISA-18.2-2016, second hand)."""
    found = rates([span(i * 10 * M, kind=f"k{i}") for i in range(144)], T0, T0 + 24 * H)
    assert (found.alarms, found.per_hour, found.busiest_10_min, found.floods) == (144, 6.0, 1, 0)
    assert [
        target.name for target in found.targets if target.met is False and "priority" not in target.name
    ] == []


def test_a_flood_starts_above_ten_in_ten_minutes_and_ends_below_five() -> None:
    """Twelve alarms in the first 11 min of an hour: the eleventh, at 10 min less a second, starts it.

    Worked by hand: alarms at 0, 59, 118, … 649 s. The eleventh comes at 590 s; the fifth newest of all is the
    eighth, at 413 s, and is ten minutes old at 1013 s: 423 s of flood.
    """
    found = rates([span(i * 59 * S, kind=f"k{i}") for i in range(12)], T0, T0 + H)
    assert found.floods == 1
    assert found.flood_part * 3600 == pytest.approx(423)


def test_two_floods_apart_are_two() -> None:
    """And ten alarms in ten minutes are none."""
    burst = [span(i * S, kind=f"k{i}") for i in range(11)]
    later = [span(2 * H + i * S, kind=f"k{i}") for i in range(11)]
    assert rates([*burst, *later], T0, T0 + 3 * H).floods == 2
    assert rates(burst[:10], T0, T0 + 3 * H).floods == 0


def test_three_times_in_a_minute_is_chattering_and_a_single_short_one_is_fleeting() -> None:
    """Chattering: comes and goes three or more times in a minute; fleeting: clears within seconds, once."""
    chatter = [span(i * 20 * S, 5 * S) for i in range(3)]
    slow = [span(i * 40 * S, 15 * S, "room-hot") for i in range(3)]
    short = [span(5 * M, 4 * S, "air-damp")]
    found = rates([*chatter, *slow, *short], T0, T0 + H)
    assert found.chattering == ("room-cold/pour",)
    assert found.fleeting == ("air-damp/pour",)
    assert {target.name for target in found.targets if target.met is False} >= {
        fact("rate-chattering"),
        fact("rate-fleeting"),
    }


def test_up_for_more_than_a_day_is_stale_even_when_it_still_is() -> None:
    """And a day exactly is not."""
    spans = [span(0, None), span(0, 24 * H, "room-hot"), span(0, 24 * H + 1, "air-damp")]
    assert rates(spans, T0, T0 + 48 * H).stale == ("air-damp/pour", "room-cold/pour")


def test_the_spread_of_priorities_is_judged_only_on_enough_alarms() -> None:
    """80 % low, 15 % medium, 5 % high; three alarms say nothing."""
    many = [
        span(i * H, priority=p, kind=f"k{i}")
        for i, p in enumerate([Priority.LOW] * 16 + [Priority.MEDIUM] * 3 + [Priority.HIGH])
    ]
    found = rates(many, T0, T0 + 30 * H)
    assert found.shares == {Priority.HIGH: 0.05, Priority.MEDIUM: 0.15, Priority.LOW: 0.8}
    assert all(target.met for target in found.targets if "priority" in target.name)
    few = rates(many[-3:], T0, T0 + 30 * H)
    assert all(target.met is None for target in few.targets if "priority" in target.name)


def test_the_longest_wait_for_an_answer_is_told() -> None:
    """Acknowledged after 7 min, another not at all and up for 10 min."""
    spans = [Span("a", "pour", Priority.LOW, T0, T0 + H, T0 + 7 * M), span(0)]
    assert rates(spans, T0, T0 + H).longest_unanswered_min == 10


@pytest.mark.parametrize("length_ms", [0, 1, H])
def test_no_alarms_make_no_division_by_nothing(length_ms: int) -> None:
    """A fresh installation shows figures, not an error."""
    found = rates([], T0, T0 + length_ms)
    assert (found.alarms, found.per_hour, found.floods) == (0, 0.0, 0)


def test_every_mark_names_its_source() -> None:
    """Second hand or from memory: neither standard was read."""
    for mark in rates([], T0, T0 + H).targets:
        assert mark.source in (fact("source-second-hand"), fact("source-from-memory"))
