"""From a plan to its geometry."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.errors import BadPlan
from logger.plan.file import Plan, plan_from_text
from logger.planning.physics.shape import between_m3, layers_m3, top_area_m2, total_depth_m, voids_m3

RIVER = """
title = "invented"
[resin]
name = "invented"
heat_of_cure_j_g = 330
rate = { k1_per_s = 5e-7, k2_per_s = 1.4e-5 }
[air]
room_c = 21
"""


def plan(tables: str) -> Plan:
    """A plan with that pour."""
    return plan_from_text(RIVER + tables)


@pytest.mark.parametrize(
    ("tables", "litres"),
    [
        # closed forms, by hand: box, taper from 200 to 140 mm, disc, frustum, Simpson on seven widths, shoelace,
        # and a traced box of 10 L whose edges add or take 0.7217 L a metre (30° over 50 mm)
        ('[pour]\nshape = "river"\ndepth_mm = 50\nwidth_mm = 200\nlength_mm = 1500\n', 15.0),
        (
            '[pour]\nshape = "river"\ndepth_mm = 50\nwidth_mm = 200\nlength_mm = 1500\n'
            "[outline]\nedge_slope_deg = -30.963757\n",
            12.75,
        ),
        ('[pour]\nshape = "round"\ndepth_mm = 40\nwidth_mm = 600\n', 11.310),
        (
            '[pour]\nshape = "round"\ndepth_mm = 40\nwidth_mm = 600\n[outline]\nbottom_diameter_mm = 560\n',
            10.573,
        ),
        (
            '[pour]\nshape = "river"\ndepth_mm = 50\nwidth_mm = 200\n[outline]\nstations_mm = '
            "[[0, 120], [250, 180], [500, 150], [750, 210], [1000, 240], [1250, 200], [1500, 160]]\n",
            14.25,
        ),
        (
            '[pour]\nshape = "sheet"\ndepth_mm = 10\n[outline]\npoints_mm = '
            "[[0, 0], [1500, 40], [1500, 180], [1100, 220], [700, 150], [300, 210], [0, 160]]\n",
            2.515,
        ),
        (
            '[pour]\nshape = "sheet"\ndepth_mm = 50\n[outline]\npoints_mm = '
            "[[0, 0], [1000, 0], [1000, 200], [0, 200]]\nedge_slope_deg = 30\n",
            11.7321,
        ),
        (
            '[pour]\nshape = "sheet"\ndepth_mm = 50\n[outline]\npoints_mm = '
            "[[0, 0], [1000, 0], [1000, 200], [0, 200]]\nedge_slope_deg = -30\nsloping_edge_mm = 2000\n",
            8.5566,
        ),
    ],
)
def test_a_plan_holds_its_closed_form(tables: str, litres: float) -> None:
    """Rivers, round moulds and traced sheets."""
    made = plan(tables)
    volume = between_m3(made, 0.0, total_depth_m(made))

    assert volume is not None
    assert volume * 1000 == pytest.approx(litres, abs=1e-3)


def test_layers_of_a_leaning_edge_add_up_to_the_whole() -> None:
    """The lower layer of a river that narrows holds less than the upper one, and both are the whole."""
    made = plan(
        '[pour]\nshape = "river"\ndepth_mm = 25\nwidth_mm = 200\nlength_mm = 1500\n'
        "[[layer]]\nat_h = 20\ndepth_mm = 25\n[outline]\nedge_slope_deg = -30.963757\n"
    )
    layers = layers_m3(made)

    assert layers is not None
    assert sum(layers) * 1000 == pytest.approx(12.75, abs=1e-6)
    # by hand: widths 200, 170 and 140 mm at the top, the middle and the bottom
    assert [1000 * volume for volume in layers] == pytest.approx([5.8125, 6.9375], abs=1e-6)


def test_voids_add_up_by_their_number() -> None:
    """Three oval holes of 60 by 40 by 40 mm: 3 · π/4 · 96 mL."""
    made = plan(
        '[pour]\nshape = "sheet"\ndepth_mm = 10\n'
        '[[void]]\nname = "worm holes"\ncount = 3\nlength_mm = 60\nwidth_mm = 40\ndepth_mm = 40\n'
    )

    assert voids_m3(made) * 1e6 == pytest.approx(226.195, abs=1e-3)


def test_a_sheet_without_an_outline_has_no_volume() -> None:
    """None, not a guess."""
    made = plan('[pour]\nshape = "sheet"\ndepth_mm = 10\n')

    assert top_area_m2(made) is None
    assert layers_m3(made) is None


def test_a_shape_given_twice_is_refused() -> None:
    """Stations and points for the same outline."""
    with pytest.raises(BadPlan, match="twice"):
        plan(
            '[pour]\nshape = "sheet"\ndepth_mm = 10\n'
            "[outline]\nstations_mm = [[0, 1], [2, 3]]\npoints_mm = [[0, 0], [1, 0], [1, 1]]\n"
        )


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    width=st.floats(10, 1600),
    length=st.floats(10, 5000),
    depths=st.lists(st.floats(1, 100), min_size=1, max_size=4),
    lean=st.floats(-60, 60),
    scale=st.floats(0.2, 3),
)
def test_a_plan_scaled_up_holds_the_cube(
    width: float, length: float, depths: list[float], lean: float, scale: float
) -> None:
    """Layers are never negative, add up, and grow with the cube of the size."""

    def sized(s: float) -> Plan:
        later = "".join(
            f"[[layer]]\nat_h = {20 * k}\ndepth_mm = {s * d}\n" for k, d in enumerate(depths[1:], start=1)
        )
        return plan(
            f'[pour]\nshape = "river"\ndepth_mm = {s * depths[0]}\nwidth_mm = {s * width}\nlength_mm = {s * length}\n'
            f"{later}[outline]\nedge_slope_deg = {lean}\n"
        )

    one, scaled = sized(1.0), sized(scale)
    layers, larger = layers_m3(one), layers_m3(scaled)
    assert layers is not None
    assert larger is not None
    assert all(volume >= 0 for volume in layers)
    whole = between_m3(one, 0.0, total_depth_m(one))
    assert sum(layers) == pytest.approx(whole, rel=1e-6, abs=1e-12)
    assert sum(larger) == pytest.approx(scale**3 * sum(layers), rel=1e-6, abs=1e-12)
