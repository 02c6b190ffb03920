"""A stranger's record is brought into a real service that watches a real pour: it must not touch alarms or files."""

from __future__ import annotations

import contextlib
import io
import threading
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from forged import Forged, kept
from processes import Bench, Phone, Process, wait_for

from logger.store import arriving, people
from logger.store.database import Store
from logger.store.people import Role
from web.security.access import COOKIE

#: A hot core reaches the phone within this, s.
SOON_S = 5.0


class Watched:
    """A service in a process of its own, a phone, benches whose pours are watched, and who is signed in.

    The tests share the service; `bench` is the one of this test, beside a pour of its own.
    """

    bench: Bench

    def __init__(self, folder: Path) -> None:
        self.phone = Phone()
        self.folder = folder
        self.store = Store(f"sqlite:///{folder / 'pourlog.sqlite3'}")
        with self.store.write() as tx:
            now_ms = time.time_ns() // 1_000_000
            self._cookies = {
                role: people.start_sign_in(
                    tx, people.add_person(tx, name, role, "no hash", now_ms), now_ms, "test"
                )
                for name, role in (("Ada", Role.OWNER), ("Ben", Role.MAKER), ("Vic", Role.VIEWER))
            }
        self._benches: list[Bench] = []
        self._before: set[int] = set()
        self.start()

    def start(self) -> None:
        """The service starts, for the first time or again."""
        self.service = Process(self.folder, None, [self.phone.url], watch_period_s=1.0)
        self.service.ready()

    def begin(self, plan_toml: str) -> None:
        """A pour more is watched, at a station of its own, and nobody has been told anything of it."""
        self.station = f"bench-{len(self._benches) + 1}"
        self.bench = Bench(self.store, plan_toml, self.station)
        self._benches.append(self.bench)

    def told(self) -> list[str]:
        """What the phone took about the pour of this bench."""
        return [title for title in self.phone.taken if title.endswith(f"Table at {self.station}")]

    def clear(self) -> None:
        """What was brought in is deleted; what is there now was there before the next test."""
        for pour in self.sealed():
            self.ask(Role.OWNER, "POST", f"/pours/{pour}/remove", data={"sure": "yes"})
        self._before = set(self._listed())

    def ask(self, role: Role, method: str, path: str, **sent: Any) -> httpx.Response:
        """A request by somebody of that role."""
        return self.service.client.request(
            method, path, headers={"Cookie": f"{COOKIE}={self._cookies[role]}"}, timeout=300, **sent
        )

    def bring_in(self, raw: bytes, name: str = "record.zip", **form: str) -> httpx.Response:
        """A maker brings a file in."""
        return self.ask(
            Role.MAKER, "POST", "/shop/import", data={"act": "take"} | form, files={"file": (name, raw)}
        )

    def sealed(self) -> list[int]:
        """The pours that were brought in."""
        ours = self._before | {bench.pour_id for bench in self._benches}
        return [pour for pour in self._listed() if pour not in ours]

    def _listed(self) -> list[int]:
        return [pour["id"] for pour in self.ask(Role.VIEWER, "GET", "/api/pours").json()]

    def close(self) -> None:
        """Ends all."""
        self.service.stop()
        self.phone.close()
        self.store.close()


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Watched]:
    """A service that watches."""
    made = Watched(tmp_path_factory.mktemp("strangers"))
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def watched(workshop: Watched, plan_toml: str) -> Iterator[Watched]:
    """A pour that is watched."""
    workshop.begin(plan_toml)
    yield workshop
    workshop.bench.end()
    workshop.clear()


def hot(watched: Watched) -> float:
    """Seconds from a core at 66 °C to the phone, over a limit of 60 °C."""
    watched.bench.becomes_hot(watched.service)
    began = time.monotonic()
    while not any("limit" in title or "hot" in title.lower() for title in watched.told()):
        if time.monotonic() - began > 20:
            board = watched.ask(Role.VIEWER, "GET", "/").text
            said = "the board says that nothing is wrong" if "Nothing wrong" in board else "the board says so"
            raise AssertionError(f"nobody was told of a hot core: {watched.phone.taken}; {said}")
        watched.bench.sweep(watched.service, 66.0)
        time.sleep(0.2)
    return time.monotonic() - began


def test_a_record_that_says_it_cures_does_not_end_the_watch(watched: Watched) -> None:
    """It has no prediction to be judged by; the core of the pour next to it gets hot."""
    taken = watched.bring_in(Forged().say(stage="curing", prediction=None, closed_ms=None).packed())
    assert hot(watched) < SOON_S
    assert watched.ask(Role.VIEWER, "GET", "/api/ready").status_code == 200
    assert taken.status_code == 422, "only a closed record comes in"
    assert watched.sealed() == []


@pytest.mark.parametrize(
    ("stage", "spool"),
    [("curing", "a spool of theirs"), ("closed", "a spool of theirs"), ("closed", "spool-1")],
)
def test_a_record_with_our_stations_name_takes_none_of_its_readings(
    watched: Watched, stage: str, spool: str
) -> None:
    """It names the station that watches and the spool from which it sends, was poured a minute ago, and never ended."""
    forged = Forged().say(stage=stage, station=watched.station, released_ms=None)
    for row in forged.tables["boots"]:
        row["offset_ms"] += round(time.time() * 1000) - 60_000 - forged.record["pour"]["poured_ms"]
    for row in forged.tables["readings"]:
        row["spool"] = spool
    watched.bring_in(forged.packed())
    assert hot(watched) < SOON_S
    with watched.store.read() as connection:
        others = "SELECT count(*) FROM reading WHERE milli_c > 65000 AND pour_id > ?"
        assert connection.exec_driver_sql(others, (watched.bench.pour_id,)).scalar() == 0


