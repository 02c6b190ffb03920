"""The table of alarms is complete, and its priorities follow from harm and time."""

from __future__ import annotations

import itertools

import pytest

from logger.alarms.registry import KINDS, MATRIX, Harm, Kind, Priority, kind_named, priority_of
from logger.errors import NotFound
from logger.words.english import ENGLISH
from logger.words.reader import METRIC
from logger.words.render import say

#: Every kind of the design's table, and the priority that it must come out with.
EXPECTED = {
    "core-will-overheat": "high",
    "core-hot": "high",
    "hotter-than-predicted": "medium",
    "spread-too-wide": "low",
    "surface-heated": "medium",
    "room-cold": "medium",
    "room-hot": "medium",
    "air-damp": "low",
    "cure-behind": "low",
    "wet-under-form": "high",
    "look-due": "medium",
    "fan-not-cooling": "medium",
    "probe-lost": "medium",
    "probe-doubtful": "low",
    "station-silent": "medium",
    "clock-unset": "low",
    "power-low": "low",
    "disk-low": "low",
    "pins-failed": "medium",
    "clock-wrong": "low",
    "core-unwatched": "high",
    "message-undelivered": "medium",
}
EACH = pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)


def test_every_kind_of_the_design_is_there_with_its_priority() -> None:
    """A kind that is missing, added or of another priority must be decided, not slip in."""
    assert {name: str(kind.priority) for name, kind in KINDS.items()} == EXPECTED


@EACH
def test_no_alarm_exists_without_a_limit_a_consequence_causes_and_a_response(kind: Kind) -> None:
    """ISA-18.2 (second hand): an alarm requires a response; without one it is a line in a log."""
    for words in (
        kind.title,
        kind.limit,
        kind.limit_source,
        kind.consequence,
        *kind.causes,
        *kind.what_to_do,
    ):
        assert words.code in ENGLISH, words.code
        assert len(say(words, METRIC)) > 3, kind.name
    assert kind.causes
    assert kind.what_to_do


@EACH
def test_times_and_counts_make_sense(kind: Kind) -> None:
    """A repeat that never comes, or n of m with n above m, would make the alarm mute."""
    n, m = kind.n_of_m
    assert 1 <= n <= m <= 10
    assert kind.deadband >= 0
    assert 0 <= kind.on_delay_s <= 900
    assert 0 <= kind.off_delay_s <= 1800
    assert kind.respond_within_min > 0
    assert 0 < kind.repeat_min <= kind.realarm_min
    assert kind.unit or kind.deadband == 0


@EACH
def test_a_temperature_alarm_has_a_deadband_wider_than_its_noise(kind: Kind) -> None:
    """Five standard deviations of 0.1 °C at least: measured to stop chatter (project's own trial)."""
    if kind.unit == "°C":
        assert kind.deadband >= 0.5


@EACH
def test_nothing_can_be_shelved_for_longer_than_a_shift_and_high_ones_for_an_hour(kind: Kind) -> None:
    """Shelving is limited in time: one shift at most is usual (from memory)."""
    assert 0 < kind.shelve_max_h <= (1 if kind.priority is Priority.HIGH else 12)


@EACH
def test_a_high_priority_kind_cannot_be_out_of_service_without_an_end(kind: Kind) -> None:
    """No act of a person silences it for good."""
    if kind.priority is Priority.HIGH:
        assert kind.out_of_service_max_h is not None
        assert kind.out_of_service_max_h <= 4


@EACH
def test_no_alarm_says_danger_for_property(kind: Kind) -> None:
    """ANSI Z535.4 (second hand) keeps DANGER for what will kill or maim; no alarm here knows that."""
    texts = say(" ".join((kind.title, kind.limit, kind.consequence, *kind.causes, *kind.what_to_do)), METRIC)
    assert "DANGER" not in texts.upper()


@pytest.mark.parametrize("name", ["core-hot", "core-will-overheat", "hotter-than-predicted"])
def test_a_hot_pour_tells_people_to_keep_out_and_call_the_fire_service(name: str) -> None:
    """A smoking pour must not be approached, whatever else could be done for it."""
    steps = say(" ".join(KINDS[name].what_to_do), METRIC)
    for words in (
        "keep everybody out",
        "do not touch it and do not move it",
        "fire service",
        "safety data sheet",
    ):
        assert words in steps


def test_more_harm_or_less_time_never_lowers_the_priority() -> None:
    """The matrix rises in both directions."""
    order = [Priority.LOW, Priority.MEDIUM, Priority.HIGH]
    harms = [Harm.SMALL, Harm.COSTLY, Harm.SEVERE]
    minutes = [10_000, 60, 15, 1]
    for (less, more), time in itertools.product(itertools.pairwise(harms), minutes):
        assert order.index(priority_of(less, time)) <= order.index(priority_of(more, time))
    for (longer, shorter), harm in itertools.product(itertools.pairwise(minutes), harms):
        assert order.index(priority_of(harm, longer)) <= order.index(priority_of(harm, shorter))
    assert MATRIX[-1][0] == float("inf")


def test_an_unknown_kind_is_named_with_those_that_are_known() -> None:
    """A misspelt kind in a link or a setting is a clear message."""
    with pytest.raises(NotFound, match=r"core-hott.*core-hot,"):
        kind_named("core-hott")
    assert kind_named("core-hot") is KINDS["core-hot"]
