"""A station's first files: written on the service's own machine, or by one line that is pasted on another.

What is written is read back through the station's own reader before it counts.
"""

from __future__ import annotations

import grp
import os
import shlex
import socket
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import tomli_w

from hardware.ds18b20 import PROBE_ID, W1_FOLDER
from logger.daemon.station_file import NAME, URL, read_content, station_from
from logger.errors import BadInput
from logger.facts import fact

#: Where the installation keeps a station's files, and what it writes there for the file to come.
INSTALLED = Path("/etc/pourlog")
#: Whose files they are there (systemd/pourlog.sysusers.conf).
USER = "pourlog-station"
#: How a file begins whose probes nobody has placed.
FOUND = "# Probes in the order in which they were found. Which is which: sudo pourlog place-probes\n"
#: What simulated probes play, °C: a room, in which nothing cures.
SIMULATED_C = 21.0
#: Places of probes that nobody has placed yet, in the order of need, with the room second: two say the most.
PLACES = ("core", "room", "surface", "underside")


def own_name() -> str:
    """Return a name for this machine's station: the machine's own."""
    name = socket.gethostname().partition(".")[0]
    return name if NAME.fullmatch(name) else "station-1"


def checked_name(name: str, where: str = "name") -> str:
    """Return a station's name, if a station file may have it. Raises BadInput."""
    if not NAME.fullmatch(name):
        raise BadInput(
            where,
            fact("input-unusable"),
            value=name,
            allowed=fact("station-name-signs"),
            remedy=fact("station-name-without-spaces"),
        )
    return name


def probes_here(folder: Path = W1_FOLDER) -> list[str]:
    """Return the ids of the thermometers that are plugged into this machine; none where it has no such bus."""
    return sorted(path.name for path in folder.glob("28-*") if PROBE_ID.fullmatch(path.name))


def station_content(
    path: Path, name: str, service_url: str, probes: Sequence[str], *, simulated: bool = False
) -> dict[str, Any]:
    """Return the content of the station file at `path` with this name and address: what is there stays, its probes too.

    A new one has the probes as they were found, each at a place to be checked by hand; `simulated`: four that are
    played. Raises BadInput for a name or an address that a station file cannot have, and BadSettings.
    """
    checked_name(name)
    if not URL.fullmatch(service_url):
        raise BadInput(
            "service_url",
            fact("input-unusable"),
            value=service_url,
            allowed=fact("station-address-without-path"),
            remedy=fact("station-address-of-the-board"),
        )
    needed = {"name": name, "service_url": service_url}
    if path.exists():
        return read_content(path) | needed
    head = head_of(path)
    content = (read_content(head) if head.exists() else {}) | needed
    if simulated:
        played = f"{SIMULATED_C:g}"
        content["hardware"] = "bench"
        content["probe"] = [
            {"id": f"28-0000000000c{number}", "place": place, "bench": played}
            for number, place in enumerate(PLACES, 1)
        ]
        return content
    content.setdefault("hardware", "pi")
    # Those beyond the four: a second core, a third, …
    places = [*PLACES, *(f"core-{number}" for number in range(2, len(probes) + 1))]
    if probes:
        content["probe"] = [{"id": rom, "place": place} for rom, place in zip(probes, places, strict=False)]
    return content


def head_of(path: Path) -> Path:
    """Return the file of what is known before any probe is: name, address, where the token is."""
    return path.with_name(path.stem + ".head.toml")


def write_station(path: Path, content: Mapping[str, Any], token: str | None = None) -> None:
    """Write a station file and its token; without a probe the file waits beside, for `pourlog place-probes`.

    Raises BadSettings for what the station would not read, and OSError.
    """
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    text = tomli_w.dumps(content)
    if not any(content.get(kind) for kind in ("probe", "air", "thermocouple")):
        _replace(head_of(path), text, path.parent)
    else:
        station_from(content, path)
        unplaced = not path.exists() and content.get("hardware") == "pi"
        _replace(path, FOUND + text if unplaced else text, path.parent)
    if token is not None:
        # Read anew with each batch: a new one needs no restart.
        _replace(path.parent / str(content.get("token_file", "station.token")), f"{token}\n", path.parent)


def as_found(path: Path) -> bool:
    """Whether a station file has its probes in the order in which they were found: nobody has placed them yet."""
    try:
        return path.read_text(encoding="utf-8").startswith(FOUND)
    except OSError:
        return False


def start_line(path: Path) -> str:
    """Return the line that starts a station of this file from any folder, by the program that runs now."""
    program = Path(sys.executable).with_name("pourlog")
    words = [str(program)] if program.exists() else [sys.executable, "-m", "web.begin"]
    return shlex.join([*words, "station", str(path.resolve())])


def line_to_paste(name: str, service_url: str, token: str) -> str:
    """Return the line that gives a station on another machine its service and its token, as it is typed there."""
    return shlex.join(["sudo", "pourlog", "write-station", name, service_url, token])


def _replace(path: Path, text: str, folder: Path) -> None:
    """Put a file in place whole, for its owner alone, installed also for the station's user; who may read one that is
    there stays as it was.
    """
    beside = path.with_name(path.name + ".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)
    if path.exists():
        before = path.stat()
        beside.chmod(before.st_mode & 0o777)
        if os.geteuid() == 0:
            os.chown(beside, before.st_uid, before.st_gid)
    elif folder == INSTALLED and os.geteuid() == 0:
        with suppress(KeyError):  # the user is made by the installation
            os.chown(beside, 0, grp.getgrnam(USER).gr_gid)
            beside.chmod(0o640)
    beside.replace(path)
