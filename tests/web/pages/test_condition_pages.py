"""The pages over random states: what they show is the judgement, and nothing of their own."""

from __future__ import annotations

import html
import re
from types import SimpleNamespace
from typing import Any

import pytest

from logger.condition.condition_words import STAGE_WORDS
from logger.condition.judgement import Severity
from logger.pour import LIVE
from logger.words.reader import METRIC
from tests.logger.condition.random_states import START_MS, states
from web.views.at_a_glance import Glance, below_limit, peak_words, picture_of
from web.views.render import templates
from web.views.status import TONES, Status, status_from, urgency
from web.views.tiles import room_for

STATES, ON_A_BOARD = 20_000, 100
#: Tones that look calm: no pour that is in danger may wear one.
CALM_TONES = ("calm", "quiet", "hand", "open")


def board(standings: list[tuple[int, Status, int]], role: str) -> str:
    """The board's page with these pours (number, standing, now in ms)."""
    tiles = [
        {
            "pour": SimpleNamespace(id=number, title=f"Pour {number}"),
            "standing": standing,
            "stage": "Curing",
            "limit_c": standing.condition.limit_c,
            "hour": (now_ms - START_MS) / 3_600_000,
            "glance": Glance(
                picture_of(standing, None),
                None,
                below_limit(standing.condition),
                peak_words(standing.condition.peak, START_MS, now_ms),
                None,
            ),
        }
        for number, standing, now_ms in standings
    ]
    context: dict[str, Any] = {
        "tiles": tiles,
        "room": room_for([False] * len(tiles)),
        "others_shown": 3,
        "ahead": [],
        "done": [],
        "stage_words": STAGE_WORDS,
        "lone": [],
        "has_station": True,
        "units_chosen": True,
        "workshop": "An invented workshop",
        "who": SimpleNamespace(role=role, name="Ada"),
        "may": role != "screen",
        "u": METRIC,
        "now_ms": standings[0][2],
        "trouble": [],
        "watch_trouble": None,
        "request": SimpleNamespace(url=SimpleNamespace(path="/")),
    }
    return str(templates().env.get_template("board.html").render(context))


@pytest.mark.parametrize("role", ["maker", "screen"])
def test_no_tile_shows_less_than_the_judgement_and_no_two_numbers_for_one_thing(role: str) -> None:
    """Twenty thousand tiles: their colour, the temperature in the headline and the huge one, the limit."""
    count = STATES if role == "maker" else STATES // 10
    live = [(evidence, now_ms) for evidence, now_ms in states(count, seed=5) if evidence.stage in LIVE]
    for start in range(0, len(live), ON_A_BOARD):
        standings = [
            (number, status_from(evidence, now_ms), now_ms)
            for number, (evidence, now_ms) in enumerate(live[start : start + ON_A_BOARD])
        ]
        page = " ".join(html.unescape(board(standings, role)).replace("\u00a0", " ").split())
        tiles = re.split(r'(?=<li class="tile \w+" id="tile-\d+")', page)[1:]
        assert len(tiles) == len(standings)
        for (_, standing, _), tile in zip(standings, tiles, strict=True):
            _judge_tile(tile, standing)


def _judge_tile(tile: str, standing: Status) -> None:
    condition, severity = standing.condition, standing.condition.severity
    tone = tile.removeprefix('<li class="tile ').partition('"')[0]
    assert tone == TONES[severity]
    assert severity is not Severity.DANGER or tone not in CALM_TONES
    text = " ".join(re.sub(r"<[^>]*>", " ", tile).split())
    assert ("Nothing wrong" in text) <= (severity is Severity.CALM)
    core = condition.core
    huge = re.findall(r'class="huge">\s*(-?[\d.]+)', tile)
    assert huge == ([] if core is None else [f"{core.celsius:.1f}"])
    headline = re.findall(r"Core(?: 2)? at (-?[\d.]+) °C, over", text)
    assert all(value == huge[0] for value in headline), text
    limits = {float(value) for value in re.findall(r"[Ll]imit (?:of )?([\d.]+) °C", text)}
    assert limits <= {condition.limit_c}, text
    if condition.by is not None:
        assert f"{condition.by} is on it" in text


def test_trouble_comes_first_on_the_board() -> None:
    """Whatever order they are stored in."""
    standings = [status_from(evidence, now_ms) for evidence, now_ms in states(500, seed=6)]
    ordered = sorted(standings, key=urgency)
    severities = [one.condition.severity for one in ordered]
    assert severities == sorted(severities, reverse=True)
