"""The solver against closed forms, handbook series, criticality and cases computed elsewhere."""

from __future__ import annotations

import itertools
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from prefactors import rate_from_prefactors
from scipy.optimize import brentq
from scipy.special import j0, j1

from logger.cure.model.crossing import first_crossing
from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Accuracy, Resolution
from logger.cure.solver.prediction import predict, stop_after_peak
from logger.errors import DidNotConverge
from logger.plan.file import Air, Bottom, Form, Plan, PourTable, Rate, Resin, Run, Side

TIGHT = Accuracy(kelvin=1e-3, part_of_rise=1e-5, conversion=1e-6, longest_s=600.0)
GOLDEN = tomllib.loads((Path(__file__).parents[2] / "references" / "coupled_sheets.toml").read_text())["case"]
INERT = Rate(k1_per_s=1e-12, k2_per_s=0.0)
GAS = 8.31446261815324


def plan_of(*, shape="sheet", depth_mm=50.0, width_mm=None, rate=INERT, heat=0.0, start_c=23.0, room_c=23.0,
            top=0.0, bottom=0.0, side=0.0, hours=24.0, panel_mm=0.0, wall_mm=0.0, resin=None, panel=None):  # fmt: skip
    """A plan with every coefficient given and, unless asked for, neither panel nor wall."""
    thermal = {"density_kg_m3": 1150.0, "specific_heat_j_kgk": 1900.0, "conductivity_w_mk": 0.2} | (
        resin or {}
    )
    return Plan(
        title="check",
        resin=Resin(name="check", heat_of_cure_j_g=heat, rate=rate, **thermal),
        pour=PourTable(shape=shape, depth_mm=depth_mm, width_mm=width_mm, start_c=start_c),
        form=Form(bottom=Bottom(thickness_mm=panel_mm, **(panel or {})), side=Side(thickness_mm=wall_mm)),
        air=Air(room_c=room_c, top_w_m2k=top, bottom_w_m2k=bottom, side_w_m2k=side),
        run=Run(hours=hours),
    )


def readings_at(plan, hours, fineness=1.0):
    """Core and top face (°C) at some hours, read from the solver's own curve."""
    found = run_ensemble(
        plan, Members(), EnsembleRun(output_hours=hours, resolution=Resolution(fineness, TIGHT))
    )
    return found.core_c[0], found.surface_c[0]


def golden_rate():
    """The golden cases' kinetics at 25 °C."""
    return rate_from_prefactors(6e4, 1e5, 65e3, 55e3, 1.0, 2.0)


@pytest.mark.parametrize("case", GOLDEN, ids=lambda c: f"{c['top']:g}-{c['bottom']:g}-{c['depth_mm']}mm")
def test_coupled_sheets_agree_with_cases_computed_elsewhere(case):
    """Peak, its hour and the gel of eleven sheets, two of them runaways (tests/references/coupled_sheets.toml)."""
    found = predict(
        plan_of(
            depth_mm=float(case["depth_mm"]),
            rate=golden_rate(),
            heat=420.0,
            top=case["top"],
            bottom=case["bottom"],
            hours=120.0,
        )
    )
    allowed = 0.1 if case["peak_c"] < 100 else 0.01 * (case["peak_c"] - 23.0)
    assert found.peak_c == pytest.approx(case["peak_c"], abs=allowed)
    assert found.peak_at_h == pytest.approx(case["at_h"], abs=0.05)
    assert found.heat_balance_error <= 1e-4
    if case["gel_h"]:
        assert found.gel_at_h == pytest.approx(case["gel_h"], abs=0.06)


def test_the_hottest_point_may_pass_the_adiabatic_temperature():
    """50 mm on an insulated bottom peaks above 244 °C near its cooled face; a clamp there would be wrong."""
    found = predict(plan_of(depth_mm=50.0, rate=golden_rate(), heat=420.0, top=10.0, hours=60.0))
    assert found.peak_c > 23.0 + 420e3 / 1900.0 + 20.0
    assert found.hottest_z_mm > 45.0


