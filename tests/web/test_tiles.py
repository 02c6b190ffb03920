"""Tiles share a screen so that it is filled, those in trouble first and largest; what each says of peak and limit."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from logger.condition.evidence import ExpectedPeak
from logger.condition.peak_call import Call, PeakCall
from logger.words.reader import METRIC
from logger.words.render import say
from tests.many_pours import pour_many
from web.views.at_a_glance import peak_words
from web.views.tiles import room_for, wall_room_for

#: Cells across and down that each name of a span takes.
CELLS = {"": (1, 1), "2x1": (2, 1), "2x2": (2, 2)} | {f"wide-{n}": (n, 1) for n in range(2, 6)}
#: Wed 25 Nov 2026, 08:00 UTC.
START_MS = 1_795_593_600_000
HOUR_MS = 3_600_000


def rows_of(columns: int, spans: tuple[str, ...]) -> list[list[bool]]:
    """Which cells are taken when tiles are laid out in order, each in the first place with room (CSS Grid, dense)."""
    taken: list[list[bool]] = []
    for across, down in (CELLS[span] for span in spans):
        row, column = next(
            (row, column)
            for row in range(100)
            for column in range(columns - across + 1)
            if not any(
                taken[r][c]
                for r in range(row, min(row + down, len(taken)))
                for c in range(column, column + across)
            )
        )
        while len(taken) < row + down:
            taken.append([False] * columns)
        for r in range(row, row + down):
            taken[r][column : column + across] = [True] * across
    return taken


@pytest.mark.parametrize("count", range(1, 25))
@pytest.mark.parametrize("grave", [0, 1, 2, 3, 99])
def test_no_cell_of_a_board_stays_empty(count: int, grave: int) -> None:
    """Whatever the number of pours, and of those in trouble."""
    many = min(grave, count)
    room = room_for([i < many for i in range(count)])
    assert len(room.spans) == count
    if room.name == "led":
        assert (many, room.spans) == (1, (f"rows-{count - 1}", *[""] * (count - 1)))
        return
    columns = int(room.name.removeprefix("columns-"))
    assert all(all(row) for row in rows_of(columns, room.spans)), room


def test_a_pour_in_trouble_takes_at_least_twice_the_room_of_a_calm_one() -> None:
    """From three pours on: of two, each has half the screen."""
    for count in range(3, 25):
        (first, *others) = room_for([True, *[False] * (count - 1)]).spans
        assert first in ("2x2", "2x1") or first.startswith("rows-"), count
        assert not set(others) - {"", *(f"wide-{n}" for n in range(2, 6))}


def test_a_wall_has_room_for_thirteen_and_no_empty_cell() -> None:
    """The first has a column to itself; the others fill the rest."""
    for count in range(2, 14):
        room = wall_room_for(count)
        columns, rows = (int(number) for number in room.name.removeprefix("wall-").split("x"))
        filled = rows_of(columns, room.spans[1:])
        assert len(filled) == rows
        assert all(all(row) for row in filled), room
    assert wall_room_for(1).name == "wall-alone"


PEAK = ExpectedPeak(51.0, 58.0, 66.4, 0.4, 9.0, 11.0, None, None, None, 6.0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (PeakCall(Call.BELOW, PEAK, (40.0, 6.0)), "about 58 °C, 17:00"),
        (PeakCall(Call.OVER, PEAK, (40.0, 6.0)), "about 58 °C, 17:00"),
        (PeakCall(Call.OPEN, PEAK, (40.0, 6.0)), "51 °C to 67 °C, about 17:00"),
        (PeakCall(Call.LIKELY_OVER, PEAK, (40.0, 6.0)), "51 °C to 67 °C, about 17:00"),
        (PeakCall(Call.PASSED, PEAK, (61.0, 6.0)), "51 °C to 67 °C, about 17:00"),
        (PeakCall(Call.REFUTED, PEAK, (71.0, 6.0)), "hotter than predicted"),
        (PeakCall(Call.PASSED, PEAK, (61.0, 6.0), planned=True), "hotter than predicted"),
        (PeakCall(Call.PAST, PEAK, (57.2, 5.5)), "past: 57.2 °C at 13:30"),
        (PeakCall(Call.UNKNOWN, None, None), "not predicted yet"),
    ],
)
def test_the_peak_of_a_tile_is_a_range_while_the_limit_lies_inside_it(call: PeakCall, said: str) -> None:
    """One number on that cliff would be taken for the answer; as the judgement's own sentences have it."""
    now_ms = START_MS + 6 * HOUR_MS
    assert (
        say(peak_words(call, START_MS, now_ms), replace(METRIC, now_ms=now_ms)).replace("\u00a0", " ") == said
    )


