"""A Pi's wiring: one bus for each master, and no bench in place of missing hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Never

import pytest

from hardware.bench.clock import SteppedClock
from hardware.pins import Pins
from hardware.reading import Fault, FaultReason
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


def refusing() -> Never:
    """A factory that cannot even be loaded, as a library that wants to write into "/"."""
    raise FileNotFoundError(2, "No such file or directory", ".lgd-nfy0")


def test_a_driver_that_fails_stops_no_thermometer(tmp_path: Path) -> None:
    """Every pin is told as a fault, by name and number; the probes are looked at as ever."""
    wiring = Wiring("pi", (ProbeWiring(ONE, "core"),), pins=Pins(lamp=23, wet=17))
    clock = SteppedClock()
    hardware = open_pi(wiring, clock, w1_folder=tmp_path, factory=refusing)
    assert hardware.pin_faults == {
        "lamp": "lamp (GPIO 23): No such file or directory",
        "wet": "wet contact (GPIO 17): No such file or directory",
    }
    ((probe,),) = (bus.probes for bus in hardware.buses)
    (sample,) = probe.read(clock)
    assert isinstance(sample.outcome, Fault)
    assert sample.outcome.reason is FaultReason.MISSING
    hardware.mend_pins()
    assert len(hardware.pin_faults or {}) == 2
    hardware.close()


@pytest.mark.parametrize("factory", ["mock", "native"])
def test_a_pi_without_its_pins_says_so_and_never_mocks_them(
    monkeypatch: pytest.MonkeyPatch, factory: str
) -> None:
    """This machine shows no GPIO device, and nothing is taken in its place, whatever the environment says."""
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", factory)
    hardware = open_pi(Wiring("pi", pins=Pins(lamp=23)), SteppedClock())
    assert "this machine shows no pins" in (hardware.pin_faults or {})["lamp"]
    assert open_pi(Wiring("pi"), SteppedClock()).pin_faults is None
