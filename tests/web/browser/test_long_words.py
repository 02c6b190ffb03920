"""Screens hold words half as long again: every text of the program in brackets and lengthened, on a phone."""

from __future__ import annotations

import re
from typing import Any

import pytest

from logger.pour import Stage
from logger.words import catalogues
from logger.words.numbers import LANGUAGE_NAMES

#: Shorter texts are units, and as long in any language.
SHORT = 8
#: What somebody named, languages' own names, and the hardware's.
NAMES = (
    "River table for a fictional client",
    "River table",
    "Slow casting system (invented)",
    "The workshop",
    "a pour of a test",
    "bench-1",
    "test",
    "GPIO",
    *LANGUAGE_NAMES.values(),
)
PAGES = (
    "/",
    "/pours/{}",
    "/pours/{}/plan",
    "/pours/{}/ready",
    "/pours/{}/first-hour",
    "/pours/{}/mix",
    "/pours/{}/record",
    "/pours/new",
    "/resins",
    "/resins/new",
    "/shop",
    "/shop/import",
    "/compare",
    "/stations",
    "/settings",
    "/me",
    "/people",
    "/links",
    "/phone",
    "/messages",
    "/alarms/table",
    "/alarms/rates",
    "/placing",
    "/wiring",
)


class LongWords(catalogues.Words):
    """A language that is English with half as much again behind each text."""

    def __init__(self) -> None:
        pass

    def gettext(self, english: str) -> str:
        """Return the text in brackets, lengthened."""
        letters = len(re.sub(r"<[^>]*>|%\(\w+\)s|\{\w+\}", "", english))
        if letters < SHORT:
            return f"⟦{english}⟧"
        words = " ".join(["lengthen"] * max(1, letters // 18))
        return f"⟦{english} {words}⟧"

    def one(self, _context: str | None, english: str) -> str:
        """Return the same."""
        return self.gettext(english)

    def plural(self, _context: str | None, one: str, many: str, n: int) -> str:
        """Return the form of the number, as in English."""
        return self.gettext(one if n == 1 else many)


@pytest.mark.parametrize("place", PAGES)
def test_in_longer_words_no_page_is_wider_than_a_phone_and_every_text_is_translated(
    place: str, browse: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody scrolls sideways for what is said; what is wide on its own scrolls in its own box."""
    monkeypatch.setattr(catalogues, "of", lambda _language: LongWords())
    pour = int(shop.plan(plan_toml))
    if "ready" not in place:
        shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
        shop.feed(0.05, 60, lambda _h: {"core": 22.0, "surface": 22.0, "underside": 21.0, "room": 21.0})
    page = browse("phone")
    page.set_extra_http_headers({"Accept-Language": "de"})
    page.goto(place.format(pour))
    said = " ".join(page.inner_text("body").split())
    assert "⟦" in said
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    assert left_over(said) == [], "what no translation reaches"


def left_over(said: str) -> list[str]:
    """Return the words outside all brackets that are no name: shorter ones are units, days and months."""
    inside = ""
    while inside != said:
        inside, said = said, re.sub(r"⟦[^⟦⟧]*⟧", " ", said)
    said = re.sub(r"⟦[^⟦⟧…]*…", " ", said)  # cut short, as a label on a chart
    for name in NAMES:
        said = said.replace(name, " ")
    return re.findall(r"[^\W\d_]{4,}", said)
