"""The controller behind a Pi's 40-pin header, and who has its pins. The library is loaded when it is first needed."""

from __future__ import annotations

from pathlib import Path

from hardware.errors import HardwareMissing

DEVICES = Path("/dev")
CONSUMER = "pourlog"
HEADER_LABELS = ("pinctrl-bcm2835", "pinctrl-bcm2711", "pinctrl-rp1")
"""The controller behind the 40-pin header: Pi 1 to 3, Pi 4, Pi 5 (labels in the kernel's pinctrl-bcm2835.c and
pinctrl-rp1.c). Its device number differs from kernel to kernel, and other controllers have lines that must not be
touched."""


def header_chip(devices: Path = DEVICES) -> Path:
    """Return the device of the 40-pin header. Raises HardwareMissing where there is none that may be opened."""
    import gpiod

    others: list[str] = []
    for path in sorted(devices.glob("gpiochip*")):
        try:
            with gpiod.Chip(str(path)) as chip:
                label = chip.get_info().label
        except OSError as error:
            label = f"not opened: {error.strerror}"
        if label in HEADER_LABELS:
            return path
        others.append(f"{path.name} ({label})")
    if not others:
        raise HardwareMissing("this machine shows no pins (/dev/gpiochip…): run the station on the Pi")
    raise HardwareMissing(
        f"none of {', '.join(others)} is a Pi's pin header; allowed: {', '.join(HEADER_LABELS)}; "
        "the station's user must be in the group that owns these devices"
    )


def holder(pin: int, devices: Path = DEVICES) -> str | None:
    """Who has a pin, by the name that they gave; None: nobody. Raises HardwareMissing, OSError."""
    import gpiod

    with gpiod.Chip(str(header_chip(devices))) as chip:
        line = chip.get_line_info(pin)
    return (line.consumer or "the kernel") if line.used else None
