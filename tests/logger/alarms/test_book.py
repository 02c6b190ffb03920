"""The watch over one pour as a whole: restarts, replaced probes, people's acts, speed."""

from __future__ import annotations

import json
import time
from types import ModuleType
from typing import Any

import pytest

from logger.alarms.book import AlarmBook, Setup
from logger.alarms.inputs import LiveReading, ServiceFacts, WatchFacts
from logger.alarms.state import Phase
from logger.errors import NotFound

T0 = 1_790_000_000_000


def test_a_restart_at_every_step_changes_nothing(drills: ModuleType) -> None:
    """Two books side by side, one written out and read back at every step: same changes, same book."""
    assert drills.walk_book(2_000, 11) > 100


def test_a_book_knows_its_alarms_by_key_and_lets_people_act_on_them(hand: Any) -> None:
    """What the alert page needs."""
    hand.hold(30, core=65.0)
    (entry,) = hand.book.entries()
    assert (entry.key, entry.kind.name, entry.subject) == ("core-hot/pour", "core-hot", "pour")
    (change,) = hand.book.acknowledge("core-hot/pour", "Jo", hand.now_ms, activation=1)
    assert change.by == "Jo"
    assert hand.book.state("core-hot").phase is Phase.ACKNOWLEDGED
    hand.book.shelve("core-hot/pour", "Jo", hand.now_ms, 0.5)
    assert all(change.quiet for change in hand.hold(60, core=65.0))
    hand.book.unshelve("core-hot/pour", "Jo", hand.now_ms)
    hand.book.take_out_of_service("room-cold/pour", "Jo", "heater tests", hand.now_ms)
    assert {entry.key for entry in hand.book.entries()} == {"core-hot/pour", "room-cold/pour"}
    hand.book.return_to_service("room-cold/pour", "Jo", hand.now_ms)


@pytest.mark.parametrize("key", ["core-hot", "core-hott/pour", "core-hot/", ""])
def test_an_unknown_alarm_is_a_clear_message(hand: Any, key: str) -> None:
    """A key from a link that was cut off."""
    with pytest.raises(NotFound, match="no alarm is named"):
        hand.book.acknowledge(key, "Jo", T0)


def test_a_new_probe_in_the_place_of_a_lost_one_ends_the_loss(hand: Any) -> None:
    """Replaced by another, with another number: the old one is not mourned for ever."""
    hand.hold(300, core=25.0, room=20.0)
    hand.hold(300, core=None, room=20.0)
    assert hand.book.state("core-unwatched").up
    for _ in range(70):
        hand.seconds += 5
        hand.book.take(
            [
                LiveReading("core", "28-new", hand.now_ms, 25.0, station="bench-1"),
                LiveReading("room", "28-room", hand.now_ms, 20.0, station="bench-1"),
            ],
            WatchFacts(),
            hand.now_ms,
        )
    assert not hand.book.state("core-unwatched").up
    assert not hand.book.state("probe-lost", "station:bench-1").up


def test_a_book_without_limits_judges_no_pour(hand: Any) -> None:
    """The service's own book: no pour, but disk and messages."""
    book = AlarmBook(Setup(T0, None))
    for i in range(100):
        now = T0 + i * 5_000
        book.take([LiveReading("core", "a", now, 99.0)], WatchFacts(service=ServiceFacts(10.0)), now)
    assert [entry.key for entry in book.entries()] == ["disk-low/service"]


def test_a_book_of_another_version_is_refused(hand: Any) -> None:
    """Rather no watch than a wrong one: the caller says so and starts a new book."""
    written = hand.book.to_dict() | {"version": 2}
    with pytest.raises(ValueError, match="version 2"):
        AlarmBook.from_dict(hand.setup, written)


def test_time_that_stands_still_or_goes_back_a_little_is_borne(hand: Any) -> None:
    """Nothing is raised early, nothing lost."""
    hand.hold(300, core=45.0)
    for _ in range(100):
        hand.seconds -= 0.5
        hand.read(after_s=0, core=45.0)
    assert hand.changes == []
    assert hand.book.now_ms >= T0 + 300_000


def test_what_is_written_is_small_plain_json(hand: Any) -> None:
    """It is written with every judgement: the curve and the limits stay in the plan."""
    hand.hold(7200, core=65.0, surface=30.0, underside=30.0, room=14.0)
    assert len(json.dumps(hand.book.to_dict())) < 8_000


def test_a_three_day_pour_replays_in_seconds(hand: Any) -> None:
    """Ten thousand sweeps of four probes. Not timed to the second: only that nothing grows with the length."""
    places = {"core": 30.0, "surface": 28.0, "underside": 27.0, "room": 20.0}
    began = time.process_time()
    hand.hold(1000 * 30, every_s=30, **places)
    first = time.process_time() - began
    hand.hold(4000 * 30, every_s=30, **places)
    began = time.process_time()
    hand.hold(1000 * 30, every_s=30, **places)
    assert time.process_time() - began < 5 * first + 0.5
