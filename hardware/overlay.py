"""The line in a Pi's config.txt that switches its 1-Wire pins on: put in, found, and taken out again exactly.

config.txt is cut into sections ("[pi4]"), and a line counts only for the section that it stands in: ours opens "[all]"
first. `dtoverlay=w1-gpio,gpiopin=N` with pin 4 by default: the boot overlays' own README of the Raspberry Pi kernel.

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
LINE = re.compile(r"^[ \t]*dtoverlay=w1-gpio(?:-pi5|-pullup)?(?P<options>(?:,[^\r\n#]*)?)", re.MULTILINE)


def pins_in(text: str) -> list[int]:
    """GPIO numbers of the 1-Wire buses that `text` switches on, in order; empty when there is none."""
    found = []
    for line in LINE.finditer(text):
        named = re.search(r",gpiopin=(\d+)", line["options"])
        found.append(int(named[1]) if named else PIN)
    return found


def with_overlay(text: str, pin: int = PIN) -> str:
    """`text` with our lines at its end; unchanged where any 1-Wire line is there already."""
    if pins_in(text):
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

    def left(found: re.Match[str]) -> str:
        added = found["added"] or ""
        # What was added is one line end, of the kind that ours have.
        return added.removesuffix(found["end"]) if found["joined"] else added

    return ours.sub(left, text)


def main(arguments: Sequence[str]) -> int:
    """Shows, adds or removes the lines. 0 done, 3 nothing to do, 2 refused."""
    if not 2 <= len(arguments) <= 3 or arguments[0] not in ("show", "add", "remove"):
        sys.stderr.write("give show, add or remove, the path of config.txt, and perhaps a pin\n")
        return 2
    act, path = arguments[0], Path(arguments[1])
    # Bytes and line ends stay as they are: the file is the boot loader's, on a FAT partition.
    text = path.read_bytes().decode("utf-8", errors="surrogateescape")
    pin = int(arguments[2]) if len(arguments) == 3 else PIN
    changed = without_overlay(text) if act == "remove" else with_overlay(text, pin)
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
