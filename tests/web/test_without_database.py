"""The card dies or the disk fills under a running service: a hot core is told from memory, and people are told why."""

from __future__ import annotations

import html
import sqlite3
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.exc import DatabaseError, OperationalError

from logger.delivery.channels import Outcome
from logger.delivery.shout import Shouter
from logger.live.plain_watch import FAILS_MS, GRACE_MS, PlainWatch, UsualWatch
from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, people, stations
from logger.store.people import SEEN_EVERY_MS
from tests.messages_as_sent import as_sent
from web.security import passwords
from web.server.app import make_app
from web.service import pipeline

PAGE = {"accept": "text/html"}
HOT = "URGENT: The core is too hot - River table for a fictional client"


class Broken:
    """A connection pool over a file that fails."""

    def __init__(self, error: type[DatabaseError], text: str, code: int) -> None:
        self._error, self._text, self._code = error, text, code

    def begin(self) -> Any:
        """No transaction begins."""
        error = sqlite3.OperationalError(self._text)
        error.sqlite_errorcode = self._code
        raise self._error("BEGIN", None, error)

    def dispose(self) -> None:
        """Nothing to let go of."""


def fill(service: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not a byte can be written; what is there can be read."""
    full = Broken(OperationalError, "database or disk is full", sqlite3.SQLITE_FULL)
    monkeypatch.setattr(service.store, "_writer", full)


def kill(service: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be read or written."""
    dead = Broken(DatabaseError, "database disk image is malformed", sqlite3.SQLITE_CORRUPT)
    monkeypatch.setattr(service.store, "_writer", dead)
    monkeypatch.setattr(service.store, "_reader", dead)


@pytest.fixture
def database() -> str:
    """The Pi's own file: what a server's database does is the server's."""
    return "sqlite"


@pytest.fixture
def messages() -> Messages:
    """A phone."""
    return Messages(urls=["one://phone"])


class Bench:
    """A station whose batches come over HTTP, and a service whose threads are moved by hand."""

    def __init__(self, service: Any, clock: Any, client: TestClient, pour_id: int) -> None:
        self.service, self.clock, self.client, self.pour_id = service, clock, client, pour_id
        with service.store.write() as tx:
            _row, self.token = stations.enrol(tx, "bench-1", 0)
        self.seq = 0
        self.kept: list[dict[str, Any]] = []
        self.took: list[tuple[str, str]] = []

        def take(_url: str, title: str, body: str) -> Outcome:
            self.took.append((title, body))
            return Outcome(True)

        service.plain_watch = service.memory.watch = PlainWatch(
            service.plain,
            Shouter(take, service.settings.messages.urls),
            service.timeline.now_ms,
            UsualWatch(
                lambda pour: pipeline.handled(service, pour),
                lambda pour: pipeline.not_as_usual(service, pour),
            ),
            workshop="The workshop",
        )
        service.memory.refresh()

    def sweep(self, core_c: float, seconds: float = 5.0, newest: bool = False) -> Any:
        """Time passes, a batch is sent, everybody looks; what was refused is kept and sent again."""
        self.clock.move(seconds)
        now = self.clock.stamp()
        stamp = {"wall_ms": now.wall_ms, "boot_id": "station", "boot_ms": now.boot_ms, "clock_set": True}
        self.seq += 1
        row = {
            "seq": self.seq,
            "probe": "28-core",
            "place": "core",
            "stamp": stamp,
            "milli_c": round(core_c * 1000),
            "fault": None,
            "raw": "00",
            "note": None,
        }
        self.kept.append(row)
        body = {
            "station": "bench-1",
            "spool": "s",
            "sent": stamp,
            "rows": self.kept[:5] if newest else self.kept,
            "newest": [row] if newest else [],
        }
        answer = self.client.post(
            "/api/batches", json=body, headers={"Authorization": f"Bearer {self.token}"}
        )
        if answer.status_code == 200:
            self.kept = [one for one in self.kept if one["seq"] > answer.json()["acknowledged_seq"]]
        self.service.watch.judge_all()
        self.service.memory.refresh()
        self.service.plain_watch.step()
        return answer

    def titles(self) -> list[str]:
        """What came from memory."""
        return [title for title, _body in self.took]


@pytest.fixture
def bench(service: Any, shop: Any, clock: Any, maker: TestClient, plan_toml: str) -> Bench:
    """A live pour."""
    pour_id = shop.plan(plan_toml)
    shop.go(pour_id, Stage.READY, Stage.POURING)
    made = Bench(service, clock, maker, pour_id)
    for _ in range(3):
        assert made.sweep(22.0).status_code == 200
    return made


def hot(bench: Bench, newest: bool = False) -> list[Any]:
    """The core passes its limit, and stays over it for a minute."""
    return [bench.sweep(61.0 + number, newest=newest) for number in range(12)]


@pytest.mark.parametrize("breaks", [fill, kill])
def test_a_hot_core_is_told_though_its_readings_cannot_be_stored(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, breaks: Callable[..., None]
) -> None:
    """Within half a minute of the second reading, with why; the buzzer sounds, and nothing is acknowledged."""
    began_ms = bench.service.timeline.now_ms()
    with monkeypatch.context() as context:
        breaks(bench.service, context)
        answers = hot(bench)
        assert [answer.status_code for answer in answers] == [503] * 12
        assert answers[0].json()["error"]["kind"] == "not-stored"
        assert [answer.json()["core_hot"] for answer in answers] == [False] * 5 + [True] * 7
        assert bench.titles() == [HOT]
        assert "since its readings cannot be stored" in bench.took[0][1]
        bench.sweep(62.0, seconds=FILL_S)
        assert bench.titles()[1:] == ["URGENT: Pours are not watched as usual - The workshop"]
    assert len(bench.kept) == 13, "the station has every row"
    bench.took.clear()
    assert bench.sweep(62.0).status_code == 200
    assert bench.titles() == ["Cleared: Pours are not watched as usual - The workshop"], (
        "the alarm itself goes its own way"
    )
    with bench.service.store.read() as connection:
        (row,) = [row for row in alarms.open_alarms(connection, bench.pour_id) if row.kind == "core-hot"]
        assert row.raised_ms > began_ms
        texts = list(
            connection.exec_driver_sql("SELECT text FROM event WHERE kind = 'told-from-memory'").scalars()
        )
    assert len(texts) == 2, "what was told stands in the record"


FILL_S = FAILS_MS / 1000 - GRACE_MS / 1000


def test_the_board_says_not_that_nothing_is_wrong_while_readings_cannot_be_stored(
    bench: Bench, maker: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """From the first batch that is refused; and what is told from memory stands on the pour, too."""
    assert "Nothing wrong" in maker.get("/").text
    with monkeypatch.context() as context:
        fill(bench.service, context)
        bench.sweep(61.0)
        board = maker.get("/").text
        assert "Nothing wrong" not in board
        assert "Its readings cannot be stored: go there and look" in board
        hot(bench)
        said = "ts core reads 72.0 °C, and its limit is 60 °C: go there now"
        for path in ("/", f"/pours/{bench.pour_id}"):
            assert said in maker.get(path).text
    bench.sweep(22.0)
    assert "its limit is 60 °C: go there now" not in maker.get("/").text


def test_a_hot_core_of_an_unreadable_plan_stands_on_the_board(bench: Bench, maker: TestClient) -> None:
    """It is judged by the limit for a pour of unknown plan, and its tile says what is told of it."""
    with bench.service.store.write() as tx:
        tx.exec_driver_sql("UPDATE pour SET plan_toml = 'title = '")
    bench.service.memory._limits.clear()
    bench.service.watch._setups.clear()
    for number in range(12):
        bench.sweep(94.0 + number)
    assert "Its core reads 105.0 °C, and its limit is 95 °C: go there now" in maker.get("/").text


def test_a_hot_core_is_told_from_memory_once_messages_have_not_been_sent_for_a_minute(bench: Bench) -> None:
    """It is judged and written down as usual, and its message lies in the database."""
    bench.service.sender = SimpleNamespace(
        sent_ms=bench.service.timeline.now_ms(), round_s=0.0, trouble="it hangs", broken=list
    )
    hot(bench)
    assert bench.titles() == []
    for _ in range(3):
        bench.sweep(73.0)
    assert bench.titles() == [HOT]
    assert "since messages are not sent in the usual way (it hangs)" in bench.took[0][1]


def test_the_newest_readings_are_seen_behind_a_batch_that_is_refused_again_and_again(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A spool that has grown past one batch sends its oldest rows for ever: what is hot now comes beside them."""
    fill(bench.service, monkeypatch)
    for _ in range(10):
        bench.sweep(22.0, newest=True)
    assert HOT not in bench.titles()
    hot(bench, newest=True)
    assert HOT in bench.titles()


def test_rows_beside_a_batch_are_looked_at_and_not_stored(bench: Bench) -> None:
    """They come again in their turn."""
    for _ in range(9):
        assert bench.sweep(23.0, newest=True).status_code == 200
    with bench.service.store.read() as connection:
        numbers = list(connection.exec_driver_sql("SELECT seq FROM reading ORDER BY id").scalars())
    assert numbers == list(range(1, 13))


def test_a_working_judgement_leaves_the_plain_limit_nothing_to_say(bench: Bench) -> None:
    """A pour that becomes too hot and cools, with all parts at work: not one message from memory."""
    for core_c in (57.0, 58.0, 59.0, 59.5, 60.5, 61.0, 66.0, *[70.0] * 60, 66.0, 60.0, 55.0, 50.0):
        bench.sweep(core_c)
    with bench.service.store.read() as connection:
        assert "core-hot" in {row.kind for row in alarms.open_alarms(connection, bench.pour_id)}
    assert bench.took == []


def test_a_station_that_sends_in_vain_is_not_said_to_send_nothing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of it is judged: it is told as if it were silent, with what is true."""
    fill(bench.service, monkeypatch)
    for _ in range(11):
        bench.sweep(22.0)
    (held,) = [
        one
        for one in bench.service.watch.memory_outbox.of(bench.pour_id)
        if one.notification.kind.name == "station-silent"
    ]
    assert "Readings come from bench-1, and none could be stored for 5" in as_sent(held).body
    assert "disk is full" in as_sent(held).body


def test_a_station_is_known_from_memory_when_nobody_can_be_asked(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its row was let go of just before; a token that nobody knows is not let in for that."""
    kill(bench.service, monkeypatch)
    bench.service.known_stations.clear()
    assert {answer.status_code for answer in hot(bench)} == {503}
    assert HOT in bench.titles()
    bench.service.known_stations.clear()
    bench.token = "x" + bench.token
    answer = bench.sweep(70.0)
    assert (answer.status_code, answer.json()["error"]["kind"]) == (503, "database-unread")
    assert "core_hot" not in answer.json()


def test_a_station_that_cannot_be_served_is_not_shut_out_for_it(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is the service's fault: hundreds of refused batches are still looked at."""
    fill(bench.service, monkeypatch)
    assert {bench.sweep(22.0).status_code for _ in range(300)} == {503}


def test_pages_say_what_has_failed_and_how_many_pours_are_too_hot(
    bench: Bench, maker: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plain page from memory, for anybody, and nothing of whose pours they are."""
    kill(bench.service, monkeypatch)
    hot(bench)
    for path in ("/", f"/pours/{bench.pour_id}", "/sign-in"):
        answer = maker.get(path, headers=PAGE)
        assert answer.status_code == 503
        text = html.unescape(answer.text)
        assert "The service cannot read its database" in text
        assert "1 pour is watched for the limit of its core" in text
        assert "A pour is over the limit: go there now" in text
        assert "River table" not in text
    answer = maker.get("/api/pours")
    assert (answer.status_code, answer.json()["error"]["kind"]) == (503, "database-unread")
    with TestClient(make_app(bench.service)) as fresh:
        assert fresh.get("/", headers=PAGE).status_code == 503, "before it is known who owns the service, too"
    assert maker.get("/api/ready").json()["missing"][0] == "the database does not answer"


def test_nobody_can_sign_in_on_a_full_disk_and_is_told_why_while_who_is_signed_in_still_sees(
    bench: Bench, service: Any, clock: Any, maker: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page with what to do, not a bare error."""
    with service.store.write() as tx:
        people.add_person(tx, "Ben", people.Role.MAKER, passwords.hash_of("four plain words here"), 1)
    fill(service, monkeypatch)
    with TestClient(make_app(service)) as ben:
        answer = ben.post(
            "/sign-in",
            data={"name": "Ben", "password": "four plain words here"},
            headers=PAGE,
            follow_redirects=False,
        )
    assert answer.status_code == 503
    assert "Make room on the disk" in answer.text
    clock.move(SEEN_EVERY_MS / 1000 + 1)
    service.watch.judge_all()
    board = maker.get("/", headers=PAGE)
    assert board.status_code == 200
    assert "disk is full: make room" in html.unescape(board.text)


def test_a_database_that_is_only_busy_is_not_called_dead(
    bench: Bench, maker: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another's write took too long: try again."""
    busy = Broken(OperationalError, "database is locked", sqlite3.SQLITE_BUSY)
    monkeypatch.setattr(bench.service.store, "_reader", busy)
    answer = maker.get("/", headers=PAGE)
    assert answer.status_code == 503
    assert "The database does not answer" in answer.text
    assert "failed" not in answer.text
