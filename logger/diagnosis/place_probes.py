"""Places probes: from the one that warms in a hand to the station file."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path

import tomli_w

from hardware.clock import Clock
from hardware.ds18b20 import W1_FOLDER, Ds18b20, find_probes
from hardware.errors import HardwareMissing
from hardware.reading import Reading
from hardware.warmed import warmed
from logger.daemon.station_file import read_content
from logger.errors import BadSettings
from logger.words.phrase import phrase

#: Places in the order in which they are asked for, with the words of the question.
ASKED = (
    ("core", phrase("the CORE, in its sleeve in the middle of the resin")),
    ("surface", phrase("the SURFACE, just under the top")),
    ("underside", phrase("the UNDERSIDE of the bottom panel")),
    ("room", phrase("the ROOM, in the shade")),
)
#: How long a hand is waited for, and how often the probes are read, s.
PATIENCE_S, LOOK_S = 90.0, 2.0


@dataclass(frozen=True, slots=True)
class PlacedProbe:
    """A probe and where it sits."""

    id: str
    place: str


def probe_temperatures(clock: Clock, folder: Path = W1_FOLDER) -> Callable[[], dict[str, float]]:
    """Return what reads all probes: °C by id, without those that fail. Raises HardwareMissing where there is none."""
    ids = find_probes(folder)
    if not ids:
        raise HardwareMissing(
            "no probe is plugged in: look at plug, pull-up (4.7 kΩ between data and 3.3 V) and pin"
        )
    readers = [Ds18b20(probe, folder) for probe in ids]

    def read() -> dict[str, float]:
        outcomes = [sample.outcome for reader in readers for sample in reader.read(clock)]
        return {outcome.probe: outcome.celsius for outcome in outcomes if isinstance(outcome, Reading)}

    return read


def wait_for_warmth(
    read: Callable[[], Mapping[str, float]], clock: Clock, without: Set[str] = frozenset()
) -> str | None:
    """Return the probe that warms from now on, of those that are not placed yet; None when none does in time."""
    never = threading.Event()

    def others() -> dict[str, float]:
        return {probe: celsius for probe, celsius in read().items() if probe not in without}

    before, until_s = others(), clock.stamp().boot_s + PATIENCE_S
    while clock.stamp().boot_s < until_s:
        clock.wait(never, LOOK_S)
        now = others()
        probe = warmed(before, now)
        if probe is not None:
            return probe
        # What cools since it was held before starts from where it is now.
        before = {other: min(celsius, now.get(other, celsius)) for other, celsius in before.items()}
    return None


def station_text(path: Path, placed: Sequence[PlacedProbe]) -> str:
    """Return the station file with these probes: the rest from the file itself, or from what the installation wrote.

    Raises BadSettings where neither is there.
    """
    head = path.with_name(path.stem + ".head.toml")
    source = path if path.exists() else head
    if not source.exists():
        remedy = phrase("run sudo bash systemd/install first, or write the station file by hand")
        raise BadSettings(str(head), phrase("is not there"), remedy=remedy)
    content = read_content(source)
    offsets = {probe.get("id"): probe.get("offset_c", 0.0) for probe in content.pop("probe", [])}
    tables = ""
    for probe in placed:
        offset = f"offset_c = {offsets[probe.id]}\n" if offsets.get(probe.id) else ""
        tables += f'\n[[probe]]\nid = "{probe.id}"\nplace = "{probe.place}"\n{offset}'
    return tomli_w.dumps(content) + tables


def with_offset(text: str, where: str, probe: str, offset_c: float) -> str:
    """Return a station file's text with another offset for one probe; every other line stays. Raises BadSettings."""
    lines = text.splitlines(keepends=True)
    named = [
        i for i, line in enumerate(lines) if re.match(rf"""\s*id\s*=\s*["']{re.escape(probe)}["']""", line)
    ]
    if len(named) != 1:
        raise BadSettings(
            f"{where}: [[probe]]",
            phrase("does not name this probe once"),
            value=probe,
            remedy=phrase("place it first: sudo pourlog place-probes --again"),
        )
    (at,) = named
    first = max(i for i in range(at + 1) if lines[i].lstrip().startswith("[[probe]]"))
    last = next((i for i in range(at + 1, len(lines)) if lines[i].lstrip().startswith("[")), len(lines))
    before = [i for i in range(first, last) if re.match(r"\s*offset_c\s*=", lines[i])]
    written = f"offset_c = {offset_c:g}\n"
    if before:
        lines[before[0]] = written
    else:
        if not lines[at].endswith("\n"):
            lines[at] += "\n"
        lines.insert(at + 1, written)
    return "".join(lines)