@pytest.mark.parametrize("seed", range(6))
def test_an_insulated_bottom_is_half_of_a_pour_twice_as_deep(seed):
    """Exact by symmetry, whatever the parameters."""
    draw = np.random.default_rng(seed)
    depth, top = float(draw.uniform(8, 26)), float(draw.uniform(4, 25))
    rate = Rate(k1_per_s=float(draw.uniform(2e-7, 2e-6)), k2_per_s=float(draw.uniform(5e-6, 3e-5)))
    one = predict(plan_of(depth_mm=depth, rate=rate, heat=350.0, top=top, hours=48.0))
    two = predict(plan_of(depth_mm=2 * depth, rate=rate, heat=350.0, top=top, bottom=top, hours=48.0))
    assert one.peak_c == pytest.approx(two.peak_c, abs=0.05 if two.peak_c < 60 else 0.01 * two.peak_c)
    assert one.peak_at_h == pytest.approx(two.peak_at_h, rel=0.005)


K1, K2 = 1e-5, 5e-4
LOGISTIC = [(1e3, 0.01287695), (3e3, 0.06624492), (5e3, 0.18798994), (1e4, 0.76170664), (2e4, 0.99810783)]
HORIE = [
    (3864.770, 0.1),
    (6855.837, 0.3),
    (9556.409, 0.5),
    (10857.200, 0.577),
    (18075.759, 0.8),
    (29433.346, 0.9),
]


@pytest.mark.parametrize(
    ("m", "n", "time_s", "alpha"),
    [(1.0, 1.0, t, a) for t, a in LOGISTIC] + [(1.0, 2.0, t, a) for t, a in HORIE],
)
def test_isothermal_cure_follows_its_closed_form(m, n, time_s, alpha):
    """m = n = 1 is the logistic curve; m = 1, n = 2 is Horie's at the right ratio (closed forms)."""
    rate = Rate(k1_per_s=K1, k2_per_s=K2, e1_j_mol=58e3, e2_j_mol=55e3, m=m, n=n)
    plan = plan_of(depth_mm=1.0, rate=rate, start_c=25.0, room_c=25.0, hours=time_s / 3600)
    assert predict(plan, accuracy=TIGHT).end_mean_conversion == pytest.approx(alpha, abs=2e-6)


@pytest.mark.parametrize("n", [0.5, 1.0, 1.6, 2.0, 3.0])
def test_isothermal_cure_of_any_order_follows_its_closed_form(n):
    """α = 1 − [1 + (n − 1) k t]^(1/(1 − n)), and 1 − e^(−kt) at n = 1."""
    rate = Rate(k1_per_s=1e-4, k2_per_s=0.0, n=n)
    plan = plan_of(depth_mm=1.0, rate=rate, start_c=25.0, room_c=25.0, hours=2.0)
    kt = 1e-4 * 7200
    exact = 1 - math.exp(-kt) if n == 1 else 1 - (1 + (n - 1) * kt) ** (1 / (1 - n))
    assert predict(plan, accuracy=TIGHT).end_mean_conversion == pytest.approx(exact, abs=2e-6)


SLAB_MIDDLE = {math.inf: [0.996869, 0.949305, 0.772312, 0.370777, 0.107977],
               1.0: [0.999751, 0.993108, 0.950642, 0.772526, 0.533859]}  # fmt: skip
SLAB_FACE = {1.0: [0.790377, 0.723577, 0.643391, 0.504522, 0.348177]}
FOURIER = [0.05, 0.1, 0.2, 0.5, 1.0]


@pytest.mark.parametrize("biot", [1.0, math.inf])
def test_a_cooling_slab_follows_its_series(biot):
    """Middle and face of a slab at five Fourier numbers; full series, eigenvalues of the textbook table."""
    half = 0.025
    h = 1e6 if math.isinf(biot) else biot * 0.2 / half
    unit_h = half**2 * 1150 * 1900 / 0.2 / 3600
    hours = np.array(FOURIER) * unit_h
    core, face = readings_at(plan_of(start_c=33.0, top=h, bottom=h, hours=1.05 * unit_h), hours, 2.0)
    assert (core - 23.0) / 10.0 == pytest.approx(SLAB_MIDDLE[biot], abs=5e-4)
    if biot in SLAB_FACE:
        assert (face - 23.0) / 10.0 == pytest.approx(SLAB_FACE[biot], abs=5e-4)


