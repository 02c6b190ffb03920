"""Does anybody see the core? Of high rank while it can still get hotter, and told at once, also at night."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from logger.alarms.band import expect
from logger.alarms.book import AlarmBook
from logger.alarms.conditions.core import LEAST_HEAT_H, may_heat
from logger.alarms.inputs import AlarmLimits, ForecastAnswer, LiveReading, Quantiles, WatchFacts
from logger.alarms.notify_policy import LocalTime, Notified, Rules, decide
from logger.alarms.registry import KINDS
from logger.words.reader import METRIC
from logger.words.render import say

#: Invented: a core that gets from 21 to 55 °C in twelve hours.
RISING = expect([0.0, 12.0, 30.0], [21.0, 55.0, 25.0])


def answer(made_at_h: float, peak_at_h: float, started_ms: int) -> ForecastAnswer:
    """A forecast with that peak."""
    band = Quantiles(peak_at_h - 0.2, peak_at_h, peak_at_h + 0.2)
    return ForecastAnswer(
        started_ms + round(made_at_h * 3_600_000), 0.1, Quantiles(50.0, 55.0, 58.0), peak_at_h=band
    )


def raised(hand: Any, kind: str = "core-unwatched") -> list[str]:
    """What was said when it was raised."""
    return [
        say(change.text, METRIC)
        for change in hand.changes
        if change.kind == kind and change.why == "first-time"
    ]


def test_it_is_of_high_rank_and_no_quiet_hour_holds_it(hand: Any) -> None:
    """At three at night the phone rings at once; a doubt of a probe that is not needed may wait until the morning."""
    hand.hold(600, core=25.0, surface=24.0, room=20.0)
    hand.hold(120, core=None, surface=24.0, room=20.0)
    night = Rules(first=1, quiet_from_min=22 * 60, quiet_until_min=7 * 60)
    kind, state = hand.book.look_up("core-unwatched/pour")
    assert kind.priority == "high"
    assert decide(kind, state, Notified(), night, LocalTime(hand.now_ms, 3 * 60)).messages
    assert KINDS["probe-doubtful"].priority == "low"


def test_a_core_that_sticks_while_both_faces_warm_is_called_within_twenty_minutes(
    new_hand: Callable[..., Any],
) -> None:
    """True 70 °C over a core that says 30: the cure's heat shows in both faces, and not in the core."""
    hand = new_hand(AlarmLimits())
    hand.hold(1200, every_s=10, core=30.0, surface=29.0, underside=29.5, room=20.0)
    hand.changes.clear()
    began_s = hand.seconds
    for step in range(120):
        hand.read(after_s=10, core=30.0, surface=29 + step * 0.025, underside=29.5 + step * 0.03, room=20.0)
        if hand.changes:
            break
    (text,) = raised(hand)
    assert text.startswith("The probe at the core has read 30.00 °C for ")
    assert text.endswith("Nobody sees how hot the core gets.")
    assert hand.seconds - began_s <= 20 * 60


def test_a_warm_morning_is_no_stuck_core(new_hand: Callable[..., Any]) -> None:
    """The heating comes on: both faces follow the room, and a thick core takes its time."""
    hand = new_hand(AlarmLimits())
    hand.hold(600, every_s=10, core=18.0, surface=18.0, underside=18.0, room=18.0)
    for step in range(180):
        face = 18 + step * 0.02
        hand.read(after_s=10, core=18.0, surface=face, underside=face, room=18 + step * 0.03)
    assert raised(hand) == []


def test_a_cold_pour_in_a_warm_room_is_no_slipped_core(new_hand: Callable[..., Any]) -> None:
    """Both faces are warmer than the core, and no warmer than the room: doubted, and not cried out."""
    hand = new_hand(AlarmLimits(max_room_c=35.0))
    hand.hold(900, every_s=10, core=15.0, surface=25.0, underside=24.0, room=26.0)
    assert raised(hand) == []
    assert raised(hand, "probe-doubtful")


def test_a_core_that_slipped_out_is_called_by_its_faces_or_by_its_plan(new_hand: Callable[..., Any]) -> None:
    """With both faces it is plain; with one alone the sun might be it, but not when the core should be hot by now."""
    both = new_hand(AlarmLimits())
    both.hold(60, every_s=10, core=21.0, surface=33.0, underside=34.0, room=20.0)
    assert "slipped out of its place" in raised(both)[0]
    one = new_hand(AlarmLimits(), RISING)
    one.hold(3600, every_s=30, core=21.0, surface=27.0, room=20.5)
    assert raised(one) == [], "an hour after pouring the sun may have warmed the surface"
    one.seconds = 8 * 3600.0
    one.hold(120, every_s=30, core=21.0, surface=27.0, room=20.5)
    (text,) = raised(one)
    assert text.startswith(
        "The core reads 21.0 °C, like the room, and the surface 27.0 °C: its probe has slipped out"
    )


