"""Areas, volumes and allowances, judged by closed forms, shapely and scipy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import simpson
from shapely import Polygon

from logger.errors import BadInput, OutOfRange
from logger.plan.planning_tables import Allowance
from logger.planning.physics.volume import (
    edge_volume_m3,
    frustum_m3,
    integrate,
    perimeter_m,
    polygon_area_m2,
    section_area_m2,
    void_m3,
    with_allowances,
)
from logger.units import litres_to_us_gallons, us_gallons_to_litres
from logger.words.render import say

SEVEN_WIDTHS = [0.120, 0.180, 0.150, 0.210, 0.240, 0.200, 0.160]
SEVEN_POINTS = [(0.0, 0.0), (1.5, 0.04), (1.5, 0.18), (1.1, 0.22), (0.7, 0.15), (0.3, 0.21), (0.0, 0.16)]
HEXAGON = [(math.cos(k * math.pi / 3), math.sin(k * math.pi / 3)) for k in range(6)]


@pytest.mark.parametrize(
    ("points", "area"),
    [
        # closed forms: half base times height, the surveyor's formula by hand, 3√3/2
        ([(0.0, 0.0), (4.0, 0.0), (4.0, 3.0)], 6.0),
        (SEVEN_POINTS, 0.2515),
        (HEXAGON, 2.598076),
        ([(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (0.0, 1.0)], 2.0),
    ],
)
def test_a_traced_outline_has_the_area_of_its_closed_form(
    points: list[tuple[float, float]], area: float
) -> None:
    """A triangle, a seven-point river, a hexagon and a rectangle; shapely agrees."""
    assert polygon_area_m2(points) == pytest.approx(area, abs=1e-6)
    assert polygon_area_m2(points) == pytest.approx(Polygon(points).area, rel=1e-12)


def test_six_stations_by_simpson_beat_trapezoids_on_a_half_sine() -> None:
    """∫ sin from 0 to π is 2: Simpson on seven points gives 2.000863, trapezoids 1.954097 (closed form)."""
    places = [k * math.pi / 6 for k in range(7)]
    found = integrate(places, [max(0.0, math.sin(x)) for x in places])

    assert found.rule == "Simpson"
    assert found.value == pytest.approx(2.000863, abs=1e-6)
    assert found.value - found.doubt == pytest.approx(1.954097, abs=1e-6)


def test_seven_widths_at_quarter_metres_come_to_14_and_a_quarter_litres() -> None:
    """285 000 mm² by Simpson, 280 000 by trapezoids, computed by hand; scipy agrees."""
    places = [0.25 * k for k in range(7)]
    found = integrate(places, SEVEN_WIDTHS)

    assert found.value == pytest.approx(0.285, abs=1e-9)
    assert found.doubt == pytest.approx(0.005, abs=1e-9)
    assert found.value == pytest.approx(float(simpson(SEVEN_WIDTHS, x=places)), rel=1e-12)
    assert found.value * 0.05 * 1000 == pytest.approx(14.25)


def test_uneven_stations_fall_back_to_trapezoids() -> None:
    """Simpson's rule needs equal steps: widths 1, 2, 4 at 0, 1, 3 come to 1.5 + 6 (by hand)."""
    found = integrate([0.0, 1.0, 3.0], [1.0, 2.0, 4.0])

    assert (found.rule, found.value) == ("trapezoid", 7.5)


@pytest.mark.parametrize(
    ("top_m", "depth_m", "lean_deg", "area_m2"),
    [
        # closed forms of a trapezium; the last one closes to a triangle of depth 0.05 under 0.1 m
        (0.2, 0.05, 0.0, 0.010),
        (0.2, 0.05, -math.degrees(math.atan(0.6)), 0.0085),
        (0.2, 0.05, 45.0, 0.0125),
        (0.1, 0.08, -45.0, 0.0025),
    ],
)
def test_a_leaning_edge_gives_a_trapezium_or_a_triangle(
    top_m: float, depth_m: float, lean_deg: float, area_m2: float
) -> None:
    """A 200 mm river that is 140 mm at the bottom holds 12.75 L in 1.5 m, not 15."""
    assert section_area_m2(top_m, depth_m, lean_deg) == pytest.approx(area_m2, abs=1e-12)


def test_an_undercut_edge_adds_what_its_triangle_holds() -> None:
    """30° over 50 mm adds 0.722 L to each metre of edge (h² tan θ / 2)."""
    assert edge_volume_m3(1.0, 0.05, 30.0) * 1000 == pytest.approx(0.7217, abs=1e-4)


@pytest.mark.parametrize(
    ("top_m", "bottom_m", "depth_m", "litres"),
    [
        # π D² h / 4; π h (D² + D d + d²) / 12; a cone
        (0.6, 0.6, 0.04, 11.310),
        (0.6, 0.56, 0.04, 10.573),
        (0.3, 0.0, 0.1, 2.3562),
        (0.45, 0.45, 0.05, 7.9522),
    ],
)
def test_a_round_mould_holds_its_disc_or_frustum(
    top_m: float, bottom_m: float, depth_m: float, litres: float
) -> None:
    """Closed forms of the cylinder, the frustum and the cone."""
    assert frustum_m3(top_m, bottom_m, depth_m) * 1000 == pytest.approx(litres, abs=1e-3)


