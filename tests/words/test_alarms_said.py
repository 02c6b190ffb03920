"""Whatever the alarms, the condition and the watch say, an American reads it in °F, inches, gallons and pounds.

Every code of their tables is rendered with extreme quantities: a place that a value should fill and does not, a number
without its unit, or one that is left in °C would be read in an emergency.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.alarms.kind import Kind
from logger.alarms.registry import KINDS
from logger.facts import Fact, Quantity, Value, fact
from logger.quantities import (
    chance,
    difference,
    hours,
    length,
    moment,
    percent,
    quantity,
    rate,
    temperature,
    volume,
)
from logger.words.english import ENGLISH, ROOMS, Plural
from logger.words.reader import METRIC, Reader
from logger.words.render import say

AMERICAN = Reader("f", "in", "gal", "lb")
TABLES = ("alarm_kinds", "alarms", "condition", "live")
CODES = {code: text for room in TABLES for code, text in ROOMS[room].items()}
#: A unit that an American does not read, behind a number; a place that nothing has filled.
METRIC_LEFT = re.compile(r"\d[\s\u00a0]*(°C|K|mm|mL|L|kg|g)(?![\w/·²³])")
UNFILLED = re.compile(r"[{}]")
#: Extremes, °C: where °F and °C are the same number, the point where water freezes, a fire.
EXTREMES = (-40.0, 0.0, 1500.0)

#: Codes that are chosen between at one place, of which one shows fewer of the values.
SPARE = {"hard-as-planned", "surface-below-dew-point"}

#: A place's name → its quantity, of one size or another. What is not here is a name or a nested fact.
DIFFERENCES = ("apart", "margin", "least", "above", "early", "tolerance", "quick")
LENGTHS = ("fall", "soak")
VOLUMES = ("volume", "poured", "planned")
TIMES = ("time", "age", "hard", "later", "within", "left", "late", "off")
SHARES = ("share", "humidity")
COUNTS = ("n", "this", "last", "low", "high", "hours", "temperatures")
TEMPERATURES = (
    "core", "limit", "surface", "room", "here", "there", "predicted", "top", "underside", "peak", "middle", "hottest",
    "now", "most", "cup", "value", "low", "high",
)  # fmt: skip


def places(text: str | Plural) -> set[str]:
    """The names of a text's places."""
    return set(re.findall(r"\{(\w+)\}", text if isinstance(text, str) else text.one + text.many))


def values(code: str, size: float) -> dict[str, Value]:
    """A value for each place of a code: as its decision gives it, of an extreme size."""
    special: dict[tuple[str, str], Value] = {
        ("core-and-surface-apart", "limit"): difference(size),
        ("spread-too-wide.limit", "limit"): difference(size, 0),
        ("surface-warms-alone", "surface"): difference(size),
        ("surface-warms-alone", "core"): difference(size),
        ("probe-stuck", "moved"): difference(size, signed=True),
        ("hotter-than-predicted.limit", "least"): difference(size, 0),
        ("hotter-than-predicted.source", "least"): difference(size, 0),
        ("disk-nearly-full", "least"): quantity(500, "MB", 0),
        ("disk-nearly-full", "free"): quantity(abs(size), "MB", 0),
        ("air-too-humid", "most"): percent(75, 0),
        ("rate-below", "most"): percent(1, 0),
        ("snooze-at-most", "most"): hours(1),
        ("out-at-most", "most"): hours(4),
        ("hard-later-than-planned", "planned"): hours(abs(size)),
        ("hard-as-planned", "planned"): hours(abs(size)),
        ("hard-not-within", "planned"): hours(abs(size)),
        ("end-check-missed", "ago"): hours(abs(size)),
        ("end-was-over", "ago"): hours(abs(size)),
        ("end-last-read", "ago"): hours(abs(size)),
        ("minutes-from-to", "low"): 1,
        ("minutes-from-to", "high"): 60,
    }
    return {name: special.get((code, name)) or value_of(name, size) for name in places(CODES[code])}


