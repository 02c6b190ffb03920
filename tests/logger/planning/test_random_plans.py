"""Random plans: every answer is a number, and what cannot be negative is not."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.plan.file import plan_from_table
from logger.planning.assess import assess
from logger.planning.cure_answers import CureAnswers
from logger.planning.physics.panels import panel_names
from logger.planning.physics.species import species_names
from logger.words.render import say
from web.views.plan_report import plan_report

#: Figures that have a sign, each for a reason: a temperature, a margin, a difference or a movement.
SIGNED = {
    "room",
    "peak",
    "limit",
    "dew point",
    "coldest surface",
    "margin",
    "movement",
    "difference",
    "part B off by",
    "the panel gets",
}


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """A plan of any sort, from sensible to hopeless, but within the plan file's ranges."""
    real = lambda low, high: draw(st.floats(low, high))  # noqa: E731
    pick = lambda *words: draw(st.sampled_from(words))  # noqa: E731
    slab = {
        "name": "left",
        "species": pick(*species_names(), "moonwood"),
        "thickness_mm": real(5, 200),
        "width_mm": real(50, 900),
        "length_mm": real(100, 3000),
        "cut": pick("flat", "quarter"),
        "bark": pick("removed", "on", "none"),
        "seal": pick("none", "tacky", "cured"),
        "meter": {
            "readings_pct": draw(st.lists(st.floats(1, 55), min_size=1, max_size=8)),
            "wood_c": real(-5, 45),
        },
    }
    return {
        "title": "random",
        "resin": {
            "name": "random",
            "heat_of_cure_j_g": real(0, 600),
            "density_kg_m3": real(900, 1700),
            "rate": {"k1_per_s": real(1e-8, 1e-4), "k2_per_s": real(0, 1e-3)},
            "limits": {"max_depth_mm": real(1, 120)},
        },
        "pour": {
            "shape": pick("river", "round", "sheet"),
            "depth_mm": real(1, 200),
            "width_mm": real(20, 900),
            "length_mm": real(50, 3000),
        },
        "outline": {"edge_slope_deg": real(-70, 70)},
        "air": {"room_c": real(-5, 45), "relative_humidity_pct": real(0, 100)},
        "form": {
            "bottom": {"thickness_mm": real(0, 40)},
            "support": {
                "span_mm": real(20, 1500),
                "supports": draw(st.integers(2, 9)),
                "panel": pick(*panel_names()),
                "edges": pick("two", "four"),
                "hours_loaded": real(0.5, 200),
            },
            "seam": {"gap_mm": real(0, 5), "resin_viscosity_pa_s": real(0.05, 20)},
            "face": {"material": pick(*panel_names())},
        },
        "mix": {
            "density_a_kg_m3": real(900, 1700),
            "density_b_kg_m3": real(800, 1300),
            "ratio_parts": (real(0.5, 100), real(0.5, 100)),
            "ratio_by": pick("weight", "volume"),
            "measure_parts": (real(0.5, 100), real(0.5, 100)),
            "measure_by": pick("weight", "volume"),
        },
        "scale": {"resolution_g": real(0.01, 100)},
        "slab": [slab],
        "sun": {"hours": real(0, 12)},
        "shop": {"floor_m2": real(5, 500), "outside_c": real(-25, 40), "outside_humidity_pct": real(0, 100)},
        "colour": {
            "dip_depth_mm": real(1, 50),
            "dip_dose_pct": real(0.01, 2),
            "dip_transmission": real(0.01, 0.99),
        },
        "heat_tool": {"jet_c": real(21, 700), "pass_s": real(0.1, 60)},
    }


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(table=tables(), peak=st.floats(20, 300), gel=st.one_of(st.none(), st.floats(0, 200)))
def test_no_answer_is_negative_or_no_number(table: dict[str, Any], peak: float, gel: float | None) -> None:
    """Every figure of every finding is finite; lengths, masses, times and forces are never below zero."""
    plan = plan_from_table(table)
    found = assess(plan, answers=CureAnswers(peak_c=peak, gel_h=gel, spread_k=abs(peak - 20)))

    for finding in found.findings:
        for figure in finding.figures:
            assert math.isfinite(figure.value), (finding.key, figure)
            if say(figure.name) not in SIGNED:
                assert figure.value >= 0, (finding.key, figure)
        assert finding.sentence
        assert "nan" not in say(finding.sentence).casefold().split()
        if finding.key.startswith("refused-"):
            assert finding.change, say(finding.sentence)
    if found.quantity is not None:
        assert found.quantity.total_l >= 0
    assert plan_report(plan, found)