#: First eigenvalue and coefficient by Biot number, slab and cylinder (textbook table, Incropera & DeWitt 5.1).
TABLE = {0.01: (0.0998, 1.0017, 0.1412, 1.0025), 0.1: (0.3111, 1.0161, 0.4417, 1.0246),
         0.5: (0.6533, 1.0701, 0.9408, 1.1143), 1.0: (0.8603, 1.1191, 1.2558, 1.2071),
         2.0: (1.0769, 1.1785, 1.5994, 1.3384), 5.0: (1.3138, 1.2402, 1.9898, 1.5029),
         10.0: (1.4289, 1.2620, 2.1795, 1.5677), 100.0: (1.5552, 1.2731, 2.3809, 1.6015)}  # fmt: skip


@pytest.mark.parametrize("biot", TABLE)
def test_late_cooling_of_a_slab_is_the_first_term_of_the_table(biot):
    """Beyond Fo = 1 the middle follows C1 exp(−ζ1² Fo); eight Biot numbers."""
    half, fourier = 0.02, 1.0
    zeta, first = TABLE[biot][:2]
    hours = fourier * half**2 * 1150 * 1900 / 0.2 / 3600
    found = predict(
        plan_of(depth_mm=40.0, start_c=43.0, top=biot * 0.2 / half, bottom=biot * 0.2 / half, hours=hours),
        accuracy=TIGHT,
    )
    assert (found.curve.core_c[-1] - 23.0) / 20.0 == pytest.approx(
        first * math.exp(-(zeta**2) * fourier), abs=3e-4
    )


@pytest.mark.parametrize("biot", TABLE)
def test_late_cooling_of_a_round_is_the_first_term_of_the_table(biot):
    """A disc with shut top and bottom is a long cylinder: middle at Fo = 0.6, eight Biot numbers."""
    radius, fourier = 0.06, 0.6
    zeta, first = TABLE[biot][2:]
    hours = fourier * radius**2 * 1150 * 1900 / 0.2 / 3600
    found = predict(
        plan_of(
            shape="round", width_mm=120.0, depth_mm=20.0, start_c=43.0, side=biot * 0.2 / radius, hours=hours
        ),
        accuracy=TIGHT,
    )
    assert (found.curve.core_c[-1] - 23.0) / 20.0 == pytest.approx(
        first * math.exp(-(zeta**2) * fourier), abs=3e-4
    )


def test_a_cooling_round_follows_the_whole_bessel_series():
    """Early times too, Bi = 2: ten terms with roots of ζ J1/J0 = Bi from scipy."""
    radius, biot = 0.06, 2.0
    unit_h = radius**2 * 1150 * 1900 / 0.2 / 3600
    found = predict(
        plan_of(
            shape="round",
            width_mm=120.0,
            depth_mm=20.0,
            start_c=43.0,
            side=biot * 0.2 / radius,
            hours=0.5 * unit_h,
        ),
        accuracy=TIGHT,
    )
    poles = [
        0.0,
        2.404825557695773,
        5.520078110286311,
        8.653727912911013,
        11.791534439014281,
        14.930917708487787,
    ]
    roots = [brentq(lambda z: z * j1(z) - biot * j0(z), a + 1e-9, b) for a, b in itertools.pairwise(poles)]
    for fourier in (0.05, 0.1, 0.2, 0.4):
        exact = sum(2 / z * j1(z) / (j0(z) ** 2 + j1(z) ** 2) * math.exp(-z * z * fourier) for z in roots)
        got = np.interp(fourier * unit_h, found.curve.hours, found.curve.core_c)
        assert (got - 23.0) / 20.0 == pytest.approx(exact, abs=1e-3)


