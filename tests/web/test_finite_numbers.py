"""Whatever leaves the program is JSON: no NaN, no infinity, however odd the plan or the readings (seeded, invented)."""

from __future__ import annotations

import json
import logging
from typing import Any

import numpy as np
import pytest

from logger.cure.advice.bond import bond_window
from logger.cure.advice.layering import layer_verdicts
from logger.cure.solver.hardness import field_hours, milestones
from logger.cure.solver.prediction import predict
from logger.errors import LoggerError, NotFinite
from logger.json_text import json_text
from logger.live.forecaster import Forecaster
from logger.plan.file import plan_from_table
from logger.planning.assess import assess_fully
from logger.pour import Stage
from logger.record.figures import figures, places_from
from logger.store import forecasts
from web.views.predicted import PredictedPour, frozen


@pytest.mark.parametrize("value", [float("inf"), -float("inf"), float("nan")])
def test_a_number_that_json_does_not_have_is_refused_by_its_name(value: float) -> None:
    """And what is finite is written as it is, its letters kept."""
    with pytest.raises(NotFinite, match=r"^forecast\.bands\.hours\[1\]: was worked out as"):
        json_text({"bands": {"hours": [1.0, value]}}, "forecast")
    kept = {"title": "Wände", "at": [1.5, None, 3], "pair": (1, 2)}
    assert json_text(kept) == '{"title": "Wände", "at": [1.5, null, 3], "pair": [1, 2]}'


def test_predictions_and_assessments_of_odd_plans_are_json() -> None:
    """Freezing and hot rooms, insulated faces, no panel, layers, runs that end before anything has happened."""
    rng = np.random.default_rng(4)
    for _ in range(5):
        rate = {"k1_per_s": 6e-6, "k2_per_s": 1.8e-4}
        table: dict[str, Any] = {
            "title": "Odd (invented)",
            "resin": {"name": "Invented quick system", "heat_of_cure_j_g": 385.0, "rate": rate},
            "pour": {
                "shape": str(rng.choice(["river", "round", "sheet"])),
                "width_mm": 200.0,
                "length_mm": 900.0,
                "depth_mm": float(rng.choice([2, 6])),
                "start_c": 20.0,
            },
            "form": {"bottom": {"thickness_mm": float(rng.choice([0, 19]))}},
            "air": {
                "room_c": float(rng.choice([2, 15, 24, 31])),
                "top_w_m2k": float(rng.choice([0, 8.5])),
                "bottom_w_m2k": 5.0,
            },
            "run": {"hours": float(rng.choice([0.5, 4, 30]))},
        }
        if rng.random() < 0.4:
            table["layer"] = [{"at_h": float(rng.choice([0.3, 90])), "depth_mm": 3.0}]
        plan = plan_from_table(table)
        found = predict(plan, field_hours=field_hours(plan))
        joints = tuple(layer_verdicts(plan))
        course = PredictedPour(plan, found, milestones(plan, found), bond_window(plan, found), joints)
        json.dumps(frozen(course), allow_nan=False)
        try:
            assessed = assess_fully(plan, found).to_json()
        except LoggerError:
            continue  # refused in words: nothing leaves
        json.dumps(assessed, allow_nan=False)


def test_figures_of_odd_readings_are_json() -> None:
    """No reading, one, several at one moment, only faults, only before pouring, probes that never read together."""
    rng = np.random.default_rng(1)
    for _ in range(120):
        rows: list[tuple[float, str, float | None]] = []
        for place in ("core", "core-2", "surface", "room"):
            count = int(rng.choice([0, 1, 2, 9, 40]))
            hours = np.sort(
                rng.random(count) * rng.choice([1e-6, 0.1, 5.0, 90.0]) - rng.choice([0.0, 0.0, 2.0])
            )
            faulty = rng.choice([0.0, 0.3, 1.0], p=[0.7, 0.2, 0.1])
            for hour in hours.round(int(rng.choice([1, 9]))):
                celsius = None if rng.random() < faulty else float(rng.choice([-55.0, 20.0, 85.0, 400.0]))
                rows.append((float(hour), place, celsius))
        found = figures(places_from(rows), 60.0, {"peak_c": 50.0, "peak_at_h": 3.0})
        json.dumps(found.to_json(), allow_nan=False)


def test_a_forecast_with_such_a_number_is_not_kept_and_the_watch_goes_on(
    shop: Any, plan_toml: str, caplog: pytest.LogCaptureFixture
) -> None:
    """The log says which number; the last good forecast stays the newest."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.2, 120, lambda _hour: {"core": 21.0, "room": 21.0})
    band = {"p05": 20.0, "p50": 21.0, "p95": float("inf")}

    def compute(_work: Any, *_asked: Any) -> dict[str, Any]:
        return {
            "at_h": 0.2,
            "core_peak_c": band,
            "core_peak_at_h": {"p05": 9.0, "p50": 10.0, "p95": 11.0},
            "chance_core_over_limit": 0.0,
            "crosses_limit_at_h": None,
            "time_left_h": None,
        }

    forecaster = Forecaster(shop.service.store, shop.service.timeline, compute)
    with caplog.at_level(logging.ERROR):
        assert forecaster.make_due() == 0
    assert "forecast.core_peak_c.p95: was worked out as inf" in caplog.text
    with shop.service.store.read() as connection:
        assert forecasts.latest(connection, pour) is None
    shop.sweep(core=21.0, room=21.0)
    assert shop.service.watch.trouble is None
