"""Numbers as a maker reads them: °C, hours and minutes, "4 min ago"; and the program's short names in plain words.

Times, dates, spans and numbers are written as the language of whoever reads writes them (`logger.words.reader`).
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from datetime import date as datetime_date
from typing import TYPE_CHECKING, Any

from logger.alarms.kind import Harm, Kind
from logger.alarms.registry import KINDS
from logger.condition.evidence import OpenAlarm
from logger.facts import NOTHING, Fact
from logger.quantities import hours, minutes, seconds, temperature
from logger.words import numbers
from logger.words.old_text import marked
from logger.words.phrase import phrase
from logger.words.reader import Reader, current
from logger.words.render import planned, say

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = [
    "ago",
    "alarm_line",
    "alarm_title",
    "browser_words",
    "celsius",
    "clock_near",
    "clock_time",
    "count",
    "date",
    "dated",
    "day",
    "event_text",
    "event_word",
    "harm_words",
    "hour_of_day",
    "hours_minutes",
    "inside",
    "marked",
    "minutes_words",
    "money",
    "not_within",
    "num",
    "place_word",
    "plain",
    "priority_words",
    "release_words",
    "sentence",
    "time_of_day",
    "until_cleared",
    "whole_sentence",
    "word",
]

#: Events whose text the program writes, from before quantities were marked in it.
_WRITTEN = ("alarm", "fan", "poured", "level")
_HARM_WORDS: dict[Harm, Fact] = {
    Harm.SEVERE: phrase("people can be hurt, or the whole pour lost"),
    Harm.COSTLY: phrase("the table can be spoiled, or is not watched"),
    Harm.SMALL: phrase("extra work, or a risk that is not yet a loss"),
}
#: Until when an alarm stays on screen, where its unit does not say so.
_UNTIL: dict[str, Fact] = {
    "core-will-overheat": phrase("the forecast is back below the limit"),
    "wet-under-form": phrase("it is dry and somebody has confirmed it"),
    "look-due": phrase("the form is checked"),
    "station-silent": phrase("the station is heard again"),
    "probe-lost": phrase("the probe reads again"),
    "core-unwatched": phrase("a core probe reads again"),
}
_EVENT_WORDS = {
    "alarm": phrase("Alarm"),
    "note": phrase("Note"),
    "addition": phrase("Added after sealing"),
    "planned": phrase("Planned"),
    "plan-changed": phrase("Plan changed"),
    "ready": phrase("Ready"),
    "pouring": phrase("Pouring began"),
    "watched": phrase("Form full"),
    "curing": phrase("First hour over"),
    "released": phrase("Out of the form"),
    "closed": phrase("Pour closed"),
    "spoiled": phrase("Cancelled"),
    "look": phrase("Check of the form"),
    "signed": phrase("Signed"),
    "signed-again": phrase("Signed, second check by the same person"),
    "unsigned": phrase("Signature taken back"),
    "override": phrase("Exception, by name and reason"),
    "fan": phrase("Fan"),
    "level": phrase("Level"),
    "poured": phrase("Poured so far"),
    "plan-before": phrase("Earlier plan"),
    "conflicting-rows": phrase("Contradicting readings"),
    "end-exception": phrase("Exception signed"),
    "undone": phrase("Taken back"),
    "look-asked": phrase("Asked for a check of the form"),
    "look-later": phrase("Check of the form: later"),
    "batch": phrase("Batch weighed"),
    "mixing": phrase("At the mixing bench"),
    "photo": phrase("Photo"),
    "station-chosen": phrase("Station chosen"),
    "untested": phrase("Messages not tested"),
    "sealed": phrase("Sealed"),
    "outcome": phrase("How it ended"),
    "test": phrase("Test"),
    "lot": phrase("Resin lot"),
    "layer": phrase("Layer poured"),
    "imported": phrase("Imported from another workshop"),
    "log-imported": phrase("Past log imported"),
}
_PRIORITY_WORDS = {
    "high": phrase("High priority"),
    "medium": phrase("Medium priority"),
    "low": phrase("Low priority"),
}
#: The program's short names, as its files and its records hold them.
_WORDS = {
    name.code: name
    for name in (
        phrase("first"),
        phrase("second"),
        phrase("one phone"),
        phrase("high"),
        phrase("medium"),
        phrase("low"),
        phrase("severe"),
        phrase("costly"),
        phrase("small"),
        phrase("core"),
        phrase("surface"),
        phrase("underside"),
        phrase("room"),
        phrase("weight"),
        phrase("volume"),
        phrase("comma"),
        phrase("semicolon"),
        phrase("tab"),
        phrase("viewer"),
        phrase("maker"),
        phrase("owner"),
        phrase("screen"),
        phrase("kiln"),
        phrase("air"),
        phrase("unknown"),
        phrase("on"),
        phrase("removed"),
        phrase("none"),
        phrase("tacky"),
        phrase("cured"),
        phrase("river"),
        phrase("round"),
        phrase("sheet"),
        phrase("dry"),
        phrase("wet"),
        phrase("stop"),
        phrase("watch"),
        phrase("ok"),
    )
}


def celsius(value: float | None, digits: int = 1) -> str:
    """Return a temperature, or a dash where there is none."""
    return "–" if value is None else temperature(value, digits)


def num(value: float, digits: int | None = None) -> str:
    """Return a number with so many decimals, or with three figures."""
    return current().number(value, digits)


def count(value: float) -> str:
    """Return a whole number that may be large: "12,480"."""
    return numbers.number(value, 0, current().language, grouped=True)


def money(value: float) -> str:
    """Return an amount of money, without its currency: "1,250.00"."""
    return numbers.number(value, 2, current().language, grouped=True)


#: What a browser's identification of itself has in it → what people call it; the first that is there counts, since
#: each names those that it is like as well.
_BROWSERS = {"Edg": "Edge", "OPR": "Opera", "Firefox": "Firefox", "Chrome": "Chrome", "Safari": "Safari"}
_SYSTEMS = {
    "iPhone": "iPhone",
    "iPad": "iPad",
    "Android": "Android",
    "CrOS": "ChromeOS",
    "Windows": "Windows",
    "Macintosh": "Mac",
    "Linux": "Linux",
}


def browser_words(said: str) -> str:
    """Return a browser as people call it, "Firefox, Linux", from its identification (RFC 9110, 10.1.5); any other
    text as it stands.
    """
    if not said.startswith("Mozilla/"):
        return said
    found = [
        next((word for sign, word in known.items() if sign in said), "") for known in (_BROWSERS, _SYSTEMS)
    ]
    return ", ".join(word for word in found if word) or said


def ago(then_ms: int | None, now_ms: int) -> str:
    """How long ago something was."""
    if then_ms is None:
        return phrase("never")
    return phrase("{span} ago", span=seconds(max(0, (now_ms - then_ms) // 1000)))


def dated(at_ms: int | None, zone: tzinfo | None = None) -> str:
    """Day with its year and time of day, for what is read years later: "25 Nov 2026, 14:20"."""
    if at_ms is None:
        return "–"
    language = current().language
    return f"{numbers.date(at_ms, language, zone)}, {numbers.time_of_day(at_ms, language, zone)}"


def date(at_ms: int | None, zone: tzinfo | None = None) -> str:
    """Return the day of a moment with its year: "25 Nov 2026"; a dash where there is none."""
    return "–" if at_ms is None else numbers.date(at_ms, current().language, zone)


def day(date: datetime_date) -> str:
    """Return a date: "25 Nov 2026"."""
    noon = datetime(date.year, date.month, date.day, 12, tzinfo=UTC)
    return numbers.date(noon.timestamp() * 1000, current().language, UTC)


def hour_of_day(at_ms: int, zone: tzinfo | None = None) -> str:
    """Time of day in the machine's zone, for what is minutes away: "14:20"."""
    return numbers.time_of_day(at_ms, current().language, zone)


