"""What comes next, as a calendar that phones subscribe to: iCalendar, RFC 5545. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

#: Longest line in octets, without its end (RFC 5545, 3.1).
_LONGEST = 75
#: An entry without an end of its own is shown for so long, min.
SHOWN_MIN = 15


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One thing to come. `uid` stays the same when its time moves; `alarm_min` reminds so many minutes before."""

    uid: str
    what: str
    at_ms: int
    until_ms: int | None = None
    words: str = ""
    url: str = ""
    alarm_min: int | None = None


def calendar(name: str, entries: Iterable[CalendarEntry], now_ms: int) -> str:
    """Return the calendar's text, lines ended by CR LF."""
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//pour-session logger//what comes next//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        # RFC 7986, 5.1 and 5.7: its name, and how often it is worth asking again.
        f"NAME:{escaped(name)}",
        "REFRESH-INTERVAL;VALUE=DURATION:PT15M",
    ]
    for entry in entries:
        until_ms = entry.until_ms or entry.at_ms + SHOWN_MIN * 60_000
        lines += [
            "BEGIN:VEVENT",
            f"UID:{entry.uid}",
            f"DTSTAMP:{stamp(now_ms)}",
            f"DTSTART:{stamp(entry.at_ms)}",
            f"DTEND:{stamp(until_ms)}",
            f"SUMMARY:{escaped(entry.what)}",
        ]
        if entry.words:
            lines.append(f"DESCRIPTION:{escaped(entry.words)}")
        if entry.url:
            lines.append(f"URL:{entry.url}")
        # Nobody is busy because resin cures.
        lines.append("TRANSP:TRANSPARENT")
        if entry.alarm_min is not None:
            lines += [
                "BEGIN:VALARM",
                "ACTION:DISPLAY",
                f"DESCRIPTION:{escaped(entry.what)}",
                f"TRIGGER:-PT{entry.alarm_min}M",
                "END:VALARM",
            ]
        lines.append("END:VEVENT")
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def stamp(at_ms: int) -> str:
    """Return a time in UTC (RFC 5545, 3.3.5, form 2)."""
    return datetime.fromtimestamp(at_ms // 1000, UTC).strftime("%Y%m%dT%H%M%SZ")


def escaped(text: str) -> str:
    """Return text with backslash, semicolon, comma and line ends escaped (RFC 5545, 3.3.11), no control characters."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    printable = "".join(letter for letter in text if letter >= " " or letter in "\n\t").replace("\x7f", "")
    return printable.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def folded(line: str) -> str:
    """Return a line cut into pieces of at most 75 octets, never within a character (RFC 5545, 3.1)."""
    pieces, held, size = [], "", 0
    for letter in line:
        octets = len(letter.encode())
        if size + octets > _LONGEST:
            pieces.append(held)
            # The blank that marks a continued line counts, too.
            held, size = " ", 1
        held += letter
        size += octets
    return "\r\n".join([*pieces, held])
