"""A station's batches: acknowledged after the commit, refused whole when anything is wrong."""

from __future__ import annotations

from typing import Any

import pytest

from hardware.clock import Stamp
from logger.daemon.forward import batch_json
from logger.store.conflicts import CONFLICTING_ROWS
from logger.store.events import of_kind
from logger.wire import StationHealth, WireReading
from logger.words.reader import METRIC
from logger.words.render import say
from web.schemas import BatchShape


def batch(clock: Any, seqs: range, station: str = "bench-1", **changes: Any) -> dict[str, Any]:
    """A batch as the station sends it."""
    now = clock.stamp()
    stamp = {"wall_ms": now.wall_ms, "boot_id": now.boot_id, "boot_ms": now.boot_ms, "clock_set": True}
    rows = [
        {
            "seq": seq,
            "probe": "28-000000000001",
            "place": "core",
            "stamp": stamp,
            "milli_c": 21_000 + seq,
            "fault": None,
            "raw": "00",
            "note": None,
        }
        | changes
        for seq in seqs
    ]
    return {"station": station, "spool": "spool-1", "sent": stamp, "rows": rows}


def post(client: Any, token: str, body: Any) -> Any:
    """Sends it."""
    return client.post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"})


def test_rows_are_acknowledged_and_a_repeat_is_counted(stranger: Any, station_token: str, clock: Any) -> None:
    """The station may forget what was acknowledged."""
    body = batch(clock, range(1, 11))
    assert post(stranger, station_token, body).json()["acknowledged_seq"] == 10
    again = post(stranger, station_token, body).json()
    assert (again["stored"], again["repeated"], again["acknowledged_seq"]) == (0, 10, 10)


def test_an_empty_batch_tells_how_far_the_service_is(stranger: Any, station_token: str, clock: Any) -> None:
    """A station that starts anew asks first."""
    post(stranger, station_token, batch(clock, range(1, 6)))
    answer = post(stranger, station_token, batch(clock, range(0)))
    assert answer.status_code == 200
    assert answer.json()["acknowledged_seq"] == 5


def test_a_wrong_token_is_refused_with_401(stranger: Any, station_token: str, clock: Any) -> None:
    """Nobody on the workshop's network may invent readings."""
    answer = post(stranger, "x" + station_token, batch(clock, range(1, 3)))
    assert answer.status_code == 401
    assert answer.json()["error"]["kind"] == "sign-in-needed"


def test_a_token_of_another_station_is_refused_with_403(
    stranger: Any, station_token: str, clock: Any
) -> None:
    """A station speaks only for itself."""
    assert post(stranger, station_token, batch(clock, range(1, 3), station="bench-2")).status_code == 403


def test_other_contents_under_a_known_number_are_answered_with_409(
    stranger: Any, station_token: str, clock: Any
) -> None:
    """Two spools with one identity must not overwrite each other."""
    post(stranger, station_token, batch(clock, range(1, 4)))
    answer = post(stranger, station_token, batch(clock, range(1, 4), milli_c=99_000))
    assert answer.status_code == 409
    assert answer.json()["error"]["kind"] == "conflict"


def test_a_conflict_is_written_into_the_record_once(
    service: Any, stranger: Any, station_token: str, clock: Any
) -> None:
    """Whoever reads the record later must know that another account of it existed."""
    post(stranger, station_token, batch(clock, range(1, 4)))
    for _ in range(3):
        post(stranger, station_token, batch(clock, range(1, 4), milli_c=99_000))
    with service.store.read() as connection:
        (noted,) = of_kind(connection, None, CONFLICTING_ROWS)
    assert noted.by == "bench-1"
    assert "milli_c = 21001 but came again with 99000" in say(noted.text, METRIC)


def test_what_a_station_writes_is_read_as_the_same_readings() -> None:
    """Both sides share one class for a reading, and one for the station's health: none is copied field by field."""
    stamp = Stamp(1_700_000_000_000, "boot-a", 5, clock_set=False)
    row = WireReading("28-0000000000a1", "core", stamp, 21_000, None, "50 05", "doubtful", 45_200, seq=7)
    fault = WireReading("28-0000000000a1", "core", stamp, None, "missing", None, None, seq=8)
    health = StationHealth(power_low=True, disk_free_mb=12.5, pin_faults="lamp (GPIO 23): busy")
    read = BatchShape.model_validate_json(
        batch_json("bench-1", "spool-1", stamp, [row, fault], health, [fault])
    )
    assert (read.sent, read.rows, read.newest, read.health) == (stamp, [row, fault], [fault], health)
    assert type(read.rows[0]) is WireReading


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("seq", 2**70),
        ("seq", False),
        ("seq", "1"),
        ("milli_c", 2**40),
        ("milli_c", True),
        ("milli_c", 21.5),
        ("probe", "../../etc"),
        ("place", "a b"),
        ("raw", "x" * 100),
        ("stamp", {"wall_ms": 0, "boot_id": "b", "boot_ms": -1, "clock_set": True}),
        ("stamp", None),
        ("milli_rh", 110_001),
        ("unheard_of", 1),
    ],
)
def test_values_out_of_bounds_are_refused_and_nothing_is_stored(
    stranger: Any, station_token: str, clock: Any, name: str, value: Any
) -> None:
    """Numbers are strict and bounded, names are plain."""
    answer = post(stranger, station_token, batch(clock, range(1, 3), **{name: value}))
    assert answer.status_code == 422
    assert name in answer.json()["error"]["where"]
    assert post(stranger, station_token, batch(clock, range(0))).json()["acknowledged_seq"] == 0
