"""Each kind of alarm on its page: its rank, its limit with where that comes from, by when to respond, what to do."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from logger.alarms.registry import KINDS
from logger.alarms.state import Phase, Transition, Why
from logger.pour import Stage
from logger.store import alarms
from logger.words.reader import METRIC
from logger.words.render import say
from web.views.words import clock_time


def plain(answer: Any) -> str:
    """A page as it is read."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2])).split())


@pytest.fixture
def pages(service: Any, maker: Any, shop: Any, plan_toml: str) -> dict[str, str]:
    """One alarm of each kind, just raised: kind → its page."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.sweep(core=24.0, room=21.0)
    now_ms = service.timeline.now_ms()
    changes = [
        Transition(
            kind.name, "pour", Why.FIRST_TIME, "So it is.", 1, 1, Phase.NORMAL, Phase.RAISED, now_ms, now_ms
        )
        for kind in KINDS.values()
    ]
    with service.store.write() as tx:
        rows = alarms.save_changes(tx, pour, changes, service.timeline.shift_ms)
    return {kind: plain(maker.get(f"/alarms/{row}")) for kind, row in zip(KINDS, rows, strict=True)}


def test_each_alarms_page_says_its_rank_its_limit_and_the_response(
    service: Any, pages: dict[str, str]
) -> None:
    """What an operator needs to judge an alarm (ISA-18.2, second hand): and by the clock, not by a length of time."""
    now_ms = service.timeline.true_ms()
    for kind in KINDS.values():
        page = pages[kind.name]
        by = clock_time(now_ms + round(kind.respond_within_min * 60_000))[-5:]
        for said in (
            f"{str(kind.priority).capitalize()} priority",
            f"Respond by {by}.",
            f"Raised when {say(kind.limit, METRIC)}",
            f"The limit comes from {say(kind.limit_source, METRIC)}",
            kind.consequence,
            *kind.what_to_do,
            "I’m on it",
            "The alarm stays on screen until",
        ):
            assert say(said, METRIC) in page, (kind.name, said)


def test_no_alarms_page_names_a_file_or_a_setting_of_the_program(pages: dict[str, str], maker: Any) -> None:
    """Nor does the table of alarms: a maker cannot look into the program."""
    for page in (*pages.values(), plain(maker.get("/alarms/table"))):
        assert re.findall(r"\w+\.(?:py|js|html)\b|\b[a-z]+_[a-z_]+\b|from memory|project choice", page) == []
