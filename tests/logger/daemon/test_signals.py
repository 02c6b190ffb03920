"""Lamp, buzzer and fan: orders from the service, and the last resort without it."""

from __future__ import annotations

from typing import Any

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.pins import BenchPins
from hardware.clock import Stamp
from hardware.contacts import ContactChange
from hardware.outputs import Outputs
from hardware.pins import Pins
from logger.daemon.signals import QUIET_S, SILENT_S, Decision, LastResort, Orders, Signals

OTHER = "28-0000000000c3"


def signals() -> Signals:
    """Without pins, heard at 0 s."""
    return Signals(None, LastResort(95.0), 0.0)


def change(contact: str, closed: bool) -> ContactChange:
    """A contact that changed."""
    return ContactChange(Stamp(0, "boot-a", 0, True), contact, closed)


def test_one_hot_reading_alone_is_not_believed(row: Any) -> None:
    """A lone jump over the limit may be a lie; two in a row are not."""
    last_resort = LastResort(95.0)
    last_resort.take([row(1, milli_c=120_000)])
    assert not last_resort.hot
    last_resort.take([row(2, milli_c=30_000)])
    last_resort.take([row(3, milli_c=120_000)])
    assert not last_resort.hot
    last_resort.take([row(4, milli_c=95_000)])
    assert last_resort.hot


def test_two_hot_probes_are_believed_at_once(row: Any) -> None:
    """Core and surface both over the limit in one sweep."""
    last_resort = LastResort(95.0)
    hot = row(1, milli_c=96_000)
    other = type(hot)(OTHER, "surface", hot.stamp, 97_000, None, None, None)
    last_resort.take([hot, other])
    assert last_resort.hot


def test_a_hot_room_is_not_the_last_resorts_business(row: Any) -> None:
    """A heat gun at the room's probe lights no lamp."""
    hot = row(1, milli_c=120_000)
    room = type(hot)(OTHER, "room", hot.stamp, 120_000, None, None, None)
    last_resort = LastResort(95.0)
    for _ in range(5):
        last_resort.take([room])
    assert not last_resort.hot


def test_missing_data_never_ends_it_and_cool_readings_do(row: Any) -> None:
    """Faults keep the lamp lit; below the limit by less than five degrees as well."""
    last_resort = LastResort(95.0)
    for n in (1, 2):
        last_resort.take([row(n, milli_c=100_000)])
    for n in range(3, 50):
        last_resort.take([row(n, milli_c=None, fault="missing")])
    assert last_resort.hot
    last_resort.take([row(51, milli_c=90_500)])
    assert last_resort.hot
    last_resort.take([row(52, milli_c=89_900)])
    assert not last_resort.hot


def test_the_last_resort_works_with_the_network_down(row: Any) -> None:
    """Nothing was ever heard from the service: lamp and buzzer all the same."""
    made = signals()
    for n in (1, 2):
        made.take_sweep([row(n, milli_c=100_000)], [], 3600.0 + n)
    assert made.decide(3602.0) == Decision(lamp=True, blink=False, buzzer=True, fan=False)


def test_water_under_the_form_lights_the_lamp_until_it_is_dry() -> None:
    """The contact alone is enough."""
    made = signals()
    made.take_sweep([], [change("wet", True)], 1.0)
    assert made.decide(1.0).lamp
    assert made.decide(1.0).buzzer
    made.take_sweep([], [change("wet", False)], 9.0)
    assert not made.decide(9.0).lamp


def test_the_button_quiets_the_buzzer_for_a_while_and_not_the_lamp() -> None:
    """Ten minutes; then it sounds again if nobody has stopped the leak."""
    made = signals()
    made.take_sweep([], [change("wet", True)], 1.0)
    made.take_sweep([], [change("acknowledge", True)], 10.0)
    assert made.decide(11.0) == Decision(lamp=True, blink=False, buzzer=False, fan=False)
    assert made.decide(10.0 + QUIET_S).buzzer


