"""Records made before decisions carried facts: they open, are proven, and read as they did.

The data under `data/` was made by the program of 30 Nov 2026 (before this change), by its own actions on a clock moved
by hand: one sealed pour and one that is still watched, with alarms, looks, batches, levels, notes, a photo and an
outcome. Workshop, people, resin and jobs are invented.
"""

from __future__ import annotations

import gzip
import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.alarms.registry import KINDS
from logger.record.bundle import prove
from logger.record.gather import gather
from logger.record.verify import verify
from logger.store.database import Store
from logger.words.old_text import marked
from logger.words.reader import METRIC, Reader
from logger.words.render import say
from web.views.words import event_text

DATA = Path(__file__).parent / "data"
KEPT: dict[str, Any] = json.loads(gzip.decompress((DATA / "words.json.gz").read_bytes()))
WORKSHOP = "Wharf Lane (invented workshop)"
AMERICAN = Reader("f", "in", "gal", "lb")


@pytest.fixture
def old(tmp_path: Path) -> Iterator[Store]:
    """The old database, brought up to today's schema."""
    path = tmp_path / "pourlog.sqlite3"
    path.write_bytes(gzip.decompress((DATA / "pourlog.sqlite3.gz").read_bytes()))
    store = Store(f"sqlite:///{path}")
    yield store
    store.close()


def test_an_old_sealed_record_is_proven(old: Store) -> None:
    """Seal, rows and chains stand, in the words of then."""
    with old.read() as connection:
        verdict = verify(connection, KEPT["sealed"])
    assert verdict.ok
    assert verdict.sealed
    assert verdict.seal_sha256 == KEPT["verify"]["seal_sha256"]
    assert say(verdict.sentence, METRIC) == KEPT["verify"]["sentence"]
    assert [say(one, METRIC) for one in verdict.notes] == KEPT["verify"]["notes"]


def test_an_old_bundle_is_proven(tmp_path: Path) -> None:
    """The file that somebody exported then and has on a shelf."""
    path = Path(shutil.copy(DATA / "pour.zip", tmp_path))
    verdict = prove(path, tmp_path, "the bundle", None)
    assert (verdict.ok, verdict.seal_sha256) == (True, KEPT["verify"]["seal_sha256"])


def test_an_old_record_is_altered_by_one_word_and_found_out(old: Store, tmp_path: Path) -> None:
    """The seal covers the text as it was stored: a word in an event breaks the chain."""
    old.close()
    edited = sqlite3.connect(tmp_path / "pourlog.sqlite3")
    edited.execute("UPDATE event SET text = 'a scratch' WHERE text = 'a hair crack'")
    edited.commit()
    edited.close()
    store = Store(f"sqlite:///{tmp_path / 'pourlog.sqlite3'}")
    with store.read() as connection:
        assert not verify(connection, KEPT["sealed"]).ok
    store.close()


def test_an_old_record_is_the_same_record(old: Store) -> None:
    """What was sealed comes back as it was, field by field; what is open as well, its alarms by today's titles."""
    with old.read() as connection:
        assert gather(connection, KEPT["sealed"], WORKSHOP) == KEPT["records"][str(KEPT["sealed"])]
        now, then = gather(connection, KEPT["open"], WORKSHOP), KEPT["records"][str(KEPT["open"])]
    for record in (now, then):
        record["alarms"] = [alarm | {"title": KINDS[alarm["kind"]].title} for alarm in record["alarms"]]
    for part in ("events", "alarms", "plan_toml", "forecasts"):
        assert now.get(part) == then.get(part), part


def test_old_events_and_alarms_read_as_they_did(old: Store) -> None:
    """In English and metric units, word for word."""
    with old.read() as connection:
        rows = connection.exec_driver_sql("SELECT id, kind, text, data FROM event ORDER BY id").all()
        reasons = dict(connection.exec_driver_sql("SELECT id, reason FROM alarm").all())  # type: ignore[arg-type]
    now = {
        row_id: event_text(text, kind, None if data is None else json.loads(data), METRIC)
        for row_id, kind, text, data in rows
    }
    assert now == {event["id"]: event["words"] for event in KEPT["events"]}
    assert {row_id: say(marked(reason), METRIC) for row_id, reason in reasons.items()} == {
        alarm["id"]: alarm["words"] for alarm in KEPT["alarms"]
    }


def test_old_alarms_are_converted_for_a_reader_in_customary_units(old: Store) -> None:
    """Nothing metric is left in what the program wrote then."""
    with old.read() as connection:
        reasons = connection.exec_driver_sql("SELECT reason FROM alarm").scalars().all()
    said = " ".join(say(marked(reason), AMERICAN) for reason in reasons)
    assert "°F" in said
    assert "°C" not in said