def clock_time(at_ms: int | None, zone: tzinfo | None = None) -> str:
    """Day and time of day: "Wed 25 Nov, 14:20"; a dash where there is none."""
    return "–" if at_ms is None else numbers.clock(at_ms, current().language, zone)


def time_of_day(at_ms: int | None, zone: tzinfo | None = None) -> str:
    """Return the time of day alone: "14:20"; a dash where there is none."""
    return "–" if at_ms is None else numbers.time_of_day(at_ms, current().language, zone)


def clock_near(at_ms: int | None, now_ms: int, zone: tzinfo | None = None) -> str:
    """Return the time of day of a moment within twelve hours, "14:20"; with its day where it is farther away."""
    near = at_ms is not None and abs(at_ms - now_ms) < numbers.NEAR_MS
    return time_of_day(at_ms, zone) if near else clock_time(at_ms, zone)


def hours_minutes(hours: float | None) -> str:
    """Return a span as people say it: "35 min", "4 h 05 min", "2 d 3 h"; a dash where there is none."""
    return "–" if hours is None else numbers.hours_minutes(hours, current().translate)


def minutes_words(minutes: float) -> str:
    """Return a span given in minutes, in hours from two on: "5 min", "8 h"."""
    return numbers.minutes_words(minutes, current().language, current().translate)


