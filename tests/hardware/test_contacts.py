"""Contacts on mock pins: closing and opening become changes with a time and a word."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from hardware.bench.clock import SteppedClock
from hardware.contacts import Contacts
from hardware.pins import Pins, bench_pins

PINS = Pins(wet=17, acknowledge=27, fan_proof=22)


@pytest.fixture
def factory() -> Any:
    """Mock pins of a Pi."""
    made = bench_pins()
    yield made
    made.reset()


def test_the_state_at_the_start_is_the_first_change(factory: Any) -> None:
    """A floor that is already wet is told at once; a button that nobody pressed is not."""
    clock = SteppedClock()
    contacts = Contacts(PINS, factory, clock)
    assert [(change.contact, change.meaning) for change in contacts.changes()] == [
        ("wet", "dry"),
        ("fan_proof", "stopped"),
    ]


def test_closing_and_opening_are_told_in_order_with_their_moments(factory: Any) -> None:
    """A closed contact pulls its pin low; it says so once, and once when it opens."""
    clock = SteppedClock(boot_ms=0)
    contacts = Contacts(PINS, factory, clock)
    contacts.changes()
    clock.advance(5)
    factory.pin(17).drive_low()
    clock.advance(5)
    factory.pin(17).drive_high()
    found = [(change.stamp.boot_ms, change.meaning) for change in contacts.changes()]
    assert found == [(5000, "wet"), (10_000, "dry")]
    assert contacts.changes() == []


def test_a_change_from_the_drivers_thread_is_not_lost(factory: Any) -> None:
    """On a Pi the driver calls from a thread of its own."""
    contacts = Contacts(PINS, factory, SteppedClock())
    contacts.changes()
    thread = threading.Thread(target=factory.pin(27).drive_low)
    thread.start()
    thread.join()
    assert [change.meaning for change in contacts.changes()] == ["pressed"]


def test_a_contact_that_is_driven_high_when_closed_works_too(factory: Any) -> None:
    """Some leak sensors give a voltage instead of closing to ground."""
    contacts = Contacts(Pins(wet=17, wet_active_high=True), factory, SteppedClock())
    factory.pin(17).drive_high()
    assert [change.meaning for change in contacts.changes()] == ["dry", "wet"]
