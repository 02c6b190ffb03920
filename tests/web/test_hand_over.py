"""Several service processes over one PostgreSQL database: one decides, and when it is killed another does, soon."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from processes import Bench, Phone, Process, decider, wait_for

from logger.store import people
from logger.store.database import Store
from web.security.access import COOKIE

#: The lease runs out within five seconds, and is looked at every second.
SOON_S = 10.0
#: A process that lost its connections is ready again after its lease, at the latest; on a busy machine a little later.
ANEW_S = 20.0


class Processes:
    """Some processes, and what they share."""

    def __init__(self, folder: Path, url: str) -> None:
        self.phone = Phone()
        self._folder, self._url = folder, url
        self.store = Store(url)
        self.running: list[Process] = []

    def start(self) -> Process:
        """One process more."""
        made = Process(self._folder, self._url, [self.phone.url], watch_period_s=1.0)
        self.running.append(made)
        return made

    def close(self) -> None:
        """Ends all."""
        for process in self.running:
            process.stop()
        self.phone.close()
        self.store.close()


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory, cluster: Any, migrated: str) -> Iterator[Processes]:
    """Three processes that answer."""
    name = cluster.create(migrated)
    made = Processes(tmp_path_factory.mktemp("service"), cluster.address(name))
    try:
        for process in [made.start() for _ in range(3)]:
            process.ready()
        yield made
    finally:
        made.close()
        cluster.drop(name)


def test_pages_of_one_process_hear_what_another_was_sent(three: Any, plan_toml: str) -> None:
    """A batch goes to the one; the page that is open at the other is told within a second or two."""
    with three.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, "no hash", 1)
        token = people.start_sign_in(tx, person, 4_000_000_000_000, "test")
    bench = Bench(three.store, plan_toml, "bench-of-pages")
    other, one = three.running[:2]
    heard: list[dict[str, Any]] = []
    came = threading.Event()

    def listen() -> None:
        with httpx.stream(
            "GET", f"http://127.0.0.1:{other.port}/live", cookies={COOKIE: token}, timeout=30, trust_env=False
        ) as answer:
            for line in answer.iter_lines():
                if line.startswith("retry"):
                    came.set()
                if line.startswith("data: "):
                    heard.append(json.loads(line.removeprefix("data: ")))
                    if heard[-1]["kind"] == "readings":
                        return

    page = threading.Thread(target=listen)
    page.start()
    assert came.wait(20)
    bench.sweep(one, 30.0)
    page.join(10)
    bench.end()
    assert {"kind": "readings", "pour": bench.pour_id} in heard


def test_connections_that_the_server_ends_are_made_anew(three: Any, cluster: Any, plan_toml: str) -> None:
    """As when the server is restarted: no process ends, and the next hot reading is an alarm as ever."""
    bench = Bench(three.store, plan_toml, "bench-of-the-restart")
    deciding = decider(three.store, three.running)
    bench.becomes_hot(deciding)
    ended = cluster.execute(
        "postgres",
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
        f"WHERE datname = '{three.store.url.database}' AND pid <> pg_backend_pid()",
    )
    assert len(ended) > len(three.running)
    bench.sweep(three.running[0], 60.6)
    wait_for(lambda: bench.alarms(), SOON_S)
    bench.end()
    for process in three.running:
        wait_for(lambda process=process: process.client.get("/api/ready").status_code == 200, ANEW_S)


def test_the_alarm_of_a_killed_process_is_raised_once_by_the_other_within_ten_seconds(
    three: Any, plan_toml: str
) -> None:
    """The one that decides is killed at once after it has taken the hot reading; twice over."""
    for number in range(2):
        bench = Bench(three.store, plan_toml, f"bench-{number}")
        deciding = decider(three.store, three.running)
        bench.becomes_hot(deciding)
        bench.sweep(deciding, 60.5)
        deciding.kill()
        three.running.remove(deciding)
        took_s = wait_for(lambda bench=bench: bench.alarms(), SOON_S)
        assert took_s < SOON_S
        (alarm,) = bench.alarms()
        wait_for(lambda alarm=alarm, bench=bench: ("first-time", "sent") in bench.messages(alarm.id), SOON_S)
        bench.sweep(three.running[0], 61.5)
        assert [why for why, _state in bench.messages(alarm.id)].count("first-time") == 1
        assert len(bench.alarms()) == 1
        told = [title for title in three.phone.taken if f"bench-{number}" in title]
        assert 1 <= len(told) <= 2, "one that was under way when its sender died may come twice"
        bench.end()
