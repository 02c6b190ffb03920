"""Numbers as a maker reads them: °C, hours and minutes, "4 min ago"; and the program's short names in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any

from logger.alarms.kind import Harm, Kind
from logger.alarms.registry import KINDS
from logger.condition.evidence import OpenAlarm
from logger.units import clock_near, clock_time, hours_minutes, minutes_words, span, time_of_day
from logger.words.old_text import marked
from logger.words.reader import Reader
from logger.words.render import planned, say

__all__ = [
    "ago",
    "alarm_line",
    "celsius",
    "clock_near",
    "clock_time",
    "dated",
    "event_text",
    "event_word",
    "harm_words",
    "hour_of_day",
    "hours_minutes",
    "marked",
    "minutes_words",
    "not_within",
    "release_words",
    "sentence",
    "time_of_day",
    "until_cleared",
]

#: Events whose text the program writes, from before quantities were marked in it.
_WRITTEN = ("alarm", "fan", "poured", "level")
_HARM_WORDS = {
    Harm.SEVERE: "people can be hurt, or the whole pour lost",
    Harm.COSTLY: "the table can be spoiled, or is not watched",
    Harm.SMALL: "extra work, or a risk that is not yet a loss",
}
#: Until when an alarm stays on screen, where its unit does not say so.
_UNTIL = {
    "core-will-overheat": "the forecast is back below the limit",
    "wet-under-form": "it is dry and somebody has confirmed it",
    "look-due": "the look is made",
    "station-silent": "the station is heard again",
    "probe-lost": "the probe reads again",
    "core-unwatched": "a core probe reads again",
}
_EVENT_WORDS = {
    "alarm": "Alarm",
    "note": "Note",
    "addition": "Added after sealing",
    "planned": "Planned",
    "plan-changed": "Plan changed",
    "ready": "Ready",
    "pouring": "Pouring began",
    "watched": "Form full",
    "curing": "First hour over",
    "released": "Out of the form",
    "closed": "Pour closed",
    "spoiled": "Given up",
    "look": "Look",
    "signed": "Signed",
    "signed-again": "Signed, second check by the same person",
    "override": "Let pass, by name and reason",
    "end-exception": "Exception signed",
    "undone": "Taken back",
    "look-asked": "Asked for a look",
    "look-later": "The look: later",
    "batch": "Batch weighed",
    "mixing": "At the mixing bench",
    "photo": "Photo",
    "station-chosen": "Station chosen",
    "untested": "Messages not tested",
    "sealed": "Sealed",
    "outcome": "How it ended",
    "test": "Test",
    "lot": "Resin lot",
    "layer": "Layer poured",
    "imported": "Brought in from another workshop",
    "log-imported": "Past log brought in",
}


def celsius(value: float | None, digits: int = 1) -> str:
    """Return a temperature, or a dash where there is none."""
    return "–" if value is None else f"{value:.{digits}f} °C"


def ago(then_ms: int | None, now_ms: int) -> str:
    """How long ago something was."""
    if then_ms is None:
        return "never"
    return f"{span(max(0, (now_ms - then_ms) // 1000))} ago"


def dated(at_ms: int | None, zone: tzinfo | None = None) -> str:
    """Day with its year and time of day, for what is read years later: "25 Nov 2026, 14:20"."""
    if at_ms is None:
        return "–"
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime("%d %b %Y, %H:%M")


def hour_of_day(at_ms: int, zone: tzinfo | None = None) -> str:
    """Time of day in the machine's zone, for what is minutes away: "14:20"."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone).strftime("%H:%M")


def event_word(kind: str) -> str:
    """Return an event's kind in plain words."""
    return _EVENT_WORDS.get(kind, kind.replace("-", " ").capitalize())


def not_within(within_h: float) -> str:
    """Say that the core may stay soft or warm for longer than was looked at."""
    return f"it may not be hard within {round(within_h, 0 if within_h >= 10 else 1):g} h of pouring"


def release_words(release: Mapping[str, Any]) -> str:
    """Return a forecast's release (JSON): when the core is hard and cool, and whether that may come later than the
    run.
    """
    late = not_within(release["within_h"]) if release["p95"] is None else ""
    if release["p50"] is None:
        return late
    first, last = release["p05"], release["p95"]
    if last is None:
        return f"{hours_minutes(release['p50'])}; {late}"
    return f"{hours_minutes(release['p50'])} ({first:.0f}–{last:.0f} h)"


def alarm_line(alarm: OpenAlarm) -> str:
    """Return an alarm in a few words: its title, and whether somebody has it in hand or it has cleared."""
    title = KINDS[alarm.kind].title
    if not alarm.true:
        return f"{title} (cleared, not confirmed)"
    return f"{title} ({alarm.by or 'somebody'} is on it)" if alarm.answered else title


def harm_words(harm: Harm) -> str:
    """Return what is at stake."""
    return _HARM_WORDS[harm]


def until_cleared(kind: Kind) -> str:
    """Return until when an alarm of a kind stays on screen, after "until"."""
    if kind.name in _UNTIL:
        return _UNTIL[kind.name]
    return "the temperature is back in range" if kind.unit == "°C" else "its cause is gone"


def sentence(text: str) -> str:
    """Return a sentence from words that may also stand inside one."""
    text = say(text)
    return text[:1].upper() + text[1:]


def event_text(text: str, kind: str, data: Mapping[str, Any] | None, u: Reader) -> str:
    """Return an event's words in somebody's units; what people wrote stays as they wrote it."""
    if kind == "batch":
        return planned(text, u)
    if kind in _WRITTEN:
        about = KINDS.get((data or {}).get("kind", ""))
        if about is not None and about.unit == "K" and text.startswith("Back inside: "):
            text = text.replace("°C", "K")  # of a difference, from before it was told apart
        text = marked(text)
    return say(text, u)
