"""What the largest honest imports cost: memory of the service and its processes, and how soon a hot core is told.

Run by hand: python tests/bench/imports.py [readings]

A service in a process of its own watches pours that get hot one after the other while a record of three days with six
probes every 5 s (311,040 readings) comes in, packed as now and as earlier programs packed it, and then a log with as
many rows. Everything is invented.
"""

from __future__ import annotations

import importlib.util
import re
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

# The checkout as well: else tests/logger hides the package of that name.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from forged import Forged
from processes import Bench

TESTS = Path(__file__).resolve().parents[1]


def loaded(name: str, path: Path) -> Any:
    """A module of the tests."""
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[name] = made
    spec.loader.exec_module(made)
    return made


STRANGERS = loaded("strangers", TESTS / "robust" / "test_strangers_records.py")
PLAN = loaded("shared", TESTS / "conftest.py").PLAN_TOML


def record(rows: int, compress: int, turn: int) -> bytes:
    """A record whose readings differ from turn to turn."""
    forged = Forged()
    first = forged.tables["readings"][0]
    forged.tables["readings"] = [
        first
        | {
            "seq": at + 1,
            "probe": f"28-0000000000{at % 6}",
            "boot_ms": first["boot_ms"] + 5000 * (at // 6),
            "milli_c": 21_000 + (turn + at) * 7919 % 30_000,
            "raw": "57014b467fff0c10ab",
        }
        for at in range(rows)
    ]
    return forged.packed(compress)


def log(rows: int) -> bytes:
    """A past log with one probe."""
    return b"t,T\n" + b"".join(b"%d,%.2f\n" % (5 * at, 21 + at % 3000 / 100) for at in range(rows))


LOG = {
    "time": "t",
    "time_as": "s",
    "zone": "UTC",
    "start": "2026-06-25T08:00",
    "plan_toml": PLAN,
    "heading-0": "T",
    "place-0": "core",
    "unit-0": "c",
}


def tree(pid: int) -> list[int]:
    """A process and those that it has started."""
    found = [pid]
    for path in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((path / "stat").read_text().rsplit(")", 1)[1].split()[1])
        except OSError:
            continue
        if parent == pid:
            found += tree(int(path.name))
    return found


def memory_mb(pid: int) -> float:
    """What a process and its children take, MB; what they share is counted once."""
    total = 0
    for one in tree(pid):
        try:
            told = Path(f"/proc/{one}/smaps_rollup").read_text()
        except OSError:
            continue
        total += sum(int(kb) for kb in re.findall(r"^(?:Pss|SwapPss):\s+(\d+)", told, re.MULTILINE))
    return total / 1000


class Peak:
    """The most memory while something goes on."""

    def __init__(self, pid: int) -> None:
        self._pid, self._stop = pid, threading.Event()
        self.mb = 0.0
        self._thread = threading.Thread(target=self._look)
        self._thread.start()

    def _look(self) -> None:
        while not self._stop.wait(0.2):
            self.mb = max(self.mb, memory_mb(self._pid))

    def end(self) -> float:
        """The most."""
        self._stop.set()
        self._thread.join()
        return self.mb


def one(name: str, send: Callable[[Any], Any]) -> None:
    """Brings one file in beside pours that get hot."""
    with tempfile.TemporaryDirectory() as folder:
        watched = STRANGERS.Watched(Path(folder), PLAN)
        try:
            time.sleep(10)
            before, peak, answers = memory_mb(watched.service.pid), Peak(watched.service.pid), []
            began = time.monotonic()
            sent = threading.Thread(target=lambda: answers.append(send(watched)))
            sent.start()
            waits: list[float] = []
            while sent.is_alive():
                watched.bench = Bench(watched.store, PLAN, f"bench-{len(waits)}")
                watched.phone.taken.clear()
                waits.append(STRANGERS.hot(watched))
                watched.bench.end()
                time.sleep(0.5)
            took = time.monotonic() - began
            print(
                f"{name}: answered {answers[0].status_code} after {took:.0f} s; memory {before:.0f} MB before, "
                f"{peak.end():.0f} MB at most; hot core to phone in {len(waits)} pours: "
                f"longest {max(waits):.2f} s",
                flush=True,
            )
        finally:
            watched.close()


def main() -> None:
    """All three."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 311_040
    for name, compress in (
        ("record, packed", zipfile.ZIP_DEFLATED),
        ("record, as it was packed", zipfile.ZIP_STORED),
    ):
        raw = record(rows, compress, compress)
        one(
            f"{name}, {rows} readings, {len(raw) / 1e6:.1f} MB",
            lambda watched, raw=raw: watched.bring_in(raw),
        )
    raw = log(rows)
    one(f"log, {rows} rows, {len(raw) / 1e6:.1f} MB", lambda watched: watched.bring_in(raw, "old.csv", **LOG))


if __name__ == "__main__":
    main()
