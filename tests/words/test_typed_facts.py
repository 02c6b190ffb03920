"""What somebody typed, or a stranger's record holds, may look like a fact: no page fails over it."""

from __future__ import annotations

import pytest

from logger.words.reader import METRIC
from logger.words.render import say


@pytest.mark.parametrize(
    "typed",
    [
        '{"say": ' + "[" * 3900,
        '{"say": "a", "b": ' * 200 + "1" + "}" * 200,
        '{"say": "{b}", "b": [NaN, "ms", null]}',
        '{"say": "{b}", "b": [1e300, "ms", null]}',
        '{"say": "{b}", "b": [1, "°C", 99999999]}',
        '{"say": "{b}", "b": ["x", "°C", 1]}',
        '{"say": "{b}", "b": {"all": 7}}',
        '{"say": "{b}", "b": null, "n": true}',
        '{"say": null}',
        "{99999999999999999999 ms}",
    ],
)
def test_what_is_no_fact_is_shown_and_nothing_fails(typed: str) -> None:
    """A note of two thousand brackets is a note."""
    assert say(f"seen: {typed}", METRIC).startswith("seen: ")
