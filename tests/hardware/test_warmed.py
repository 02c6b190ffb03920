"""The probe in the hand is found by its warmth, or not at all."""

from __future__ import annotations

import pytest

from hardware.warmed import warmed

ROOM = {"a": 20.0, "b": 20.1, "c": 35.0}


@pytest.mark.parametrize(
    ("now", "found"),
    [
        ({"a": 20.1, "b": 23.0, "c": 35.1}, "b"),
        ({"a": 20.1, "b": 21.2, "c": 35.0}, None),
        ({"a": 22.5, "b": 23.0, "c": 35.0}, None),
        ({"a": 20.0, "b": 20.1, "c": 35.0}, None),
        ({"a": 19.0, "b": 20.0}, None),
        ({"b": 23.0}, "b"),
        ({"new": 30.0}, None),
    ],
    ids=["one", "too little", "two at once", "nobody", "cooling", "the others gone", "not seen before"],
)
def test_only_a_clear_rise_names_a_probe(now: dict[str, float], found: str | None) -> None:
    """The hottest is not the one in the hand: the one that rose is."""
    assert warmed(ROOM, now) == found
