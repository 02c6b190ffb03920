"""Each kind of alarm is raised when it should be, and not when it should not: readings in, changes out."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from logger.alarms.band import expect
from logger.alarms.conditions.heat import core_will_overheat
from logger.alarms.inputs import (
    AlarmLimits,
    FanState,
    ForecastAnswer,
    LooksSummary,
    Quantiles,
    Remedy,
    RoomAir,
    ServiceFacts,
    StationFacts,
    WatchFacts,
    WetContact,
)
from logger.alarms.state import Transition
from logger.words.reader import METRIC
from logger.words.render import say

T0 = 1_790_000_000_000


def kinds(changes: list[Transition]) -> list[str]:
    return [f"{change.kind} {change.why}" for change in changes]


@pytest.mark.parametrize("period_s", [5.0, 30.0])
@pytest.mark.parametrize("per_hour_c", [2.0, 10.0, 60.0, 400.0])
def test_core_hot_comes_within_30_s_of_the_true_crossing(
    new_hand: Callable[..., Any], period_s: float, per_hour_c: float
) -> None:
    """At 0.1 °C noise, 1/16 °C steps, both rhythms, from a slow rise to a runaway; and only once."""
    for seed in range(10):
        rng, hand = random.Random(seed), new_hand(AlarmLimits(max_core_c=60.0))
        offset_s = rng.uniform(0, period_s)
        delay_s, raised = None, 0
        for i in range(400):
            at_s = (i - 300) * period_s + offset_s  # the crossing is at 0
            slope = per_hour_c / 3600
            true = 60 + max(slope * at_s, -30 + 0.001 * at_s) if at_s < 0 else 60 + slope * at_s
            read = round((true + rng.gauss(0, 0.1)) * 16) / 16
            for change in hand.read(after_s=period_s, core=read):
                if change.kind == "core-hot" and change.why in ("first-time", "again"):
                    delay_s, raised = at_s, raised + 1
        assert raised == 1
        assert delay_s is not None
        assert delay_s <= 30.0


def test_core_hot_is_not_raised_by_a_lone_jump(hand: Any) -> None:
    """Power-on values, a spike, whatever: one reading is no fire."""
    hand.hold(300, core=45.0)
    for jump in (85.0, 61.0, 127.0, 300.0):
        assert hand.read(core=jump) == []
        assert hand.hold(60, core=45.0) == []


def test_core_hot_says_the_numbers_and_how_fast_it_rises(hand: Any) -> None:
    """A maker reads the reason, not the code."""
    for i in range(400):
        hand.read(after_s=30, core=50 + i * 0.05)
    assert kinds(hand.changes)[0] == "core-hot first-time"
    text = say(hand.changes[0].text, METRIC)
    assert "limit of 60.0 °C" in text
    assert "rising by 6.0 °C an hour" in text


def worse_at(hand: Any, kind: str) -> list[float]:
    """At which values it was told to be worse, °C."""
    return [change.value for change in hand.changes if (change.kind, change.why) == (kind, "worse")]


def test_core_hot_is_told_to_be_worse_ten_and_thirty_degrees_over_its_limit(hand: Any) -> None:
    """Somebody who has taken it at 61 °C must hear again that it boils. Slowly, so that its rise alone is no news."""
    for step in range(150):
        hand.read(after_s=30, core=59 + step * 0.25, room=20.0)
    assert worse_at(hand, "core-hot") == [70.25, 90.25]


@pytest.mark.parametrize(("in_three_min_c", "severity"), [(2.7, 1), (3.3, 2)])
def test_core_hot_is_graver_when_it_rises_by_three_degrees_in_three_minutes(
    hand: Any, in_three_min_c: float, severity: int
) -> None:
    """A core that runs away is called as such with its first message."""
    hand.hold(300, every_s=30, core=50.0)
    for step in range(60):
        hand.read(after_s=30, core=50 + step * in_three_min_c / 6)
    (hot,) = [change for change in hand.changes if (change.kind, change.why) == ("core-hot", "first-time")]
    assert hot.severity == severity


@pytest.mark.parametrize(
    ("kind", "at_first", "mild", "grave"), [("room-hot", 30.0, 34.0, 34.1), ("room-cold", 16.0, 12.0, 11.9)]
)
def test_a_room_is_told_to_be_worse_five_degrees_beyond_its_range(
    hand: Any, kind: str, at_first: float, mild: float, grave: float
) -> None:
    """Five degrees are the edge; it takes more."""
    hand.hold(1800, every_s=30, room=at_first)
    hand.hold(1800, every_s=30, room=mild)
    assert worse_at(hand, kind) == []
    hand.hold(1800, every_s=30, room=grave)
    assert worse_at(hand, kind) == [grave]


def test_a_lost_hot_probe_is_not_cleared_by_a_cooler_one_beside_it(hand: Any) -> None:
    """core at 65 °C stops reporting, core-2 at 50 °C goes on: what is not known is not cool."""
    hand.hold(60, core=65.0, core_2=50.0)
    assert "core-hot first-time" in kinds(hand.changes)
    found = hand.hold(3600, core=None, core_2=50.0)
    assert "core-hot returned" not in kinds(found)
    assert "core-hot returned" in kinds(hand.hold(1200, core=50.0, core_2=50.0))


def test_hotter_than_predicted_leads_core_hot(new_hand: Callable[..., Any]) -> None:
    """The measured core leaves the band long before it is too hot, and the reason names all three numbers."""
    hours = [h / 4 for h in range(100)]
    hand = new_hand(AlarmLimits(), expect(hours, [20 + 1.5 * h for h in hours]))
    for i in range(1500):
        hand.read(after_s=30, core=20 + 3.5 * i / 120)
    names = kinds(hand.changes)
    assert names.index("hotter-than-predicted first-time") < names.index("core-hot first-time")
    text = say(hand.changes[0].text, METRIC)
    for words in ("The core reads", "was predicted", "would be in the band"):
        assert words in text


def test_hotter_than_predicted_is_no_news_once_it_is_too_hot(new_hand: Callable[..., Any]) -> None:
    """core-hot says it already: one trouble, one ring."""
    hours = [h / 4 for h in range(100)]
    hot = new_hand(AlarmLimits(), expect(hours, [20 + 4 * h for h in hours]))
    hot.hold(60, core=65.0)
    assert kinds(hot.hold(7200, every_s=30, core=66.0)) == []


def test_hotter_than_predicted_is_not_raised_in_the_first_half_hour(new_hand: Callable[..., Any]) -> None:
    """Mixing, pouring and a probe that settles are no cure."""
    hand = new_hand(AlarmLimits(), expect([0.0, 72.0], [20.0, 20.0]))
    hand.hold(1700, core=30.0)
    assert hand.changes == []
    assert kinds(hand.hold(900, core=30.0)) == ["hotter-than-predicted first-time"]


def test_a_cold_room_is_told_after_a_quarter_of_an_hour_and_an_open_door_never(hand: Any) -> None:
    """Ten minutes with the door open is a delivery, not a cold room."""
    hand.hold(1800, room=20.0)
    for _ in range(6):
        hand.hold(600, room=12.0)
        hand.hold(900, room=20.0)
    assert hand.changes == []
    found = hand.hold(1200, room=15.0)
    assert kinds(found) == ["room-cold first-time"]
    assert say(found[0].text, METRIC) == "The room is at 15.0 °C; this resin needs 17.0 °C or more."


def test_a_hot_room_is_told_and_returns_below_its_deadband(hand: Any) -> None:
    """28.8 °C is inside the deadband of a 29 °C limit: it hovers, and says nothing."""
    assert kinds(hand.hold(1200, room=30.0)) == ["room-hot first-time"]
    assert hand.hold(3600, room=28.8) == []
    assert kinds(hand.hold(1200, room=28.0)) == ["room-hot returned"]


def test_core_and_surface_too_far_apart(hand: Any) -> None:
    """Ten minutes at more than 20 °C apart, and worse at 40 °C."""
    found = hand.hold(900, core=52.0, surface=30.0)
    assert kinds(found) == ["spread-too-wide first-time"]
    assert "22.0 °C apart" in say(found[0].text, METRIC)
    assert hand.hold(900, core=48.0, surface=31.0) == []


def test_a_surface_warmer_than_core_and_room_is_heated_from_outside(hand: Any) -> None:
    """Heat of cure comes from inside: without a source outside, the surface lies between core and room."""
    hand.hold(2400, core=25.0, surface=24.0, room=20.0)
    assert hand.changes == []
    found = hand.hold(600, core=25.0, surface=30.0, room=20.0)
    assert kinds(found) == ["surface-heated first-time"]
    assert "5.0 °C above both core and room" in say(found[0].text, METRIC)


def test_a_surface_that_follows_its_hot_core_is_not_heated_from_outside(hand: Any) -> None:
    """A fast cure warms its own surface."""
    hand.hold(2400, core=25.0, surface=24.0, room=20.0)
    for i in range(200):
        hand.read(core=25 + i * 0.15, surface=24 + i * 0.08, room=20.0)
    assert [name for name in kinds(hand.changes) if name.startswith("surface")] == []


def test_a_lost_probe_is_told_within_100_s_and_named_by_its_place(hand: Any) -> None:
    """Two sweeps of 30 s may fail; the third tells."""
    hand.hold(600, every_s=30, core=25.0, room=20.0)
    found = []
    for _ in range(4):
        found += hand.read(after_s=30, core=None, room=20.0)
        if found:
            break
    assert kinds(found) == ["core-unwatched first-time"]
    assert (
        say(found[0].text, METRIC) == "No reading from the core for 90 s. Nobody sees how hot the core gets."
    )
    assert kinds(hand.hold(360, every_s=30, core=25.0, room=20.0)) == ["core-unwatched returned"]
    found = []
    for _ in range(4):
        found += hand.read(after_s=30, core=25.0, room=None)
    assert kinds(found) == ["probe-lost first-time"]
    assert say(found[0].text, METRIC) == "No reading from the room for 90 s."
    assert kinds(hand.hold(120, every_s=30, core=25.0, room=20.0)) == ["probe-lost returned"]


def test_a_probe_that_is_not_even_reported_is_lost_too(hand: Any) -> None:
    """The station sends the others and says nothing of this one."""
    hand.hold(600, core=25.0, room=20.0)
    assert kinds(hand.hold(100, room=20.0)) == ["core-unwatched first-time"]
    hand.hold(600, core=25.0, room=20.0)
    assert kinds(hand.hold(100, core=25.0)) == ["probe-lost first-time"]


def test_all_probes_failing_at_once_are_one_alarm(hand: Any) -> None:
    """A cut wire is one trouble, whichever probe was read last."""
    six = {"core": 25.0, "core_2": 25.0, "surface": 24.0, "underside": 23.0, "room": 20.0, "room_2": 20.0}
    hand.hold(600, **six)
    found = hand.hold(1800, **dict.fromkeys(six))
    assert kinds(found) == ["core-unwatched first-time"]
    assert "None of the 6 probes" in say(found[0].text, METRIC)


def test_probes_that_go_within_some_seconds_of_each_other_are_one_message(hand: Any) -> None:
    """Read one after another, they do not fail in the same instant."""
    hand.hold(600, core=25.0, surface=24.0, room=20.0)
    hand.hold(15, core=None, surface=24.0, room=20.0)
    hand.hold(15, core=None, surface=None, room=20.0)
    found = hand.hold(600, core=None, surface=None, room=20.0)
    assert kinds(found) == ["core-unwatched first-time"]
    assert "the core and the surface" in say(found[0].text, METRIC)


def test_one_more_lost_probe_is_told_as_worse_and_the_core_by_itself(hand: Any) -> None:
    """The room was lost and acknowledged; then a surface goes, and then the core."""
    hand.hold(300, core=25.0, surface=24.0, room=20.0)
    hand.hold(300, core=25.0, surface=24.0, room=None)
    hand.book.acknowledge("probe-lost/station:bench-1", "Jo", hand.now_ms)
    assert kinds(hand.hold(300, core=25.0, surface=None, room=None)) == ["probe-lost worse"]
    assert kinds(hand.hold(300, core=None, surface=None, room=None)) == ["core-unwatched first-time"]


def test_single_drop_outs_are_not_told(hand: Any) -> None:
    """Two failed sweeps in a row, every few minutes, are noise on the wire."""
    for _ in range(20):
        hand.hold(270, every_s=30, core=25.0, room=20.0)
        hand.hold(60, every_s=30, core=None, room=20.0)
    assert hand.changes == []


def test_a_silent_station_is_told_within_a_minute_as_one_alarm(hand: Any) -> None:
    """Its six probes are not lost: nobody knows."""
    six = {"core": 25.0, "core_2": 25.0, "surface": 24.0, "underside": 23.0, "room": 20.0, "room_2": 20.0}
    heard = WatchFacts(stations=(StationFacts("bench-1", T0, True, False, 5000.0),))
    hand.hold(600, facts=heard, **six)
    assert hand.wait(48, heard) == []
    found = hand.wait(12, heard)
    assert kinds(found) == ["station-silent first-time"]
    assert hand.wait(7200, heard) == []
    found = hand.hold(120, facts=heard, **six)
    assert kinds(found) == ["station-silent returned"]


def test_a_station_that_answers_without_readings_is_told_too(hand: Any) -> None:
    """Its network lives and its reading does not."""
    hand.hold(600, core=25.0)
    found = []
    for _ in range(100):
        hand.seconds += 2
        found += hand.book.take([], WatchFacts(stations=(StationFacts("bench-1", hand.now_ms),)), hand.now_ms)
    assert kinds(found) == ["station-silent first-time"]
    assert "No reading has come from" in say(found[0].text, METRIC)


def test_readings_caught_up_after_an_outage_raise_late_and_not_lost_probes(hand: Any) -> None:
    """An excursion during the outage is told when it is known, marked as late."""
    hand.hold(300, core=45.0, room=20.0)
    hand.seconds += 7200
    found = []
    for late_s in range(7100, 100, -30):
        core = 70.0 - abs(3600 - late_s) / 200
        hand.seconds += 0.01
        found += hand.read(after_s=0.0, late_s=late_s, core=core, room=20.0)
    hot = [change for change in found if change.kind == "core-hot"]
    assert [str(change.why) for change in hot if change.why != "worse"] == ["first-time", "returned"]
    assert hot[0].late
    assert hot[0].at_ms - hot[0].measured_ms > 3_000_000
    assert not [change for change in found if change.kind in ("probe-lost", "core-unwatched")]


def test_a_drop_out_in_the_first_sweep_after_an_outage_is_no_lost_probe(hand: Any) -> None:
    """The minutes in which the station was away are not the probe's."""
    hand.hold(300, core=25.0, room=20.0)
    hand.seconds += 600
    assert hand.read(core=25.0, room=None) == []
    assert kinds(hand.hold(100, core=25.0, room=None)) == ["probe-lost first-time"]
    hand.seconds += 600
    assert hand.read(core=None, room=20.0) == []
    assert kinds(hand.hold(100, core=None, room=20.0)) == ["core-unwatched first-time"]


