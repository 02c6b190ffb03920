"""Numbers, spans of time and moments as a language writes them (Unicode CLDR, through Babel)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from functools import cache
from typing import TYPE_CHECKING

from logger.facts import Bound
from logger.units import HOUR_MS

if TYPE_CHECKING:
    from babel import Locale

#: A language → the locale whose forms its readers know. English is written as in Britain: the day before the month.
LOCALES = {"en": "en_GB", "de": "de_DE", "es": "es_ES", "fr": "fr_FR"}
LANGUAGES = tuple(LOCALES)
#: A language's own name for itself.
LANGUAGE_NAMES = {"en": "English", "de": "Deutsch", "es": "Español", "fr": "Français"}
#: A moment nearer than this is given as a time of day alone, ms.
NEAR_MS = 12 * HOUR_MS

#: Translates a short form: "{h} h {m:02d} min".
Translate = Callable[[str], str]


@cache
def locale_of(language: str) -> Locale:
    """Return a language's locale; English for one that is not known."""
    from babel import Locale  # slow to import, and a station needs it for nothing

    return Locale.parse(LOCALES.get(language, LOCALES["en"]))


def number(
    value: float, digits: int | None, language: str, *, signed: bool = False, grouped: bool = False
) -> str:
    """Return a number with so many decimals, or with three or four figures where `digits` is None."""
    if not math.isfinite(value):
        return "–"
    if digits is None:
        digits = 0 if value == 0 else min(6, max(0, 2 - math.floor(math.log10(abs(value)))))
        text = f"{round(value, digits) + 0.0:.{digits}f}"
        digits = len(text.rstrip("0").partition(".")[2]) if digits else 0
    shown = round(value, digits) + 0.0  # no "-0.0"
    plain = f"{shown:{'+' if signed else ''}{',' if grouped else ''}.{digits}f}"
    return localised(plain, language)


def towards(value: float, digits: int, bound: Bound) -> float:
    """Return a bound to so many decimals, on its own side; any other value as it is."""
    if bound is Bound.NONE or not math.isfinite(value):
        return value
    scale = 10.0**digits
    rounded = math.floor(value * scale + 1e-6) if bound is Bound.MOST else math.ceil(value * scale - 1e-6)
    return rounded / scale


@dataclass(frozen=True, slots=True)
class Fraction:
    """A number to the nearest part of one: its value, and as a rule is read, "1 15/16"."""

    value: float
    text: str


def fraction(value: float, parts: int, *, signed: bool = False, bound: Bound = Bound.NONE) -> Fraction:
    """Return a number to the nearest `parts`-th, in lowest terms: 1.94 in sixteenths is "1 15/16". 0 has no sign.

    A bound goes to the part below or above it, unless it lies on one.
    """
    # A half goes away from zero, as on paper; a bound on its own side of zero is a length.
    exact = abs(value) * parts
    count = math.floor(exact + {Bound.NONE: 0.5, Bound.MOST: 1e-6, Bound.LEAST: 1 - 1e-6}[bound])
    whole, rest = divmod(count, parts)
    common = math.gcd(rest, parts)
    words = [str(whole)] if whole or not rest else []
    words += [f"{rest // common}/{parts // common}"] if rest else []
    sign = "" if not count else "-" if value < 0 else "+" if signed else ""
    return Fraction(math.copysign(count / parts, value), sign + " ".join(words))


@cache
def _symbols(language: str) -> tuple[str, str]:
    from babel.numbers import get_decimal_symbol, get_group_symbol

    locale = locale_of(language)
    return get_decimal_symbol(locale), get_group_symbol(locale)


def decimal_sign(language: str) -> str:
    """Return what a language writes between a number and its decimals."""
    return "." if language == "en" else _symbols(language)[0]


def localised(plain: str, language: str) -> str:
    """Return a number that is written the English way, "1,234.5", as a language writes it."""
    if language == "en":
        return plain
    decimal, group = _symbols(language)
    return plain.replace(",", "\0").replace(".", decimal).replace("\0", group)


def span(seconds: float, translate: Translate) -> str:
    """Return a span of time as people say it: "45 s", "35 min", "4 h 05 min", "2 d 3 h"."""
    if seconds < 120:
        return translate("{s} s").format(s=f"{seconds:.0f}")
    return hours_minutes(seconds / 3600, translate)


def hours_minutes(hours: float, translate: Translate) -> str:
    """Return a span given in hours, never in seconds."""
    minutes = round(hours * 60)
    if minutes < 60:
        return translate("{m} min").format(m=minutes)
    if minutes < 48 * 60:
        return translate("{h} h {m} min").format(h=minutes // 60, m=f"{minutes % 60:02d}")
    return translate("{d} d {h} h").format(d=minutes // 1440, h=minutes % 1440 // 60)


def minutes_words(minutes: float, language: str, translate: Translate) -> str:
    """Return a span given in minutes, in hours from two on: "5 min", "8 h"."""
    if minutes >= 120:
        return translate("{h} h").format(h=number(minutes / 60, None, language))
    return translate("{m} min").format(m=number(minutes, None, language))


def time_of_day(at_ms: float, language: str, zone: tzinfo | None = None) -> str:
    """Return a moment's time of day: "14:20"."""
    from babel.dates import format_skeleton

    return str(format_skeleton("Hm", _local(at_ms, zone), locale=locale_of(language)))


def day(at_ms: float, language: str, zone: tzinfo | None = None) -> str:
    """Return a moment's day: "Wed 25 Nov"."""
    from babel.dates import format_skeleton

    return str(format_skeleton("MMMEd", _local(at_ms, zone), locale=locale_of(language)))


def clock(at_ms: float, language: str, zone: tzinfo | None = None) -> str:
    """Return a moment's day and time of day: "Wed 25 Nov, 14:20"."""
    return f"{day(at_ms, language, zone)}, {time_of_day(at_ms, language, zone)}"


def date(at_ms: float, language: str, zone: tzinfo | None = None) -> str:
    """Return a moment's date with its year: "25 Nov 2026"."""
    from babel.dates import format_date

    return str(format_date(_local(at_ms, zone).date(), "medium", locale=locale_of(language)))


def listed(items: Sequence[str], language: str) -> str:
    """Return several things as a language lists them: "a, b and c"."""
    from babel.lists import format_list

    return str(format_list(list(items), style="standard", locale=locale_of(language)))


def _local(at_ms: float, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(zone)
