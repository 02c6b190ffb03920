"""Station and service are killed while a pour is watched: nothing is lost, doubled or told otherwise."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from kills import Shop, Told, differences

HOURS = 1.0
KILLS = 15


@pytest.fixture
def watched_pour(tmp_path: Path) -> Iterator[Callable[..., Told]]:
    """Runs a pour in processes of its own."""
    made: list[Shop] = []

    def run(chance: random.Random | None = None, kills: int = 0) -> Told:
        shop = Shop(tmp_path / f"shop-{len(made)}", HOURS)
        made.append(shop)
        return shop.run(chance, 0.2, kills)

    yield run
    for shop in made:
        shop.close()
    for shop in made:
        assert shop.left_over() == [], "a killed service's heavy work ends with it"


def test_kills_of_station_and_service_change_nothing(watched_pour: Any) -> None:
    """Fifteen kills at random moments: every reading once, the same alarms, at most one message twice a kill."""
    calm = watched_pour()
    assert calm.took == calm.sent, "undisturbed, every message comes once"
    assert {kind for kind, *_ in calm.alarms} >= {"core-hot", "room-cold"}
    killed = watched_pour(random.Random(7), KILLS)
    assert killed.kills.total() >= 8, "the pour was disturbed"
    assert differences(calm, killed) == []