def test_a_jumping_a_stuck_and_a_slipped_probe_are_doubted(new_hand: Callable[..., Any]) -> None:
    """Each with the words that say why."""
    jumping = new_hand(AlarmLimits())
    for i in range(60):
        jumping.read(core=25.0 + (9.0 if i > 20 and i % 6 == 0 else 0.0))
    assert "jumps" in say(jumping.changes[0].text, METRIC)
    stuck = new_hand(AlarmLimits())
    for i in range(800):
        stuck.read(core=25.0 + i * 0.02, surface=24.0, underside=24.0 + i * 0.01)
    assert [c.text for c in stuck.changes if "the surface has read 24.00 °C" in say(c.text, METRIC)]
    slipped = new_hand(AlarmLimits())
    slipped.hold(600, core=21.0, surface=33.0, underside=34.0)
    assert "slipped" in say(slipped.changes[0].text, METRIC)
    assert {c.kind for c in (*jumping.changes, *stuck.changes)} == {"probe-doubtful"}
    assert {c.kind for c in slipped.changes} == {"core-unwatched"}, "nobody sees the core"


def forecast(at_s: float, chance: float, **more: Any) -> WatchFacts:
    answer = ForecastAnswer(T0 + round(at_s * 1000), chance, Quantiles(61.0, 68.0, 80.0), **more)
    return WatchFacts(forecast=answer, fan=FanState(commanded=True))