def test_one_doubtful_sweep_alone_calls_nobody(hand: Any) -> None:
    """The faces are warmer by 5 °C and a little for five seconds: noise does that."""
    hand.hold(60, core=25.0, surface=29.9, underside=29.9, room=20.0)
    hand.read(core=25.0, surface=30.2, underside=30.2, room=20.0)
    hand.hold(60, core=25.0, surface=29.9, underside=29.9, room=20.0)
    assert raised(hand) == []


def test_a_cool_pour_in_the_sun_is_no_probe_in_the_air(new_hand: Callable[..., Any]) -> None:
    """Its core is behind the plan, and warmer than the room: it is in the resin."""
    hand = new_hand(AlarmLimits(), RISING)
    hand.seconds = 8 * 3600.0
    hand.hold(600, every_s=30, core=25.0, surface=31.0, room=20.5)
    assert raised(hand) == []


def test_a_room_that_is_not_read_any_more_says_nothing_of_the_core(new_hand: Callable[..., Any]) -> None:
    """Its probe lay in the sun at 45 °C seven hours ago, when its plug came off."""
    hand = new_hand(AlarmLimits(), RISING)
    hand.hold(3600, every_s=30, core=22.0, room=45.0)
    hand.hold(7 * 3600, every_s=30, core=22.0)
    assert raised(hand) == []


def test_a_core_that_nobody_sees_is_not_believed_when_the_watch_is_to_end(hand: Any) -> None:
    """Nobody releases a pour on the word of a probe that slipped out."""
    hand.hold(60, every_s=10, core=21.0, surface=33.0, underside=34.0, room=20.0)
    assert hand.book.doubted == {"28-core"}


@pytest.mark.parametrize("place", ["room", "underside"])
def test_what_is_over_the_cores_limit_elsewhere_is_called_at_once(hand: Any, place: str) -> None:
    """No room is that hot, and no underside alone: the probes have changed places."""
    others = {"room": 21.0, "underside": 30.0} | {place: 61.0}
    hand.hold(15, core=22.0, **others)
    (text,) = raised(hand)
    assert (
        f"The probe at the {place} reads 61.0 °C, over the core's limit, and the core's only 22.0 °C" in text
    )


def test_a_core_that_cools_after_its_peak_may_leave_a_hotter_underside(hand: Any) -> None:
    """On a bench the underside lags behind. The figures are invented, after a simulated pour that ran away early."""
    for step in range(180):
        hand.read(after_s=60, core=max(45.0, 90 - step * 0.5), underside=85 - step * 0.3, room=20.0)
    assert raised(hand) == []


def test_core_and_room_that_changed_places_are_called_long_before_the_limit(
    new_hand: Callable[..., Any],
) -> None:
    """The room's probe follows the plan's curve, and the core's reads the room: told at 36 °C, not at 60."""
    hand = new_hand(AlarmLimits(), RISING)
    hottest = 0.0
    while hand.seconds < 12 * 3600 and not raised(hand):
        hours = hand.seconds / 3600
        hottest = RISING.core_c(hours)
        hand.read(after_s=30, core=20.0, room=hottest)
    assert "changed places" in raised(hand)[0]
    assert hottest < 36


def test_a_room_probe_in_the_sun_is_no_core_before_the_core_should_be_warm(
    new_hand: Callable[..., Any],
) -> None:
    """It says room-hot, which is right."""
    hand = new_hand(AlarmLimits(), RISING)
    hand.hold(3600, every_s=30, core=22.0, surface=21.5, room=45.0)
    assert raised(hand) == []
    assert raised(hand, "room-hot")


def test_a_second_core_that_is_right_keeps_it_an_ordinary_doubt(hand: Any) -> None:
    """One of two slipped out; then the other's plug comes off."""
    hand.hold(120, every_s=10, core=21.0, core_2=35.0, surface=30.0, underside=30.0, room=20.0)
    assert raised(hand) == []
    assert raised(hand, "probe-doubtful")
    hand.hold(120, every_s=10, core=21.0, core_2=None, surface=30.0, underside=30.0, room=20.0)
    (text,) = raised(hand)
    assert "slipped" in text
    assert "No reading from core 2" in text


def test_what_it_does_not_name_is_still_told_as_lost(hand: Any) -> None:
    """The core slipped out, and then the room's plug comes off: that is news."""
    hand.hold(120, every_s=10, core=21.0, surface=33.0, underside=34.0, room=20.0)
    hand.hold(120, every_s=10, core=21.0, surface=33.0, underside=34.0, room=None)
    assert "slipped" in raised(hand)[0]
    assert raised(hand, "probe-lost") == ["No reading from the room for 90 s."]
    assert raised(hand, "probe-doubtful") == []


