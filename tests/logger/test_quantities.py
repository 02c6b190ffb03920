"""Quantities in sentences: every alarm's and every forecast's words in customary units, with nothing metric left."""

from __future__ import annotations

import re
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.alarms import fan_rule
from logger.alarms.band import Expected
from logger.alarms.conditions import equipment, heat, surroundings
from logger.alarms.first_hour import LevelMark, level_fell, volume_differs
from logger.alarms.inputs import AlarmLimits, ForecastAnswer, Quantiles, Remedy, RoomAir
from logger.alarms.notify_policy import NotifyReason
from logger.alarms.registry import KINDS
from logger.alarms.signal import ProbeSignal
from logger.alarms.state import NORMAL, AlarmState, Observation, Phase, step
from logger.cure.forecast import what_if
from logger.delivery.wording import OPENINGS, About
from logger.facts import cut
from logger.quantities import difference, length, quantity, rate, temperature, volume
from logger.words.old_text import marked
from logger.words.reader import METRIC, Reader, units_from
from logger.words.render import say
from tests.messages_as_sent import words

AMERICAN = Reader("f", "in", "gal", "lb")
#: A number with a metric unit behind it, or a mark that nobody has shown.
LEFT = re.compile(r"\d[\s\u00a0]*(°C|K|mm|L)(?![\w/·²³])|[{}]")
T0 = 1_790_000_000_000


@pytest.mark.parametrize(
    ("mark", "metric", "customary"),
    [
        # °F = 1.8 °C + 32, a difference of 1 K is 1.8 °F; an inch is 25.4 mm, a US gallon 3.785411784 L, a pound
        # 0.45359237 kg (NIST SP 811, 2008, B.8, exact).
        (temperature(60.0), "60.0 °C", "140.0 °F"),
        (temperature(-40.0, 0), "-40 °C", "-40 °F"),
        (difference(5.0, 0), "5 °C", "9 °F"),
        (difference(-1.25, 1, signed=True), "-1.2 °C", "-2.2 °F"),
        (difference(1.5, signed=True), "+1.5 °C", "+2.7 °F"),
        (rate(108.0), "108.0 °C an hour", "194.4 °F an hour"),
        (length(50.8), "50.8 mm", "2 in"),
        (length(3.175, signed=True), "+3.2 mm", "+1/8 in"),
        (volume(3.785411784, 2), "3.79 L", "1.00 US gal"),
        (quantity(4.5359237, "kg"), "4.5 kg", "10.00 lb"),
        (quantity(453.59237, "g", 0), "454 g", "1.000 lb"),
        (quantity(80.0, "%", 0), "80 %", "80 %"),
    ],
)
def test_a_mark_says_the_same_quantity_in_each_unit(mark: str, metric: str, customary: str) -> None:
    """A temperature, a difference and a rate are told apart, though each is in °C for most people."""
    assert say(f"It is {mark}.", METRIC) == f"It is {metric}."
    assert say(f"It is {mark}.", AMERICAN) == f"It is {customary}."


@given(st.floats(-200, 1500), st.integers(0, 2))
def test_a_reader_is_never_further_off_than_the_last_digit_shown(celsius: float, digits: int) -> None:
    """The mark carries more than is shown: the conversion starts from the measured value, not from a rounded one."""
    found = re.fullmatch(r"(-?[\d.]+) °F", say(temperature(celsius, digits), AMERICAN))
    assert found is not None
    assert abs(float(found[1]) - (celsius * 9 / 5 + 32)) <= 0.5 * 10.0**-digits + 0.001


def test_what_people_wrote_stays_as_they_wrote_it() -> None:
    """Only marks are converted: a maker's own 40 °C is what the maker meant."""
    text = "It felt like 40 °C under {the} sheet, 5 K more than {it should}"
    assert say(text, AMERICAN) == text


def test_a_sentence_that_is_cut_ends_before_the_mark_that_would_be_cut() -> None:
    """What is kept of a long reason can still be shown."""
    text = f"It is {temperature(9)} now and {temperature(63.625)} then"
    for longest in range(len(text) + 1):
        kept = cut(text, longest)
        assert len(kept) <= longest
        assert "{" not in say(kept, AMERICAN)
    assert cut(text, len(text)) == text


# ---- every sentence of every judge ----------------------------------------------------------------


def track(place: str, believed_c: float, before_c: float, **more: Any) -> ProbeSignal:
    """A probe that went from one temperature to another in a quarter of an hour."""
    now = T0 + 3 * 3_600_000
    trail = [(now - 900_000 + i * 60_000, before_c + (believed_c - before_c) * i / 15) for i in range(16)]
    made: dict[str, Any] = {
        "first_ms": T0,
        "seen_ms": now,
        "good_ms": now,
        "period_s": 30.0,
        "last_c": believed_c,
    }
    return ProbeSignal(
        place, f"28-{place}", "bench-1", believed_c=believed_c, believed_ms=now, trail=trail, **(made | more)
    )