def test_the_core_will_overheat_takes_two_forecasts_of_three_and_says_why(hand: Any) -> None:
    """One forecast never raises it; asked twice about the same forecast, it counts once."""
    cause = ("the resin cures 30 % faster than its datasheet",)
    first = forecast(300, 0.95, crossing_h=Quantiles(2.0, 2.5, 3.0), causes=cause)
    assert hand.wait(60, first) == []
    assert hand.wait(60, forecast(600, 0.2)) == []
    hand.seconds = 900
    helps = (Remedy("fans", "fans now: 68 → 54 °C"),)
    found = hand.wait(
        60, forecast(900, 0.95, crossing_h=Quantiles(2.0, 2.5, 3.0), causes=cause, would_help=helps)
    )
    assert kinds(found) == ["core-will-overheat first-time"]
    for words in (
        "chance 95\u00a0%",
        "peak about 68 °C (61 °C to 80 °C)",
        "in about 2 h 15 min",
        "30 % faster",
        "What would help: fans now: 68 °C → 54 °C",
    ):
        assert words in say(found[0].text, METRIC)


def test_the_core_will_overheat_returns_by_forecasts_an_hour_apart(hand: Any) -> None:
    """An old pour is forecast that seldom, and one forecast stands until the next."""
    for hour, chance in ((9, 0.95), (10, 0.96), (11, 0.05)):
        hand.seconds = hour * 3600
        hand.wait(60, forecast(hour * 3600, chance, crossing_h=Quantiles(12.0, 12.5, 13.0)))
    hand.seconds = 12 * 3600
    assert kinds(hand.wait(60, forecast(12 * 3600, 0.04))) == ["core-will-overheat returned"]