def value_of(name: str, size: float) -> Value:
    """What usually stands in a place of this name."""
    if name in ("by",):
        return rate(size)
    if name in ("chance",):
        return chance(0.995)
    if name in ("at", "since"):
        return moment(1_790_000_000_000)
    if name in ("clear", "trend", "when", "help", "note", "why") or name in ("reason", "first", "then"):
        return fact("peak-is-past")
    for names, value in (
        (DIFFERENCES, difference(size)),
        (LENGTHS, length(size)),
        (VOLUMES, volume(abs(size))),
        (TIMES, hours(abs(size) or 1)),
        (SHARES, percent(size, 0)),
        (TEMPERATURES, temperature(size)),
        (COUNTS, 7),
    ):
        if name in names:
            return value
    return {"places": ("one", "two"), "contacts": ("left", "right"), "about": 6}.get(name, "Ada")


@pytest.mark.parametrize("size", EXTREMES)
@pytest.mark.parametrize("code", sorted(CODES))
def test_every_code_is_whole_and_in_customary_units(code: str, size: float) -> None:
    """No °C, no number that lost its unit, no unfilled place."""
    given = values(code, size)
    said = say(Fact(code, given), AMERICAN)
    assert not METRIC_LEFT.search(said), said
    assert not UNFILLED.search(said), said
    for name, value in given.items():
        if isinstance(value, Quantity):
            shown = AMERICAN.quantity(value)
            assert shown in said, (name, said)
            assert re.search(r"[^\d.,+-]", shown), (name, shown)
    metric = say(Fact(code, given), METRIC)
    assert not UNFILLED.search(metric), metric


@pytest.mark.parametrize("code", sorted(CODES))
def test_a_texts_own_numbers_have_their_units(code: str) -> None:
    """What is written into a text, and not given as a value, is a time, a share, a count or a standard: no °C."""
    text = CODES[code]
    for one in (text,) if isinstance(text, str) else (text.one, text.many):
        assert not METRIC_LEFT.search(one), one
        assert "°" not in one, one


def everything(kind: Kind) -> Iterator[Fact]:
    """All that is written of a kind."""
    yield from (kind.title, kind.short, kind.limit, kind.limit_source, kind.consequence)
    yield from (*kind.causes, *kind.what_to_do)


@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_text_of_a_kind_is_there_and_none_is_left_over(name: str) -> None:
    """A kind derives its codes from its name: one without English would be shown as its code."""
    codes = {one.code for one in everything(KINDS[name])}
    assert codes <= set(CODES)
    own = {code for code in CODES if code.startswith(f"{name}.")}
    assert own <= codes, own - codes
    for one in everything(KINDS[name]):
        said = say(one, AMERICAN)
        assert not METRIC_LEFT.search(said), said
        assert not UNFILLED.search(said), said


@pytest.mark.parametrize("name", sorted(KINDS))
def test_a_kinds_short_form_is_shorter_than_its_title(name: str) -> None:
    """Or as short; a lock screen shows it where the title with the pour's name is too long."""
    kind = KINDS[name]
    assert len(say(kind.short, METRIC)) <= min(30, len(say(kind.title, METRIC)))


ROOM_FILES = [
    path
    for room in ("alarms", "condition", "live", "delivery")
    for path in sorted((Path(__file__).resolve().parents[2] / "logger" / room).rglob("*.py"))
]


def decided(path: Path) -> Iterator[tuple[str, set[str], bool]]:
    """Each fact that a module makes by name: its code, the values it gives, and whether it gives others as well."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id == "fact"
            and node.args
        ):
            codes = (
                [node.args[0].body, node.args[0].orelse]
                if isinstance(node.args[0], ast.IfExp)
                else [node.args[0]]
            )
            for code in codes:
                if isinstance(code, ast.Constant):
                    named = {keyword.arg for keyword in node.keywords if keyword.arg is not None}
                    yield code.value, named, len(named) < len(node.keywords)


@pytest.mark.parametrize("path", ROOM_FILES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_fact_that_is_decided_has_english_with_its_values(path: Path) -> None:
    """A code without English would be shown as its code; a misspelt value as its place in braces."""
    for code, named, more in decided(path):
        assert code in ENGLISH, code
        assert named <= places(ENGLISH[code]) or code in SPARE, (code, named - places(ENGLISH[code]))
        assert more or places(ENGLISH[code]) <= named, (code, places(ENGLISH[code]) - named)