def test_the_services_orders_are_obeyed_and_kept_when_it_goes_silent() -> None:
    """Lamp, buzzer and fan as ordered; silence changes none of them."""
    made = signals()
    made.take_orders(Orders(lamp=True, buzzer=True, fan=True), 5.0)
    assert made.decide(6.0) == Decision(lamp=True, blink=False, buzzer=True, fan=True)
    assert made.decide(9999.0) == made.decide(6.0)
    made.take_orders(Orders(lamp=False, buzzer=False, fan=None), 10_000.0)
    assert made.decide(10_001.0) == Decision(lamp=False, blink=False, buzzer=False, fan=False)


def test_a_silent_service_makes_the_lamp_blink_within_a_minute() -> None:
    """Whoever stands at the form sees that nobody else is warned."""
    made = signals()
    made.take_orders(Orders(), 100.0)
    assert not made.decide(100.0 + SILENT_S).blink
    assert made.decide(100.1 + SILENT_S).blink


def test_decisions_reach_the_pins() -> None:
    """On the bench's pins: the lamp's goes high, the low-driven relay's low, and back."""
    pins = BenchPins(SteppedClock())
    outputs = Outputs(Pins(lamp=23, fan=25, fan_active_high=False), lambda: pins)
    made = Signals(outputs, LastResort(95.0), 0.0)
    made.take_orders(Orders(lamp=True, fan=True), 1.0)
    assert (pins.pin(23).state, pins.pin(25).state) == (True, False)
    made.take_orders(Orders(), 2.0)
    assert (pins.pin(23).state, pins.pin(25).state) == (False, True)
    outputs.close()


@pytest.mark.parametrize("fan", [None, False])
def test_without_a_say_of_the_service_the_fan_is_off(fan: bool | None) -> None:
    """A relay is on only while somebody wants it on."""
    made = signals()
    made.take_orders(Orders(fan=fan), 1.0)
    assert made.decide(2.0).fan is False


def test_a_second_core_counts_like_the_first(row: Any) -> None:
    """Its place has a number."""
    last_resort = LastResort(95.0)
    for n in (1, 2):
        hot = row(n, milli_c=96_000)
        last_resort.take([type(hot)(OTHER, "core-2", hot.stamp, 96_000, None, None, None)])
    assert last_resort.hot


def test_while_the_service_is_silent_the_station_watches_by_the_limit_it_was_told(row: Any) -> None:
    """The service is killed and the core passes the resin's limit: lamp and buzzer, which the button quiets."""
    made = signals()
    made.take_orders(Orders(), 0.0, 60.0)
    for n in (1, 2):
        made.take_sweep([row(n, milli_c=66_000)], [], 30.0)
    assert made.decide(30.0) == Decision(False, False, False, False), "the service is there, and decides"
    after_s = SILENT_S + 1
    assert made.decide(after_s) == Decision(True, False, True, False)
    made.take_sweep([], [change("acknowledge", True)], after_s)
    assert made.decide(after_s + 1) == Decision(True, False, False, False)
    assert made.decide(after_s + QUIET_S + 1).buzzer
    made.take_sweep([row(3, milli_c=57_000)], [], after_s + QUIET_S + 2)
    assert made.decide(after_s + QUIET_S + 3) == Decision(False, True, False, False), (
        "cool: only the silence is told"
    )
    for n in (4, 5):
        made.take_sweep([row(n, milli_c=66_000)], [], after_s + QUIET_S + 4)
    made.take_orders(Orders(), after_s + QUIET_S + 5, None)
    assert made.decide(after_s + QUIET_S + 100) == Decision(False, True, False, False), (
        "no pour is watched any more"
    )


def test_a_service_that_can_store_nothing_sounds_the_buzzer_for_a_hot_core() -> None:
    """Until it says otherwise; the fan stays as it was, and the button quiets it for a while."""
    made = signals()
    made.take_orders(Orders(False, False, True), 0.0)
    made.take_warning(hot=True, now_s=5.0)
    assert made.decide(5.0) == Decision(True, False, True, True)
    made.take_sweep([], [change("acknowledge", True)], 6.0)
    assert made.decide(7.0) == Decision(True, False, False, True)
    made.take_warning(hot=False, now_s=8.0)
    assert made.decide(8.0) == Decision(False, False, False, True)
