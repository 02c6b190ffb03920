"""What the units start, run as they run it: in their working folder, in a system that is read-only but for their own.

Where systemd runs, by systemd itself with the unit's own settings; elsewhere in a mount namespace of this test's own.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from namespaces import inside, needs_namespace

ROOT = Path(__file__).parents[2]
UNITS = ROOT / "systemd"
SERVICES = sorted(path.name for path in UNITS.glob("*.service"))
CORE = "28-0000000000a1"

needs_systemd = pytest.mark.skipif(
    os.geteuid() != 0 or not Path("/run/systemd/system").is_dir(),
    reason="systemd does not run here; run the tests as root on a machine that it has started",
)


def settings(unit: str) -> dict[str, list[str]]:
    """Each setting of a unit's [Service] with its values, in order."""
    found: dict[str, list[str]] = {}
    section = (UNITS / unit).read_text().partition("[Service]\n")[2].partition("\n[")[0]
    for line in section.splitlines():
        if line and not line.startswith("#"):
            name, _, value = line.partition("=")
            found.setdefault(name, []).append(value)
    return found


def started_in(unit: str) -> str:
    """The folder in which systemd starts a unit's programs (systemd.exec(5): "/" where none is named)."""
    return settings(unit).get("WorkingDirectory", ["/"])[-1]


@pytest.mark.parametrize("unit", SERVICES)
def test_each_unit_works_in_a_folder_of_its_own(unit: str) -> None:
    """In memory, made and emptied by systemd: a library may leave a file where it is loaded."""
    (folder,) = settings(unit)["RuntimeDirectory"]
    assert started_in(unit) == f"/run/{folder}"
    assert "/" not in folder, "shared with no other unit: the one that ends first would take it away"


def test_no_two_units_share_their_folder() -> None:
    """The backup's end must not take the service's folder away."""
    folders = [started_in(unit) for unit in SERVICES]
    assert len(set(folders)) == len(folders)


class Service(ThreadingHTTPServer):
    """Takes batches as the service does, and keeps them."""

    def __init__(self) -> None:
        self.batches: list[dict[str, Any]] = []
        self.rows = threading.Event()
        super().__init__(("127.0.0.1", 0), Handler)


class Handler(BaseHTTPRequestHandler):
    """One batch."""

    server: Service

    def do_POST(self) -> None:
        batch = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.batches.append(batch)
        last = max((row["seq"] for row in batch["rows"]), default=0)
        body = json.dumps(
            {
                "acknowledged_seq": last,
                "stored": len(batch["rows"]),
                "repeated": 0,
                "lamp": True,
                "buzzer": False,
                "fan": None,
                "next_s": 5,
            }
        ).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)
        if batch["rows"]:
            self.server.rows.set()

    def log_message(self, *args: Any) -> None: ...


@pytest.fixture
def service() -> Iterator[Service]:
    """A service on loopback."""
    with Service() as made:
        thread = threading.Thread(target=made.serve_forever, args=(0.01,))
        thread.start()
        yield made
        made.shutdown()
        thread.join()


@pytest.fixture
def station_file(tmp_path: Path, service: Service) -> Path:
    """A station with a lamp and a wet contact, its state in this test's folder."""
    (tmp_path / "station.token").write_text("secret\n")
    file = tmp_path / "station.toml"
    file.write_text(
        f'name = "bench-1"\nservice_url = "http://127.0.0.1:{service.server_port}"\nhardware = "pi"\n'
        f'[[probe]]\nid = "{CORE}"\nplace = "core"\n[pins]\nlamp = 23\nwet = 17\n'
    )
    return file


#: A pin library as bad as they come: it makes a file where it is loaded, and then knows nothing.
BAD_LIBRARY = "open('.notify', 'w').close()\n"


@needs_namespace
@pytest.mark.parametrize("bad", [None, "gpiod", "gpiozero"])
@pytest.mark.parametrize("folder", ["the unit's", "/"])
def test_a_station_with_pins_reads_its_thermometers_in_a_read_only_system(
    station_file: Path, service: Service, tmp_path: Path, bad: str | None, folder: str
) -> None:
    """As the unit starts it: rows arrive, and with the first of them what is wrong with the pins.

    This machine has no pins. In "/" the bad library cannot even be loaded: that too is a fault of the pins alone.
    """
    path = str(ROOT)
    if bad is not None:
        (tmp_path / f"{bad}.py").write_text(BAD_LIBRARY)
        path = f"{tmp_path}:{path}"
    where = started_in("pourlog-station.service") if folder != "/" else "/"
    daemon = [sys.executable, "-P", "-m", "logger.daemon"]
    environ = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    command = inside(tmp_path, where, *daemon, "station", str(station_file))
    with subprocess.Popen(command, env=environ, stderr=subprocess.PIPE, text=True) as station:
        assert service.rows.wait(60), "no row arrived"
        station.send_signal(signal.SIGTERM)
        _, said = station.communicate(timeout=30)
    assert station.returncode == 0, said
    assert "Traceback" not in said
    rows = [row for batch in service.batches for row in batch["rows"]]
    assert {(row["probe"], row["fault"]) for row in rows} == {(CORE, "missing")}
    faults = service.batches[0]["health"]["pin_faults"]
    assert re.search(r"lamp \(GPIO 23\): .+; wet contact \(GPIO 17\): .+", faults), faults
    if bad is None:
        assert "this machine shows no pins" in faults
    safe = subprocess.run(
        inside(tmp_path, where, *daemon, "relay-safe", str(station_file)),
        env=environ,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (safe.returncode, "Traceback" in safe.stderr) == (1, False)
    assert safe.stderr.splitlines()[-1].startswith("pourlog: not switched off: lamp (GPIO 23): ")


#: What a transient unit cannot take, or what names the installed program.
NOT_OURS = {
    "ExecStart",
    "ExecStopPost",
    "Type",
    "Restart",
    "RestartSec",
    "WatchdogSec",
    "User",
    "Group",
    "SupplementaryGroups",
    "StateDirectory",
    "TimeoutStartSec",
    "TimeoutStopSec",
}


@needs_systemd
@pytest.mark.parametrize("unit", SERVICES)
def test_the_pins_library_loads_under_the_units_own_rules(unit: str) -> None:
    """systemd-run with every rule of the unit: its library loads, and a file can be made where it works."""
    properties = [
        f"--property={name}={value}"
        for name, values in settings(unit).items()
        for value in values
        if name not in NOT_OURS
        and not (name == "ProtectHome" and sys.executable.startswith(("/home", "/root")))
    ]
    script = "import gpiozero, gpiod; open('.notify', 'w').close(); print('loaded')"
    ran = subprocess.run(
        [
            "systemd-run",
            "--quiet",
            "--wait",
            "--pipe",
            "--collect",
            *properties,
            sys.executable,
            "-P",
            "-c",
            script,
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ran.returncode, ran.stdout) == (0, "loaded\n"), ran.stderr
