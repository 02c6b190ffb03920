"""The calendar is RFC 5545, judged by the `icalendar` package."""

from __future__ import annotations

from datetime import UTC, datetime

import icalendar
import pytest

from logger.record.calendar import CalendarEntry, calendar, escaped, folded

AT_MS = 1_795_593_600_000
AWKWARD = 'Core; at its "hottest", about 58 °C \\ be in reach\nline two – Ångström 木' + "é" * 80


def read(text: str) -> icalendar.Calendar:
    """As a calendar program reads it."""
    found = icalendar.Calendar.from_ical(text)
    assert isinstance(found, icalendar.Calendar)
    assert not found.errors
    return found


def test_a_calendar_is_read_back_with_its_times_and_words() -> None:
    """Escaping and folding are undone by another implementation."""
    text = calendar(
        "Wharf Lane; pours",
        [
            CalendarEntry(
                "pour-1-peak@wharf",
                AWKWARD,
                AT_MS,
                AT_MS + 3_600_000,
                AWKWARD,
                "http://127.0.0.1/pours/1",
                30,
            )
        ],
        AT_MS - 60_000,
    )
    (event,) = read(text).walk("VEVENT")
    assert str(event["SUMMARY"]) == AWKWARD
    assert str(event["DESCRIPTION"]) == AWKWARD
    assert event["DTSTART"].dt == datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
    assert event["DTEND"].dt == datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    (alarm,) = event.walk("VALARM")
    assert alarm["TRIGGER"].dt.total_seconds() == -30 * 60


def test_an_empty_calendar_is_still_one() -> None:
    """Between pours a subscribed phone gets no error."""
    found = read(calendar("Wharf Lane", [], AT_MS))
    assert found["VERSION"] == "2.0"
    assert found.walk("VEVENT") == []


def test_every_line_ends_as_the_standard_says_and_is_short_enough() -> None:
    """CR LF, and at most 75 octets (RFC 5545, 3.1)."""
    text = calendar(AWKWARD, [CalendarEntry("u@x", AWKWARD * 3, AT_MS)], AT_MS)
    assert text.endswith("\r\n")
    assert "\n" not in text.replace("\r\n", "")
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75


@pytest.mark.parametrize("letter", ["a", "é", "木", "🪵"])
def test_folding_never_cuts_a_character(letter: str) -> None:
    """Each piece is whole UTF-8, and put together again it is what it was."""
    line = "SUMMARY:" + letter * 200
    pieces = folded(line).split("\r\n ")
    assert "".join(pieces) == line
    assert all(len(piece.encode()) <= 75 for piece in pieces)


def test_a_control_character_cannot_end_a_line() -> None:
    """A title with a line end cannot smuggle in a property."""
    assert escaped("x\r\nATTENDEE:y\x07") == "x\\nATTENDEE:y"
