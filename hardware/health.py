"""What the machine knows of itself: whether its supply is too weak, and how much room its disk has.

The kernel's driver raspberrypi-hwmon tells under-voltage as in0_lcrit_alarm of the chip "rpi_volt"
(Documentation/hwmon/raspberrypi-hwmon.rst): 1 when the supply has been below its least since it was last read.
"""

from __future__ import annotations

import shutil
from pathlib import Path

HWMON_FOLDER = Path("/sys/class/hwmon")
CHIP = "rpi_volt"


def power_low(hwmon: Path = HWMON_FOLDER) -> bool | None:
    """Whether the supply is too weak; None on a machine that does not tell."""
    for chip in sorted(hwmon.glob("*")):
        try:
            if (chip / "name").read_text().strip() == CHIP:
                return (chip / "in0_lcrit_alarm").read_text().strip() == "1"
        except OSError:
            continue
    return None


def disk_free_mb(folder: Path) -> float | None:
    """Room on the disk of a folder, MB; None when it cannot be told."""
    try:
        return round(shutil.disk_usage(folder).free / 1e6, 1)
    except OSError:
        return None
