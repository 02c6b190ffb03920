"""Readiness as a round through the shop: what blocks first, what is done out of the way, the phone last."""

from __future__ import annotations

import re
from typing import Any

from tests.web.page_text import words
from tests.web.pages.test_plan_page import example
from tests.web.pages.test_signing_rounds import sign_place


def place(page: str, name: str) -> str:
    """The section of a place."""
    return page.partition(f'<section class="card place" id="{name}"')[2].partition("</section>")[0]


def open_points(section: str) -> list[tuple[str, str]]:
    """Tone and name of each point that is not done, in their order."""
    rows = section.partition('<details class="done">')[0]
    return re.findall(r'<li class="point (\w+)" id="([\w-]+)"', rows)


def test_the_round_goes_from_the_desk_to_the_phone(maker: Any, shop: Any) -> None:
    """Nobody would be called: that is the last stop, and in no other place."""
    page = maker.get(f"/pours/{shop.plan(example('wharf-lane-ready.toml'))}/ready").text
    assert re.findall(r'class="card place" id="(\w+)"', page) == ["desk", "bench", "form", "phone"]
    assert [name for _, name in open_points(place(page, "phone"))] == ["watch"]
    assert page.count('id="watch"') == 1


def test_what_blocks_stands_first_in_its_place(maker: Any, shop: Any) -> None:
    """A room too warm before pails and people."""
    plan = example("wharf-lane-ready.toml").replace("room_c = 21.0", "room_c = 28.0")
    tones = [
        tone for tone, _ in open_points(place(maker.get(f"/pours/{shop.plan(plan)}/ready").text, "desk"))
    ]
    assert tones[0] == "stop"
    assert tones == sorted(tones, key=["stop", "watch", "open"].index)


def test_what_is_done_is_folded_and_the_count_says_what_is_left(maker: Any, shop: Any) -> None:
    """Signed points leave the list; the head and the bar count the same."""
    pour = shop.plan(example("wharf-lane-ready.toml"))
    before = int(re.search(r"(\d+) left to do", words(maker.get(f"/pours/{pour}/ready")))[1])  # type: ignore[index]
    sign_place(maker, pour, "desk")
    page = maker.get(f"/pours/{pour}/ready").text
    desk = place(page, "desk")
    assert open_points(desk) == []
    signed = int(re.search(r"(\d+) signed here", " ".join(desk.split()))[1])  # type: ignore[index]
    after = int(re.search(r"(\d+) left to do", words(maker.get(f"/pours/{pour}/ready")))[1])  # type: ignore[index]
    assert before - after == signed
    bar = re.search(r'<progress max="(\d+)" value="(\d+)"', page)
    assert bar is not None
    assert int(bar[1]) - int(bar[2]) == after
