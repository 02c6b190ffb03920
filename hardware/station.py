"""What is wired to one station, and the two ways to open it: a Pi's own hardware here, the bench in bench/station.py.

Which of the two is said by name in the station file. A Pi without its hardware has faults, and is never a bench.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from hardware.air import HWMON_FOLDER, IIO_FOLDER, AirSensor, KernelBus, Thermocouple
from hardware.clock import Clock
from hardware.contacts import Contacts
from hardware.ds18b20 import W1_FOLDER, Ds18b20, W1Bus
from hardware.outputs import Outputs
from hardware.pins import PinFactory, Pins, pi_pins
from hardware.reading import Bus, Probe

FIRST_MASTER = "w1_bus_master1"


@dataclass(frozen=True, slots=True)
class ProbeWiring:
    """One probe: its id (or, for kernel chips, its name), where it sits, and what to add to its temperatures (K)."""

    id: str
    place: str
    offset_c: float = 0.0
    bench: str | None = None


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything that is wired to one station."""

    hardware: str
    probes: tuple[ProbeWiring, ...] = ()
    air: tuple[ProbeWiring, ...] = ()
    thermocouples: tuple[ProbeWiring, ...] = ()
    pins: Pins = field(default_factory=Pins)

    @property
    def all_probes(self) -> tuple[ProbeWiring, ...]:
        """Probes of all kinds."""
        return self.probes + self.air + self.thermocouples


@dataclass(frozen=True, slots=True)
class Hardware:
    """An opened station: what to read and what to switch."""

    buses: tuple[Bus, ...]
    contacts: Contacts | None = None
    outputs: Outputs | None = None

    @property
    def pin_faults(self) -> dict[str, str] | None:
        """What is wrong with the pins, by name; None where none is wired."""
        if self.outputs is None or self.contacts is None:
            return None
        return {**self.outputs.faults, **self.contacts.faults}

    def mend_pins(self) -> None:
        """Try the pins that failed again."""
        if self.outputs is not None:
            self.outputs.mend()
        if self.contacts is not None:
            self.contacts.mend()

    def close(self) -> None:
        """Switch everything off and let the pins go."""
        if self.outputs is not None:
            self.outputs.close()
        if self.contacts is not None:
            self.contacts.close()


def open_pi(
    wiring: Wiring,
    clock: Clock,
    *,
    w1_folder: Path = W1_FOLDER,
    kernel_folders: tuple[Path, Path] = (HWMON_FOLDER, IIO_FOLDER),
    factory: PinFactory = pi_pins,
) -> Hardware:
    """Open a Pi's hardware. Pins that fail are faults of these pins: the thermometers are read all the same."""
    buses = kernel_buses(wiring, w1_folder, kernel_folders)
    if not wiring.pins.any:
        return Hardware(buses)
    outputs = Outputs(wiring.pins, factory)
    return Hardware(buses, Contacts(wiring.pins, factory, clock), outputs)


def kernel_buses(wiring: Wiring, w1_folder: Path, kernel_folders: tuple[Path, Path]) -> tuple[Bus, ...]:
    """Return the buses of `wiring` below the given kernel folders; the bench gives its own.

    Each probe's folder is a link into the folder of the bus master that it hangs on; a probe that is not there now
    counts to the first bus.
    """
    masters: dict[str, list[Probe]] = {}
    for probe in wiring.probes:
        real = (w1_folder / probe.id).resolve()
        master = real.parent.name if real.exists() and real.parent != w1_folder.resolve() else FIRST_MASTER
        masters.setdefault(master, []).append(Ds18b20(probe.id, w1_folder))
    buses: list[Bus] = [W1Bus(name, tuple(probes)) for name, probes in masters.items()]
    chips: list[Probe] = [AirSensor(probe.id, kernel_folders) for probe in wiring.air]
    chips += [Thermocouple(probe.id, kernel_folders) for probe in wiring.thermocouples]
    if chips:
        buses.append(KernelBus("kernel", tuple(chips)))
    return tuple(buses)
