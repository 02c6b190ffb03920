"""A station on the Pi and a service on the office computer: two network namespaces, each with folders of its own."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from needs import missing
from processes import CALM

from hardware.clock import SystemClock
from logger.pour import Stage
from logger.settings import Settings
from logger.store import people, pours, stations
from logger.store.pours import PlannedPour
from web.security.access import COOKIE
from web.service.service import Service

PATIENCE_S = 60.0
OFFICE, BENCH = "192.0.2.1", "192.0.2.2"


class Machines:
    """Two machines on one cable."""

    def __init__(self) -> None:
        self.office, self.bench = f"office-{os.getpid()}", f"bench-{os.getpid()}"
        self.running: list[subprocess.Popen[str]] = []

    def up(self) -> None:
        """Makes them; raises CalledProcessError where that is not permitted."""
        for name in (self.office, self.bench):
            run("ip", "netns", "add", name)
        run(
            "ip",
            "-n",
            self.office,
            "link",
            "add",
            "eth0",
            "type",
            "veth",
            "peer",
            "name",
            "eth0",
            "netns",
            self.bench,
        )
        for name, address in ((self.office, OFFICE), (self.bench, BENCH)):
            run("ip", "-n", name, "address", "add", f"{address}/24", "dev", "eth0")
            for link in ("lo", "eth0"):
                run("ip", "-n", name, "link", "set", link, "up")

    def cable(self, state: str) -> None:
        """Plugs the office's cable in (up) or out (down)."""
        run("ip", "-n", self.office, "link", "set", "eth0", state)

    def start(self, machine: str, folder: Path, *words: str) -> subprocess.Popen[str]:
        """A program on one machine, with a working folder of its own."""
        with (folder / "said").open("w") as said:
            process = subprocess.Popen(
                ["ip", "netns", "exec", machine, sys.executable, *words],
                cwd=folder,
                text=True,
                stdout=said,
                stderr=subprocess.STDOUT,
                env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2]), "OPENBLAS_NUM_THREADS": "1"},
            )
        self.running.append(process)
        return process

    def ask(self, machine: str, *words: str) -> str:
        """What a short program on one machine prints."""
        return run("ip", "netns", "exec", machine, sys.executable, "-c", *words)

    def down(self) -> None:
        """Ends the programs and takes the machines away."""
        for process in self.running:
            process.send_signal(signal.SIGTERM)
            process.wait(20)
        for name in (self.office, self.bench):
            subprocess.run(["ip", "netns", "delete", name], check=False, capture_output=True)


def run(*command: str) -> str:
    """A command's output; CalledProcessError with what it said when it fails."""
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


@pytest.fixture
def machines() -> Iterator[Machines]:
    """Two machines, where the kernel lets us make them."""
    if shutil.which("ip") is None:
        missing("the command ip is not installed; apt install iproute2")
    made = Machines()
    try:
        made.up()
    except subprocess.CalledProcessError as refused:
        made.down()
        pytest.skip(
            f"network namespaces are not permitted here: {refused.stderr.strip()}; run the tests as root"
        )
    yield made
    made.down()


ASK = "import sys, urllib.request as u; r = u.Request(sys.argv[1], data=sys.argv[3].encode() or None, headers={'Cookie': sys.argv[2]}); print(u.urlopen(r, timeout=10).read().decode())"  # noqa: E501 - one word of a command line


def until(holds: Callable[[], Any], what: str) -> Any:
    """Waits for real processes: until something holds, or the test's patience ends."""
    end = time.monotonic() + PATIENCE_S
    while not (found := holds()):
        assert time.monotonic() < end, what
        time.sleep(0.1)
    return found


def test_a_pulled_cable_between_office_and_bench_loses_nothing(
    machines: Machines, tmp_path: Path, plan_toml: str
) -> None:
    """Documented set-up, real processes: enrolled, watched, cut off, caught up; the bench's board is the office's."""
    office, bench = tmp_path / "office", tmp_path / "bench"
    for folder in (office, bench):
        folder.mkdir()
    settings = Settings(data_dir=str(office / "data"))
    (office / "service.toml").write_text(f'data_dir = "{settings.data_dir}"\nhost = "0.0.0.0"\n')
    prepared = Service.open(settings, SystemClock())
    with prepared.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", prepared.timeline.now_ms())
        cookie = f"{COOKIE}={people.start_sign_in(tx, person, prepared.timeline.now_ms(), 'test')}"
        station_id, token = stations.enrol(tx, "bench-1", prepared.timeline.true_ms())
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=plan_toml, station_id=station_id),
            by="Ada",
            now_ms=prepared.timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, CALM, "test")
        for stage in (Stage.READY, Stage.POURING):
            pours.move_on(tx, pour_id, stage, "Ada", prepared.timeline)
    prepared.close()
    (bench / "station.token").write_text(token)
    (bench / "station.toml").write_text(
        f'name = "bench-1"\nservice_url = "http://{OFFICE}:8080"\nhardware = "bench"\n[periods]\nfirst_hour_s = 1\n'
        '[[probe]]\nid = "28-0000000000c1"\nplace = "core"\nbench = "21.25"\n'
    )

    # The bench's machine starts first: its service is not there yet, and it watches all the same.
    machines.start(machines.bench, bench, "-m", "logger.daemon", "station", "station.toml")
    until(lambda: kept(bench) >= 2, "the station does not sweep without its service")
    machines.start(machines.office, office, "-m", "web.command", "serve", "service.toml")
    until(
        lambda: stored(office),
        f"nothing arrives: {(bench / 'said').read_text()} {(office / 'said').read_text()}",
    )
    board = machines.ask(machines.bench, ASK, f"http://{OFFICE}:8080/stations", cookie, "")
    assert "21.2" in board

    machines.cable("down")
    before = len(stored(office))
    until(lambda: kept(bench) >= before + 3, "the station stops when the cable is pulled")
    assert len(stored(office)) == before
    machines.cable("up")
    until(lambda: len(stored(office)) >= before + 3, "what was kept does not arrive")
    numbers = stored(office)
    assert numbers == list(range(1, len(numbers) + 1)), "each once, none missing"
    assert not (bench / "data").exists(), "the station keeps nothing of the service's"
    assert not list(office.glob("spool*")), "nor the service of the station's"


def stored(office: Path) -> list[int]:
    """Sequence numbers that the service has, in order."""
    with closing(
        sqlite3.connect(f"file:{office / 'data' / 'pourlog.sqlite3'}?mode=ro", uri=True)
    ) as database:
        return [row[0] for row in database.execute("SELECT seq FROM reading ORDER BY seq")]


def kept(bench: Path) -> int:
    """The number of the last row that the station has put on its own disk."""
    path = bench / "spool.sqlite3"
    if not path.exists():
        return 0
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        try:
            return int(database.execute("SELECT ifnull(max(seq), 0) FROM row").fetchone()[0])
        except sqlite3.OperationalError:
            return 0
