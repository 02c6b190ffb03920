"""The bench: a whole station without hardware, read by the same driver code as a Pi's."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from hardware.bench.kernel_files import KernelFiles
from hardware.bench.trace import Trace, steady
from hardware.bench.w1_files import Misreading, W1Files, lying_text, scratchpad, w1_text
from hardware.clock import Clock, Stamp
from hardware.contacts import Contacts
from hardware.errors import BadTrace
from hardware.outputs import Outputs
from hardware.pins import Pins
from hardware.reading import Bus, Probe
from hardware.station import Hardware, Wiring, kernel_buses

if TYPE_CHECKING:
    from hardware.bench.pins import BenchPins

_DAMP = steady(45.0)
FOLDER_LINGERS_S = 100.0
"""The kernel keeps a pulled probe's folder about this long (search every 10 s, 10 misses)."""


@dataclass(frozen=True, slots=True)
class FaultWindow:
    """`probe` does `lie` from `from_s` until `until_s` (seconds since the bench's start)."""

    probe: str
    from_s: float
    until_s: float
    lie: Misreading


@dataclass(frozen=True, slots=True)
class Misbehaviour:
    """How the bench's probes fail: windows in which they answer wrongly, probes that answer as counterfeits do, and the
    seed of what is random in that."""

    windows: Iterable[FaultWindow] = ()
    clones: Iterable[str] = ()
    seed: int = 1


class Bench:
    """Plays traces into w1 files at the moment of each sweep, and stands in for a Pi's pins.

    `traces`: °C over seconds since the first sweep, by probe id (or chip name). `damp`: relative humidity (%), by
    chip name; 45 % where none is given. `clones`: ids whose byte 6 is stuck. `seed` decides which reads fail where
    a lie fails only some.
    """

    def __init__(
        self,
        wiring: Wiring,
        clock: Clock,
        folder: Path,
        traces: Mapping[str, Trace],
        *,
        damp: Mapping[str, Trace] | None = None,
        misbehaviour: Misbehaviour | None = None,
    ) -> None:
        misbehaviour = misbehaviour or Misbehaviour()
        missing = [probe.id for probe in wiring.all_probes if probe.id not in traces]
        if missing:
            raise BadTrace(f"no trace for {', '.join(missing)}: give each probe of the bench one")
        self.files = W1Files(folder / "w1")
        self.kernel_files = KernelFiles(folder)
        self.contacts: BenchContacts | None = None
        self.pins: BenchPins | None = None
        self.started: Stamp | None = None
        self._traces = dict(traces)
        self._faults = sorted(misbehaviour.windows, key=lambda window: window.from_s)
        self._clones = frozenset(misbehaviour.clones)
        self._lock = threading.Lock()
        self._random = random.Random(misbehaviour.seed)
        self._last: dict[str, bytes] = {}
        self._wiring = wiring
        self._damp = dict(damp or {})
        for probe in wiring.probes:
            self.files.plug(probe.id)
        for air in wiring.air:
            self.kernel_files.plug_air(air.id)
        for couple in wiring.thermocouples:
            self.kernel_files.plug_couple(couple.id)
        inner = kernel_buses(wiring, self.files.folder, (self.kernel_files.hwmon, self.kernel_files.iio))
        buses: tuple[Bus, ...] = tuple(_PlayedBus(bus, self) for bus in inner)
        if not wiring.pins.any:
            self.hardware = Hardware(buses)
            return
        from hardware.bench.pins import BenchPins  # late: a station without pins need not load gpiozero

        pins = self.pins = BenchPins(clock)
        self.contacts = BenchContacts(wiring.pins, pins)
        contacts, outputs = Contacts(wiring.pins, lambda: pins, clock), Outputs(wiring.pins, lambda: pins)
        self.hardware = Hardware(buses, contacts, outputs)

    def truth(self, probe: str, t_s: float) -> float:
        """Return the temperature (°C) that `probe` really has, whatever it says."""
        return self._traces[probe](t_s)

    def play(self, stamp: Stamp, probes: Iterable[str]) -> None:
        """Write what the files of `probes` say at this moment. Each bus plays its own, in its own thread."""
        with self._lock:
            if self.started is None:
                self.started = stamp
            t_s = (stamp.boot_ms - self.started.boot_ms) / 1000
            self._play(t_s, frozenset(probes))

    def _play(self, t_s: float, probes: frozenset[str]) -> None:
        while self._faults and self._faults[0].until_s <= t_s:
            self._faults.pop(0)
        lies = {window.probe: window for window in self._faults if window.from_s <= t_s < window.until_s}
        for wired in self._wiring.probes:
            if wired.id in probes:
                self._play_one(wired.id, self._traces[wired.id], t_s, lies.get(wired.id))
        for air in self._wiring.air:
            if air.id in probes:
                damp = self._damp.get(air.id, _DAMP)
                self.kernel_files.show_air(air.id, self._traces[air.id](t_s), damp(t_s))
        for couple in self._wiring.thermocouples:
            if couple.id in probes:
                # Any lie of a thermocouple is a torn wire: it has no other.
                torn = couple.id in lies
                self.kernel_files.show_couple(couple.id, self._traces[couple.id](t_s), open_wire=torn)

    def _play_one(self, probe: str, trace: Trace, t_s: float, window: FaultWindow | None) -> None:
        if window is not None and window.lie is Misreading.PULLED and t_s - window.from_s >= FOLDER_LINGERS_S:
            self.files.unplug(probe)
            return
        if not self.files.is_plugged(probe):
            self.files.plug(probe)
        truth = scratchpad(trace(t_s), clone=probe in self._clones)
        silent_truth = window is None or (window.lie is Misreading.WATER and self._random.random() < 1 / 3)
        if silent_truth:
            self._last[probe] = truth
            self.files.show(probe, w1_text(truth))
            return
        assert window is not None
        last = self._last.setdefault(probe, truth)
        if window.lie in (Misreading.BAD_CRC, Misreading.WATER, Misreading.TORN):
            last = truth
        self.files.show(probe, lying_text(window.lie, last))


class BenchContacts:
    """A hand at the bench's contacts."""

    def __init__(self, pins: Pins, factory: BenchPins) -> None:
        self._pins = pins
        self._factory = factory

    def set(self, contact: str, closed: bool) -> None:
        """Close or open `contact` (wet, acknowledge, fan_proof). Raises KeyError if it is not wired."""
        number = getattr(self._pins, contact)
        if number is None:
            raise KeyError(f"{contact} is not wired on this bench")
        pin = self._factory.pin(number)
        if closed is getattr(self._pins, f"{contact}_active_high"):
            pin.drive_high()
        else:
            pin.drive_low()


class _PlayedBus:
    """A bus whose probes' files are written just before they are read."""

    def __init__(self, bus: Bus, bench: Bench) -> None:
        self._bus = bus
        self._bench = bench

    @property
    def name(self) -> str:
        return self._bus.name

    @property
    def probes(self) -> tuple[Probe, ...]:
        return self._bus.probes

    def begin_sweep(self, stamp: Stamp) -> None:
        self._bench.play(stamp, [probe.id for probe in self._bus.probes])
        self._bus.begin_sweep(stamp)
