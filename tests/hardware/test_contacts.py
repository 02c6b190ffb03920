"""Contacts on the bench's pins: closing and opening become changes with a time and a word."""

from __future__ import annotations

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.pins import BenchPins
from hardware.contacts import Contacts
from hardware.pins import Pins

PINS = Pins(wet=17, acknowledge=27, fan_proof=22)


@pytest.fixture
def clock() -> SteppedClock:
    """A clock that starts with the boot."""
    return SteppedClock(boot_ms=0)


@pytest.fixture
def pins(clock: SteppedClock) -> BenchPins:
    """Pins that are not there."""
    return BenchPins(clock)


def test_the_state_at_the_start_is_the_first_change(pins: BenchPins, clock: SteppedClock) -> None:
    """A floor that is already wet is told at once; a button that nobody pressed is not."""
    contacts = Contacts(PINS, lambda: pins, clock)
    assert [(change.contact, change.meaning) for change in contacts.changes()] == [
        ("wet", "dry"),
        ("fan_proof", "stopped"),
    ]


def test_closing_and_opening_are_told_in_order_with_their_moments(
    pins: BenchPins, clock: SteppedClock
) -> None:
    """A closed contact pulls its pin low; it says so once, and once when it opens, however late it is asked."""
    contacts = Contacts(PINS, lambda: pins, clock)
    contacts.changes()
    clock.advance(5)
    pins.pin(17).drive_low()
    clock.advance(2)
    pins.pin(27).drive_low()
    clock.advance(3)
    pins.pin(17).drive_high()
    clock.advance(7)
    found = [(change.stamp.boot_ms, change.meaning) for change in contacts.changes()]
    assert found == [(5000, "wet"), (7000, "pressed"), (10_000, "dry")]
    assert contacts.changes() == []


def test_a_contact_that_is_driven_high_when_closed_works_too(pins: BenchPins, clock: SteppedClock) -> None:
    """Some leak sensors give a voltage instead of closing to ground."""
    contacts = Contacts(Pins(wet=17, wet_active_high=True), lambda: pins, clock)
    pins.pin(17).drive_high()
    assert [change.meaning for change in contacts.changes()] == ["dry", "wet"]


def test_a_contact_that_fails_is_a_fault_of_this_contact_alone(pins: BenchPins, clock: SteppedClock) -> None:
    """Whatever its driver raises, at the start or later; once it can be opened, its state is told anew."""
    pins.broken[17] = FileNotFoundError(2, "No such file or directory")
    contacts = Contacts(PINS, lambda: pins, clock)
    assert contacts.faults == {"wet": "wet contact (GPIO 17): No such file or directory"}
    assert [change.contact for change in contacts.changes()] == ["fan_proof"]
    pins.broken.clear()
    contacts.mend()
    assert contacts.faults == {}
    assert [(change.contact, change.meaning) for change in contacts.changes()] == [("wet", "dry")]
    pins.broken[22] = RuntimeError("a driver's own")
    pins.pin(17).drive_low()
    assert [change.meaning for change in contacts.changes()] == ["wet"]
    assert contacts.faults == {"fan_proof": "fan's contact (GPIO 22): a driver's own"}
