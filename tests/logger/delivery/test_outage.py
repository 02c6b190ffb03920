"""Both receivers are away for a simulated day: what is still true arrives when they return, and nothing else."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


def load(name: str) -> Any:
    """A helper beside this file: tests are no package."""
    spec = importlib.util.spec_from_file_location(f"outage_{name}", Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def received() -> Iterator[Any]:
    """A real SMTP server and a real HTTP server on loopback."""
    with load("receiving").receivers() as both:
        yield both


def test_after_a_day_away_what_is_still_true_arrives_in_order_and_the_rest_is_collapsed(
    bench: Any, received: Any
) -> None:
    """Three times too hot and cooled again, then a cold room: that it is over once, and that the room is cold."""
    outage = load("outage")
    shop = bench(urls=received.urls, timeout_s=2)
    day = outage.a_day_away(shop, received, send_every_s=3600, between_s=2400)
    assert day.written > 20
    assert day.outdated == day.written - len(day.expected), "whatever was overtaken is collapsed"
    assert set(day.web) == set(day.mail) == day.expected
    assert len(day.web) == len(day.mail) == len(day.expected), "each once"
    hot = [title for title in day.web if "too hot" in title]
    assert hot == ["Cleared: The core is too hot - Table"], (
        "one message of three excursions, and that it is over"
    )
    assert any("room is too cold" in title for title in day.web), "what is true now"
    assert "room-cold" in outage.still_true(shop)
    assert day.late_s <= 300, "tries are never further apart than five minutes"
