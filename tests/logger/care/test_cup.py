"""A cup of mix with one probe: its peak is found by itself, and nothing else is taken for one."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from logger.probe_checks.cup import DANGER_C, CupLook, CupState, cup_course, mean_of

#: Where the invented cups peak: °C over the room of 21 °C, and hours.
RISE_K, PEAK_H = 32.0, 1.5


def cup_c(hours: float, *, rise_k: float = RISE_K, start_c: float = 21.0) -> float:
    """An invented cup: a gamma curve on the room, whose peak is at PEAK_H by its own formula."""
    part = hours / PEAK_H
    return 21.0 + rise_k * part**4 * math.exp(4 * (1 - part)) + (start_c - 21.0) * math.exp(-hours / 0.3)


def looks(
    until_h: float,
    every_s: float = 30.0,
    noise_k: float = 0.1,
    seed: int = 1,
    course: Callable[[float], float] = cup_c,
) -> list[CupLook]:
    """What the station reads of it: the chip's steps of 1/16 °C, and noise."""
    noise = random.Random(seed)
    count = round(until_h * 3600 / every_s)
    return [
        CupLook(i * every_s, round((course(i * every_s / 3600) + noise.gauss(0, noise_k)) * 16) / 16)
        for i in range(count + 1)
    ]


@pytest.mark.parametrize("seed", range(40))
def test_the_peak_and_its_time_are_found_within_the_noise(seed: int) -> None:
    """Within 0.5 K and 4 % of the time, for noise from none to five steps of the chip, and from quick to slow looks."""
    noise_k, every_s = (0.0, 0.1, 0.3)[seed % 3], (2.0, 5.0, 30.0)[seed % 3]
    course = cup_course(looks(4.0, every_s, noise_k, seed), 4 * 3600)
    assert course.state is CupState.PAST
    assert course.peak_c == pytest.approx(21 + RISE_K, abs=0.5)
    assert course.peak_s == pytest.approx(PEAK_H * 3600, rel=0.04)


@pytest.mark.parametrize("seed", range(20))
def test_no_peak_is_called_before_it_is_past(seed: int) -> None:
    """However noisy: not on the way up, and not at the top itself."""
    for until_h in (0.2, 0.7, 1.2, 1.45, 1.5):
        course = cup_course(looks(until_h, noise_k=0.3, seed=seed), until_h * 3600 + 10)
        assert course.state is CupState.BEFORE, until_h


def test_a_mix_that_was_warmer_than_the_room_cools_first_and_that_is_no_peak() -> None:
    """Its beginning is hotter than its peak."""
    course = cup_course(looks(4.0, course=lambda h: cup_c(h, rise_k=8.0, start_c=34.0)), 4 * 3600)
    assert course.state is CupState.PAST
    assert course.peak_s == pytest.approx(PEAK_H * 3600, rel=0.06)
    assert course.start_c == pytest.approx(33, abs=2)
    early = cup_course(looks(0.8, course=lambda h: cup_c(h, rise_k=8.0, start_c=34.0)), 0.8 * 3600)
    assert early.state is CupState.BEFORE


def test_a_probe_that_falls_silent_is_said_and_is_no_calm_test() -> None:
    """Faults alone, or nothing at all, before the peak is past."""
    rising = looks(1.0)
    faults = [CupLook(3600 + 30.0 * i, None) for i in range(1, 20)]
    assert cup_course([*rising, *faults], 4000).state is CupState.SILENT
    assert cup_course(rising, 3600 + 100).state is CupState.BEFORE
    assert cup_course([], 30).state is CupState.WAITING
    assert cup_course([], 3600).state is CupState.SILENT


def test_a_peak_in_a_hole_of_the_readings_is_missed_and_never_made_up() -> None:
    """The probe was dead from before the top until after it."""
    seen = [look for look in looks(4.0) if not 1.2 * 3600 < look.at_s < 1.8 * 3600]
    assert cup_course(seen, 4 * 3600).state is CupState.MISSED
    # A hole on the way up hides nothing.
    seen = [look for look in looks(4.0) if not 0.3 * 3600 < look.at_s < 0.7 * 3600]
    assert cup_course(seen, 4 * 3600).state is CupState.PAST


def test_a_probe_that_is_pulled_out_makes_no_peak() -> None:
    """A cup cools over an hour, a bare probe within a minute (lumped capacity)."""

    def pulled(hours: float) -> float:
        out_s = (hours - 1.0) * 3600
        return cup_c(hours) if out_s < 0 else 21 + (cup_c(1.0) - 21) * math.exp(-out_s / 40)

    for every_s in (5.0, 30.0):
        assert cup_course(looks(1.5, every_s, course=pulled), 1.5 * 3600).state is CupState.TORN


def test_what_comes_after_the_peak_changes_nothing() -> None:
    """The probe goes on into the next, hotter pour."""
    peak = cup_course(looks(4.0), 4 * 3600)
    later = [CupLook(5 * 3600 + 30.0 * i, 90.0) for i in range(200)]
    again = cup_course([*looks(4.0), *later], 7 * 3600)
    assert (again.state, again.peak_c, again.peak_s) == (peak.state, peak.peak_c, peak.peak_s)


def test_one_look_that_lies_is_outvoted() -> None:
    """85 °C is what a chip says that was just switched on (its data sheet)."""
    read = [CupLook(look.at_s, 85.0 if i == 40 else look.celsius) for i, look in enumerate(looks(4.0))]
    course = cup_course(read, 4 * 3600)
    assert course.state is CupState.PAST
    assert course.peak_c == pytest.approx(21 + RISE_K, abs=0.5)


def test_looks_in_any_order_twice_and_from_a_clock_before_the_mixing_are_sorted_out() -> None:
    """Late batches come out of order; a station's clock was wrong."""
    read = looks(4.0)
    mixed_up = [CupLook(-5000.0, 99.0), *read, *read[50:90]]
    random.Random(3).shuffle(mixed_up)
    assert cup_course(mixed_up, 4 * 3600) == cup_course(read, 4 * 3600)


def test_a_cup_that_hardly_rises_is_said_to_be_flat() -> None:
    """Too small for its resin: the room's wandering is no peak."""
    course = cup_course(looks(72.0, 300.0, course=lambda h: 21 + math.sin(h / 4)), 73 * 3600)
    assert course.state is CupState.FLAT


def test_a_dangerous_cup_is_called_until_its_peak_is_past() -> None:
    """Also while its probe is silent, since it was hot when it was last seen."""
    hot = looks(1.5, course=lambda h: cup_c(h, rise_k=120))
    course = cup_course(hot, 1.5 * 3600)
    assert course.danger
    assert course.now_c is not None
    assert course.now_c > DANGER_C
    silent = cup_course(hot, 2.5 * 3600)
    assert silent.state is CupState.SILENT
    assert silent.danger
    assert not cup_course(looks(1.5), 1.5 * 3600).danger


def test_the_rooms_mean_is_of_the_time_until_the_peak() -> None:
    """What the room does afterwards is no part of the test."""
    room = [CupLook(60.0 * i, 20.0 if i < 60 else 30.0) for i in range(120)]
    assert mean_of(room, 3000) == pytest.approx(20)
    assert mean_of([], 3000) is None