def judged(a: float, b: float, c: float, d: float) -> Iterator[Observation]:
    """What every judge that speaks of temperatures says of some temperatures, over its limit or not."""
    limits, now = AlarmLimits(max_core_c=60.0), T0 + 3 * 3_600_000
    core, surface, room = track("core", a, b), track("surface", c, d), track("room", d, b)
    underside = track("underside", d, c)
    yield heat.core_hot([core], core, limits)
    yield heat.core_hot([core, track("core-2", b, a)], core, limits)
    expected = Expected((b,) * 200, (min(a, b),) * 200)
    yield heat.hotter_than_predicted([core], core, expected, T0)
    yield surroundings.room_cold([room], room, limits)
    yield surroundings.room_hot([room], room, limits)
    yield heat.spread_too_wide(core, surface, limits)
    yield heat.surface_heated(surface, core, room, T0)
    for humid in (30.0, 95.0):
        yield surroundings.air_damp(RoomAir(humid, now, c), d, c, limits)
    answer = ForecastAnswer(now, 0.97, Quantiles(a, b, c), Quantiles(4, 5, 6), Quantiles(3.5, 4, 5),
                            Quantiles(20, 30, 40),
                            ("the mix was poured warmer than planned (" + difference(d, signed=True) + ")",),
                            (Remedy("fans", what_if._answer("fans", _ahead(a), b, 60.0).words),))  # fmt: skip
    yield heat.core_will_overheat(answer, limits, T0)
    yield heat.cure_behind(answer, AlarmLimits(planned_release_h=10.0))
    stuck = track("surface", c, c, unmoved_ms=T0)
    yield equipment.probe_doubtful(stuck, [core])
    yield equipment.probe_doubtful(core, [surface, underside, room])
    yield equipment.probe_doubtful(core, [underside, room])


def _ahead(celsius: float) -> Any:
    peaks = np.array([celsius, celsius + 1])
    return SimpleNamespace(core_peak_c=peaks, hottest_peak_c=peaks, chance_over=lambda _limit_c: 0.5)


TEMPERATURES = st.floats(-20, 250)


@given(TEMPERATURES, TEMPERATURES, TEMPERATURES, TEMPERATURES)
def test_no_judge_leaves_anything_metric_in_customary_units(a: float, b: float, c: float, d: float) -> None:
    """Reasons, what a return says, and what a message of each kind says."""
    for seen in judged(a, b, c, d):
        assert not LEFT.search(say(seen.reason, AMERICAN)), seen.reason
        assert not re.search(r"[{}]|\d K\b", say(seen.reason, METRIC)), seen.reason
    forecast = ForecastAnswer(T0, 0.9, Quantiles(a, b, c), Quantiles(0, 0, 0), chance_without_fan=0.9)
    for answer in (forecast, ForecastAnswer(T0, 0.1, Quantiles(a, b, c), Quantiles(0, 0, 0), chance_without_fan=0.01),
                   ForecastAnswer(T0, 0.1, Quantiles(a, b, c), Quantiles(0, 0, 0))):  # fmt: skip
        want = fan_rule.forecast_request([NORMAL], answer, min(a, 40.0), 60.0, T0)
        assert not LEFT.search(say(want.why, AMERICAN)), want.why
    for text in (level_fell([LevelMark(0, 20 + abs(a), ""), LevelMark(60_000, 1, "")], 0.3),
                 volume_differs(1 + abs(a), 3 * (1 + abs(a)))):  # fmt: skip
        assert text is not None
        assert not LEFT.search(say(text, AMERICAN)), text


@pytest.mark.parametrize("name", list(KINDS))
@pytest.mark.parametrize("why", list(NotifyReason))
def test_a_message_of_each_kind_speaks_the_workshops_units(name: str, why: NotifyReason) -> None:
    """Also where no reason is known, and of an alarm that was raised before there were marks."""
    if why not in OPENINGS:
        return
    for reason in (
        "",
        "The core reads 63.6 °C: it is over the resin's limit of 60.0 °C.",
        f"It is {temperature(9)}.",
    ):
        state = AlarmState(phase=Phase.RAISED, activation=1, reason=reason, acknowledged_by="Jo")
        told = words(KINDS[name], state, why, About("River table", "http://x/a/1"), AMERICAN)
        assert not LEFT.search(told.title + told.body), told


