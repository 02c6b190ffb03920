"""Spans of time as people say them."""

from __future__ import annotations

import pytest

from logger.words.numbers import span


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 s"), (45.4, "45 s"), (119, "119 s"), (120, "2 min"), (3600, "1 h 00 min"), (259_225, "3 d 0 h")],
)
def test_a_span_is_said_in_the_unit_that_a_person_would_use(seconds: float, said: str) -> None:
    """ "Nothing heard for 259225 s" helps nobody at night."""
    assert span(seconds, str) == said