def test_the_core_will_overheat_is_no_news_once_it_is_too_hot(hand: Any) -> None:
    """core-hot says it already."""
    hand.hold(60, core=65.0)
    found = (
        hand.wait(10, forecast(60, 1.0)) + hand.wait(10, forecast(70, 1.0)) + hand.wait(10, forecast(80, 1.0))
    )
    assert found == []


def test_a_cure_that_is_behind_its_plan(new_hand: Callable[..., Any]) -> None:
    """Hard five hours later than planned, in two forecasts of three."""
    hand = new_hand(AlarmLimits(planned_release_h=48.0))
    for i in range(3):
        hand.wait(10, forecast(i * 300, 0.0, release_h=Quantiles(50.0, 53.0, 60.0)))
    assert kinds(hand.changes) == ["cure-behind first-time"]
    assert "53 h after pouring; 48 h was planned: 5 h later" in say(hand.changes[0].text, METRIC)


@pytest.mark.parametrize(("within_h", "called"), [(72.0, True), (49.0, False), (None, False)])
def test_a_cure_that_does_not_end_within_what_was_looked_at_is_behind_its_plan(
    new_hand: Callable[..., Any], within_h: float | None, called: bool
) -> None:
    """Not hard within 72 h where 48 h was planned: the worst delay of all; within 49 h it is not known yet."""
    hand = new_hand(AlarmLimits(planned_release_h=48.0))
    for i in range(3):
        hand.wait(10, forecast(i * 300, 0.0, release_h=Quantiles(70.0, None, None, within_h)))
    assert kinds(hand.changes) == ["cure-behind first-time"] * called
    if called:
        assert "may not be hard within 72 h after pouring; 48 h was planned" in say(
            hand.changes[0].text, METRIC
        )


