"""How long the service takes to start on a database of ten million readings, and how large that is. Run by hand:

    python tests/bench/robust_start.py [--readings 10000000] [--folder FOLDER]

The readings are invented and put in by plain SQL, without the chain's hashes (which would take minutes): as many
columns are filled as a real reading fills, and the indexes are the real ones. With --folder the database is kept and
used again. Needs about 3 GB.
"""

from __future__ import annotations

import argparse
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

import httpx
import tomli_w

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "robust"))

import recorded_pour as recorded

from hardware.clock import SystemClock
from logger.settings import Settings
from web.service import Service

PORT = 18_734
FILL = """
INSERT INTO reading (station_id, spool, seq, pour_id, probe, place, boot, boot_ms, wall_ms, clock_set, milli_c, raw,
                     late, received_ms, link)
WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < :count)
SELECT 1, 'be0c0000-0000-4000-8000-000000000002', i, 1, '28-00000000000' || (i % 6), 'core', 1, i * 833,
       1790000000000 + i * 833, 1, 21000 + i % 9000, '57014b467fff0c10ab', 0, 1790000000000 + i * 833,
       hex(randomblob(32))
FROM n
"""


def fill(folder: Path, count: int) -> None:
    """A database with one live pour that has so many readings, all judged."""
    service = Service.open(Settings(data_dir=str(folder)), SystemClock())
    recorded.begin(service)
    service.close()
    with closing(sqlite3.connect(folder / "pourlog.sqlite3")) as database:
        database.execute("PRAGMA synchronous=OFF")
        database.execute(FILL, {"count": count})
        database.execute("UPDATE pour SET judged_reading_id = :count", {"count": count})
        database.commit()


def start(folder: Path) -> tuple[float, float, float]:
    """Seconds from the command to the first answer, of which on a processor, and resident MB then."""
    settings = folder / "settings.toml"
    settings.write_text(tomli_w.dumps({"data_dir": str(folder), "port": PORT}), encoding="utf-8")
    began = time.monotonic()
    with subprocess.Popen([sys.executable, "-m", "web.command", "serve", str(settings)],
                          stdout=subprocess.DEVNULL) as process:  # fmt: skip
        try:
            with httpx.Client(trust_env=False) as client:
                while True:
                    try:
                        client.get(f"http://127.0.0.1:{PORT}/api/health").raise_for_status()
                        break
                    except httpx.TransportError:
                        time.sleep(0.01)
            seconds = time.monotonic() - began
            status = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii")
            ticks = (
                Path(f"/proc/{process.pid}/stat")
                .read_text(encoding="ascii")
                .rsplit(") ", 1)[1]
                .split()[11:13]
            )
            cpu_s = sum(int(tick) for tick in ticks) / os.sysconf("SC_CLK_TCK")
            resident_kb = next(
                int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")
            )
        finally:
            process.send_signal(signal.SIGTERM)
    return seconds, cpu_s, resident_kb / 1000


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
            (on_empty, empty_cpu, _), (on_full, full_cpu, resident_mb) = start(empty), start(full)
            print(
                f"start on an empty database {on_empty:.2f} s ({empty_cpu:.2f} s of processor), on the full one "
                f"{on_full:.2f} s ({full_cpu:.2f} s); {resident_mb:.0f} MB resident; load {os.getloadavg()[0]:.1f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
