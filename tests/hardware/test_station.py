"""A Pi's wiring: one bus for each master, and no bench in place of missing hardware."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.bench.clock import SteppedClock
from hardware.errors import HardwareMissing
from hardware.pins import Pins
from hardware.station import ProbeWiring, Wiring, open_pi

ONE, TWO, THREE = "28-0000000000a1", "28-0000000000b2", "28-0000000000c3"


def test_probes_of_two_masters_are_two_buses(tmp_path: Path) -> None:
    """The kernel's links tell which wire a probe hangs on; one that is missing now counts to the first."""
    devices = tmp_path / "bus" / "w1" / "devices"
    devices.mkdir(parents=True)
    for master, probe in (("w1_bus_master1", ONE), ("w1_bus_master2", TWO)):
        real = tmp_path / "devices" / master / probe
        real.mkdir(parents=True)
        (devices / probe).symlink_to(real)
    wiring = Wiring("pi", tuple(ProbeWiring(probe, "core") for probe in (ONE, TWO, THREE)))
    hardware = open_pi(wiring, SteppedClock(), w1_folder=devices)
    assert {bus.name: [probe.id for probe in bus.probes] for bus in hardware.buses} == {
        "w1_bus_master1": [ONE, THREE],
        "w1_bus_master2": [TWO],
    }


def test_a_pi_without_its_pins_is_an_error_and_never_a_mock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where the environment asks for mock pins, as the tests' own does."""
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "mock")
    with pytest.raises(HardwareMissing, match="lgpio"):
        open_pi(Wiring("pi", pins=Pins(lamp=23)), SteppedClock())