def test_a_fan_that_brings_nothing_or_does_not_turn(new_hand: Callable[..., Any]) -> None:
    """By the forecast's estimate, or by its contact; a fan that is not meant to run is no trouble."""
    by_forecast = new_hand(AlarmLimits())
    for i in range(3):
        by_forecast.wait(300, forecast(i * 300, 0.0, fan_cooling=0.05))
    assert kinds(by_forecast.changes) == ["fan-not-cooling first-time"]
    by_contact = new_hand(AlarmLimits())
    assert by_contact.wait(20, WatchFacts(fan=FanState(commanded=True, turning=False))) == []
    by_contact.wait(60, WatchFacts(fan=FanState(commanded=True, turning=False)))
    assert "does not turn" in say(by_contact.changes[0].text, METRIC)
    off = new_hand(AlarmLimits())
    assert off.wait(600, WatchFacts(fan=FanState(commanded=False, turning=False))) == []


@pytest.mark.parametrize("exchanged", [("core", "surface"), ("core", "underside"), ("core", "room")])
def test_a_core_probe_that_changed_places_is_told_before_the_core_is_hot(
    hand: Any, exchanged: tuple[str, str]
) -> None:
    """The heat of the cure comes from inside: a core that is cooler than something around it is not the core's."""
    one, other = exchanged
    where = {"core": "core", "surface": "surface", "underside": "underside", "room": "room"}
    where[one], where[other] = other, one
    for step in range(480):  # four hours; invented
        core = 21.0 + 34.0 * step / 480
        there = {
            "core": core,
            "surface": 21 + 0.6 * (core - 21),
            "underside": 21 + 0.7 * (core - 21),
            "room": 20.0,
        }
        hand.read(after_s=30, **{place: there[source] for place, source in where.items()})
        if hand.changes:
            break
    assert hand.changes[0].kind in ("core-unwatched", "probe-doubtful", "surface-heated", "room-hot")
    assert core < 45


