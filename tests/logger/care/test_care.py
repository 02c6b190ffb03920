"""Ice point, dip and hand, against what physics says a probe does."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.bench.w1_files import scratchpad
from logger.probe_checks.chip_reading import CheckReading, applied_c, chip_celsius
from logger.probe_checks.dip import dip
from logger.probe_checks.hand import in_hand
from logger.probe_checks.ice_point import ice_point
from logger.words.reader import METRIC
from logger.words.render import say


def chip(celsius: float) -> float:
    """What a chip with steps of 1/16 °C says."""
    return round(celsius * 16) / 16


@given(st.integers(min_value=-880, max_value=2000))
def test_the_chips_own_temperature_comes_from_its_bytes(sixteenths: int) -> None:
    """As the bench writes them, over the chip's whole range; what the station added is told apart."""
    celsius = sixteenths / 16
    raw = scratchpad(celsius).hex()
    assert chip_celsius(raw) == celsius
    assert applied_c(raw, round((celsius - 0.25) * 1000)) == pytest.approx(-0.25, abs=0.0011)


@pytest.mark.parametrize("raw", [None, "", "16800", "21500 48000", "zz" * 9])
def test_other_sensors_have_no_such_bytes(raw: str | None) -> None:
    """A thermocouple's count is no probe's."""
    assert chip_celsius(raw) is None


def test_a_steady_bath_gives_the_offset() -> None:
    """A probe that reads 0.31 K too high in ice water wants −0.31 added: within half a step of the chip."""
    found = ice_point([CheckReading(5.0 * n, chip(0.31 + 0.02 * math.sin(n))) for n in range(30)], 145.0)
    assert found.offset_c == pytest.approx(-0.31, abs=1 / 32)
    assert say(found.says, METRIC).startswith("steady at 0.3")


@pytest.mark.parametrize(
    ("series", "says"),
    [
        ([], "no reading"),
        ([(5.0 * n, 20 * math.exp(-5 * n / 25)) for n in range(20)], "still moving"),
        ([(5.0 * n, 4.0) for n in range(30)], "4.0 °C is no ice water"),
        ([(100 + 5.0 * n, 0.25) for n in range(9)], "steady for 40 s"),
        ([(50.0 * n, 0.25) for n in range(3)], "steady for"),
    ],
    ids=["silent", "cooling down", "a cold drink", "too soon", "too few"],
)
def test_no_offset_before_the_bath_is_one(series: list[tuple[float, float]], says: str) -> None:
    """And the words say what is missing."""
    found = ice_point([CheckReading(*pair) for pair in series], series[-1][0] if series else 0.0)
    assert found.offset_c is None
    assert says in say(found.says, METRIC)


@pytest.mark.parametrize("tau_s", [4.0, 12.0, 30.0])
@pytest.mark.parametrize("phase_s", [0.0, 0.7, 1.6])
def test_a_dip_gives_the_time_constant_of_the_closed_form(tau_s: float, phase_s: float) -> None:
    """T = T∞ + (T₀ − T∞)·exp(−t/τ), read every 2 s in steps of 1/16 °C, dipped between two readings: within 6 %."""

    def at(t: float) -> float:
        return 21.0 if t < 60 + phase_s else 0.1 + 20.9 * math.exp(-(t - 60 - phase_s) / tau_s)

    found = dip([CheckReading(2.0 * n, chip(at(2.0 * n))) for n in range(130)])
    assert found.tau_s == pytest.approx(tau_s, rel=0.06)
    assert found.below is False
    assert found.step_k == pytest.approx(20.9, abs=0.3)


def test_a_warm_bath_serves_as_well_as_a_cold_one() -> None:
    """Upwards, with the room's air wandering before."""
    series = [
        CheckReading(
            5.0 * n, chip(20 + 0.2 * math.sin(n) if n < 12 else 55 - 35 * math.exp(-(5.0 * n - 57) / 18))
        )
        for n in range(60)
    ]
    assert dip(series).tau_s == pytest.approx(18, rel=0.06)


@pytest.mark.parametrize(
    ("series", "says"),
    [
        ([(0, 20.0)], "too few"),
        ([(5.0 * n, 20.0) for n in range(30)], "dip it now"),
        ([(5.0 * n, 20 * math.exp(-5 * n / 60)) for n in range(20)], "still moving"),
    ],
)
def test_no_time_constant_before_the_step_is_over(series: list[tuple[float, float]], says: str) -> None:
    """And the words say what to do."""
    found = dip([CheckReading(*pair) for pair in series])
    assert found.tau_s is None
    assert says in say(found.says, METRIC)


def test_readings_that_are_too_far_apart_give_a_bound_only() -> None:
    """A step that is over between two looks is not measured, and that is said."""
    series = [CheckReading(30.0 * n, 20.0 if n < 4 else 0.0) for n in range(12)]
    found = dip([*series, CheckReading(340.0, 0.0), CheckReading(350.0, 0.0)])
    assert (found.tau_s, found.below) == (30.0, True)


def test_the_probe_in_the_hand_is_named_and_a_silent_one_is_not_asked() -> None:
    """Rises count from the coldest of three minutes."""
    looks = {
        "core": [CheckReading(10.0 * n, 20.0 + max(0, n - 3)) for n in range(8)],
        "room": [CheckReading(10.0 * n, 20.1) for n in range(8)],
        "gone": [CheckReading(-500.0, 10.0), CheckReading(-400.0, 30.0)],
    }
    assert in_hand(looks, 70.0) == ("core", {"core": 4.0, "room": 0.0})
    assert in_hand({"core": looks["core"][:4], "room": looks["room"]}, 70.0)[0] is None
