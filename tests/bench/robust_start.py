"""How long the service takes to start on a database of ten million readings, and to stop with live pages open.

Run by hand:

    python tests/bench/robust_start.py [--readings 10000000] [--folder FOLDER]

The readings are invented and put in by plain SQL, without the chain's hashes (which would take minutes): as many
columns are filled as a real reading fills, and the indexes are the real ones. With --folder the database is kept and
used again. Needs about 3 GB.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import httpx
import tomli_w

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

import recorded_pour as recorded

from hardware.clock import SystemClock
from logger.settings import Settings
from web.service.service import Service

PORT = 18_734
PAGES = 50
OWNER = {"name": "Ada", "password": "four plain words here"}
#: Six probes every 5 s, and of that three days in the live pour.
STEP_MS, LIVE = 833, 311_040
FILL = """
INSERT INTO reading (station_id, spool, seq, pour_id, probe, place, boot, boot_ms, wall_ms, clock_set, milli_c, raw,
                     late, received_ms, link)
WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < :count)
SELECT 1, 'be0c0000-0000-4000-8000-000000000002', i,
       CASE WHEN i > :count - :live THEN 1 ELSE 2 + (:count - :live - i) / :live END,
       '28-00000000000' || (i % 6), CASE i % 6 WHEN 0 THEN 'core' ELSE 'surface-' || (i % 6) END,
       1, :now_boot_ms - (:count - i) * :step, :now_ms - (:count - i) * :step, 1,
       25000 + abs((i / 6) % 8000 - 4000), '57014b467fff0c10ab', 0, :now_ms - (:count - i) * :step, hex(randomblob(32))
FROM n
"""


def fill(folder: Path, count: int) -> None:
    """A database with so many readings, all judged: of a live pour in its third day, and of closed ones before it."""
    clock = SystemClock()
    service = Service.open(Settings(data_dir=str(folder)), clock)
    recorded.begin(service)
    service.close()
    now = clock.stamp()
    live = min(count, LIVE)
    facts = {
        "count": count,
        "live": live,
        "step": STEP_MS,
        "now_ms": now.wall_ms,
        "now_boot_ms": now.boot_ms,
        "poured": now.boot_ms - live * STEP_MS,
    }
    with closing(sqlite3.connect(folder / "pourlog.sqlite3")) as database:
        database.execute("PRAGMA synchronous=OFF")
        columns = [
            row[1] for row in database.execute("PRAGMA table_info(pour)") if row[1] not in ("id", "stage")
        ]
        names = ", ".join(columns)
        for _ in range(count // live):
            database.execute(
                f"INSERT INTO pour (stage, {names}) SELECT 'closed', {names} FROM pour WHERE id = 1"
            )
        database.execute(FILL, facts)
        database.execute(
            "UPDATE pour SET judged_reading_id = :count, poured_boot_ms = :poured WHERE id = 1", facts
        )
        database.commit()


@dataclass(frozen=True, slots=True)
class Took:
    """One start and stop."""

    start_s: float  #: from the command to the first answer
    start_cpu_s: float  #: of that, on a processor
    resident_mb: float
    stop_s: float  #: from SIGTERM to the end, with live pages open


def start_and_stop(folder: Path) -> Took:
    """The service starts, fifty pages listen for news, and it is told to stop."""
    settings = folder / "settings.toml"
    settings.write_text(tomli_w.dumps({"data_dir": str(folder), "port": PORT}), encoding="utf-8")
    began = time.monotonic()
    with (
        subprocess.Popen(
            [sys.executable, "-m", "web.command", "serve", str(settings)], stdout=subprocess.PIPE, text=True
        ) as process,
        httpx.Client(
            base_url=f"http://127.0.0.1:{PORT}",
            trust_env=False,
            timeout=30,
            limits=httpx.Limits(max_connections=PAGES + 10),
        ) as client,
    ):
        try:
            while True:
                try:
                    client.get("/api/health").raise_for_status()
                    break
                except httpx.TransportError:
                    time.sleep(0.01)
            start_s = time.monotonic() - began
            cpu_s, resident_mb = used(process.pid)
            sign_in(client, process)
            pages = [client.send(client.build_request("GET", "/live"), stream=True) for _ in range(PAGES)]
            assert {page.status_code for page in pages} == {200}
        finally:
            process.send_signal(signal.SIGTERM)
            began = time.monotonic()
            process.wait(60)
            stop_s = time.monotonic() - began
        for page in pages:
            page.close()
    return Took(start_s, cpu_s, resident_mb, stop_s)


def used(pid: int) -> tuple[float, float]:
    """Seconds of processor and resident MB of a process."""
    proc = Path(f"/proc/{pid}")
    ticks = (proc / "stat").read_text(encoding="ascii").rsplit(") ", 1)[1].split()[11:13]
    pages = int((proc / "statm").read_text(encoding="ascii").split()[1])
    return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK"), pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def sign_in(client: httpx.Client, process: subprocess.Popen[str]) -> None:
    """The owner signs in; the first time the service prints a code to become one."""
    answer = client.post("/sign-in", data=OWNER)
    if answer.status_code != 303 or "set-up" in answer.headers["location"]:
        assert process.stdout is not None
        printed = ""
        while not (code := re.search(r"\b(\d{4}-\d{4})\b", printed)):
            printed += process.stdout.readline()
        answer = client.post("/set-up", data={"code": code[1], **OWNER})
    assert answer.status_code == 303, answer.text


def main() -> None:
    """Prints start times on an empty and on a full database, side by side."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--readings", type=int, default=10_000_000)
    asked.add_argument("--folder", type=Path)
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch:
        full, empty = given.folder or Path(scratch) / "full", Path(scratch) / "empty"
        if not (full / "pourlog.sqlite3").exists():
            fill(full, given.readings)
        fill(empty, 1)
        size = (full / "pourlog.sqlite3").stat().st_size
        print(
            f"{given.readings} readings take {size / 1e9:.2f} GB, {size / given.readings:.0f} bytes each",
            flush=True,
        )
        for _ in range(3):
            on_empty, on_full = start_and_stop(empty), start_and_stop(full)
            print(
                f"start on an empty database {on_empty.start_s:.2f} s ({on_empty.start_cpu_s:.2f} s of processor), on "
                f"the full one {on_full.start_s:.2f} s ({on_full.start_cpu_s:.2f} s), {on_full.resident_mb:.0f} MB "
                f"resident; stop with {PAGES} live pages {on_empty.stop_s:.2f} s and {on_full.stop_s:.2f} s; load "
                f"{os.getloadavg()[0]:.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