def test_uniform_heat_between_cold_faces_reaches_the_parabola():
    """10 kW/m³ in 50 mm: θ k / (q L²) at five Fourier numbers, and 15.625 K in the end."""
    density, heat = 1150.0, 1500.0
    rate = Rate(k1_per_s=1e4 / (density * heat * 1e3), k2_per_s=0.0, e1_j_mol=0.0, m=0.0, n=0.0)
    unit_h = 0.025**2 * density * 1900 / 0.2 / 3600
    found = predict(plan_of(rate=rate, heat=heat, top=1e6, bottom=1e6, hours=6 * unit_h), accuracy=TIGHT)
    part = [0.049978, 0.098873, 0.185193, 0.349727, 0.456239]
    got = np.interp(np.array(FOURIER) * unit_h, found.curve.hours, found.curve.core_c) - 23.0
    assert got * 0.2 / (1e4 * 0.025**2) == pytest.approx(part, abs=1e-3)
    assert found.curve.core_c[-1] - 23.0 == pytest.approx(15.625, abs=0.005)


def test_an_adiabatic_pour_ends_where_its_heat_takes_it():
    """All faces shut: 60 °C at 23.365 h, 244.05 °C in the end, steepest at 24.06 h."""
    plan = plan_of(depth_mm=40.0, rate=golden_rate(), heat=420.0, hours=120.0)
    found = predict(plan, accuracy=Accuracy(0.003, 1e-4, 2e-5, 300.0))
    assert found.curve.core_c[-1] == pytest.approx(
        23.0 + 420e3 / 1900.0 * found.end_mean_conversion, abs=0.02
    )
    assert found.peak_c == pytest.approx(244.05, abs=0.3)
    assert first_crossing(found.curve.hours, found.curve.core_c, 60.0) == pytest.approx(23.365, abs=0.03)


@pytest.mark.parametrize(("cp", "rise"), [(1600, 303.8), (1800, 270.0), (2000, 243.0), (2200, 220.9)])
def test_486_joules_per_gram_heat_it_by_their_share_of_cp(cp, rise):
    """H/cp for the published 486 J/g of a diepoxide with an aliphatic polyamine (Polímeros, scielo 56LHNB7…)."""
    rate = Rate(k1_per_s=1e-4, k2_per_s=1e-3, m=1.0, n=1.0)
    plan = plan_of(depth_mm=10.0, rate=rate, heat=486.0, hours=24.0, resin={"specific_heat_j_kgk": float(cp)})
    assert predict(plan, accuracy=Accuracy()).peak_c - 23.0 == pytest.approx(rise, abs=0.2)


def test_a_resin_of_order_nought_gives_its_heat_and_no_more():
    """All faces shut, n = m = 0: it ends at H/cp above its start, and its search for a peak ends nowhere before.

    Closed form of the adiabatic rise; order 0 reacts at full speed to the last bit, and must stop there.
    """
    rate = Rate(k1_per_s=1e-5, k2_per_s=0.0, e1_j_mol=0.0, m=0.0, n=0.0)
    plan = plan_of(depth_mm=40.0, rate=rate, heat=190.0, hours=72.0)
    found = predict(plan, accuracy=Accuracy())
    assert found.peak_c - 23.0 == pytest.approx(190e3 / 1900.0, abs=0.1)
    assert stop_after_peak(plan, 60.0).cured == 1.0


