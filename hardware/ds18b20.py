"""DS18B20 probes through the kernel's w1 files: found by w1thermsensor, read and judged by ourselves.

The library finds the probes; it is not asked for temperatures, because it trusts the word YES, refuses every 85.0
and lets 127.94 pass.
"""

from __future__ import annotations

import errno
import logging
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hardware.clock import Clock, Stamp
from hardware.errors import HardwareMissing
from hardware.plausibility import AMBIGUOUS_C, HOLD_LONGEST_S, Belief, PlausibilityCheck, settle
from hardware.reading import Fault, FaultReason, Probe, Reading, Sample
from hardware.scratchpad import Ambiguous, Bad, Good, Verdict, decode

log = logging.getLogger(__name__)

W1_FOLDER = Path("/sys/bus/w1/devices")
PROBE_ID = re.compile(r"28-[0-9a-f]{12}")
READS = 3
"""One read and two more in the same sweep: a read that fails once usually works the next time."""

RETRIED = frozenset({FaultReason.EMPTY, FaultReason.BAD_CRC, FaultReason.MALFORMED, FaultReason.IO_ERROR})


def find_probes(folder: Path = W1_FOLDER) -> list[str]:
    """Ids of the DS18B20 on all buses, sorted. Raises HardwareMissing if the kernel shows no 1-Wire folder."""
    # Importing the library runs modprobe unless this is set first; the overlay in config.txt loads the driver.
    os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"
    from w1thermsensor import Sensor, W1ThermSensor  # late: importing any module of ours must do nothing
    from w1thermsensor.errors import NoSensorFoundError

    # A class of our own for each folder: the library keeps it as a class attribute.
    library: Any = type("ProbesIn", (W1ThermSensor,), {"BASE_DIRECTORY": folder})
    try:
        sensors = library.get_available_sensors([Sensor.DS18B20])
    except FileNotFoundError as gone:
        raise HardwareMissing(
            f"{folder}: no 1-Wire folder; add the line dtoverlay=w1-gpio to config.txt and restart the Pi"
        ) from gone
    except NoSensorFoundError:
        # One folder lost its file while the library looked: a probe is being unplugged. List what can be read.
        return sorted(path.parent.name for path in folder.glob("28-*/w1_slave"))
    return sorted(f"28-{sensor.id}" for sensor in sensors)


def read_file(path: Path) -> str:
    """Text of one kernel file. The kernel converts during this read: 0.75 s at 12 bit."""
    with path.open("rb", buffering=0) as file:
        return file.read().decode("ascii", errors="replace")


class Ds18b20:
    """One probe. Reads at most three times a sweep, and keeps the history that judging needs."""

    def __init__(
        self, probe_id: str, folder: Path = W1_FOLDER, read: Callable[[Path], str] = read_file
    ) -> None:
        self.id = probe_id
        self.plausibility = PlausibilityCheck()
        self._path = folder / probe_id / "w1_slave"
        self._read = read
        self._held: list[tuple[Stamp, Ambiguous]] = []
        self._told_clone = False

    def read(self, clock: Clock) -> list[Sample]:
        """Look once; see `Probe.read`."""
        verdict = self._look(clock)
        stamp = clock.stamp()
        if isinstance(verdict, Bad):
            fault = Fault(self.id, verdict.reason, verdict.detail, verdict.raw)
            return [*self._give_up(stamp), Sample(stamp, fault)]
        if isinstance(verdict, Good):
            before = self.plausibility.last_good
            doubt = self.plausibility.take(verdict, stamp.boot_s)
            # A reading that may be old settles nothing.
            released = self._give_up(stamp) if doubt else self._settle(stamp, verdict, before)
            note = doubt or self._clone_note()
            reading = Reading(self.id, verdict.celsius, verdict.raw.hex(), note)
            return [*released, Sample(stamp, reading)]
        belief = self.plausibility.believe(verdict, stamp.boot_s)
        if belief is Belief.HOLD:
            released = self._give_up(stamp)
            self._held.append((stamp, verdict))
            return released
        return [*self._give_up(stamp), self._resolved(stamp, verdict, belief)]

    def release(self) -> list[Sample]:
        """Let go of what is held, as faults."""
        held, self._held = self._held, []
        return [self._resolved(stamp, verdict, Belief.POWER_ON) for stamp, verdict in held]

    def _look(self, clock: Clock) -> Verdict:
        verdict: Verdict = Bad(FaultReason.EMPTY, "not read")
        for _ in range(READS):
            verdict = self._read_once()
            if isinstance(verdict, Good):
                break
            if isinstance(verdict, Bad) and verdict.reason not in RETRIED:
                break
            if (
                isinstance(verdict, Ambiguous)
                and self.plausibility.believe(verdict, clock.stamp().boot_s) is Belief.TRUE
            ):
                break
        return verdict

    def _read_once(self) -> Verdict:
        try:
            return decode(self._read(self._path))
        except (FileNotFoundError, NotADirectoryError):
            return Bad(FaultReason.MISSING, f"{self._path} is gone: check plug and cable")
        except OSError as error:
            if error.errno == errno.ENODEV:
                return Bad(FaultReason.MISSING, f"{self._path}: {error.strerror}: check plug and cable")
            return Bad(FaultReason.IO_ERROR, f"{self._path}: {error.strerror or error}")

    def _settle(self, stamp: Stamp, good: Good, before: tuple[float, float] | None) -> list[Sample]:
        held, self._held = self._held, []
        after = (stamp.boot_s, good.celsius)
        return [self._resolved(at, verdict, settle(at.boot_s, before, after)) for at, verdict in held]

    def _give_up(self, stamp: Stamp) -> list[Sample]:
        if not self._held or stamp.boot_s - self._held[0][0].boot_s <= HOLD_LONGEST_S:
            return []
        return self.release()

    def _resolved(self, stamp: Stamp, verdict: Ambiguous, belief: Belief) -> Sample:
        raw = verdict.raw.hex()
        if belief is Belief.TRUE:
            note = "85.0 °C that the bytes do not prove; the readings around it agree"
            return Sample(stamp, Reading(self.id, AMBIGUOUS_C, raw, note))
        detail = "85.0 °C is what the chip wakes up with, and the readings around it do not lead there"
        return Sample(stamp, Fault(self.id, FaultReason.POWER_ON, detail, raw))

    def _clone_note(self) -> str | None:
        if self._told_clone or self.plausibility.genuine is not False:
            return None
        self._told_clone = True
        log.warning("probe %s does not behave like a genuine chip: check it in ice water", self.id)
        return "not verified genuine: check it in ice water"


class W1Bus:
    """The probes of one 1-Wire folder: read one after another, since the wire carries one conversation at a time."""

    def __init__(self, name: str, probes: tuple[Probe, ...]) -> None:
        self.name = name
        self.probes = probes

    def begin_sweep(self, stamp: Stamp) -> None:
        """Nothing to prepare: each read converts by itself."""
