"""Humidity chips and thermocouples, in the kernel's own file layouts."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from hardware.air import AirSensor, Thermocouple
from hardware.bench.clock import SteppedClock
from hardware.bench.kernel_files import KernelFiles
from hardware.reading import Fault, FaultReason, Reading


def chip(folder: Path, number: str, **files: str) -> Path:
    """A chip's folder with its files."""
    made = folder / number
    made.mkdir(parents=True)
    for name, text in files.items():
        (made / name).write_text(text)
    return made


def look(sensor: AirSensor | Thermocouple) -> Reading | Fault:
    """One look."""
    (sample,) = sensor.read(SteppedClock())
    return sample.outcome


def test_offset_is_added_before_the_scale(tmp_path: Path) -> None:
    """hdc100x: raw 26214, offset −15887.515151, scale 165000/65536 (drivers/iio/humidity/hdc100x.c) is 25.999 °C.

    In the other order it would be 50 °C. The chip's sheet says the same: T = raw/65536·165 − 40 (as public drivers
    have it).
    """
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    chip(
        folders[1],
        "iio:device0",
        name="hdc100x",
        in_temp_raw="26214\n",
        in_temp_scale=f"{165000 / 65536:.9f}\n",
        in_temp_offset="-15887.515151\n",
        in_humidityrelative_raw="29491\n",
        in_humidityrelative_scale=f"{100000 / 65536:.9f}\n",
    )
    reading = look(AirSensor("hdc100x", folders))
    assert isinstance(reading, Reading)
    assert reading.celsius == pytest.approx(26214 / 65536 * 165 - 40, abs=1e-3)
    assert reading.rh_percent == pytest.approx(45.0, abs=0.01)


def test_hwmon_values_are_thousandths(tmp_path: Path) -> None:
    """sht4x: temp1_input and humidity1_input (Documentation/hwmon/sht4x.rst)."""
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    chip(folders[0], "hwmon0", name="sht4x\n", temp1_input="21437\n", humidity1_input="52310\n")
    assert look(AirSensor("sht4x", folders)) == Reading("sht4x", 21.437, "21437 52310", None, 52.31)


def test_a_chip_is_found_by_name_wherever_its_number_moves(tmp_path: Path) -> None:
    """hwmon0 and hwmon1 change places between two looks; the reading follows the name."""
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    chip(folders[0], "hwmon0", name="cpu_thermal\n", temp1_input="61000\n")
    other = chip(folders[0], "hwmon1", name="sht4x\n", temp1_input="21000\n", humidity1_input="50000\n")
    sensor = AirSensor("sht4x", folders)
    first = look(sensor)
    (folders[0] / "hwmon0").rename(folders[0] / "hwmon2")
    other.rename(folders[0] / "hwmon0")
    assert look(sensor) == first == Reading("sht4x", 21.0, "21000 50000", None, 50.0)


def test_a_chip_that_names_itself_after_its_address_is_found_by_the_device_tree(tmp_path: Path) -> None:
    """hdc100x drivers say 1-0040; the device tree says what it is."""
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    device = chip(folders[1], "iio:device0", name="1-0040\n", in_temp_input="20000\n")
    chip(device, "of_node", compatible="ti,hdc1080\0ti,hdc100x\0")
    assert isinstance(look(AirSensor("hdc100x", folders)), Reading)


def test_a_torn_thermocouple_is_a_fault(tmp_path: Path) -> None:
    """The driver answers EIO when the wire is open; no temperature comes of it."""
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    chip(folders[1], "iio:device0", name="max31856", in_temp_raw="", in_temp_scale="7.812500\n")

    def read(path: Path) -> str:
        if path.name == "in_temp_raw":
            raise OSError(errno.EIO, "Input/output error", str(path))
        return path.read_text()

    fault = look(Thermocouple("max31856", folders, read))
    assert isinstance(fault, Fault)
    assert fault.reason is FaultReason.OPEN_WIRE


def test_a_thermocouples_own_fault_file_is_believed(tmp_path: Path) -> None:
    """fault_oc says open even while the last number still stands in the file."""
    files = KernelFiles(tmp_path)
    files.plug_couple("max31856")
    files.show_couple("max31856", 118.5)
    sensor = Thermocouple("max31856", (files.hwmon, files.iio))
    assert look(sensor) == Reading("max31856", 118.5, "15168")
    files.show_couple("max31856", 118.5, open_wire=True)
    fault = look(sensor)
    assert isinstance(fault, Fault)
    assert fault.reason is FaultReason.OPEN_WIRE


@pytest.mark.parametrize(
    ("files", "reason"),
    [
        ({"name": "sht4x", "temp1_input": "bad\n"}, FaultReason.MALFORMED),
        ({"name": "sht4x", "temp1_input": "nan\n"}, FaultReason.OUT_OF_RANGE),
        ({"name": "sht4x", "temp1_input": "130000\n"}, FaultReason.OUT_OF_RANGE),
        (
            {"name": "sht4x", "temp1_input": "21000\n", "humidity1_input": "118000\n"},
            FaultReason.OUT_OF_RANGE,
        ),
        ({"name": "sht4x"}, FaultReason.MISSING),
        ({"name": "another"}, FaultReason.MISSING),
    ],
)
def test_whatever_cannot_be_true_is_a_fault(
    tmp_path: Path, files: dict[str, str], reason: FaultReason
) -> None:
    """No number, no such file, no such chip, or a number outside what the chip measures."""
    folders = (tmp_path / "hwmon", tmp_path / "iio")
    chip(folders[0], "hwmon0", **files)
    fault = look(AirSensor("sht4x", folders))
    assert isinstance(fault, Fault)
    assert fault.reason is reason
