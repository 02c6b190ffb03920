"""From the spool to the service: nothing lost, nothing doubled, in order."""

from __future__ import annotations

import json
import random
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import (
    BATCH_ROWS,
    LONGEST_BACK_OFF_S,
    NEWEST_ROWS,
    REFUSED_BACK_OFF_S,
    SIGN_OF_LIFE_S,
    AnswerListener,
    BadAnswer,
    Forwarder,
    ForwardStep,
    StationIdentity,
    open_client,
    read_answer,
)
from logger.daemon.keep import Keeper
from logger.daemon.signals import Orders


@pytest.fixture
def keeper(tmp_path: Path) -> Any:
    """An empty spool on disk."""
    made = Keeper(tmp_path / "spool.sqlite3")
    yield made
    made.close()


@pytest.fixture
def clock() -> SteppedClock:
    """Stands still."""
    return SteppedClock()


@pytest.fixture
def forwarder(keeper: Keeper, service: Any, clock: SteppedClock) -> Any:
    """Connected to the fake service."""
    with open_client("http://service.invalid", service.transport()) as client:
        forwarder = Forwarder(StationIdentity("bench-1", lambda: "secret"), keeper, client, clock, linger_s=0)
        forwarder.jitter = random.Random(1)
        yield forwarder


def run_dry(forwarder: Forwarder) -> list[ForwardStep]:
    """Steps until there is nothing to do, or it fails."""
    steps = []
    while not steps or steps[-1] is ForwardStep.SENT:
        steps.append(forwarder.step())
    return steps