def plain(markup: Markup) -> Markup:
    """Return a template's text as a script's string: without entities, in quotation marks."""
    from jinja2.utils import htmlsafe_json_dumps  # a station alone has no page, and not its library

    return htmlsafe_json_dumps(markup.unescape())


def word(name: str) -> str:
    """Return one of the program's short names in the reader's language; a name that somebody gave stays."""
    return say(_WORDS.get(name, name))


def priority_words(priority: str) -> str:
    """Return an alarm's priority: "High priority"."""
    return say(_PRIORITY_WORDS[priority])


def place_word(place: str) -> str:
    """Return a probe's place in the reader's language: "core", "core-2"."""
    kind, dash, number = place.partition("-")
    return f"{word(kind)}{dash}{number}" if number.isdigit() else word(place)


def event_word(kind: str) -> str:
    """Return an event's kind in plain words."""
    return _EVENT_WORDS.get(kind) or kind.replace("-", " ").capitalize()


def not_within(within_h: float) -> Fact:
    """Say that the core may stay soft or warm for longer than was looked at."""
    whole = round(within_h, 0 if within_h >= 10 else 1)
    return phrase("it may not be hard within {time} of pouring", time=minutes(60 * whole))


def release_words(release: Mapping[str, Any]) -> str:
    """Return a forecast's release (JSON): when the core is hard and cool, and whether that may come later than the
    run.
    """
    late = not_within(release["within_h"]) if release["p95"] is None else NOTHING
    if release["p50"] is None:
        return late
    first, last = release["p05"], release["p95"]
    middle = hours(release["p50"])
    if last is None:
        return phrase("{middle}; {late}", middle=middle, late=late)
    return phrase("{middle} ({first} to {last})", middle=middle, first=hours(first), last=hours(last))


def alarm_title(kind: str, title: str = "") -> str:
    """Return a kind's title; of one that is not known here, the title that its record gives."""
    return KINDS[kind].title if kind in KINDS else title or kind


def alarm_line(alarm: OpenAlarm) -> Fact:
    """Return an alarm in a few words: its title, and whether somebody has it in hand or it has cleared."""
    title = KINDS[alarm.kind].title
    if not alarm.true:
        return phrase("{alarm} (cleared, not confirmed)", alarm=title)
    if not alarm.answered:
        return title
    if alarm.by is None:
        return phrase("{alarm} (somebody is on it)", alarm=title)
    return phrase("{alarm} ({who} is on it)", alarm=title, who=alarm.by)


def harm_words(harm: Harm) -> Fact:
    """Return what is at stake."""
    return _HARM_WORDS[harm]


def until_cleared(kind: Kind) -> Fact:
    """Return until when an alarm of a kind stays on screen, after "until"."""
    if kind.name in _UNTIL:
        return _UNTIL[kind.name]
    if kind.unit == "°C":
        return phrase("the temperature is back in range")
    return phrase("its cause is gone")


def sentence(text: str) -> str:
    """Return a sentence from words that may also stand inside one."""
    text = say(text)
    return text[:1].upper() + text[1:]


def whole_sentence(text: str) -> str:
    """Return the same with its full stop."""
    text = sentence(text)
    return text if text.endswith((".", "!", "?")) else f"{text}."


def inside(text: str) -> str:
    """Return words that begin with a capital as they stand inside a sentence; German keeps its nouns' capitals."""
    text = say(text)
    return text if current().language == "de" else text[:1].lower() + text[1:]


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
