"""No text is longer than where it is read bears: a short form, or cut behind a word."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from logger.facts import fact
from logger.words import render
from logger.words.reader import METRIC
from logger.words.render import Channel, say, shortened

LONG = "The core of the walnut table by the window will probably pass its limit before evening, so somebody should go"


def test_a_text_that_is_too_long_is_given_by_its_short_form(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    """The lock screen shows what fits; the page shows everything."""
    monkeypatch.setitem(render.ENGLISH, "long", f"{LONG} and look at it.")
    monkeypatch.setitem(render.ENGLISH, "long.short", "The core will pass its limit")
    assert say(fact("long"), METRIC, Channel.TITLE) == "The core will pass its limit"
    assert say(fact("long"), METRIC, Channel.PAGE) == f"{LONG} and look at it."


@given(st.text(min_size=1, max_size=400), st.integers(10, 200))
def test_nothing_is_longer_than_it_may_be(words: str, longest: int) -> None:
    """And nothing that fits is cut."""
    assert len(shortened(words, longest)) <= max(longest, 0)
    if len(words) <= longest:
        assert shortened(words, longest) == words


def test_a_cut_text_ends_behind_a_word() -> None:
    """Half a word reads as another one."""
    cut = shortened(LONG, 40)
    assert cut == "The core of the walnut table by the…"