def test_a_batch_is_what_the_contract_says(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """Names, units, bearer token and address, to the letter (DEVELOPERS.md)."""
    keeper.store([row(1), row(2, milli_c=None, fault="bad-crc", raw=None, note="noise")], 5)
    run_dry(forwarder)
    request = service.requests[1]
    assert (request.method, request.url.path) == ("POST", "/api/batches")
    assert request.headers["authorization"] == "Bearer secret"
    body = json.loads(request.content)
    assert list(body) == ["station", "spool", "sent", "rows"]
    assert body["station"] == "bench-1"
    assert body["spool"] == keeper.spools[0].name
    assert list(body["sent"]) == ["wall_ms", "boot_id", "boot_ms", "clock_set"]
    assert body["rows"][0] == {
        "seq": 1,
        "probe": "28-0000000000a1",
        "place": "core",
        "stamp": {"wall_ms": 1_700_000_005_000, "boot_id": "boot-a", "boot_ms": 5000, "clock_set": True},
        "milli_c": 20_001,
        "fault": None,
        "raw": "50014b467fff0c1000",
        "note": None,
    }
    assert body["rows"][1]["fault"] == "bad-crc"


def test_rows_go_in_batches_of_at_most_500_in_order(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """1234 rows in three batches, after the question how far the service is."""
    keeper.store([row(n) for n in range(1, 1235)], 5)
    run_dry(forwarder)
    sizes = [len(json.loads(request.content)["rows"]) for request in service.requests]
    assert sizes[:4] == [0, BATCH_ROWS, BATCH_ROWS, 234]
    assert service.values() == [20_000 + n for n in range(1, 1235)]
    assert keeper.pending == 0


def test_while_the_service_is_away_everything_is_kept_and_sent_afterwards(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """A day of sweeps without network: in order, nothing lost, nothing doubled."""
    keeper.store([row(1)], 5)
    run_dry(forwarder)
    service.away = True
    for first in range(2, 3000, 26):
        keeper.store([row(n) for n in range(first, min(first + 26, 3000))], 5.0 * first)
        assert forwarder.step() is ForwardStep.FAILED
    assert keeper.pending == 2998
    service.away = False
    run_dry(forwarder)
    assert service.values() == [20_000 + n for n in range(1, 3000)]
    assert keeper.pending == 0


def test_an_answer_that_is_lost_stores_nothing_twice(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """The service stored the rows; we do not know it, and send the same numbers again."""
    keeper.store([row(n) for n in range(1, 6)], 5)
    run_dry(forwarder)
    keeper.store([row(n) for n in range(6, 11)], 10)
    service.loses_answers = True
    assert forwarder.step() is ForwardStep.FAILED
    assert keeper.pending == 5
    service.loses_answers = False
    run_dry(forwarder)
    assert service.values() == [20_000 + n for n in range(1, 11)]
    assert keeper.pending == 0


def test_nothing_is_forgotten_for_an_answer_that_does_not_add_up(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """A page of some other server, half an answer, numbers that contradict what was sent."""
    run_dry(forwarder)
    keeper.store([row(n) for n in range(1, 6)], 5)
    for raw in (
        b"<html>sign in to the network</html>",
        b'{"acknowledged_seq": 5, "stored": 5',
        b'{"acknowledged_seq": 5, "stored": 4, "repeated": 0}',
        b'{"acknowledged_seq": 5, "stored": 5}',
        b'{"acknowledged_seq": true, "stored": 5, "repeated": 0}',
        b'{"acknowledged_seq": 5, "stored": 5, "repeated": 0, "lamp": "no"}',
        b"[]",
        b"null",
    ):
        service.raw_answer = raw
        assert forwarder.step() is ForwardStep.FAILED
        assert keeper.pending == 5
        assert forwarder.trouble is not None
    service.raw_answer = None
    run_dry(forwarder)
    assert keeper.pending == 0
    assert forwarder.trouble is None


def test_only_what_is_acknowledged_is_forgotten(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """The counts add up, but the service vouches for two rows of five only: the rest is sent again."""
    run_dry(forwarder)
    keeper.store([row(n) for n in range(1, 6)], 5)
    service.answer["acknowledged_seq"] = 2
    assert forwarder.step() is ForwardStep.FAILED
    assert forwarder.step() is ForwardStep.SENT
    assert keeper.pending == 3
    del service.answer["acknowledged_seq"]
    run_dry(forwarder)
    assert keeper.pending == 0
    assert service.values() == [20_000 + n for n in range(1, 6)]


def test_a_good_answers_orders_are_heard() -> None:
    """Lamp, buzzer, fan and period; a period out of all reason is not."""
    answer = read_answer(
        b'{"acknowledged_seq":7,"stored":1,"repeated":1,"lamp":true,"buzzer":false,"fan":true,"next_s":5}', 2
    )
    assert (answer.acknowledged_seq, answer.orders, answer.next_s) == (7, Orders(True, False, True), 5)
    silly = b'{"acknowledged_seq":7,"stored":2,"repeated":0,"next_s":0}'
    assert read_answer(silly, 2).next_s is None
    with pytest.raises(BadAnswer):
        read_answer(silly, 3)


def test_a_sign_of_life_is_sent_when_there_is_nothing_to_say(
    forwarder: Forwarder, service: Any, clock: SteppedClock
) -> None:
    """At least one empty batch in any 20 s, while the loop looks every half of that."""
    sent_at = []
    for _ in range(100):
        before = len(service.requests)
        forwarder.step()
        if len(service.requests) > before:
            sent_at.append(clock.stamp().boot_s)
        clock.advance(SIGN_OF_LIFE_S / 2)
    gaps = [later - earlier for earlier, later in pairwise(sent_at)]
    assert max(gaps) <= SIGN_OF_LIFE_S
    assert len(sent_at) >= 50


def test_back_off_doubles_to_half_a_minute_and_is_never_the_same_for_all(
    forwarder: Forwarder, service: Any
) -> None:
    """1, 2, 4 … 30 s, each between half and the whole of it; one success starts again."""
    service.away = True
    waits = []
    for _ in range(12):
        forwarder.step()
        waits.append(forwarder.back_off_s())
    for failures, wait_s in enumerate(waits):
        full = min(LONGEST_BACK_OFF_S, 2.0**failures)
        assert full / 2 <= wait_s <= full
    assert len(set(waits)) == len(waits)
    service.away = False
    forwarder.step()
    service.away = True
    forwarder.step()
    assert forwarder.back_off_s() <= 1.0


@pytest.mark.parametrize(
    ("status", "words"),
    [(401, "token is wrong"), (403, "another station"), (422, "differ in version"), (500, "look at its log")],
)
def test_a_refusal_is_told_with_its_remedy_once(
    forwarder: Forwarder,
    keeper: Keeper,
    service: Any,
    row: Any,
    status: int,
    words: str,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Rows stay; the log has one line for the trouble, not one for each try."""
    service.status = status
    keeper.store([row(1)], 5)
    for _ in range(3):
        assert forwarder.step() is ForwardStep.FAILED
    assert forwarder.trouble is not None
    assert words in forwarder.trouble
    assert len(caplog.records) == 1
    assert keeper.pending == 1


def test_a_missing_token_file_is_trouble_and_not_the_end(keeper: Keeper, service: Any, row: Any) -> None:
    """It is read again at each try: putting it there is enough."""

    def token() -> str:
        raise FileNotFoundError(2, "No such file", "station.token")

    with open_client("http://service.invalid", service.transport()) as client:
        forwarder = Forwarder(StationIdentity("bench-1", token), keeper, client, SteppedClock())
        assert forwarder.step() is ForwardStep.FAILED
    assert forwarder.trouble is not None
    assert "station.token" in forwarder.trouble


def test_a_service_restored_from_an_older_copy_gets_everything_that_is_left(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any, tmp_path: Path
) -> None:
    """It knows row 1 to 3 only; we have forgotten 1 to 6. The rest comes under a new name, and is acknowledged."""
    keeper.store([row(n) for n in range(1, 7)], 5)
    run_dry(forwarder)
    for key in [key for key in service.rows if key[1] > 3]:
        del service.rows[key]
        service.order.remove(key)
    keeper.store([row(n) for n in range(7, 11)], 10)
    with open_client("http://service.invalid", service.transport()) as client:
        run_dry(Forwarder(StationIdentity("bench-1", lambda: "secret"), keeper, client, SteppedClock()))
    assert service.values() == [20_000 + n for n in (1, 2, 3, 7, 8, 9, 10)]
    assert keeper.pending == 0
    assert len({name for name, _ in service.rows}) == 2


def test_a_card_restored_from_an_older_copy_loses_nothing_new(
    keeper: Keeper, service: Any, row: Any, tmp_path: Path
) -> None:
    """The service has more of this spool than we: our numbers would collide, so they get another name."""
    name = keeper.spools[0].name
    for n in range(1, 9):
        service.rows[name, n] = {"seq": n, "milli_c": n}
    keeper.store([row(n) for n in range(1, 4)], 5)
    with open_client("http://service.invalid", service.transport()) as client:
        run_dry(Forwarder(StationIdentity("bench-1", lambda: "secret"), keeper, client, SteppedClock()))
    assert service.values() == [20_001, 20_002, 20_003]
    assert keeper.pending == 0


def test_numbers_that_collide_go_on_under_another_name(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any, caplog: pytest.LogCaptureFixture
) -> None:
    """409: the service records the conflict; our rows still arrive, and the log says what happened."""
    run_dry(forwarder)
    service.rows[keeper.spools[0].name, 2] = {"seq": 2, "milli_c": 99}
    keeper.store([row(n) for n in range(1, 4)], 5)
    assert ForwardStep.FAILED in run_dry(forwarder)
    run_dry(forwarder)
    assert service.values()[-3:] == [20_001, 20_002, 20_003]
    assert keeper.pending == 0
    assert any("409" in record.getMessage() for record in caplog.records)


@pytest.mark.parametrize("seed", range(3))
def test_a_bad_network_loses_and_doubles_nothing(
    keeper: Keeper, service: Any, row: Any, seed: int, clock: SteppedClock
) -> None:
    """2000 rows over a network that drops requests, drops answers, garbles answers and refuses at random."""
    dice = random.Random(seed)
    with open_client("http://service.invalid", service.transport()) as client:
        forwarder = Forwarder(StationIdentity("bench-1", lambda: "secret"), keeper, client, clock)
        forwarder.jitter = dice
        for first in range(1, 2001, 8):
            keeper.store([row(n) for n in range(first, first + 8)], 5.0 * first)
            service.away = dice.random() < 0.2
            service.loses_answers = dice.random() < 0.2
            service.status = 503 if dice.random() < 0.1 else 200
            garbage = b'{"acknowledged_seq":%d,"stored":%d,"repeated":0}' % (
                dice.randrange(9999),
                dice.randrange(9),
            )
            service.raw_answer = garbage[: dice.randrange(60)] if dice.random() < 0.1 else None
            forwarder.step()
        assert len(service.requests) > 150
        service.away = service.loses_answers = False
        service.status, service.raw_answer = 200, None
        run_dry(forwarder)
    assert service.values() == [20_000 + n for n in range(1, 2001)]
    assert keeper.pending == 0


def test_the_loop_ends_at_once_when_told_even_while_backing_off(
    forwarder: Forwarder, service: Any, clock: SteppedClock
) -> None:
    """No stop waits for a service that is away."""
    service.away = True
    stop = threading.Event()
    forwarder._clock = clock.beside()
    thread = threading.Thread(target=forwarder.run, args=(stop,))
    thread.start()
    stop.set()
    forwarder.wake.set()
    thread.join(timeout=5)
    assert not thread.is_alive()


def test_the_http_library_is_loaded_without_its_command_line() -> None:
    """Its colours and tables would cost the daemon 10 MB; and it is whole for everyone else."""
    script = (
        "import sys; from logger.daemon.forward import load_httpx; httpx = load_httpx();"
        "print('rich' in sys.modules, 'click' in sys.modules, 'httpx._main' in sys.modules, httpx.Client.__name__)"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["False", "False", "False", "Client"]


def test_a_callback_hears_every_answer(keeper: Keeper, service: Any, clock: SteppedClock) -> None:
    """Orders reach whoever switches, also with a sign of life."""
    service.answer["lamp"] = True
    heard: list[bool] = []
    listen: Callable[[Any], None] = lambda answer: heard.append(answer.orders.lamp)  # noqa: E731
    with open_client("http://service.invalid", service.transport()) as client:
        Forwarder(
            StationIdentity("bench-1", lambda: "secret"),
            keeper,
            client,
            clock,
            AnswerListener(answered=listen),
        ).step()
    assert heard == [True]


def test_a_batch_that_leaves_rows_behind_carries_the_newest_of_all(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any
) -> None:
    """A service that can store nothing is sent the oldest again and again: what is hot now is seen all the same."""
    keeper.store([row(n) for n in range(1, 1235)], 5)
    forwarder.step()
    forwarder.step()
    greeting, batch = (json.loads(request.content) for request in service.requests)
    for body in (greeting, batch):
        assert [one["seq"] for one in body["newest"]] == list(range(1235 - NEWEST_ROWS, 1235))
    assert [one["seq"] for one in batch["rows"]] == list(range(1, BATCH_ROWS + 1))
    run_dry(forwarder)
    assert "newest" not in json.loads(service.requests[-1].content), "nothing is left behind"
    assert service.values() == [20_000 + n for n in range(1, 1235)], "and none of them is stored twice"


def test_a_service_that_cannot_store_says_that_a_core_is_hot_and_is_asked_often(
    keeper: Keeper, service: Any, row: Any
) -> None:
    """Heard from its refusal, and ended by the next good answer; somebody else's 503 says nothing."""
    heard: list[bool] = []
    with open_client("http://service.invalid", service.transport()) as client:
        forwarder = Forwarder(
            StationIdentity("bench-1", lambda: "secret"),
            keeper,
            client,
            SteppedClock(),
            AnswerListener(warned=heard.append),
            linger_s=0,
        )
        keeper.store([row(1)], 5)
        service.status, service.refusal = 503, {"core_hot": True}
        for _ in range(9):
            assert forwarder.step() is ForwardStep.FAILED
        assert heard == [True] * 9
        assert forwarder.back_off_s() <= REFUSED_BACK_OFF_S
        service.refusal = {"error": "a proxy's own"}
        forwarder.step()
        assert heard == [True] * 9
        service.away = True
        forwarder.step()
        assert forwarder.back_off_s() > REFUSED_BACK_OFF_S
        service.away, service.status = False, 200
        forwarder.step()
        assert heard[9:] == [False]


def test_a_token_whose_file_can_no_longer_be_read_is_used_on(keeper: Keeper, service: Any, row: Any) -> None:
    """The card dies under the station: the service must hear of what is read from then on."""
    gone = False

    def token() -> str:
        if gone:
            raise OSError(5, "Input/output error", "station.token")
        return "secret"

    with open_client("http://service.invalid", service.transport()) as client:
        forwarder = Forwarder(StationIdentity("bench-1", token), keeper, client, SteppedClock(), linger_s=0)
        run_dry(forwarder)
        gone = True
        keeper.store([row(1)], 5)
        assert run_dry(forwarder)[0] is ForwardStep.SENT
    assert service.requests[-1].headers["authorization"] == "Bearer secret"


def test_a_spool_that_can_no_longer_be_read_holds_up_no_row_in_memory(
    forwarder: Forwarder, keeper: Keeper, service: Any, row: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What came after the card had died is sent; what is on it is told, and sent when it can be read again."""
    keeper.store([row(1)], 5)
    disk, memory = keeper.spools

    def dead(*_args: Any) -> Any:
        raise sqlite3.OperationalError("disk I/O error")

    with monkeypatch.context() as card:
        for name in ("append", "oldest", "newest"):
            card.setattr(disk, name, dead)
        keeper.store([row(2)], 10)
        run_dry(forwarder)
        assert service.values() == [20_002]
        assert memory.pending == 0
        assert forwarder.trouble == "the spool cannot be read: disk I/O error"
    run_dry(forwarder)
    assert service.values() == [20_002, 20_001]


def test_the_limit_of_the_cores_here_is_heard_within_reason() -> None:
    """What the station watches by while the service is silent."""
    whole = b'{"acknowledged_seq":0,"stored":0,"repeated":0,"core_limit_c":%s}'
    found = [
        read_answer(whole % limit, 0).core_limit_c
        for limit in (b"60", b"62.5", b"null", b"-5", b"900", b'"60"')
    ]
    assert found == [60, 62.5, None, None, None, None]
