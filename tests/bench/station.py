"""Weighs the station daemon: memory, share of a core, bytes written per reading. Run by hand:

    python tests/bench/station.py            # about a minute
    python tests/bench/station.py --seconds 300

The daemon runs as its own process against a service on loopback: six probes every 5 s on the bench, lamp and buzzer
on mock pins. Goals: below 45 MB resident, below 2 % of a core. Two more runs, in lock-step in this process, give the
cost of a sweep and the bytes that reach the disk, with one commit a sweep and with twelve sweeps a commit.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import httpx

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench
from hardware.bench.trace import through
from logger.daemon.main import RunMode, run_station
from logger.daemon.station_file import station_from_file

PROBES = 6
DAEMON = "import sys; from logger.daemon.main import run_from_file; sys.exit(run_from_file(sys.argv[1]))"


LAST: dict[str, int] = {}
"""Highest number of each spool: what an empty batch is answered with."""


def acknowledged(content: bytes) -> bytes:
    """A service's answer that stores everything."""
    body = json.loads(content)
    rows = body["rows"]
    last = LAST[body["spool"]] = rows[-1]["seq"] if rows else LAST.get(body["spool"], 0)
    counts = {"acknowledged_seq": last, "stored": len(rows), "repeated": 0}
    return json.dumps({**counts, "lamp": False, "buzzer": False, "fan": None, "next_s": None}).encode()


class Answers(BaseHTTPRequestHandler):
    """A service on loopback that stores everything."""

    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        answer = acknowledged(self.rfile.read(int(self.headers["Content-Length"])))
        self.send_response(200)
        self.send_header("Content-Length", str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)

    def log_message(self, *_: object) -> None:
        pass


def station(folder: Path, url: str, *, pins: bool = True) -> Path:
    """A station file with six probes; the trace is invented."""
    (folder / "station.token").write_text("t")
    text = f'name = "weighed"\nservice_url = "{url}"\nhardware = "bench"\n'
    for number in range(PROBES):
        text += f'[[probe]]\nid = "28-{number:012x}"\nplace = "core"\nbench = "{20 + number}.3"\n'
    file = folder / "station.toml"
    file.write_text(text + ("[pins]\nlamp = 23\nbuzzer = 24\nwet = 17\n" if pins else ""))
    return file


def cpu_s(pid: int) -> float:
    """Processor seconds that a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def written_bytes(pid: str | int = "self") -> int:
    """Bytes that a process has handed to write(), checkpoints of the spool included."""
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        if line.startswith("wchar:"):
            return int(line.split()[1])
    raise AssertionError("no wchar")


def weigh_process(seconds: float) -> None:
    """Memory and processor share of the real process."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with tempfile.TemporaryDirectory() as name:
        file = station(Path(name), f"http://127.0.0.1:{server.server_port}")
        began = time.monotonic()
        with subprocess.Popen([sys.executable, "-c", DAEMON, str(file)]) as daemon:
            spool = Path(name) / "spool.sqlite3"
            while not spool.exists():
                time.sleep(0.01)
            print(f"start to spool          {time.monotonic() - began:8.2f} s    (goal < 2)")
            time.sleep(6)
            cpu, at = cpu_s(daemon.pid), time.monotonic()
            time.sleep(seconds)
            share = (cpu_s(daemon.pid) - cpu) / (time.monotonic() - at)
            status = dict(
                line.split(":", 1) for line in Path(f"/proc/{daemon.pid}/status").read_text().splitlines()
            )
            print(f"resident memory         {int(status['VmRSS'].split()[0]) / 1024:8.1f} MB   (goal < 45)")
            print(f"  its highest           {int(status['VmHWM'].split()[0]) / 1024:8.1f} MB")
            print(f"share of a core         {100 * share:8.2f} %    (goal < 2; {PROBES} probes every 5 s)")
            print(f"threads                 {int(status['Threads']):8d}")
            daemon.send_signal(signal.SIGTERM)
            stopping = time.monotonic()
            daemon.wait()
            print(f"stop                    {time.monotonic() - stopping:8.2f} s    (goal < 5)")
    server.shutdown()


def weigh_sweeps(sweeps_per_commit: int, *, bus_threads: bool = True) -> tuple[float, float, float]:
    """Milliseconds a sweep, of which processor time, and spool bytes a reading of a lock-step day at 30 s."""
    with tempfile.TemporaryDirectory() as name:
        config = station_from_file(station(Path(name), "http://service.invalid", pins=False))
        clock = SteppedClock()
        trace = through([(0, 20), (40_000, 80), (90_000, 30)])
        bench = Bench(
            config.wiring, clock, Path(name) / "bench", {probe.id: trace for probe in config.wiring.probes}
        )
        transport = httpx.MockTransport(
            lambda request: httpx.Response(200, content=acknowledged(request.content))
        )
        done = []
        began, cpu, before = time.monotonic(), time.process_time(), written_bytes()
        bytes_of_bench = 0

        def count(number: int) -> None:
            done.append(number)

        show = bench.files.show

        def counted_show(probe: str, text: str) -> None:
            nonlocal bytes_of_bench
            bytes_of_bench += len(text)
            show(probe, text)

        bench.files.show = counted_show  # type: ignore[method-assign]
        run_station(
            config,
            bench.hardware,
            clock,
            threading.Event(),
            RunMode(
                transport=transport,
                end_after_s=86_400,
                obey_period=False,
                sweeps_per_commit=sweeps_per_commit,
                bus_threads=bus_threads,
                after_sweep=count,
            ),
        )
        taken_ms = 1000 * (time.monotonic() - began) / len(done)
        cpu_ms = 1000 * (time.process_time() - cpu) / len(done)
        spooled = written_bytes() - before - bytes_of_bench
        return taken_ms, cpu_ms, spooled / (len(done) * PROBES)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=40, help="how long the process is watched")
    weigh_process(parser.parse_args().seconds)
    one_ms, one_cpu_ms, one_bytes = weigh_sweeps(1)
    many_ms, many_cpu_ms, many_bytes = weigh_sweeps(12)
    demo_ms, demo_cpu_ms, demo_bytes = weigh_sweeps(12, bus_threads=False)
    for what, ms, cpu_ms, size in (
        ("one commit a sweep    ", one_ms, one_cpu_ms, one_bytes),
        ("twelve sweeps a commit", many_ms, many_cpu_ms, many_bytes),
        ("  and no bus thread   ", demo_ms, demo_cpu_ms, demo_bytes),
    ):
        print(f"{what}  {ms:8.2f} ms a sweep ({cpu_ms:.2f} ms of it processor) {size:8.0f} bytes a reading")
    print(
        f"  so much less          {one_ms / many_ms:8.2f} {one_cpu_ms / many_cpu_ms:.2f} {one_bytes / many_bytes:.1f}"
    )
    day = one_bytes * PROBES * 86_400
    print(
        f"card writes a day       {day / 5e6:8.0f} MB at 5 s, {day / 30e6:.0f} MB at 30 s, one commit a sweep"
    )


if __name__ == "__main__":
    main()