def peak_theta(shape, delta, eps, biot):
    """The highest θ = E ΔT / (R T²) of zero-order kinetics at a Frank-Kamenetskii number; infinite when it explodes.

    L is the half depth or the radius. So much heat that nothing is used up; 30 diffusion times, more where air
    resists. An explosion passes
    any temperature, and then any step: DidNotConverge is the other way to say so.
    """
    room_k, size, density, cp, k, heat = 296.15, 0.01, 1100.0, 110.0, 0.2, 1500.0
    e = GAS * room_k / eps
    at_room = delta * k * GAS * room_k**2 / (size**2 * e * density * heat * 1e3)
    at_25 = at_room * math.exp(-e / GAS * (1 / 298.15 - 1 / room_k))
    rate = Rate(k1_per_s=at_25, k2_per_s=0.0, e1_j_mol=e, m=0.0, n=0.0)
    h = 1e6 if math.isinf(biot) else biot * k / size
    faces = {"top": h, "bottom": h} if shape == "sheet" else {"side": h}
    plan = plan_of(
        shape=shape,
        depth_mm=20.0,
        width_mm=20.0 if shape == "round" else None,
        rate=rate,
        heat=heat,
        hours=30 * (1 + 2 / biot) * size**2 * density * cp / k / 3600,
        resin={"density_kg_m3": density, "specific_heat_j_kgk": cp},
        **faces,
    )
    try:
        found = predict(plan, accuracy=Accuracy(shortest_s=1e-3, most_steps=5000))
    except DidNotConverge:
        return math.inf
    return (found.peak_c - 23.0) / (room_k * eps)


@pytest.mark.parametrize(
    ("shape", "critical", "eps"),
    [
        ("sheet", 0.89745, 0.02),
        ("sheet", 0.90742, 0.03),
        ("sheet", 0.91773, 0.04),
        ("sheet", 0.92840, 0.05),
        ("round", 2.04505, 0.02),
        ("round", 2.06871, 0.03),
        ("round", 2.09321, 0.04),
        ("round", 2.11859, 0.05),
    ],
)
def test_a_pour_explodes_just_above_the_critical_number_and_not_below(shape, critical, eps):
    """Frank-Kamenetskii with finite activation energy ε = RT/E, slab and cylinder: steady at 0.98, runaway at 1.02."""
    assert peak_theta(shape, 0.98 * critical, eps, math.inf) < 1.6
    assert peak_theta(shape, 1.02 * critical, eps, math.inf) > 3.0


@pytest.mark.parametrize(
    ("shape", "biot", "critical"),
    [
        ("sheet", 0.5, 0.15668),
        ("sheet", 1.0, 0.27067),
        ("sheet", 2.0, 0.42085),
        ("sheet", 5.0, 0.61937),
        ("sheet", 10.0, 0.72898),
        ("round", 0.5, 0.32486),
        ("round", 1.0, 0.57580),
        ("round", 2.0, 0.92232),
        ("round", 5.0, 1.39429),
        ("round", 10.0, 1.65384),
    ],
)
def test_criticality_with_a_film_of_air_agrees_with_the_table(shape, biot, critical):
    """Finite Biot, at E = 200 kJ/mol; the table's infinite E is raised by 1.08 ε (rows ε = 0 and 0.02 at Bi = ∞)."""
    eps = GAS * 296.15 / 200e3
    lifted = critical * (1.0 + 1.08 * eps)
    assert peak_theta(shape, 0.98 * lifted, eps, biot) < 1.6
    assert peak_theta(shape, 1.02 * lifted, eps, biot) > 3.0


@pytest.mark.parametrize(
    ("panel", "contact"),
    [
        ({"conductivity_w_mk": 0.15, "density_kg_m3": 600.0, "specific_heat_j_kgk": 1600.0}, 32.706),
        ({"conductivity_w_mk": 0.45, "density_kg_m3": 950.0, "specific_heat_j_kgk": 1900.0}, 28.463),
    ],
)
def test_warm_resin_on_a_cold_panel_meets_it_at_the_contact_temperature(panel, contact):
    """40 °C resin on 20 °C wood, and on polyethylene: weighted by effusivity while both are thick."""
    plan = plan_of(depth_mm=60.0, start_c=40.0, room_c=20.0, panel_mm=60.0, panel=panel, hours=0.5)
    shot = predict(plan, field_hours=[0.5], accuracy=TIGHT, fineness=2.0).fields[0]
    row = int(np.flatnonzero(shot.is_resin[:, 0])[0])
    edges, t = shot.z_edges_mm, shot.temperature_c[:, 0]
    below = panel["conductivity_w_mk"] / (edges[row] - edges[row - 1])
    above = 0.2 / (edges[row + 1] - edges[row])
    assert (below * t[row - 1] + above * t[row]) / (below + above) == pytest.approx(contact, abs=0.05)