def test_wood_that_was_warmed_before_the_pour_is_no_exchanged_probe(hand: Any) -> None:
    """The form is warm and the resin is not: nothing has been generated yet."""
    for step in range(240):
        warm = 9.0 * 0.98**step
        hand.read(after_s=30, core=22 + warm / 9, surface=22.0, underside=22 + warm, room=21.0)
    assert hand.changes == []


def test_a_wet_contact_is_told_at_once_and_a_broken_one_clears_nothing(hand: Any) -> None:
    """The pour drains while one waits for a second opinion."""
    wet = WatchFacts(contacts=(WetContact("left corner", True, T0),))
    found = hand.wait(2, wet)
    assert kinds(found) == ["wet-under-form first-time"]
    assert "left corner" in say(found[0].text, METRIC)
    assert hand.wait(600, WatchFacts(contacts=(WetContact("left corner", None, T0),))) == []
    assert kinds(hand.wait(120, WatchFacts(contacts=(WetContact("left corner", False, T0),)))) == [
        "wet-under-form returned"
    ]


def test_a_wet_contact_stays_wet_until_it_says_otherwise_whatever_a_look_said_before(hand: Any) -> None:
    """It reports when it changes: no news from it is not dry, and somebody's dry look was five minutes ago."""
    dry_look = LooksSummary(None, False, "", "Jo")
    hand.wait(2, WatchFacts(contacts=(WetContact("left corner", True, T0),), looks=dry_look))
    assert kinds(hand.wait(600, WatchFacts(looks=dry_look))) == []
    assert hand.book.state("wet-under-form").up
    dry = WatchFacts(contacts=(WetContact("left corner", False, T0),), looks=dry_look)
    assert kinds(hand.wait(120, dry)) == ["wet-under-form returned"]


def test_a_look_that_found_a_leak_is_told_like_a_wet_contact(hand: Any) -> None:
    """A person's eye is the better contact."""
    found = hand.wait(2, WatchFacts(looks=LooksSummary(None, True, "drips at the seam", "Jo")))
    assert say(found[0].text, METRIC) == "Jo found it leaking (drips at the seam)."


def test_a_missed_look_is_due_after_two_minutes_and_over_with_the_look(hand: Any) -> None:
    """And worse after twenty."""
    assert hand.wait(100, WatchFacts(looks=LooksSummary(T0))) == []
    assert kinds(hand.wait(40, WatchFacts(looks=LooksSummary(T0)))) == ["look-due first-time"]
    assert kinds(hand.wait(1200, WatchFacts(looks=LooksSummary(T0)))) == ["look-due worse"]
    assert kinds(hand.wait(2, WatchFacts(looks=LooksSummary(None)))) == ["look-due returned"]


