"""The causes that a forecast names, in a maker's words."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.forecast.causes import causes_of
from logger.cure.forecast.heating import HEATING, SPREAD_W_M2, USUAL_W_M2
from logger.cure.forecast.parameters import parameters_of
from logger.plan.file import Plan, plan_from_table
from logger.words.reader import METRIC
from logger.words.render import say

PLAN = plan_from_table(
    {
        "title": "Invented",
        "resin": {
            "name": "Invented",
            "heat_of_cure_j_g": 350.0,
            "rate": {"k1_per_s": 1e-6, "k2_per_s": 2e-5},
        },
        "pour": {"shape": "sheet", "depth_mm": 20.0},
        "air": {"room_c": 21.0},
    }
)


def words(flux_w_m2: float, plan: Plan = PLAN) -> list[str]:
    """What is said of members that agree on a flux within 5 W/m²."""
    rng = np.random.default_rng(1)
    theta = (flux_w_m2 + 5.0 * rng.standard_normal((64, 1)) - USUAL_W_M2) / SPREAD_W_M2
    return [say(cause.words, METRIC) for cause in causes_of((HEATING,), theta, plan)]


@pytest.mark.parametrize("flux_w_m2", [75.0, 150.0, 300.0])
def test_sun_is_named_as_sun_whatever_its_strength(flux_w_m2: float) -> None:
    """Also where it is just as strong as was to be expected of sun, or weaker."""
    assert words(flux_w_m2)[0].startswith("sun or a heater warms the surface (+")


def test_a_surface_that_gains_nothing_names_no_sun() -> None:
    """Members around 0 W/m²: nothing is blamed."""
    assert words(0.0) == []


def test_a_cause_tells_whether_it_heats() -> None:
    """That it will overheat because the resin cures slower is no reason."""
    unknowns = parameters_of(PLAN)
    names = [unknown.name for unknown in unknowns]
    theta = np.zeros((20, len(unknowns)))
    theta[:, names.index("rate_factor")] = -2.0
    theta[:, names.index("top_factor")] = -2.0
    warmer = {cause.name: cause.warmer for cause in causes_of(unknowns, theta, PLAN)}
    assert warmer == {"rate_factor": False, "top_factor": True}
