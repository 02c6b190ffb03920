"""One sweep: look at every probe, one thread a bus, and stamp each look."""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hardware.clock import Clock
from hardware.contacts import ContactChange
from hardware.reading import Bus, Fault, FaultReason, Sample
from hardware.station import ProbeWiring
from logger.wire import TEXT_LETTERS, UnnumberedReading

log = logging.getLogger(__name__)

FIRST_HOUR_S = 3600.0
FIRST_HOUR_PERIOD_S = 5.0
LATER_PERIOD_S = 30.0
DEADLINE_S = 5.0
"""A bus has this long, and PROBE_DEADLINE_S more for each probe: three conversions of 0.75 s and their transfers."""
PROBE_DEADLINE_S = 4.0

CONTACT_PLACES = {
    "wet": ("wet-contact", "under-form"),
    "acknowledge": ("acknowledge-button", "station"),
    "fan_proof": ("fan-proof", "fan"),
}


@dataclass(frozen=True, slots=True)
class Sweep:
    """Rows of one sweep, and whether every bus came back in time."""

    rows: list[UnnumberedReading]
    finished: bool


class Sampler:
    """Sweeps over the buses of one station. Call from one thread; `close` at the end."""

    def __init__(
        self, buses: Sequence[Bus], probes: Sequence[ProbeWiring], clock: Clock, *, threads: bool = True
    ) -> None:
        self._clock = clock
        self._wiring = {probe.id: probe for probe in probes}
        self._readers = [(_BusReader if threads else _DirectReader)(bus, clock) for bus in buses]

    def place(self, places: Mapping[str, str]) -> None:
        """From the next row on, these probes sit there; of others nothing is known. From any thread."""
        # A new table at once: a sweep in another thread has either the old one or this one, never half.
        self._wiring = {
            rom: replace(probe, place=places.get(rom, probe.place)) for rom, probe in self._wiring.items()
        }

    def sweep(self) -> Sweep:
        """Look at every probe once. A bus that is stuck gives faults, and does not hold up the others."""
        for reader in self._readers:
            reader.begin()
        rows: list[UnnumberedReading] = []
        finished = True
        for reader in self._readers:
            samples = reader.take()
            if samples is None:
                finished = False
                samples = self._stuck(reader.bus)
            rows += [as_row(sample, self._wiring) for sample in samples]
        return Sweep(rows, finished)

    def close(self) -> list[UnnumberedReading]:
        """End the threads; return what the probes still held, as faults."""
        rows: list[UnnumberedReading] = []
        for reader in self._readers:
            rows += [as_row(sample, self._wiring) for sample in reader.close()]
        return rows

    def _stuck(self, bus: Bus) -> list[Sample]:
        stamp = self._clock.stamp()
        detail = f"the bus {bus.name} did not come back in time: check for a short, then restart the station"
        return [Sample(stamp, Fault(probe.id, FaultReason.STUCK, detail)) for probe in bus.probes]


class _DirectReader:
    """Reads in the calling thread: for buses whose files never block."""

    def __init__(self, bus: Bus, clock: Clock) -> None:
        self.bus = bus
        self._clock = clock

    def begin(self) -> None:
        """Do nothing: `take` reads."""

    def take(self) -> list[Sample] | None:
        """Read every probe of the bus now."""
        return look_at_all(self.bus, self._clock)

    def close(self) -> list[Sample]:
        """Return what the probes still held."""
        return [sample for probe in self.bus.probes for sample in probe.release()]


class _BusReader:
    """The thread of one bus. Reads block for most of a second each; they do it here."""

    def __init__(self, bus: Bus, clock: Clock) -> None:
        self.bus = bus
        self._clock = clock
        self._asked: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._answers: queue.SimpleQueue[list[Sample] | BaseException] = queue.SimpleQueue()
        self._busy = False
        self._stuck = False
        self._deadline_s = DEADLINE_S + PROBE_DEADLINE_S * len(bus.probes)
        # A read that hangs in the kernel cannot be ended; it must not keep the process alive.
        self._thread = threading.Thread(target=self._run, name=f"bus {bus.name}", daemon=True)
        self._thread.start()

    def begin(self) -> None:
        """Ask for a sweep, unless the last one is still stuck."""
        if not self._busy:
            self._busy = True
            self._asked.put(True)

    def take(self) -> list[Sample] | None:
        """Return the sweep's samples; None if the bus is stuck. A sweep that comes back late is let through then."""
        try:
            # Real time, whatever the clock: this guards against hardware. The full wait is for the first time only.
            answer = self._answers.get(timeout=0.01 if self._stuck else self._deadline_s)
        except queue.Empty:
            self._stuck = True
            return None
        self._busy = self._stuck = False
        if isinstance(answer, BaseException):
            raise answer
        return answer

    def close(self) -> list[Sample]:
        """End the thread; return what the probes still held."""
        self._asked.put(False)
        self._thread.join(timeout=None if not self._busy else 0.1)
        if self._thread.is_alive():
            log.error("bus %s is still stuck", self.bus.name)
            return []
        return [sample for probe in self.bus.probes for sample in probe.release()]

    def _run(self) -> None:
        while self._asked.get():
            try:
                samples = look_at_all(self.bus, self._clock)
            except BaseException as error:  # noqa: BLE001 - handed to the thread that asked, which raises it
                self._answers.put(error)
            else:
                self._answers.put(samples)


def look_at_all(bus: Bus, clock: Clock) -> list[Sample]:
    """Read every probe of a bus, one after the other."""
    bus.begin_sweep(clock.stamp())
    return [sample for probe in bus.probes for sample in probe.read(clock)]


def as_row(sample: Sample, wiring: Mapping[str, ProbeWiring]) -> UnnumberedReading:
    """Return the row of one sample: place and offset from the wiring."""
    outcome = sample.outcome
    probe = wiring[outcome.probe]
    if isinstance(outcome, Fault):
        return UnnumberedReading(
            probe=probe.id,
            place=probe.place,
            stamp=sample.stamp,
            milli_c=None,
            fault=outcome.reason.value,
            raw=outcome.raw,
            note=outcome.detail[:TEXT_LETTERS],
        )
    return UnnumberedReading(
        probe=probe.id,
        place=probe.place,
        stamp=sample.stamp,
        milli_c=round((outcome.celsius + probe.offset_c) * 1000),
        fault=None,
        raw=outcome.raw,
        note=outcome.note,
        milli_rh=None if outcome.rh_percent is None else round(outcome.rh_percent * 1000),
    )


def contact_row(change: ContactChange) -> UnnumberedReading:
    """Return the row of one change of a contact: no temperature, no fault, the state in words as its note."""
    probe, place = CONTACT_PLACES[change.contact]
    return UnnumberedReading(
        probe=probe,
        place=place,
        stamp=change.stamp,
        milli_c=None,
        fault=None,
        raw=str(int(change.closed)),
        note=change.meaning,
    )


@dataclass(frozen=True, slots=True)
class Periods:
    """Seconds from sweep to sweep: in the first hour, and later."""

    first_hour_s: float = FIRST_HOUR_PERIOD_S
    later_s: float = LATER_PERIOD_S

    def own(self, age_s: float) -> float:
        """Return the station's own period, `age_s` seconds after its start."""
        return self.first_hour_s if age_s < FIRST_HOUR_S else self.later_s