@pytest.mark.parametrize(("room", "humid"), [(75.0, 40.0), (-50.0, 40.0), (21.0, 0.05)])
def test_a_room_without_a_dew_point_keeps_no_core_from_being_judged(
    hand: Any, room: float, humid: float
) -> None:
    """The Magnus formula ends at 60 °C: a room sensor beside a fire must not silence the alarm of the core."""
    for _ in range(4):
        hand.read(
            core=70.0, surface=40.0, room=room, facts=WatchFacts(air=RoomAir(humid, hand.now_ms + 5000))
        )
    assert "core-hot first-time" in kinds(hand.changes)


def test_damp_air_and_a_surface_near_the_dew_point(new_hand: Callable[..., Any]) -> None:
    """At 20 °C and 65 % the dew point is 13.2 °C (Magnus; shared check value): a slab at 15 °C is 1.8 °C above it."""
    damp, cold, dry = new_hand(AlarmLimits()), new_hand(AlarmLimits()), new_hand(AlarmLimits())
    for hand, humidity, slab in ((damp, 82.0, None), (cold, 65.0, 15.0), (dry, 60.0, None)):
        for _ in range(30):
            hand.read(after_s=60, room=20.0)
            hand.read(after_s=0, room=20.0, facts=WatchFacts(air=RoomAir(humidity, hand.now_ms, slab)))
    assert "82 % humidity" in say(damp.changes[0].text, METRIC)
    assert "only 1.8 °C above the dew point" in say(cold.changes[0].text, METRIC)
    assert dry.changes == []


def test_the_watch_tells_of_its_own_clock_supply_disk_and_messages(hand: Any) -> None:
    """Each once, with what is wrong."""
    for _ in range(400):
        hand.seconds += 2
        facts = WatchFacts(
            stations=(StationFacts("bench-1", hand.now_ms, False, True, 120.0),),
            service=ServiceFacts(80.0, oldest_unsent_ms=T0),
        )
        hand.changes += hand.book.take([], facts, hand.now_ms)
    raised = sorted(f"{c.kind}/{c.subject}" for c in hand.changes if c.why == "first-time")
    assert raised == [
        "clock-unset/station:bench-1",
        "disk-low/service",
        "disk-low/station:bench-1",
        "message-undelivered/service",
        "power-low/station:bench-1",
        "station-silent/station:bench-1",
    ]


def test_a_disk_that_fills_all_at_once_is_told_within_ten_seconds(hand: Any) -> None:
    """The reserve carries the watch on for hours, and somebody must make room in them."""
    for free_mb in [9000.0] * 30 + [0.0] * 5:
        hand.seconds += 2
        hand.changes += hand.book.take([], WatchFacts(service=ServiceFacts(free_mb)), hand.now_ms)
    assert [(c.kind, c.why) for c in hand.changes] == [("disk-low", "first-time")]


def test_an_overheating_that_is_past_is_no_forecast() -> None:
    """A day after the peak nobody is told that the core will overheat."""
    past = ForecastAnswer(
        made_at_ms=36 * 3_600_000, chance_over_limit=1.0, core_peak_c=Quantiles(115.0, 116.0, 117.0),
        peak_at_h=Quantiles(11.8, 12.0, 12.1), crossing_h=Quantiles(10.0, 10.1, 10.2),
    )  # fmt: skip
    seen = core_will_overheat(past, AlarmLimits(), 0)
    assert seen.active is False
    assert "past" in say(seen.reason, METRIC)


def test_a_chance_that_hovers_neither_calls_nor_clears() -> None:
    """Long before the crossing 60 % is not enough to call, and too much to let go."""
    hovering = ForecastAnswer(
        made_at_ms=2 * 3_600_000, chance_over_limit=0.6, core_peak_c=Quantiles(40.0, 62.0, 90.0),
        peak_at_h=Quantiles(15.0, 18.0, 20.0), crossing_h=Quantiles(14.0, 16.0, 18.0),
    )  # fmt: skip
    assert core_will_overheat(hovering, AlarmLimits(), 0).active is None
    assert core_will_overheat(replace(hovering, chance_over_limit=0.95), AlarmLimits(), 0).active is True
    assert core_will_overheat(replace(hovering, chance_over_limit=0.1), AlarmLimits(), 0).active is False
    near = replace(hovering, made_at_ms=14 * 3_600_000)
    assert core_will_overheat(near, AlarmLimits(), 0).active is True
