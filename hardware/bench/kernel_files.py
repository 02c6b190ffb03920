"""Writes hwmon and IIO folders as the kernel's drivers lay them out, for a humidity chip and a thermocouple."""

from __future__ import annotations

from pathlib import Path

from hardware.bench.w1_files import write_in_place

# drivers/iio/temperature/max31856.c: in_temp_scale 7.812500, one count is 1/128 °C.
COUPLE_SCALE = 7.8125


class KernelFiles:
    """Chips below `folder`: hwmon/hwmonN for humidity chips, iio/iio:deviceN for thermocouples."""

    def __init__(self, folder: Path) -> None:
        self.hwmon = folder / "hwmon"
        self.iio = folder / "iio"
        self._chips: dict[str, Path] = {}

    def plug_air(self, name: str) -> None:
        """Make a humidity chip with temp1_input and humidity1_input."""
        self._plug(name, self.hwmon / f"hwmon{len(self._chips)}")

    def plug_couple(self, name: str) -> None:
        """Make a thermocouple amplifier with in_temp_raw, in_temp_scale and its fault files."""
        chip = self.iio / f"iio:device{len(self._chips)}"
        self._plug(name, chip)
        (chip / "in_temp_scale").write_text(f"{COUPLE_SCALE:.6f}\n", encoding="ascii")
        for fault in ("fault_oc", "fault_ovuv"):
            (chip / fault).write_text("0\n", encoding="ascii")

    def show_air(self, name: str, celsius: float, rh_percent: float) -> None:
        """Let the chip read `celsius` and `rh_percent`."""
        write_in_place(self._chips[name] / "temp1_input", f"{round(celsius * 1000)}\n")
        write_in_place(self._chips[name] / "humidity1_input", f"{round(rh_percent * 1000)}\n")

    def show_couple(self, name: str, celsius: float, *, open_wire: bool = False) -> None:
        """Let the thermocouple read `celsius`, or be torn."""
        count = round(celsius * 1000 / COUPLE_SCALE)
        write_in_place(self._chips[name] / "in_temp_raw", f"{count}\n")
        write_in_place(self._chips[name] / "fault_oc", f"{int(open_wire)}\n")

    def _plug(self, name: str, chip: Path) -> None:
        chip.mkdir(parents=True)
        (chip / "name").write_text(f"{name}\n", encoding="ascii")
        self._chips[name] = chip
