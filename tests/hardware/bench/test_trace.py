"""Traces that the bench plays."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.bench.trace import from_csv, from_text, through
from hardware.errors import BadTrace


def test_a_trace_is_straight_between_its_points_and_held_outside() -> None:
    """Half way is half way."""
    trace = through([(0, 20), (100, 40), (200, 30)])
    assert [trace(t_s) for t_s in (-5, 0, 50, 100, 150, 200, 9999)] == [20, 20, 30, 40, 35, 30, 30]


def test_a_csv_column_is_played(tmp_path: Path) -> None:
    """Columns t_s and one for each place."""
    file = tmp_path / "trace.csv"
    file.write_text("t_s,core,room\n0,20,21\n60,26,21\n")
    assert from_text("trace.csv:core", tmp_path)(30) == 23.0
    assert from_text("21.5", tmp_path)(30) == 21.5


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("t_s,room\n0,20\n", "no column 'core'"),
        ("t_s,core\n0,20\n60,\n", "line 3: t_s and core must be numbers"),
        ("t_s,core\n0,20\n0,21\n", "must increase"),
        ("t_s,core\n", "at least one point"),
        ("", "no column"),
    ],
)
def test_a_csv_that_cannot_be_played_is_refused_with_its_place(
    tmp_path: Path, content: str, message: str
) -> None:
    """The message names file, line and column."""
    file = tmp_path / "trace.csv"
    file.write_text(content)
    with pytest.raises(BadTrace, match=message):
        from_csv(file, "core")


def test_a_missing_file_and_a_word_that_is_neither_are_refused(tmp_path: Path) -> None:
    """The remedy is in the message."""
    with pytest.raises(BadTrace, match="readable CSV file"):
        from_text("missing.csv:core", tmp_path)
    with pytest.raises(BadTrace, match=r"trace\.csv:core"):
        from_text("warm", tmp_path)
