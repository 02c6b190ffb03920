"""Lamp, buzzer and relay on the bench's pins: the level of the pin is what counts. From the first moment: test_gpio."""

from __future__ import annotations

import threading

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.pins import BenchPins
from hardware.outputs import Outputs
from hardware.pins import Pins

RELAY = Pins(lamp=23, buzzer=24, fan=25, fan_active_high=False)


@pytest.fixture
def pins() -> BenchPins:
    """Pins that are not there."""
    return BenchPins(SteppedClock())


def test_switching_drives_the_level_that_the_wiring_asks_for(pins: BenchPins) -> None:
    """On is high for the lamp and low for the relay; nothing is driven twice."""
    outputs = Outputs(RELAY, lambda: pins)
    assert [pins.pin(number).state for number in (23, 24, 25)] == [False, False, True]
    for _ in range(3):
        outputs.switch("lamp", True)
        outputs.switch("fan", True)
    assert (pins.pin(23).state, pins.pin(25).state) == (True, False)
    outputs.switch("fan", False)
    assert pins.pin(25).state is True


def test_closing_drives_everything_off_before_the_pin_is_let_go(pins: BenchPins) -> None:
    """A pin that is let go keeps its level on a Pi: the last level that was driven must be OFF."""
    outputs = Outputs(RELAY, lambda: pins)
    for name in ("lamp", "buzzer", "fan"):
        outputs.switch(name, True)
    outputs.close()
    assert [pins.pin(number).state for number in (23, 24, 25)] == [False, False, True]
    assert {pins.pin(number).function for number in (23, 24, 25)} == {"input"}
    outputs.close()


def test_an_unknown_state_is_refused(pins: BenchPins) -> None:
    """None or 1 is neither on nor off."""
    outputs = Outputs(RELAY, lambda: pins)
    for wrong in (None, 1, "on"):
        with pytest.raises(TypeError, match="neither True nor False"):
            outputs.switch("fan", wrong)  # type: ignore[arg-type]


def test_an_output_that_is_not_wired_is_not_switched(pins: BenchPins) -> None:
    """A station with a lamp only has no buzzer to sound, and that is no fault."""
    outputs = Outputs(Pins(lamp=23), lambda: pins)
    outputs.switch("buzzer", True)
    outputs.blink("buzzer")
    assert outputs.faults == {}


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OSError(16, "Device or resource busy"), "lamp (GPIO 23): Device or resource busy"),
        (FileNotFoundError(2, "No such file or directory"), "lamp (GPIO 23): No such file or directory"),
        (RuntimeError("a driver's own"), "lamp (GPIO 23): a driver's own"),
        (KeyError(), "lamp (GPIO 23): KeyError"),
    ],
)
def test_a_pin_that_fails_for_whatever_reason_is_a_fault_of_this_pin_alone(
    pins: BenchPins, error: Exception, told: str
) -> None:
    """The others are switched all the same, and it is taken up again when it can be opened."""
    pins.broken[23] = error
    outputs = Outputs(RELAY, lambda: pins)
    assert outputs.faults == {"lamp": told}
    outputs.switch("lamp", True)
    outputs.blink("lamp")
    outputs.switch("buzzer", True)
    assert (pins.pin(23).function, pins.pin(24).state) == ("input", True)
    outputs.mend()
    assert outputs.faults == {"lamp": told}
    pins.broken.clear()
    outputs.mend()
    assert outputs.faults == {}
    outputs.switch("lamp", True)
    assert pins.pin(23).state is True
    outputs.close()


def test_a_pin_that_fails_while_it_is_driven_is_let_go_and_opened_anew(pins: BenchPins) -> None:
    """Off first, then as it is switched."""
    outputs = Outputs(RELAY, lambda: pins)
    pins.broken[25] = OSError(5, "Input/output error")
    outputs.switch("fan", True)
    assert outputs.faults == {"fan": "fan (GPIO 25): Input/output error"}
    assert pins.pin(25).function == "input"
    pins.broken.clear()
    outputs.mend()
    assert (outputs.faults, pins.pin(25).state) == ({}, True)
    outputs.switch("fan", True)
    assert pins.pin(25).state is False
    outputs.close()


def test_a_lamp_blinks_until_it_is_switched(pins: BenchPins, monkeypatch: pytest.MonkeyPatch) -> None:
    """On and off in turn; what it is switched to is the last word."""
    monkeypatch.setattr("hardware.outputs.BLINK_S", 0.001)
    outputs = Outputs(RELAY, lambda: pins)
    outputs.blink("lamp")
    outputs.blink("lamp")
    blinking = [thread for thread in threading.enumerate() if thread.name == "blink lamp"]
    assert len(blinking) == 1
    states = pins.pin(23).states
    while len(states) < 6:
        blinking[0].join(0.001)
    outputs.switch("lamp", True)
    blinking[0].join(5)
    assert not blinking[0].is_alive()
    assert [at.state for at in states[:6]] == [False, True, False, True, False, True]
    assert states[-1].state is True
    outputs.close()
    assert states[-1].state is False
