"""A live pour whose core may not be hard within the run: every page, file and answer of it stands, and says so."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any

import icalendar
import numpy as np
import pytest

from logger.cure.solver.prediction import predict
from logger.live.forecaster import Forecaster
from logger.plan.file import plan_from_text
from logger.pour import Stage
from logger.store import forecasts

#: Hard about four hours after pouring, as planned (invented).
QUICK = """
title = "Wharf Lane: clock face"
[resin]
name = "Quick system (invented)"
heat_of_cure_j_g = 380.0
[resin.rate]
k1_per_s = 6e-6
k2_per_s = 1.6e-4
[pour]
shape = "river"
depth_mm = 7
width_mm = 180
length_mm = 900
[air]
room_c = 21
[run]
hours = RUN
"""


def strict(text: str) -> Any:
    """JSON as other programs read it: NaN and Infinity are no numbers (RFC 8259, 6)."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.fixture
def live(shop: Any, request: pytest.FixtureRequest) -> int:
    """A pour an hour after pouring, with a real forecast; the run that its plan follows is the parameter, h."""
    plan = QUICK.replace("RUN", request.param)
    pour = int(shop.plan(plan))
    curve = predict(plan_from_text(plan)).curve
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)

    def at(hour: float) -> dict[str, float]:
        return {"core": float(np.interp(hour, curve.hours, curve.core_c)), "room": 21.0}

    shop.feed(1.0, 120, at)
    made = Forecaster(shop.service.store, shop.service.timeline, lambda work, *asked: work(*asked)).make(pour)
    assert made
    return pour


@pytest.mark.parametrize(
    ("live", "whats", "words"),
    [
        ("12", ["Hard and cool enough to open the form"], ""),
        ("5", ["Hard and cool enough to open the form"], "it may not be hard within 5 h of pouring"),
        (
            "2.5",
            ["Probably not hard yet", "Hard and cool enough to open the form"],
            "it may not be hard within 2.5 h of pouring",
        ),
    ],
    indirect=["live"],
)
def test_a_pour_that_may_not_be_hard_within_its_run_is_shown_kept_and_handed_out_like_any_other(
    maker: Any, shop: Any, live: int, whats: list[str], words: str
) -> None:
    """Page, picture, calendar, record, tables and bundle; in words where a maker reads, null where a program does."""
    page = re.sub(r"\s+", " ", maker.get(f"/pours/{live}").text)
    calendar = icalendar.Calendar.from_ical(maker.get(f"/api/pours/{live}/calendar.ics").text)
    told = {
        str(entry["SUMMARY"]).partition(":")[0]: str(entry["DESCRIPTION"])
        for entry in calendar.walk("VEVENT")
    }
    for what in whats:
        assert what in page
        assert what in told
    assert words in page or words[:1].upper() + words[1:] in page
    assert words in told[whats[0]]
    assert ("may not be hard" in page) is bool(words)
    strict(maker.get(f"/pours/{live}/section").text)
    for path in ("", "/curve", "/record", "/everything"):
        strict(maker.get(f"/api/pours/{live}{path}").text)
    table = maker.get(f"/api/pours/{live}/tables/forecasts").text
    for row in csv.DictReader(io.StringIO(table)):
        strict(row["body"])
    for path in ("/", f"/pours/{live}/record", f"/api/pours/{live}/bundle"):
        assert maker.get(path).status_code == 200
    with shop.service.store.read() as connection:
        kept = forecasts.latest(connection, live)
    assert kept is not None
    assert (kept.body["release_at_h"]["p95"] is None) is bool(words)
