"""Lamp, buzzer and relay on mock pins: the level of the pin is what counts."""

from __future__ import annotations

from typing import Any

import pytest
from gpiozero.exc import GPIOPinInUse

from hardware.outputs import Outputs
from hardware.pins import Pins, bench_pins

RELAY = Pins(lamp=23, buzzer=24, fan=25, fan_active_high=False)


@pytest.fixture
def factory() -> Any:
    """Mock pins of a Pi."""
    made = bench_pins()
    yield made
    made.reset()


def levels(factory: Any, number: int) -> list[bool]:
    """Every level that the pin has had while it was an output."""
    return [state.state for state in factory.pin(number).states]


def test_a_relay_that_works_when_driven_low_is_off_from_the_first_moment(factory: Any) -> None:
    """As soon as its pin is an output it is high, and stays high: two levels, the open input's and OFF."""
    pin = factory.pin(25)
    pin.clear_states()
    outputs = Outputs(RELAY, factory)
    assert pin.function == "output"
    assert levels(factory, 25) == [False, True]
    outputs.close()


def test_switching_drives_the_level_that_the_wiring_asks_for(factory: Any) -> None:
    """On is high for the lamp and low for the relay."""
    outputs = Outputs(RELAY, factory)
    outputs.switch("lamp", True)
    outputs.switch("fan", True)
    assert (factory.pin(23).state, factory.pin(25).state) == (True, False)
    assert outputs.is_on("fan")
    outputs.switch("fan", False)
    assert factory.pin(25).state is True


def test_closing_drives_everything_off_before_the_pin_is_let_go(factory: Any) -> None:
    """A pin that is let go keeps its level on a Pi: the last level that was driven must be OFF."""
    outputs = Outputs(RELAY, factory)
    for name in ("lamp", "buzzer", "fan"):
        outputs.switch(name, True)
    relay = factory.pin(25)
    relay.clear_states()
    outputs.close()
    assert True in [state.state for state in relay.states], (
        "the relay's pin was never driven to its OFF level"
    )
    assert relay.function == "input"
    outputs.close()


def test_an_unknown_state_is_refused(factory: Any) -> None:
    """None or 1 is neither on nor off."""
    outputs = Outputs(RELAY, factory)
    for wrong in (None, 1, "on"):
        with pytest.raises(TypeError, match="neither True nor False"):
            outputs.switch("fan", wrong)  # type: ignore[arg-type]


def test_an_output_that_is_not_wired_is_not_switched(factory: Any) -> None:
    """A station with a lamp only has no buzzer to sound."""
    outputs = Outputs(Pins(lamp=23), factory)
    outputs.switch("buzzer", True)
    assert not outputs.has("buzzer")
    assert not outputs.is_on("buzzer")


def test_a_pin_in_use_leaves_no_output_on(factory: Any) -> None:
    """The second output fails to open: the first is let go again, off."""
    first = Outputs(Pins(buzzer=24), factory)
    with pytest.raises(GPIOPinInUse):
        Outputs(Pins(lamp=23, buzzer=24), factory)
    assert Outputs(Pins(lamp=23), factory).has("lamp")
    first.close()


def test_a_blinking_lamp_can_be_switched(factory: Any) -> None:
    """Blinking is told from on and off, and ends when switched."""
    outputs = Outputs(RELAY, factory)
    outputs.blink("lamp")
    outputs.switch("lamp", True)
    assert outputs.is_on("lamp")
    outputs.close()