def test_a_photo_is_no_way_to_the_services_files(watched: Watched) -> None:
    """A record names a photo by a path; a viewer asks for its bundle."""
    for name in ("../pourlog", f"../settings-{watched.service.port}", "../../../etc/host", "*", "?" * 64):
        forged = Forged()
        forged.files = {path: raw for path, raw in forged.files.items() if not path.startswith("photos/")}
        told = {"sha256": name, "bytes": 304, "type": "image/jpeg"}
        forged.record["photos"] = [told | {"at_ms": 1, "by": "Ada", "text": ""}]
        forged.tables["events"] = [
            row for row in forged.tables["events"] if row["kind"] not in ("photo", "addition")
        ]
        note = forged.event("note")
        note["data"], note["kind"] = told, "photo"
        watched.bring_in(forged.packed())
    for pour in watched.sealed():
        answer = watched.ask(Role.VIEWER, "GET", f"/api/pours/{pour}/bundle")
        names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist() if answer.status_code == 200 else []
        assert [path for path in names if path.startswith("photos/")] == []
    assert watched.sealed() == []


def test_a_record_without_a_resin_leaves_the_shops_pages_standing(watched: Watched) -> None:
    """Compare and shop, for people and for programs; and an owner can delete what came in."""
    forged = Forged()
    forged.record["plan"], forged.record["outcome"] = {}, {"state": "splendid"}
    watched.bring_in(forged.packed())
    for path in ("/compare", "/api/compare", "/shop", "/api/shop", "/", "/api/pours", "/resins"):
        assert watched.ask(Role.VIEWER, "GET", path).status_code == 200, path
    assert watched.bring_in(kept()).status_code == 303
    (pour,) = watched.sealed()
    gone = watched.ask(Role.OWNER, "POST", f"/pours/{pour}/remove", data={"sure": "yes"})
    assert gone.status_code == 303
    assert watched.sealed() == []


def long_record(rows: int) -> bytes:
    """An honest record of six probes every 5 s, packed as an earlier program did: not at all."""
    forged = Forged()
    first = forged.tables["readings"][0]
    forged.tables["readings"] = [
        first
        | {
            "seq": at + 1,
            "probe": f"28-0000000000{at % 6}",
            "boot_ms": first["boot_ms"] + 5000 * (at // 6),
            "milli_c": 21_000 + at % 3000,
        }
        for at in range(rows)
    ]
    return forged.packed(zipfile.ZIP_STORED)


def test_while_a_long_record_comes_in_a_hot_core_reaches_the_phone_as_soon_as_ever(
    watched: Watched, plan_toml: str
) -> None:
    """Pour after pour gets hot until the record is there: reading, proving and writing it keep nobody waiting.

    The largest, 311,040 readings, is tests/bench/imports.py's.
    """
    raw, answers = long_record(20_000), []
    sent = threading.Thread(target=lambda: answers.append(watched.bring_in(raw).status_code))
    sent.start()
    waits: list[float] = []
    while sent.is_alive():
        watched.bench.end()
        watched.begin(plan_toml)
        waits.append(hot(watched))
    assert answers == [303]
    assert len(waits) >= 3
    assert max(waits) < SOON_S


@pytest.mark.parametrize("how", ["stop", "kill"])
def test_a_service_that_ends_while_a_record_comes_in_keeps_none_of_it_in_sight(
    watched: Watched, how: str
) -> None:
    """Asked to end it keeps the whole record or none of it; killed it leaves rows that nobody sees, and the same file
    comes in later.
    """
    raw = long_record(8_000)

    def send() -> None:
        with contextlib.suppress(httpx.HTTPError):
            watched.bring_in(raw)

    sent = threading.Thread(target=send)
    sent.start()
    wait_for(lambda: arrived(watched) > 1000, 120)
    began = time.monotonic()
    if how == "stop":
        assert watched.service.stop() == 0
        assert time.monotonic() - began < 15
    else:
        watched.service.kill()
    sent.join()
    watched.start()
    assert hot(watched) < SOON_S
    for pour in watched.sealed():
        assert how == "stop"
        assert watched.ask(Role.VIEWER, "GET", f"/api/pours/{pour}/verify").json()["readings"] == 8_000
        return
    if arrived(watched):
        again = watched.bring_in(raw)
        assert again.status_code == 422
        assert "is being imported or deleted" in again.text
        with watched.store.write() as tx:
            tx.exec_driver_sql("UPDATE pour SET partial_ms = 1 WHERE partial_ms IS NOT NULL")
        assert arriving.take_out_left_over(watched.store, 10**12) == 1
    assert watched.bring_in(raw).status_code == 303
    assert len(watched.sealed()) == 1


def arrived(watched: Watched) -> int:
    """Readings of pours that are not whole."""
    with watched.store.read() as connection:
        asked = (
            "SELECT count(*) FROM reading WHERE pour_id IN (SELECT id FROM pour WHERE partial_ms IS NOT NULL)"
        )
        return int(connection.exec_driver_sql(asked).scalar_one())
