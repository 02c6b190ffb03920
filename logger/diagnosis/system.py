"""Looks at what surrounds the program: its units, the hardware watchdog, limits of memory, the journal, WiFi.

systemd itself is asked wherever it runs: its settings files say what somebody wished, not what is so.
"""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from logger.diagnosis.machine_facts import SystemSeen, UnitSeen

#: Runs a command: what it printed, or None where it cannot be had or ends with an error.
Run = Callable[[Sequence[str]], str | None]
COMMAND_S = 20.0
SHOWN = ("Id", "LoadState", "UnitFileState", "ActiveState", "Result", "NRestarts", "StatusText")
#: Units of time as systemd writes them (systemd.time(7)), s.
SPANS = {"us": 1e-6, "ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0, "w": 604_800.0}
#: Settings of a unit that name its program or its life, not the rules that it lives under.
NOT_RULES = re.compile(
    r"Exec|Type=|Restart|Watchdog|Timeout|Notify|StateDirectory|RuntimeDirectory|WorkingDirectory|Standard"
)
CHECK_FOLDER = "pourlog-check"


@dataclass(frozen=True, slots=True)
class SystemPlaces:
    """Where a system keeps what is looked at."""

    systemd: Path = Path("/run/systemd/system")
    device: Path = Path("/dev")
    cgroup: Path = Path("/sys/fs/cgroup")
    network: Path = Path("/sys/class/net")
    journals: tuple[Path, Path] = (Path("/var/log/journal"), Path("/run/log/journal"))


def run(command: Sequence[str]) -> str | None:
    """Return what a command printed; None where it is not on this machine, takes too long, or ends with an error."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=COMMAND_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None


def look_at_system(units: Iterable[str], places: SystemPlaces, ask: Run = run) -> SystemSeen:
    """Return what can be seen of the system. `units`: which of ours should be there."""
    runs = places.systemd.is_dir()
    return SystemSeen(
        units=_units(tuple(units), ask) if runs else (),
        memory_limits=_memory_limits(places.cgroup) if runs else None,
        watchdog_s=_watchdog_s(ask) if runs else None,
        watchdog_chip=any(places.device.glob("watchdog*")),
        journal_kept=_journal_kept(places.journals) if runs else None,
        wifi_saving=_wifi_saving(places.network, ask),
    )


def seconds_of(span: str) -> float | None:
    """Return the seconds of a time span as systemd writes it: 14s, 1min 30s, 0, infinity. None for anything else."""
    if span == "infinity":
        return float("inf")
    if span == "0":
        return 0.0
    parts = [re.fullmatch(r"(\d+(?:\.\d+)?)(us|ms|s|min|h|d|w)", part) for part in span.split()]
    if not parts or None in parts:
        return None
    return sum(float(part[1]) * SPANS[part[2]] for part in parts if part is not None)


def under_the_units_rules(unit: str, command: Sequence[str], ask: Run = run) -> str | None:
    """Return what a command prints as the unit's user, under the unit's rules; None where it fails. Needs root."""
    text = ask(["systemctl", "cat", unit])
    if text is None:
        return None
    # A folder of the check's own: systemd would take the running unit's away with the check's end.
    folder = [f"RuntimeDirectory={CHECK_FOLDER}", f"WorkingDirectory=/run/{CHECK_FOLDER}"]
    rules = [f"--property={rule}" for rule in (*_rules(text), *folder)]
    return ask(["systemd-run", "--quiet", "--wait", "--pipe", "--collect", *rules, *command])


def _rules(text: str) -> list[str]:
    """Return the settings of [Service] in a unit and its drop-ins, in order, but for those about the program itself."""
    rules, inside = [], False
    for line in text.splitlines():
        line = line.strip()
        if line.startswith("["):
            inside = line == "[Service]"
        elif inside and "=" in line and not line.startswith(("#", ";")) and not NOT_RULES.match(line):
            rules.append(line)
    return rules


def _units(names: tuple[str, ...], ask: Run) -> tuple[UnitSeen, ...]:
    if not names:
        return ()
    printed = ask(["systemctl", "show", f"--property={','.join(SHOWN)}", *names]) or ""
    units = []
    for block in printed.strip().split("\n\n"):
        values = dict(line.split("=", 1) for line in block.splitlines() if "=" in line)
        if values.get("Id"):
            restarts = values.get("NRestarts", "0")
            units.append(
                UnitSeen(
                    values["Id"],
                    installed=values.get("LoadState") == "loaded",
                    enabled=values.get("UnitFileState") in ("enabled", "static"),
                    active=values.get("ActiveState", ""),
                    result=values.get("Result", ""),
                    restarts=int(restarts) if restarts.isdigit() else 0,
                    status=values.get("StatusText", ""),
                )
            )
    return tuple(units)


def _memory_limits(cgroup: Path) -> bool:
    """Return whether the kernel counts memory by unit: as a controller of version 2, or as a folder of version 1."""
    try:
        return "memory" in (cgroup / "cgroup.controllers").read_text().split()
    except OSError:
        return (cgroup / "memory").is_dir()


def _watchdog_s(ask: Run) -> float | None:
    printed = ask(["systemctl", "show", "--property=RuntimeWatchdogUSec", "--value"])
    return None if printed is None else seconds_of(printed.strip())


def _journal_kept(journals: tuple[Path, Path]) -> bool | None:
    """Return whether the running journal writes to the disk, where it survives a restart; None: there is none."""
    for folder, on_disk in zip(journals, (True, False), strict=True):
        if any(folder.glob("*/system.journal")):
            return on_disk
    return None


def _wifi_saving(network: Path, ask: Run) -> tuple[str, ...]:
    """Return the WiFi devices that are up and save power (by `iw`, which a Pi's system has)."""
    saving = []
    for device in sorted(network.glob("*")):
        if not (device / "phy80211").exists() or _text(device / "operstate") != "up":
            continue
        printed = ask(["iw", "dev", device.name, "get", "power_save"]) or ""
        if printed.strip().lower().endswith(": on"):
            saving.append(device.name)
    return tuple(saving)


def _text(path: Path) -> str:
    try:
        return path.read_text().strip()
    except OSError:
        return ""


def is_root() -> bool:
    """Return whether this process may start others as other users."""
    return os.geteuid() == 0
