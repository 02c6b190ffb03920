"""A station and its service in one process and on one disk, with a phone; their clock is moved by hand."""

from __future__ import annotations

from pathlib import Path

import httpx
import recorded_pour as recorded
from fastapi.testclient import TestClient

from hardware.bench.clock import SteppedClock
from logger.daemon.forward import Forwarder, ForwardStep, StationIdentity, open_client
from logger.daemon.keep import Keeper
from logger.delivery.channels import Outcome
from logger.delivery.sender import Sender
from logger.settings import Messages, Settings
from logger.store.ballast import Ballast
from web.server.app import make_app
from web.service.service import Service

RESERVE_BYTES = 5_000_000


class Shop:
    """A station and its service on one disk, with a phone."""

    def __init__(self, folder: Path) -> None:
        self.clock = SteppedClock(1_795_624_200_000, boot_ms=3_600_000)
        self.folder = folder
        self.took: list[str] = []
        self.kept = 0
        self.sweeps = 0
        self.keeper = Keeper(folder / "spool.sqlite3")
        self.open()
        recorded.begin(self.service)

    def open(self) -> None:
        """The service's process starts."""
        settings = Settings(data_dir=str(self.folder / "service"), messages=Messages(urls=["one://first"]))
        self.service = Service.open(settings, self.clock)
        reserve = Ballast(self.folder / "service", RESERVE_BYTES, beside_bytes=0)
        reserve.lay_up()
        self.service._reserve, self.service.store.make_room = reserve, reserve.give_up

        def take(_url: str, title: str, _body: str) -> Outcome:
            self.took.append(title)
            return Outcome(True)

        self.sender = Sender(
            self.service.store,
            self.service.timeline,
            settings.messages,
            take,
            self.service.watch.memory_outbox,
        )
        self._client = TestClient(make_app(self.service), raise_server_exceptions=False).__enter__()
        shop = self

        class Line(httpx.BaseTransport):
            def handle_request(self, request: httpx.Request) -> httpx.Response:
                answer = shop._client.post(
                    "/api/batches", content=request.read(), headers=dict(request.headers)
                )
                return httpx.Response(answer.status_code, content=answer.content, request=request)

        self._out = open_client("http://s.invalid", Line())
        self.forwarder = Forwarder(
            StationIdentity(recorded.STATION, lambda: recorded.TOKEN),
            self.keeper,
            self._out,
            self.clock.beside(),
            linger_s=0,
        )

    def sweep(self) -> None:
        """One sweep of four probes, every 5 s; the watch judges and the sender sends."""
        rows = recorded.rows_of(self.sweeps, self.clock)
        self.sweeps += 1
        if self.keeper.store(rows, self.clock.stamp().boot_s):
            self.kept += len(rows)
        while self.forwarder.step() is ForwardStep.SENT:
            pass
        self.service.watch.judge_all()
        self.sender.send_due()
        self.clock.advance(5)

    def stored(self) -> list[int]:
        """The numbers of all rows that the service stores, in order of their arrival."""
        with self.service.store.read() as connection:
            raws = connection.exec_driver_sql("SELECT raw FROM reading ORDER BY id").scalars()
            return [int(raw, 16) for raw in raws]

    def stop(self) -> None:
        """The service's process ends."""
        self._out.close()
        self._client.__exit__()
        self.service.close()

    def close(self) -> None:
        """Everything ends."""
        self.stop()
        self.keeper.close()