def test_refining_the_mesh_gains_accuracy_at_third_order_or_better():
    """The core of a cooling, curing sheet on 1, 2 and 4 times the cells."""
    rate = Rate(k1_per_s=2e-6, k2_per_s=4e-5)
    plan = plan_of(
        depth_mm=30.0, rate=rate, heat=350.0, start_c=30.0, top=12.0, bottom=6.0, panel_mm=12.0, hours=6.0
    )
    exact, *rest = (predict(plan, accuracy=TIGHT, fineness=f).curve.core_c[-1] for f in (5.0, 0.6, 1.2, 2.4))
    errors = [abs(value - exact) for value in rest]
    assert errors[0] < 0.05
    assert errors[1] < errors[0] / 6.0
    assert errors[2] < errors[1] / 3.0 or errors[2] < 2e-5


def test_shorter_steps_do_not_move_the_peak():
    """A river near the cliff: the usual accuracy and a far finer one agree to 0.1 °C and 0.3 % of the hour."""
    rate = Rate(k1_per_s=5e-7, k2_per_s=1.1e-5)
    plan = plan_of(shape="river", depth_mm=62.0, width_mm=240.0, rate=rate, heat=350.0, top=10.0, bottom=6.0,
                   side=6.0, panel_mm=19.0, wall_mm=200.0, hours=72.0)  # fmt: skip
    usual, fine = (
        predict(plan, accuracy=Accuracy()),
        predict(plan, accuracy=Accuracy(0.002, 7e-5, 2e-5, 1000.0)),
    )
    assert 50.0 < fine.peak_c < 90.0
    assert usual.peak_c == pytest.approx(fine.peak_c, abs=0.1)
    assert usual.peak_at_h == pytest.approx(fine.peak_at_h, rel=0.003)


def test_a_river_with_equal_faces_is_the_same_upside_down():
    """Same coefficient above and below and no panel: the top face and the lower face keep together."""
    rate = Rate(k1_per_s=8e-7, k2_per_s=1.5e-5)
    plan = plan_of(shape="river", depth_mm=40.0, width_mm=160.0, rate=rate, heat=350.0, top=9.0, bottom=9.0,
                   side=5.0, wall_mm=150.0, hours=48.0)  # fmt: skip
    curve = predict(plan).curve
    assert np.abs(curve.surface_c - curve.underside_c).max() < 0.02


def test_a_very_wide_river_and_a_very_wide_round_are_a_sheet_in_the_middle():
    """Two metres across and 20 mm deep, the sides are out of reach."""
    rate = Rate(k1_per_s=2e-6, k2_per_s=4e-5)
    given = {"depth_mm": 20.0, "rate": rate, "heat": 350.0, "top": 10.0, "bottom": 6.0, "panel_mm": 19.0}
    sheet = predict(plan_of(**given))
    for shape in ("river", "round"):
        wide = predict(plan_of(shape=shape, width_mm=2000.0, side=6.0, wall_mm=100.0, **given))
        assert wide.core_peak_c == pytest.approx(sheet.core_peak_c, abs=0.05)


def test_too_few_steps_raise_instead_of_giving_half_an_answer():
    """DidNotConverge names where it stopped."""
    rate = Rate(k1_per_s=2e-6, k2_per_s=4e-5)
    with pytest.raises(DidNotConverge, match=r"did not reach 24 h"):
        predict(plan_of(rate=rate, heat=350.0, top=10.0), accuracy=Accuracy(most_steps=5))


def test_nothing_moves_when_nothing_reacts_and_all_is_at_the_room():
    """No source, no difference: still at the room's temperature after a day, to rounding."""
    curve = predict(
        plan_of(shape="river", width_mm=200.0, top=10.0, bottom=5.0, side=5.0, panel_mm=19.0, wall_mm=100.0)
    ).curve
    assert np.abs(curve.core_c - 23.0).max() < 1e-6
    assert np.abs(curve.surface_c - 23.0).max() < 1e-6
