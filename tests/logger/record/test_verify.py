"""A sealed record stands, and whatever is done to a row of it is found and named."""

from __future__ import annotations

import importlib.util
import sqlite3
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from logger.errors import NotAllowed
from logger.facts import fact
from logger.pour import Stage
from logger.quantities import length
from logger.record.bundle import prove, write_bundle
from logger.record.gather import gather
from logger.record.seal import seal, seal_hash
from logger.record.verify import verify
from logger.store import events, pours
from logger.words.reader import METRIC, units_from
from logger.words.render import say

_SPEC = importlib.util.spec_from_file_location("mutations", Path(__file__).with_name("mutations.py"))
assert _SPEC is not None
assert _SPEC.loader is not None
mutations = importlib.util.module_from_spec(_SPEC)
sys.modules["mutations"] = mutations  # dataclasses look their module up
_SPEC.loader.exec_module(mutations)


def verdict_of(casting: Any, **kept: Any) -> Any:
    """What `verify` says now."""
    with casting.store.read() as connection:
        return verify(connection, casting.pour_id, **kept)


def change(casting: Any, statement: str, *values: Any) -> None:
    """Does what no part of the program does."""
    database = sqlite3.connect(casting.store.url.database)
    with database:
        database.execute(statement, values)
    database.close()


def test_a_sealed_pour_and_its_addition_stand(sealed: Any) -> None:
    """Nothing was touched: it says so, with what it counted."""
    verdict = verdict_of(sealed)
    assert verdict.ok, verdict.sentence
    assert (verdict.readings, verdict.sealed) == (270, True)
    assert [say(note, METRIC) for note in verdict.notes] == ["1 addition after sealing"]


def test_an_open_pour_stands_but_is_called_unsealed(poured: Any) -> None:
    """A growing record is provable too, and never called sealed."""
    verdict = verdict_of(poured)
    assert (verdict.ok, verdict.sealed) == (True, False)
    assert "not sealed yet" in say(verdict.sentence, METRIC)


def test_a_sealed_fact_is_proven_whoever_reads_it_and_one_quantity_altered_is_found(poured: Any) -> None:
    """The seal covers code and quantities: they are read in °F or mm, and no digit of them can be changed."""
    level = fact("level-at-mark", level=length(-50.8, signed=True))
    poured.note("level", level, {"mm": -50.8}, by=fact("by-link", who="Tom"))
    poured.close()
    assert verdict_of(poured).ok
    with poured.store.read() as connection:
        event = next(e for e in gather(connection, poured.pour_id, "x")["events"] if e["kind"] == "level")
    assert (say(event["text"], METRIC), say(event["by"], METRIC)) == ("-50.8 mm at the mark", "Tom (by link)")
    # One inch is 25.4 mm (NIST SP 811, 2008, B.8).
    assert say(event["text"], units_from("f.in.gal.lb")) == "-2 in at the mark"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "pour.zip"
        with path.open("wb") as file, poured.store.read() as connection:
            write_bundle(connection, poured.pour_id, "x", None, file, 1)
        assert prove(path, Path(folder), "pour.zip").ok
    change(poured, "UPDATE event SET text = replace(text, '-50.8', '-5.08') WHERE kind = 'level'")
    assert not verdict_of(poured).ok


def test_an_altered_temperature_is_named_with_its_row(sealed: Any) -> None:
    """The one reading that was made prettier is pointed at."""
    change(sealed, "UPDATE reading SET milli_c = 59000 WHERE id = 100")
    verdict = verdict_of(sealed)
    assert not verdict.ok
    assert (verdict.wrong, verdict.table, verdict.row_id, verdict.number) == ("altered", "reading", 100, 100)


def test_a_deleted_reading_is_called_missing_and_not_its_neighbour_altered(sealed: Any) -> None:
    """Deletion and alteration look alike in a chain; the sealed count tells them apart."""
    change(sealed, "DELETE FROM reading WHERE id = 100")
    verdict = verdict_of(sealed)
    assert (verdict.wrong, verdict.number) == ("missing", 100)
    assert say(verdict.sentence, METRIC).startswith("1 reading missing before reading 101")


def test_swapped_readings_are_told_from_altered_ones(sealed: Any) -> None:
    """Both rows are whole, only their order is not."""
    for one, other in ((-1, 50), (50, 90), (90, -1)):
        change(sealed, "UPDATE reading SET id = ? WHERE id = ?", one, other)
    verdict = verdict_of(sealed)
    assert (verdict.wrong, verdict.row_id) == ("out of order", 50)
    assert "reading 90 does" in say(verdict.sentence, METRIC)


