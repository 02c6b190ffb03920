"""The forecast's cross-section agrees with what was read, and with the forecast's middle."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from logger.cure.forecast.forecast import MemberSample, forecast
from logger.cure.forecast.section_view import core_to_draw, fields_to_draw, to_draw
from logger.cure.solver.prediction import predict
from logger.plan.file import Plan, Resin, plan_from_table
from logger.record.figures import Place

AT_H = 8.0


@pytest.fixture(scope="session")
def seen(slow_resin: Resin) -> tuple[Plan, dict[str, Any], dict[str, Any], Place]:
    """A pour whose core runs a tenth hotter than planned: its plan, its cut, its forecast and its core's readings."""
    plan = plan_from_table(
        {
            "title": "invented",
            "resin": slow_resin.model_dump(exclude_none=True, mode="json"),
            "air": {"room_c": 21.0},
            "pour": {"shape": "river", "depth_mm": 40.0, "width_mm": 250.0},
            "run": {"hours": 48.0},
        }
    )
    curve = predict(plan).curve
    core = Place(curve.hours, 21.0 + 1.1 * (curve.core_c - 21.0))
    history = {"core": core, "room": Place(curve.hours, np.full(len(curve.hours), 21.0))}
    made = forecast(plan, history, at_h=AT_H, sample=MemberSample(members=16, seed=3))
    return plan, to_draw(plan, history, made), made.to_json(), core


def test_the_cut_shows_what_the_core_has_read_and_what_is_foretold(seen: Any) -> None:
    """Within a kelvin at the core: the picture's cell lies beside the probe, not on it."""
    plan, cut, told, read = seen
    hours = [2.0, 4.0, 7.5, 12.0, 20.0]
    fields = fields_to_draw(plan, cut, hours, core_to_draw(cut, told["bands"]))
    assert [field.hours for field in fields] == hours
    middle = told["bands"]
    for field in fields:
        resin = np.flatnonzero(field.is_resin[:, 0])
        cell = field.temperature_c[resin[len(resin) // 2], 0]
        if field.hours < AT_H:
            wanted = np.interp(field.hours, read.hours, read.celsius)
        else:
            wanted = np.interp(field.hours, middle["hours"], middle["core_c"]["p50"])
        assert cell == pytest.approx(wanted, abs=1.0)


def test_the_wood_far_from_the_resin_stays_at_the_room(seen: Any) -> None:
    """However far the core is from what was solved: a slab is no colder than the room, and not as warm as the core."""
    plan, cut, _told, read = seen
    hours = [24.0, 32.0, 40.0]
    for share in (0.4, 2.0):
        core = (read.hours, 21.0 + share * (read.celsius - 21.0))
        for field in fields_to_draw(plan, cut, hours, core):
            far = field.temperature_c[:, -1]
            assert far == pytest.approx(21.0, abs=1.5)
            assert np.nanmin(field.temperature_c) > 20.0


def test_what_is_kept_of_it_is_small(seen: Any) -> None:
    """A pour has up to a hundred forecasts: half a hundred fields in each would fill the card."""
    assert len(json.dumps(seen[1])) < 6000
