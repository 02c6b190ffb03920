"""The line in a Pi's config.txt that switches its 1-Wire pins on: put in, found, and taken out again exactly.

config.txt is cut into sections ("[pi4]"), and a line counts only on the models of the section that it stands in: ours
opens "[all]" first, and another's counts as it would on this machine. `dtoverlay=w1-gpio,gpiopin=N` with pin 4 by
default: the boot overlays' own README of the Raspberry Pi kernel.

    python3 -m hardware.overlay show|add|remove CONFIG [PIN]
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path

PIN = 4
BEGIN = "# pourlog: thermometers on the 1-Wire pin (put in by systemd/install, taken out by systemd/remove)"
JOINED = BEGIN + "; a line end was missing above"
END = "# end of pourlog"
#: A line that switches 1-Wire on, whoever wrote it.
LINE = re.compile(r"[ \t]*dtoverlay=w1-gpio(?:-pi5|-pullup)?(?P<options>(?:,[^\r\n#]*)?)")
SECTION = re.compile(r"[ \t]*\[(?P<name>[^\]]*)\]")
MODEL = Path("/proc/device-tree/model")
#: What the kernel calls a model, and the sections that count on it; the first that fits (the makers' documentation of
#: config.txt, "Model filters").
SECTIONS_OF = (
    (r"Pi 500", {"pi500", "pi5"}),
    (r"Compute Module 5", {"cm5", "pi5"}),
    (r"Pi 5\b", {"pi5"}),
    (r"Pi 400", {"pi400", "pi4"}),
    (r"Compute Module 4S", {"cm4s", "pi4"}),
    (r"Compute Module 4", {"cm4", "pi4"}),
    (r"Pi 4\b", {"pi4"}),
    (r"Compute Module 3 Plus", {"cm3+", "cm3", "pi3+", "pi3"}),
    (r"Compute Module 3", {"cm3", "pi3"}),
    (r"Pi 3 Model . Plus", {"pi3+", "pi3"}),
    (r"Pi 3\b", {"pi3"}),
    (r"Compute Module 0", {"cm0", "pi02", "pi0w", "pi0"}),
    (r"Pi Zero 2", {"pi02", "pi0w", "pi0"}),
    (r"Pi Zero W", {"pi0w", "pi0"}),
    (r"Pi Zero", {"pi0"}),
    (r"Pi 2\b", {"pi2"}),
    (r"Pi (Model|Compute Module Rev)", {"pi1"}),
)
EVERY_MODEL = frozenset(name for _, names in SECTIONS_OF for name in names) | {"cm1"}


def this_model(path: Path = MODEL) -> str:
    """Return what the kernel calls this machine; empty where it does not say."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip("\0 \t\r\n")
    except OSError:
        return ""


def pins_in(text: str, model: str) -> list[int]:
    """GPIO numbers of the 1-Wire buses that `text` switches on at a machine of that model, in order.

    A section of a model replaces the one of another model; "[all]" ends every section. What depends on a screen, a
    serial number or a pin's level cannot be seen from here: it does not count.
    """
    sections = next((names for pattern, names in SECTIONS_OF if re.search(pattern, model)), set())
    pins, of_model, unseen = [], True, False
    for line in text.splitlines():
        section, overlay = SECTION.match(line), LINE.match(line)
        if section:
            name = section["name"].strip().lower()
            if name in ("all", "none"):
                of_model, unseen = name == "all", False
            elif name in EVERY_MODEL:
                of_model = name in sections
            else:
                unseen = True
        elif overlay and of_model and not unseen:
            named = re.search(r",gpiopin=(\d+)", overlay["options"])
            pins.append(int(named[1]) if named else PIN)
    return pins


def with_overlay(text: str, pin: int = PIN, model: str = "") -> str:
    """`text` with our lines at its end; unchanged where ours are there, or another 1-Wire line counts on that model."""
    if pins_in(text, model) or BEGIN in text:
        return text
    end = "\r\n" if "\r\n" in text else "\n"
    joined = text != "" and not text.endswith("\n")
    lines = [JOINED if joined else BEGIN, "[all]", f"dtoverlay=w1-gpio,gpiopin={pin}", END, ""]
    return text + (end if joined else "") + end.join(lines)


def without_overlay(text: str) -> str:
    """`text` without our lines: what it was before, and whatever was written around them since."""
    ours = re.compile(
        rf"(?P<added>\r?\n)?(?P<head>{re.escape(BEGIN)}(?P<joined>[^\r\n]*))(?P<end>\r?\n).*?{re.escape(END)}(?:\r?\n|\Z)",
        re.DOTALL,
    )

    def left(match: re.Match[str]) -> str:
        added = match["added"] or ""
        # What was added is one line end, of the kind that ours have.
        return added.removesuffix(match["end"]) if match["joined"] else added

    return ours.sub(left, text)


def main(arguments: Sequence[str], model: str | None = None) -> int:
    """Show, add or remove the lines. 0 done, 3 nothing to do, 2 refused."""
    if not 2 <= len(arguments) <= 3 or arguments[0] not in ("show", "add", "remove"):
        sys.stderr.write("give show, add or remove, the path of config.txt, and perhaps a pin\n")
        return 2
    act, path = arguments[0], Path(arguments[1])
    # Bytes and line ends stay as they are: the file is the boot loader's, on a FAT partition.
    text = path.read_bytes().decode("utf-8", errors="surrogateescape")
    pin = int(arguments[2]) if len(arguments) == 3 else PIN
    changed = (
        without_overlay(text)
        if act == "remove"
        else with_overlay(text, pin, this_model() if model is None else model)
    )
    if changed == text:
        return 3
    if act == "show":
        sys.stdout.write(changed[len(text) :].lstrip("\r\n"))
        return 0
    beside = path.with_name(path.name + ".pourlog-new")
    with beside.open("wb") as file:
        file.write(changed.encode("utf-8", errors="surrogateescape"))
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