def test_a_chain_made_anew_from_a_changed_row_on_is_found_by_the_seal(sealed: Any) -> None:
    """A forger who can compute hashes must forge the seal, and the chain of events names the seal."""
    change(sealed, "UPDATE pour SET seal = json_set(seal, '$.figures.core_peak_c', 55.0)")
    verdict = verdict_of(sealed)
    assert not verdict.ok
    assert "the seal" in say(verdict.sentence, METRIC)


def test_a_seal_on_paper_proves_the_record_against_one_made_anew(sealed: Any) -> None:
    """Whoever holds the printed hash needs to trust no database."""
    with sealed.store.read() as connection:
        printed = seal_hash(pours.get_pour(connection, sealed.pour_id).seal)
    assert verdict_of(sealed, printed=printed[:16].upper()).ok
    other = verdict_of(sealed, printed="0123456789abcdef")
    assert not other.ok
    assert "not the record that was printed" in say(other.sentence, METRIC)


def test_a_pour_is_sealed_once_and_only_when_closed(poured: Any) -> None:
    """A second seal would hide what happened between."""
    with poured.store.write() as tx, pytest.raises(NotAllowed, match="sealed when its pour is closed"):
        seal(tx, poured.pour_id, "Ada", 1, "w")
    poured.close()
    with poured.store.write() as tx, pytest.raises(NotAllowed, match="sealed already"):
        seal(tx, poured.pour_id, "Ada", 1, "w")


def test_an_alarm_answered_after_sealing_is_an_addition_and_no_forgery(poured: Any) -> None:
    """Somebody acknowledges late: the record stands and says so."""
    poured.alarm("room-cold", "room at 12 °C")
    poured.close()
    poured.alarm("room-cold", "room at 12 °C", "Ben")
    verdict = verdict_of(poured)
    assert verdict.ok, verdict.sentence
    assert any("answered after sealing" in say(note, METRIC) for note in verdict.notes)
    change(poured, "UPDATE alarm SET acknowledged_by = 'Ada' WHERE kind = 'core-hot'")
    assert verdict_of(poured).table == "alarm"


def test_a_closed_record_is_the_same_text_after_the_store_has_other_numbers(sealed: Any) -> None:
    """What was sealed is shown, not what a later program or fit would make of it."""
    with sealed.store.read() as connection:
        before = gather(connection, sealed.pour_id, "Wharf Lane")
    with sealed.store.write() as tx:
        events.add_event(tx, None, 1, "fit-offered", "the program", "", {"resin": {"heat_of_cure_j_g": 400}})
        events.add_event(
            tx, sealed.pour_id, 2, "addition", "Ben", "it cracked", {"reason": "the client called"}
        )
    with sealed.store.read() as connection:
        after = gather(connection, sealed.pour_id, "Another name")
    assert [event["text"] for event in after.pop("additions")][-1] == "it cracked"
    before.pop("additions")
    assert after == before


def test_readings_that_come_after_the_seal_belong_to_no_pour(sealed: Any) -> None:
    """A station that was offline cannot grow a sealed record."""
    sealed.clock.move(60)
    sealed.sweep(core=30.0)
    assert verdict_of(sealed).readings == 270


def test_hundreds_of_mutations_are_all_found_and_located(sealed: Any) -> None:
    """Bit flips, deletions, insertions, swaps and truncations in every table that the record rests on."""
    sealed.note("addition", "second addition", {"reason": "because"})
    database = sqlite3.connect(sealed.store.url.database)
    mutator = mutations.Mutator(database, sealed.pour_id, seed=8)
    missed, misplaced, done = [], [], Counter[str]()
    for mutation in mutator.many(400):
        if not mutator.apply(mutation):
            continue
        verdict = verdict_of(sealed)
        mutator.undo(mutation)
        done[mutation.kind] += 1
        if verdict.ok:
            missed.append(mutation.words)
        elif not mutations.located(mutation, verdict):
            misplaced.append((mutation.words, verdict.sentence))
    database.close()
    assert missed == []
    assert misplaced == []
    assert set(done) == {"bit flip", "delete", "insert", "swap", "truncate"}
    assert verdict_of(sealed).ok, "every mutation was taken back"


def test_stage_of_a_sealed_pour_cannot_be_opened_again_unseen(sealed: Any) -> None:
    """Reopening a sealed pour by hand is seen."""
    change(sealed, "UPDATE pour SET stage = ?", str(Stage.RELEASED))
    assert "stage was altered" in say(verdict_of(sealed).sentence, METRIC)
