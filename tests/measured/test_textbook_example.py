"""A slab that cures between two hot plates: a textbook's worked example, by its own printed scheme.

Example 8.5 of a textbook on composites manufacturing, as its published program gives it (chapter and notation are those
of Advani & Sozer, Process Modeling in Composites Manufacturing; the book itself was not at hand, so its title is from
memory): 20 mm thick, 20 °C, both faces held at 120 °C, dC/dt = k0 e^(−E/RT) CA0 (1 − C)(λ − C) with λ = 1. No measured
temperature stands behind it. It judges conduction, source and rate together, with every parameter printed.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import pytest

from logger.cure.solver.ensemble import EnsembleRun, Members, run_ensemble
from logger.cure.solver.march import Accuracy, Resolution
from logger.cure.solver.prediction import predict
from logger.plan.file import Air, Bottom, Form, Plan, PourTable, Rate, Resin, Run, Side
from logger.units import GAS_CONSTANT_J_MOL_K, REFERENCE_K

# The example's own numbers, in its own names.
VF, KF, KM, RHOF, RHOM, CF, CM = 0.40, 1.20, 0.20, 2500.0, 1200.0, 800.0, 700.0
T_IN_K, T_WALL_K, H_M = 20 + 273.2, 120 + 273.2, 0.020
K0, CA0, E_OVER_R_K, HEAT_J_KG = 2.0, 0.5, 1000.0, 280_000.0

CONDUCTIVITY = 1 / ((1 - VF) / KM + VF / KF)
HEAT_CAPACITY = VF * RHOF * CF + (1 - VF) * RHOM * CM
HEAT_J_M3 = (1 - VF) * RHOM * HEAT_J_KG
TIGHT = Accuracy(kelvin=1e-3, part_of_rise=1e-5, conversion=1e-6, longest_s=600.0)
SECONDS = (10.0, 30.0, 60.0, 72.8, 100.0, 150.0)


class Printed(NamedTuple):
    """What the printed scheme gives: s, the middle in °C on the program's own zero, conversion of each node, last."""

    time_s: np.ndarray
    middle_c: np.ndarray
    profile: np.ndarray


def printed_scheme(nodes: int, step_s: float) -> Printed:
    """The example's program: explicit in time, central in space, the walls at their temperature from the start."""
    dz = H_M / (nodes - 1)
    kelvin, cured = np.full(nodes, T_IN_K), np.zeros(nodes)
    kelvin[0] = kelvin[-1] = T_WALL_K
    time_s, middle_c = [0.0], [T_IN_K - 273.2]
    for step in range(1, round(SECONDS[-1] / step_s) + 1):
        rate = K0 * np.exp(-E_OVER_R_K / kelvin[1:-1]) * CA0 * (1 - cured[1:-1]) ** 2
        curvature = (kelvin[2:] - 2 * kelvin[1:-1] + kelvin[:-2]) / dz**2
        cured[1:-1] += step_s * rate
        kelvin[1:-1] += step_s * (CONDUCTIVITY * curvature + HEAT_J_M3 * rate) / HEAT_CAPACITY
        time_s.append(step * step_s)
        middle_c.append(kelvin[nodes // 2] - 273.2)
    return Printed(np.array(time_s), np.array(middle_c), cured)


def example() -> Plan:
    """The example as a plan: rate referred to 25 °C, the composite's means as the resin's, faces held by 1e6 W/m²K."""
    return Plan(
        title="textbook example",
        resin=Resin(
            name="textbook example",
            density_kg_m3=HEAT_CAPACITY / 1000.0,
            specific_heat_j_kgk=1000.0,
            conductivity_w_mk=CONDUCTIVITY,
            heat_of_cure_j_g=HEAT_J_M3 / HEAT_CAPACITY,
            rate=Rate(
                k1_per_s=K0 * CA0 * math.exp(-E_OVER_R_K / REFERENCE_K),
                k2_per_s=0.0,
                e1_j_mol=E_OVER_R_K * GAS_CONSTANT_J_MOL_K,
                n=2.0,
            ),
        ),
        pour=PourTable(shape="sheet", depth_mm=1000 * H_M, start_c=20.0),
        form=Form(bottom=Bottom(thickness_mm=0.0), side=Side(thickness_mm=0.0)),
        air=Air(room_c=120.0, top_w_m2k=1e6, bottom_w_m2k=1e6),
        run=Run(hours=SECONDS[-1] / 3600),
    )


@pytest.fixture(scope="module")
def middle_c() -> np.ndarray:
    """Our middle at the example's seconds, °C."""
    run = EnsembleRun(output_hours=[second / 3600 for second in SECONDS], resolution=Resolution(1.0, TIGHT))
    return run_ensemble(example(), Members(), run).core_c[0]


def test_the_middle_follows_the_printed_program(middle_c: np.ndarray) -> None:
    """Within 0.25 K on the program's own 21 nodes and steps of 0.01 s: 0.08, 0.16, 0.11, 0.12, 0.11, 0.06 K."""
    printed = printed_scheme(21, 0.01)
    assert middle_c == pytest.approx(np.interp(SECONDS, printed.time_s, printed.middle_c), abs=0.25)


def test_the_middle_follows_the_printed_equations(middle_c: np.ndarray) -> None:
    """Within 0.1 K where the program's mesh is eight times as fine: what is left of the difference was its mesh."""
    printed = printed_scheme(161, 0.005)
    assert middle_c == pytest.approx(np.interp(SECONDS, printed.time_s, printed.middle_c), abs=0.1)


def test_its_peak_is_that_of_the_printed_program() -> None:
    """160.3 °C at 104 s; the hour of a flat peak within 2 %."""
    printed, ours = printed_scheme(161, 0.005), predict(example())
    assert ours.peak_c == pytest.approx(printed.middle_c.max(), abs=0.1)
    assert 3600 * ours.peak_at_h == pytest.approx(printed.time_s[printed.middle_c.argmax()], rel=0.02)


def test_as_much_has_cured_as_the_printed_equations_say() -> None:
    """Mean over the thickness after 150 s, 0.928: within 0.001. At a wall C = kt / (1 + kt), closed form."""
    printed, at_wall = printed_scheme(161, 0.005), K0 * CA0 * math.exp(-E_OVER_R_K / T_WALL_K) * SECONDS[-1]
    cured = printed.profile.copy()
    cured[0] = cured[-1] = at_wall / (1 + at_wall)
    mean = float(np.mean((cured[1:] + cured[:-1]) / 2))
    assert predict(example(), accuracy=TIGHT).end_mean_conversion == pytest.approx(mean, abs=1e-3)


def test_the_isothermal_example_is_its_closed_form() -> None:
    """Example 4.6, the same rate at 400 K: C = kt / (1 + kt), 80 % at 4 / k = 48.7 s."""
    k_per_s = K0 * CA0 * math.exp(-E_OVER_R_K / 400.0)
    plan = example()
    warm = plan.model_copy(
        update={
            "resin": plan.resin.model_copy(update={"heat_of_cure_j_g": 0.0}),
            "pour": PourTable(shape="sheet", depth_mm=1.0, start_c=400.0 - 273.15),
            "air": Air(room_c=400.0 - 273.15, top_w_m2k=1e6, bottom_w_m2k=1e6),
            "run": Run(hours=4 / k_per_s / 3600),
        }
    )
    assert 4 / k_per_s == pytest.approx(48.73, abs=0.01)
    assert predict(warm, accuracy=TIGHT).end_mean_conversion == pytest.approx(0.8, abs=2e-6)