@pytest.mark.parametrize(
    ("shape", "millilitres"), [("box", 96.0), ("oval", 75.398), ("crack", 48.0)]
)  # closed forms: box, elliptic cylinder, wedge
def test_a_void_takes_its_closed_form(shape: str, millilitres: float) -> None:
    """60 by 40 by 40 mm as a box, an oval hole and a wedge."""
    assert void_m3(shape, 0.06, 0.04, 0.04) * 1e6 == pytest.approx(millilitres, abs=1e-3)


@pytest.mark.parametrize(
    ("waste_pct", "litres", "kilograms"), [(5, 15.75, 17.3), (10, 16.5, 18.2), (15, 17.25, 19.0)]
)
def test_waste_goes_on_top(waste_pct: float, litres: float, kilograms: float) -> None:
    """5, 10 and 15 % on 15 L of 1100 kg/m³, by hand."""
    q = with_allowances(0.015, 0.0, 1100.0, Allowance(waste_pct=waste_pct, soak_pct=0.0))

    assert q.total_l == pytest.approx(litres)
    assert q.total_kg == pytest.approx(kilograms, abs=0.06)


def test_what_lies_in_the_form_takes_room_and_a_belly_adds() -> None:
    """An 800 by 600 by 50 mm form with 12 L of wood takes 12 L; cost is by the kilogram."""
    q = with_allowances(
        0.024, 0.0, 1100.0, Allowance(waste_pct=0.0, soak_pct=0.0), displaced_m3=0.012, belly_m3=0.0005
    )

    assert q.total_l == pytest.approx(12.5)
    assert q.cost(10.0, 7.0) == pytest.approx(13.75 * 10 + 7)
    assert q.total_gal == pytest.approx(3.30215, abs=1e-5)  # 12.5 / 3.785411784, NIST SP 811


@pytest.mark.parametrize(
    ("points", "word"),
    [
        ([(0.0, 0.0), (1.0, 0.0)], "3 points"),
        ([(0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)], "crosses itself"),
        ([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], "above 0"),
    ],
)
def test_an_outline_that_encloses_nothing_is_refused(points: list[tuple[float, float]], word: str) -> None:
    """Too few points, a bow-tie and a line each say what is wrong and what to do."""
    with pytest.raises(BadInput, match=word) as refusal:
        polygon_area_m2(points)

    assert refusal.value.remedy


def test_stations_out_of_order_are_refused() -> None:
    """A station behind the one before is named, with the remedy."""
    with pytest.raises(BadInput, match="must rise") as refusal:
        integrate([0.0, 0.5, 0.4], [0.1, 0.1, 0.1])

    assert "sort" in say(refusal.value.remedy)


@pytest.mark.parametrize("width", [-0.1, math.nan, math.inf])
def test_a_width_that_cannot_be_is_refused(width: float) -> None:
    """Below zero, not a number and endless: value, range, unit and remedy are named."""
    with pytest.raises(OutOfRange, match="mm") as refusal:
        integrate([0.0, 1.0], [0.1, width])

    assert refusal.value.remedy
    assert refusal.value.allowed


stars = st.lists(st.floats(0.05, 2.0), min_size=3, max_size=24).map(
    lambda radii: [
        (r * math.cos(2 * math.pi * k / len(radii)), r * math.sin(2 * math.pi * k / len(radii)))
        for k, r in enumerate(radii)
    ]
)


@given(points=stars, scale=st.floats(0.1, 10))
def test_any_traced_shape_agrees_with_shapely_and_scales_with_the_square(
    points: list[tuple[float, float]], scale: float
) -> None:
    """Area and perimeter of random star shapes; area goes with the square of the size."""
    shape = Polygon(points)

    assert polygon_area_m2(points) == pytest.approx(shape.area, rel=1e-9)
    assert perimeter_m(points) == pytest.approx(shape.length, rel=1e-9)
    bigger = [(scale * x, scale * y) for x, y in points]
    assert polygon_area_m2(bigger) == pytest.approx(scale**2 * polygon_area_m2(points), rel=1e-9)


@given(width=st.floats(0.0, 2), depth=st.floats(0, 0.3), lean=st.floats(-75, 75), scale=st.floats(0.1, 10))
def test_a_section_is_never_negative_and_scales_with_the_square(
    width: float, depth: float, lean: float, scale: float
) -> None:
    """However steep the edges come in, the area stays at or above zero; volume then scales with the cube."""
    area = section_area_m2(width, depth, lean)

    assert area >= 0
    assert section_area_m2(scale * width, scale * depth, lean) == pytest.approx(
        scale**2 * area, rel=1e-6, abs=1e-12
    )


@given(top=st.floats(0.01, 3), bottom=st.floats(0, 3), depth=st.floats(0, 1), scale=st.floats(0.1, 10))
def test_the_volume_of_a_mould_scales_with_the_cube(
    top: float, bottom: float, depth: float, scale: float
) -> None:
    """Twice as large in every direction is eight times the resin."""
    volume = frustum_m3(top, bottom, depth)

    assert volume >= 0
    assert frustum_m3(scale * top, scale * bottom, scale * depth) == pytest.approx(
        scale**3 * volume, rel=1e-9
    )


@given(litres=st.floats(1e-3, 1e5))
def test_litres_and_gallons_go_both_ways(litres: float) -> None:
    """Litres to US gallons and back are the same litres."""
    assert us_gallons_to_litres(litres_to_us_gallons(litres)) == pytest.approx(litres, rel=1e-12)