def test_a_core_lost_at_one_station_leaves_the_others_losses_to_be_told(hand: Any) -> None:
    """Core at bench-1, room at bench-2: neither hides the other, and one loss is one alarm."""
    for step in range(60):
        hand.seconds += 5
        gone = step > 20
        hand.changes += hand.book.take(
            [
                LiveReading("core", "core", hand.now_ms, None if gone else 25.0, station="bench-1"),
                LiveReading("surface", "surface", hand.now_ms, 24.0, station="bench-1"),
                LiveReading("room", "room", hand.now_ms, None if gone else 20.0, station="bench-2"),
                LiveReading("underside", "underside", hand.now_ms, 23.0, station="bench-2"),
            ],
            WatchFacts(),
            hand.now_ms,
        )
    assert raised(hand) == ["No reading from the core for 90 s. Nobody sees how hot the core gets."]
    assert raised(hand, "probe-lost") == ["No reading from the room for 90 s."]


def test_a_probe_that_jumps_is_still_seen_between_its_jumps(hand: Any) -> None:
    """A loose plug is told, and wakes nobody."""
    for step in range(120):
        hand.read(core=25.0 + (9.0 if step > 20 and step % 6 == 0 else 0.0), room=20.0)
    assert raised(hand) == []
    assert raised(hand, "probe-doubtful")


def test_once_the_peak_is_past_it_is_of_the_rank_it_had(new_hand: Callable[..., Any]) -> None:
    """The loss is told as a lost probe, the doubt as a doubt; what was up before ends, and says why."""
    hand = new_hand(AlarmLimits(), RISING)
    hand.seconds = 13 * 3600.0
    past = WatchFacts(forecast=answer(13.0, 11.0, hand.now_ms - 13 * 3_600_000))
    hand.hold(600, every_s=30, facts=past, core=50.0, surface=45.0, room=20.0)
    hand.hold(120, every_s=30, facts=past, core=None, surface=45.0, room=20.0)
    assert raised(hand) == []
    assert raised(hand, "probe-lost") == ["No reading from the core for 90 s."]

    before = new_hand(AlarmLimits(), RISING)
    before.seconds = 10 * 3600.0
    before.hold(600, every_s=30, core=50.0, surface=45.0, room=20.0)
    before.hold(300, every_s=30, core=None, surface=45.0, room=20.0)
    assert raised(before)
    before.hold(900, every_s=30, facts=past, core=None, surface=45.0, room=20.0)
    assert before.book.state("core-unwatched").up, "by the plan its peak is still to come"
    before.seconds = 12.2 * 3600
    before.hold(600, every_s=30, facts=past, core=None, surface=45.0, room=20.0)
    (over,) = [
        change for change in before.changes if (change.kind, change.why) == ("core-unwatched", "returned")
    ]
    assert "its peak is past" in say(over.text, METRIC)
    assert raised(before, "probe-lost")


def test_the_peak_is_past_by_the_forecast_and_by_the_plan() -> None:
    """Without a forecast the plan's hour is waited for a quarter longer; without a plan, until it is over."""
    assert may_heat(11.9, RISING, answer(11.0, 9.0, 0)), "a forecast from a wrong core may be too early"
    assert not may_heat(12.1, RISING, answer(11.0, 9.0, 0))
    assert may_heat(20.0, RISING, answer(11.0, 25.0, 0)), "slower than planned"
    assert may_heat(14.9, RISING, None)
    assert not may_heat(15.1, RISING, None)
    assert may_heat(999.0, None, None)
    cool = expect([0.0, 100.0], [21.0, 20.0])
    assert may_heat(LEAST_HEAT_H - 0.1, cool, None), "a plan that foretells no heat at all may be wrong"
    assert RISING.peak_h == pytest.approx(12.0, abs=0.1)


def test_a_book_that_is_read_back_at_every_step_says_the_same(new_hand: Callable[..., Any]) -> None:
    """What the doubts rest on is all in it: lost, back, stuck, slipped, and back again."""

    def course(kept: bool) -> list[Any]:
        hand = new_hand(AlarmLimits(), RISING)
        for step in range(900):
            core: float | None = 25.0 + 3 * math.sin(step / 40)
            if 100 <= step < 130:
                core = None
            elif 300 <= step < 420:
                core = 25.0
            elif 600 <= step < 700:
                core = 20.0
            hand.read(after_s=10, core=core, surface=28 + step * 0.01, underside=28 + step * 0.012, room=20.0)
            if kept:
                hand.book = AlarmBook.from_dict(hand.setup, hand.book.to_dict())
        return [(change.kind, change.why, change.at_ms, change.text) for change in hand.changes]

    found = course(kept=False)
    assert [kind for kind, why, *_ in found if why in ("first-time", "again")].count("core-unwatched") >= 2
    assert course(kept=True) == found
