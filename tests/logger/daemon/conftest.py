"""A service that keeps what it is sent, and a station on the bench."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest

from hardware.clock import Stamp
from logger.daemon.station_file import StationConfig, station_from_file
from logger.wire import UnnumberedReading

CORE, ROOM = "28-0000000000a1", "28-0000000000b2"


class FakeService:
    """Stores rows by spool and number, as the contract in DEVELOPERS.md says; can be away, or lose its answers."""

    def __init__(self) -> None:
        self.rows: dict[tuple[str, int], dict[str, Any]] = {}
        self.order: list[tuple[str, int]] = []
        self.requests: list[httpx.Request] = []
        self.away = False
        self.loses_answers = False
        self.status = 200
        self.refusal: dict[str, Any] = {"error": "as the test wishes"}
        self.answer: dict[str, Any] = {"lamp": False, "buzzer": False, "fan": None, "next_s": None}
        self.raw_answer: bytes | None = None

    def transport(self) -> httpx.MockTransport:
        """In place of the network."""
        return httpx.MockTransport(self)

    def __call__(self, request: httpx.Request) -> httpx.Response:
        if self.away:
            raise httpx.ConnectError("connection refused", request=request)
        self.requests.append(request)
        if self.status != 200:
            return httpx.Response(self.status, json=self.refusal)
        body = json.loads(request.content)
        repeated = 0
        for row in body["rows"]:
            key = (body["spool"], row["seq"])
            if key in self.rows:
                if self.rows[key] != row:
                    return httpx.Response(409, json={"error": "other contents"})
                repeated += 1
            else:
                self.rows[key] = row
                self.order.append(key)
        if self.loses_answers:
            raise httpx.ReadTimeout("no answer", request=request)
        if self.raw_answer is not None:
            return httpx.Response(200, content=self.raw_answer)
        counts = {
            "acknowledged_seq": self.contiguous(body["spool"], body["rows"]),
            "stored": len(body["rows"]) - repeated,
            "repeated": repeated,
        }
        return httpx.Response(200, json={**counts, **self.answer})

    def contiguous(self, spool: str, rows: list[dict[str, Any]]) -> int:
        """The highest number up to which this spool is stored without a gap."""
        highest = (
            rows[0]["seq"] - 1 if rows else max([s for name, s in self.rows if name == spool], default=0)
        )
        while (spool, highest + 1) in self.rows:
            highest += 1
        return highest

    def values(self) -> list[int | None]:
        """`milli_c` of all rows in the order in which they were stored."""
        return [self.rows[key]["milli_c"] for key in self.order]


@pytest.fixture
def service() -> FakeService:
    """A service that keeps what it is sent."""
    return FakeService()


@pytest.fixture
def row() -> Callable[..., UnnumberedReading]:
    """Makes the row of a look number `n`: 20.000 °C and n thousandths, 5 s after the one before."""

    def make(n: int, *, boot_id: str = "boot-a", **changes: Any) -> UnnumberedReading:
        stamp = Stamp(1_700_000_000_000 + 5000 * n, boot_id, 5000 * n, True)
        values: dict[str, Any] = {
            "milli_c": 20_000 + n,
            "fault": None,
            "raw": "50014b467fff0c1000",
            "note": None,
        }
        return UnnumberedReading(CORE, "core", stamp, **{**values, **changes})

    return make


@pytest.fixture
def station_file(tmp_path: Path) -> Path:
    """A station file of a bench with two probes, and its token."""
    (tmp_path / "station.token").write_text("secret-token\n")
    file = tmp_path / "station.toml"
    file.write_text(
        'name = "bench-1"\nservice_url = "http://service.invalid:8080"\nhardware = "bench"\n'
        f'[[probe]]\nid = "{CORE}"\nplace = "core"\nbench = "21.5"\noffset_c = -0.25\n'
        f'[[probe]]\nid = "{ROOM}"\nplace = "room"\nbench = "20"\n'
    )
    return file


@pytest.fixture
def config(station_file: Path) -> StationConfig:
    """What that file says."""
    return station_from_file(station_file)