@pytest.mark.parametrize("name", list(KINDS))
def test_what_is_written_about_each_kind_can_be_shown_in_any_units(name: str) -> None:
    """The alert page and the table of alarms print all of it."""
    kind = KINDS[name]
    for text in (
        kind.limit,
        kind.limit_source,
        kind.consequence,
        kind.deadband_shown,
        *kind.causes,
        *kind.what_to_do,
    ):
        assert not LEFT.search(say(text, AMERICAN)), text
        assert not re.search(r"[{}]", say(text, METRIC)), text


@pytest.mark.parametrize("name", [kind.name for kind in KINDS.values() if kind.unit in ("°C", "K")])
def test_a_return_tells_a_difference_from_a_temperature(name: str) -> None:
    """10 °C apart are 18 °F apart; a room at 10 °C is one at 50 °F."""
    kind = KINDS[name]
    up = AlarmState(phase=Phase.RAISED, activation=1, reason="x", calm_ms=10**9, seen_ms=T0)
    (back,) = step(kind, up, Observation(False, T0 + 1000, "", 10.0, 30.0), T0 + 1000).changes
    wanted = "50.0 °F (limit 86.0 °F)" if kind.unit == "°C" else "18.0 °F (limit 54.0 °F)"
    assert say(back.text, AMERICAN) == f"Back inside: {wanted}."


# ---- sentences from before there were marks --------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "customary"),
    [
        (
            "The core reads 63.6 °C: it is over the resin's limit of 60.0 °C. It is rising by 108.0 °C an hour.",
            "The core reads 146.5 °F: it is over the resin's limit of 140.0 °F. It is rising by 194.4 °F an hour.",
        ),
        (
            "The core reads 60.1 °C, the surface 30.0 °C: 30.1 °C apart, limit 20.0 °C.",
            "The core reads 140.2 °F, the surface 86.0 °F: 54.2 °F apart, limit 36.0 °F.",
        ),
        (
            "The surface reads 31.0 °C, 4.1 °C above both core and room: heat comes from outside.",
            "The surface reads 87.8 °F, 7.4 °F above both core and room: heat comes from outside.",
        ),
        (
            "The surface warmed by 4.3 °C in 10 min, the core by 0.1 °C: sun, a lamp or a heat gun.",
            "The surface warmed by 7.7 °F in 10 min, the core by 0.2 °F: sun, a lamp or a heat gun.",
        ),
        (
            "A surface at 12.0 °C is only 2.1 °C above the dew point; 3 °C is the least.",
            "A surface at 53.6 °F is only 3.8 °F above the dew point; 5 °F is the least.",
        ),
        (
            "The probe at core has said 30.25 °C for 45 min, while surface moved by +1.2 °C.",
            "The probe at core has said 86.45 °F for 45 min, while surface moved by +2.2 °F.",
        ),
        (
            "both faces are warmer (31.0 and 30.5 °C): it has slipped",
            "both faces are warmer (87.8 °F and 86.9 °F): it has slipped",
        ),
        (
            "chance 91 %, peak about 78 °C (65 to 92 °C). Why: the mix was poured warmer than planned (+1.5 °C). "
            "What would help: fans now: 78 → 57 °C; room 4 K cooler within the hour: 78 → 70 °C.",
            "chance 91 %, peak about 172 °F (149 °F to 198 °F). Why: the mix was poured warmer than planned (+2.7 °F). "
            "What would help: fans now: 172 °F → 135 °F; room 7 °F cooler within the hour: 172 °F → 158 °F.",
        ),
        ("12.3 L went in, as planned (12.0 L)", "3.25 US gal went in, as planned (3.17 US gal)"),
        ("+1.2 mm at the mark", "+1/16 in at the mark"),
        (
            "the surface sheds heat like still air (9 instead of 25 W/(m²·K))",
            "the surface sheds heat like still air (9 instead of 25 W/(m²·K))",
        ),
    ],
)
def test_an_old_sentence_still_reads_right(old: str, customary: str) -> None:
    """Records that were kept, and sealed, before quantities were marked keep their text; it is read as it was meant."""
    assert say(marked(old), AMERICAN) == customary


def test_a_marked_sentence_is_not_read_as_an_old_one() -> None:
    """Beside a mark stands somebody's own number."""
    text = f"Jo shelved it: the lamp is 40 °C, the core at {temperature(30)}"
    assert marked(text) == text


@pytest.mark.parametrize("text", [None, "", "c.mm", "k.mm.l.kg", "f.in.gal.lb.x", "<script>"])
def test_units_that_make_no_sense_mean_metric(text: str | None) -> None:
    """A device's cookie is anybody's to write."""
    assert units_from(text) == METRIC
