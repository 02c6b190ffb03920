"""A network that loses, repeats, reorders and garbles: what is stored is what was sent, each row once."""

from __future__ import annotations

from pathlib import Path

from bad_network import send_through

ROWS = 20_000


def test_what_is_stored_is_what_was_sent(tmp_path: Path) -> None:
    """20,000 rows; two in three requests go wrong somehow, on the way out or on the way back."""
    told = send_through(tmp_path, rows=ROWS, seed=3)
    assert told.wrong == []
    assert told.stored == ROWS
    assert told.renewed == 0, "no garbled answer makes the station doubt its own past"
    for way in ("lost", "answer lost", "twice", "out of order", "garbled", "answer garbled"):
        assert told.ways[way] > 10, f"the network never did this: {way}"


def test_other_contents_under_the_same_number_are_refused(tmp_path: Path) -> None:
    """The same numbers with other contents: told as a conflict, and nothing changes."""
    told = send_through(tmp_path, rows=2000, seed=4, swaps=True)
    assert told.conflicts == told.ways["altered"] > 5
    assert told.wrong == []


def test_a_spool_that_is_renewed_again_and_again_stores_nothing_twice(tmp_path: Path) -> None:
    """What was stored and not yet known to be comes again under other numbers, and late under the old ones."""
    told = send_through(tmp_path, rows=5000, seed=5, renews=True)
    assert told.wrong == []
    assert told.stored == 5000
    assert told.ways["renewed"] > 10
