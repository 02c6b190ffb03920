"""Air temperature, humidity and thermocouples through the kernel's hwmon and IIO files.

A chip is found by its name, since the numbers in hwmon3 or iio:device0 change from boot to boot. Rules: hwmon values
are thousandths (Documentation/hwmon/sht4x.rst); IIO values are (raw + offset) · scale, offset first, and end in
thousandths too (Documentation/ABI/testing/sysfs-bus-iio). No I²C library is needed.
"""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path

from hardware.clock import Clock, Stamp
from hardware.ds18b20 import read_file
from hardware.reading import Fault, FaultReason, Probe, Reading, Sample

HWMON_FOLDER = Path("/sys/class/hwmon")
IIO_FOLDER = Path("/sys/bus/iio/devices")

AIR_C = (-40.0, 125.0)
"""Range of the humidity chips that the overlay i2c-sensor knows; wider than any room."""
HUMIDITY_PERCENT = (0.0, 100.0)
COUPLE_C = (-50.0, 1372.0)
"""Upper end: type K (IEC 60584-1). Lower end: colder than any workshop; our own choice."""


class _Files:
    """The kernel files of one chip, found anew at each look: a chip that was plugged in again has another number."""

    def __init__(self, name: str, folders: tuple[Path, Path], read: Callable[[Path], str]) -> None:
        self._name = name
        self._folders = folders
        self._read = read

    def chip(self) -> Path | None:
        for folder in self._folders:
            for chip in sorted(folder.glob("*")):
                if self._is_it(chip):
                    return chip
        return None

    def _is_it(self, chip: Path) -> bool:
        try:
            if self._read(chip / "name").strip() == self._name:
                return True
        except OSError:
            return False
        # Some drivers (hdc100x) name themselves after the bus address; the device tree has the chip's name.
        try:
            compatible = self._read(chip / "of_node" / "compatible")
        except OSError:
            return False
        return any(entry.rpartition(",")[2] == self._name for entry in compatible.split("\0"))

    def milli(self, chip: Path, quantity: str) -> tuple[float, str] | None:
        """Value of `quantity` in thousandths and the text that it came from; None if the chip does not have it."""
        hwmon, iio_input = chip / f"{quantity}1_input", chip / f"in_{quantity}_input"
        if quantity == "humidityrelative":
            hwmon = chip / "humidity1_input"
        for ready in (hwmon, iio_input):
            if ready.exists():
                text = self._read(ready).strip()
                return float(text), text
        raw_file = chip / f"in_{quantity}_raw"
        if not raw_file.exists():
            return None
        text = self._read(raw_file).strip()
        offset = self._number(chip / f"in_{quantity}_offset", 0.0)
        scale = self._number(chip / f"in_{quantity}_scale", 1.0)
        return (float(text) + offset) * scale, text

    def _number(self, path: Path, absent: float) -> float:
        return float(self._read(path)) if path.exists() else absent


class AirSensor:
    """Temperature and, where the chip has it, humidity of the room's air."""

    def __init__(
        self,
        name: str,
        folders: tuple[Path, Path] = (HWMON_FOLDER, IIO_FOLDER),
        read: Callable[[Path], str] = read_file,
    ) -> None:
        self.id = name
        self._files = _Files(name, folders, read)

    def read(self, clock: Clock) -> list[Sample]:
        """Look once; see `Probe.read`."""
        outcome = _guarded(self.id, self._files, self._look)
        return [Sample(clock.stamp(), outcome)]

    def release(self) -> list[Sample]:
        """Nothing is ever held."""
        return []

    def _look(self, chip: Path) -> Reading | Fault:
        heat = self._files.milli(chip, "temp")
        if heat is None:
            return Fault(self.id, FaultReason.MISSING, f"{chip} has no temperature file")
        damp = self._files.milli(chip, "humidityrelative")
        celsius, raw = heat[0] / 1000, heat[1]
        percent = None if damp is None else damp[0] / 1000
        if damp is not None:
            raw = f"{raw} {damp[1]}"
        if not AIR_C[0] <= celsius <= AIR_C[1]:
            return _outside(self.id, f"{celsius:.2f} °C", f"{AIR_C[0]:g} to {AIR_C[1]:g} °C", raw)
        if percent is not None and not HUMIDITY_PERCENT[0] <= percent <= HUMIDITY_PERCENT[1]:
            return _outside(self.id, f"{percent:.1f} % humidity", "0 to 100 %", raw)
        return Reading(self.id, celsius, raw, None, percent)


class Thermocouple:
    """A thermocouple amplifier on SPI, for cores that may pass 100 °C, where the DS18B20 grows inexact."""

    def __init__(
        self,
        name: str,
        folders: tuple[Path, Path] = (HWMON_FOLDER, IIO_FOLDER),
        read: Callable[[Path], str] = read_file,
    ) -> None:
        self.id = name
        self._files = _Files(name, folders, read)
        self._read = read

    def read(self, clock: Clock) -> list[Sample]:
        """Look once; see `Probe.read`."""
        outcome = _guarded(self.id, self._files, self._look, on_eio=FaultReason.OPEN_WIRE)
        return [Sample(clock.stamp(), outcome)]

    def release(self) -> list[Sample]:
        """Nothing is ever held."""
        return []

    def _look(self, chip: Path) -> Reading | Fault:
        for name, meaning in (
            ("fault_oc", "its wire is open"),
            ("fault_ovuv", "its input is over or under voltage"),
        ):
            if (chip / name).exists() and self._read(chip / name).strip() not in ("0", ""):
                return Fault(self.id, FaultReason.OPEN_WIRE, f"the amplifier says that {meaning}")
        heat = self._files.milli(chip, "temp")
        if heat is None:
            return Fault(self.id, FaultReason.MISSING, f"{chip} has no temperature file")
        celsius = heat[0] / 1000
        if not COUPLE_C[0] <= celsius <= COUPLE_C[1]:
            return _outside(self.id, f"{celsius:.2f} °C", f"{COUPLE_C[0]:g} to {COUPLE_C[1]:g} °C", heat[1])
        return Reading(self.id, celsius, heat[1])


class KernelBus:
    """Chips whose driver answers at once; read one after another."""

    def __init__(self, name: str, probes: tuple[Probe, ...]) -> None:
        self.name = name
        self.probes = probes

    def begin_sweep(self, stamp: Stamp) -> None:
        """Nothing to prepare."""


def _outside(probe: str, measured: str, allowed: str, raw: str) -> Fault:
    return Fault(probe, FaultReason.OUT_OF_RANGE, f"{measured}; the sensor measures {allowed}", raw)


def _guarded(
    probe: str,
    files: _Files,
    look: Callable[[Path], Reading | Fault],
    on_eio: FaultReason = FaultReason.IO_ERROR,
) -> Reading | Fault:
    chip = files.chip()
    if chip is None:
        return Fault(
            probe, FaultReason.MISSING, f"no chip named {probe}: check its overlay line and its wires"
        )
    try:
        return look(chip)
    except FileNotFoundError as gone:
        return Fault(probe, FaultReason.MISSING, f"{gone.filename} is gone: check plug and cable")
    except OSError as error:
        reason = on_eio if error.errno == errno.EIO else FaultReason.IO_ERROR
        return Fault(probe, reason, f"{chip}: {error.strerror or error}")
    except ValueError as error:
        return Fault(probe, FaultReason.MALFORMED, f"{chip}: {error}")
