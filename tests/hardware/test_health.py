"""The supply and the disk, as the kernel tells of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.health import disk_free_mb, power_low


@pytest.mark.parametrize(("alarm", "low"), [("1\n", True), ("0\n", False)])
def test_the_kernels_under_voltage_alarm_is_read(tmp_path: Path, alarm: str, low: bool) -> None:
    """Documentation/hwmon/raspberrypi-hwmon.rst: in0_lcrit_alarm of rpi_volt, whatever its number is."""
    (tmp_path / "hwmon0").mkdir()
    (tmp_path / "hwmon0" / "name").write_text("cpu_thermal\n")
    (tmp_path / "hwmon3").mkdir()
    (tmp_path / "hwmon3" / "name").write_text("rpi_volt\n")
    (tmp_path / "hwmon3" / "in0_lcrit_alarm").write_text(alarm)
    assert power_low(tmp_path) is low


def test_a_machine_without_that_chip_does_not_say_that_all_is_well(tmp_path: Path) -> None:
    """None is not False: what is not known raises nothing and clears nothing."""
    assert power_low(tmp_path) is None
    (tmp_path / "hwmon0").mkdir()
    (tmp_path / "hwmon0" / "name").write_text("rpi_volt\n")
    assert power_low(tmp_path) is None


def test_the_room_on_the_disk_is_told_in_megabytes(tmp_path: Path) -> None:
    """And nothing where there is no such folder."""
    assert (disk_free_mb(tmp_path) or 0) > 0
    assert disk_free_mb(tmp_path / "none") is None
