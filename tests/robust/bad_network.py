"""Rows through a network that does everything wrong that a network can, from the real spool into the real service."""

from __future__ import annotations

import json
import random
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import recorded_pour as recorded
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import Forwarder, ForwardStep, StationIdentity, open_client
from logger.daemon.keep import Keeper
from logger.settings import Settings
from logger.wire import UnnumberedReading
from web.server.app import make_app
from web.service.service import Service


@dataclass(slots=True)
class Told:
    """What came of it."""

    stored: int = 0
    requests: int = 0
    renewed: int = 0
    conflicts: int = 0
    ways: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


class BadNetwork(httpx.BaseTransport):
    """Loses, repeats, delays and garbles requests and answers."""

    WAYS = ("well", "well", "lost", "answer lost", "twice", "out of order", "garbled", "answer garbled")

    def __init__(self, client: TestClient, chance: random.Random, told: Told, *, swaps: bool) -> None:
        self._client, self._chance, self._told, self._swaps = client, chance, told, swaps
        self._delayed: list[tuple[bytes, str]] = []

    def handle_request(self, request: httpx.Request) -> httpx.Response:
        """One batch, in one of the ways."""
        body, digest = request.read(), request.headers["Content-Digest"]
        way = self._chance.choice(self.WAYS)
        self._told.ways[way] += 1
        self._told.requests += 1
        if self._delayed and self._chance.random() < 0.3:
            self._deliver(*self._delayed.pop(0))  # arrives long after it was given up
        if way == "lost":
            raise httpx.ConnectError("lost", request=request)
        if way == "out of order":
            self._delayed.append((body, digest))
            raise httpx.ReadTimeout("on its way, too slowly", request=request)
        answer = self._deliver(self._garbled(body) if way == "garbled" else body, digest)
        if way == "twice":
            answer = self._deliver(body, digest)
        if way == "answer lost":
            raise httpx.ReadTimeout("the answer was lost", request=request)
        content = answer.content
        if self._swaps and answer.status_code == 200 and json.loads(body)["rows"]:
            self._alter(body)
        if way == "answer garbled":
            content = self._garbled(content)
        headers = (
            {"Content-Digest": answer.headers.get("Content-Digest", "")} if answer.status_code == 200 else {}
        )
        return httpx.Response(answer.status_code, content=content, headers=headers, request=request)

    def _deliver(self, body: bytes, digest: str | None) -> httpx.Response:
        headers = {"Authorization": f"Bearer {recorded.TOKEN}", "Content-Type": "application/json"}
        if digest is not None:
            headers["Content-Digest"] = digest
        answer = self._client.post("/api/batches", content=body, headers=headers)
        if answer.status_code >= 500:
            self._told.wrong.append(f"the service failed: {answer.text[:200]}")
        return httpx.Response(answer.status_code, content=answer.content, headers=answer.headers)

    def _garbled(self, content: bytes) -> bytes:
        """Cut short, or one digit is another: valid, and wrong."""
        at = self._chance.randrange(len(content))
        digits = [match.start() for match in re.finditer(rb"\d", content)]
        if self._chance.random() < 0.3 or not digits:
            return content[:at]
        at = self._chance.choice(digits)
        return (
            content[:at]
            + bytes([48 + (content[at] - 48 + self._chance.randint(1, 9)) % 10])
            + content[at + 1 :]
        )

    def _alter(self, body: bytes) -> None:
        """The same numbers with other contents, as from another station with a copy of this card."""
        batch = json.loads(body)
        batch["rows"][self._chance.randrange(len(batch["rows"]))]["milli_c"] += 1
        self._told.ways["altered"] += 1
        self._told.conflicts += self._deliver(json.dumps(batch).encode(), None).status_code == 409


def send_through(
    folder: Path, *, rows: int, seed: int, swaps: bool = False, renews: bool = False, at_once: int = 60
) -> Told:
    """Sends so many rows, up to four times `at_once` of them between two batches.

    The station gives up and tries again as often as it takes. With `renews` its spool goes on under a new name again
    and again, most often while it does not know whether its last batch arrived.
    """
    chance, told = random.Random(seed), Told()
    clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
    service = Service.open(Settings(data_dir=str(folder / "service")), clock)
    recorded.begin(service)
    keeper = Keeper(folder / "spool.sqlite3")
    (first,) = (spool.name for spool in keeper.spools if spool.path != ":memory:")
    network_client = TestClient(make_app(service), raise_server_exceptions=False)
    with (
        network_client as client,
        open_client("http://s.invalid", BadNetwork(client, chance, told, swaps=swaps)) as out,
    ):
        forwarder = Forwarder(
            StationIdentity(recorded.STATION, lambda: recorded.TOKEN), keeper, out, clock.beside(), linger_s=0
        )
        sent = 0
        while sent < rows or keeper.pending:
            if sent < rows:
                count = min(rows - sent, 4 * chance.randint(1, at_once))
                keeper.store([_row(sent + i + 1, clock) for i in range(count)], clock.stamp().boot_s)
                sent += count
            failed = forwarder.step() is ForwardStep.FAILED
            if failed and told.requests > 50 * rows:
                told.wrong.append("it does not end")
                break
            if renews and chance.random() < (0.3 if failed else 0.02):
                next(spool for spool in keeper.spools if spool.path != ":memory:").renew()
                told.ways["renewed"] += 1
            clock.advance(5)
    told.renewed = sum(spool.name != first for spool in keeper.spools if spool.path != ":memory:")
    keeper.close()
    with service.store.read() as connection:
        found = connection.exec_driver_sql("SELECT seq, raw, milli_c FROM reading ORDER BY id").all()
    told.stored = len(found)
    if [int(raw, 16) for _, raw, _ in found] != list(range(1, sent + 1)):
        told.wrong.append("what is stored is not what was sent, in order")
    if any(milli_c != _milli_c(int(raw, 16)) for _, raw, milli_c in found):
        told.wrong.append("a row is stored with other contents")
    service.close()
    return told


def _milli_c(number: int) -> int:
    return 21_000 + number * 7919 % 10_000


def _row(number: int, clock: SteppedClock) -> UnnumberedReading:
    return UnnumberedReading(
        f"28-{number % 4:012x}",
        recorded.PLACES[number % 4],
        clock.stamp(),
        _milli_c(number),
        None,
        f"{number:018x}",
        None,
    )