def test_a_peak_that_is_due_is_said_to_be_now() -> None:
    """Not at a time of day that has gone by."""
    late = START_MS + 10 * HOUR_MS
    assert "17:00" not in say(peak_words(PeakCall(Call.OPEN, PEAK, None), START_MS, late))
    assert say(peak_words(PeakCall(Call.BELOW, PEAK, None), START_MS, late)).endswith("about now")


def answers_of(page: str) -> dict[int, dict[str, str]]:
    """Tile → what each of its marked places says."""
    found: dict[int, dict[str, str]] = {}
    for tile in page.split('<li class="tile ')[1:]:
        number = int(re.findall(r'id="tile-(\d+)"', tile)[0])
        parts = re.findall(r'data-answer="(\w+)">(.*?)</div>', tile.replace("\u00a0", " "), re.DOTALL)
        found[number] = {name: " ".join(re.sub(r"<[^>]*>", " ", text).split()) for name, text in parts}
    return found


def test_each_tile_of_the_board_answers_seven_questions(
    maker: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """How it is, who is on it, how hot, how far to the limit, how fast, what peak and when, what comes next."""
    calm, hot = pour_many(service, clock, plan_toml, 2, hours=18.0, hot=[1])
    page = maker.get("/").text
    answers = answers_of(page)
    assert list(answers) == [hot, calm], "trouble leads"
    for one in answers.values():
        assert set(one) - {"curve"} == {"condition", "who", "core", "limit", "trend", "peak", "next"}
        assert all(said for name, said in one.items() if name != "curve")
    assert answers[hot]["condition"].endswith("Go to the pour now")
    assert answers[hot]["who"].startswith("On it Nobody is on it yet")
    assert re.match(r"Limit 60 °C 3\.\d °C over it", answers[hot]["limit"])
    assert re.match(r"Trend \+1\.\d °C an hour", answers[hot]["trend"])
    assert re.match(r"Peak 64 °C to 71 °C, about \d\d:\d\d", answers[hot]["peak"])
    assert re.match(r"Limit 60 °C 30\.\d °C below it", answers[calm]["limit"])
    assert re.match(r"Next \d\d:\d\d Resin may gel", answers[calm]["next"])
    for tile in page.split('<li class="tile ')[1:]:
        for drawn in ("core", "band", "forecast", "limit", "now"):
            assert f'<path class="{drawn}"' in tile


def test_the_wall_shows_the_same_tiles(maker: Any, service: Any, clock: Any, plan_toml: str) -> None:
    """Twelve of them, the two in trouble first; and nothing to press but what is the screen's own."""
    made = pour_many(service, clock, plan_toml, 12, hours=18.0, hot=[4], lost=[7])
    page = maker.get("/wall").text
    answers = answers_of(page)
    assert len(answers) == 12
    assert list(answers)[:2] == [made[4], made[7]]
    assert answers == answers_of(maker.get("/").text) or list(answers) == list(
        answers_of(maker.get("/").text)
    )
    assert answers[made[7]]["condition"].endswith("No readings")
    assert 'data-loud="1"' in page
    assert not re.search(r"<form|<nav|<a ", page)


@pytest.mark.parametrize("path", ["/", "/wall"])
def test_where_no_pour_is_watched_that_is_said(maker: Any, shop: Any, plan_toml: str, path: str) -> None:
    """And what comes next, where one is planned."""
    shop.plan(plan_toml)
    page = maker.get(path).text
    assert "No pour is being watched." in page
    assert "River table for a fictional client" in page
    assert ('href="/pours/1"' in page) == (path == "/")
