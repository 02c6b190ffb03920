"""The pour that moves (tests/flow/flowing_pour.py): its parts against closed forms, at rest against the solver under
test, and as a whole by what it must keep. Resins are invented."""

from __future__ import annotations

import numpy as np
import pytest

from logger.cure.solver.prediction import predict
from logger.plan.file import plan_from_text
from tests.flow.flowing_pour import SOLID, Flow, Pour
from tests.flow.stokes import Stokes


def plan(depth=50.0, room=25.0, k1=6e-7, k2=1.5e-5, **other):
    """An invented slow river as plan text."""
    v = {"shape": "river", "width": 140, "start": room, "heat": 360, "panel": 19, "wall": 120, "hours": 40}
    v |= {"top": 10, "bottom": 6, "side": 7, "m": 0.6, "n": 1.7, **other}
    return f"""title = "invented"
[resin]
name = "invented"
heat_of_cure_j_g = {v["heat"]}
[resin.rate]
k1_per_s = {k1}
k2_per_s = {k2}
m = {v["m"]}
n = {v["n"]}
[pour]
shape = "{v["shape"]}"
depth_mm = {depth}
width_mm = {v["width"]}
start_c = {v["start"]}
[form]
bottom = {{thickness_mm = {v["panel"]}}}
side = {{thickness_mm = {v["wall"]}}}
[air]
room_c = {room}
top_w_m2k = {v["top"]}
bottom_w_m2k = {v["bottom"]}
side_w_m2k = {v["side"]}
[run]
hours = {v["hours"]}
"""


STILL = {
    "warm slow river": plan(),
    "one that runs away": plan(60, 27, start=29.0),
    "quick thin river without panel or wall": plan(15, 22, 4e-6, 1.2e-4, panel=0, wall=0, hours=10),
    "sheet in a cooling room": plan(40, "[[0, 26], [20, 18]]", shape="sheet", start=27.0),
}


@pytest.mark.parametrize("text", STILL.values(), ids=STILL)
def test_a_pour_that_does_not_move_is_the_prediction_s(text):
    """Peak within 1 % of the rise, hour within 1 %, conversion within 0.01, another code on another mesh."""
    ours, judge = predict(plan_from_text(text)), Pour(text, nz=16).run()
    rise = ours.peak_c - 22
    assert judge.peak_c == pytest.approx(ours.peak_c, abs=0.01 * rise)
    assert judge.core_c.max() == pytest.approx(ours.core_peak_c, abs=0.01 * rise)
    assert judge.peak_at_h == pytest.approx(ours.peak_at_h, rel=0.01)
    assert judge.mean_conversion == pytest.approx(ours.end_mean_conversion, abs=0.01)


def test_viscosity_is_the_sheet_s_at_first_and_grows_as_its_closed_form_says():
    """Castro & Macosko 1982 (form from memory): at half of the gel's conversion 2^(A + B α) times as thick."""
    flow = Flow(0.4, at_c=20, e_j_mol=50e3, gel_conversion=0.6, exponent_a=1.5, exponent_b=1.0)
    assert flow.viscosity(20.0, 0.0) == pytest.approx(0.4)
    assert flow.viscosity(20.0, 0.3) == pytest.approx(0.4 * 2**1.8)
    # Ten kelvins warmer: exp[50000/8.314462 · (1/303.15 − 1/293.15)] = 0.508.
    assert flow.viscosity(30.0, 0.0) / 0.4 == pytest.approx(0.508, abs=0.001)
    assert flow.viscosity(30.0, 0.6) == SOLID
    assert flow.viscosity(30.0, 0.9) == SOLID


def test_cure_at_one_temperature_follows_its_closed_form():
    """m = 1, n = 2: t = α / [(1 − α)(k1 + k2)] + k2 / (k1 + k2)² · ln[(k1 + k2 α) / (k1 (1 − α))], exact; 25 °C."""
    pour = Pour(plan(k1=1e-5, k2=5e-4, m=1.0, n=2.0, heat=1e-9))
    celsius, alpha = np.array([25.0]), np.array([0.0])
    for _ in range(100):
        celsius, alpha = pour.cure(celsius, alpha, 95.56409)
    assert alpha[0] == pytest.approx(0.5, abs=1e-4)
    assert celsius[0] == pytest.approx(25.0)


def motion(warmer=0.0, cured=0.0):
    """Rise at the wall's side of a river's middle whose inner half is warmer, or more cured, than its outer one."""
    pour = Pour(plan(), Flow(0.4), nz=12)
    celsius, alpha = np.full((12, pour.nx), 25.0), np.full((12, pour.nx), 0.1)
    celsius[:, : pour.nx // 2] += warmer
    alpha[:, : pour.nx // 2] += cured
    u, w, passing = pour.motion(celsius, alpha)
    assert passing * abs(w[:, 0]).max() <= pour.dz * (1 + 1e-9)
    return u, w[6, 0]


def test_warm_resin_rises_and_cured_resin_sinks():
    """A kelvin lightens by the expansion, a hundredth of conversion weighs a twenty-fifth of a per cent."""
    _, warm = motion(warmer=1.0)
    _, cured = motion(cured=0.0125)
    assert warm > 1e-6
    # 5e-4 lighter by 1 K; 4 % · 0.0125 = 5e-4 heavier: the same drive, but for what each does to the viscosity.
    assert -cured == pytest.approx(warm, rel=0.1)


def test_resin_sticks_to_the_form_and_slips_along_its_surface():
    """Speeds beside the floor are small, those under the surface are not."""
    u, _ = motion(warmer=1.0)
    assert abs(u[-1]).max() > 2 * abs(u[0]).max()


def test_slow_drive_of_tall_slot_is_the_closed_form():
    """Far from the ends of a tall narrow slot with a free middle and a wall, whose lift changes along its width alone:
    μ w'' = −lift + mean push, w(b) = 0, w'(0) = 0, no net flow (closed form)."""
    nx, nz, dx, dz = 30, 60, 0.01 / 30, 0.12 / 60
    flow = Stokes(nx, nz, dx, dz, ("bottom", "right"))
    s = (np.arange(nx) + 0.5) / nx
    lift = np.ones((nz, 1)) * (1 - 2 * s)
    _, w = flow.move(np.full((nz, nx), 0.5), lift, tolerance=1e-8)
    # μ w'' = −(1 − 2 s) b² + G: w = b²/μ [ −(s²/2 − s³/3) + G s²/2 + C ], with w(1) = 0 and ∫ w = 0.
    # C = 1/6 − G/2; −(1/6 − 1/12) + G/6 + 1/6 − G/2 = 0, hence G = 1/4 and C = 1/24.
    exact = 0.01**2 / 0.5 * (-(s**2 / 2 - s**3 / 3) + s**2 / 8 + 1 / 24)
    assert w[nz // 2] == pytest.approx(exact, abs=0.01 * abs(exact).max())


def test_no_heat_is_lost_by_the_motion_and_what_leaves_is_counted():
    """To rounding; and in a form that lets none out the mean rises by that of its conversion."""
    moving = Pour(plan(hours=8), Flow(0.4), nz=8).run()
    assert moving.fastest_mm_s > 0.05
    assert abs(moving.balance_error) < 1e-9
    closed = plan(k1=3e-6, top=0, bottom=0, side=0, panel=0, wall=0, hours=4)
    pour = Pour(closed, Flow(0.4), nz=8)
    pour.start[:, :3] += 2.0
    held = pour.run()
    gained = held.temperature_c.mean() - pour.start.mean()
    assert gained == pytest.approx(360e3 / 1900 * held.mean_conversion, rel=1e-9)
    assert held.fastest_mm_s > 0.05


@pytest.fixture(scope="module")
def slow():
    """A deep slow river in a warm room: still, moving, and too thick to move."""
    text, thin = plan(width=110), Flow(0.4)
    cases = {"still": (None, 8), "moving": (thin, 8), "finer": (thin, 12), "thick": (Flow(5e3), 8)}
    return {name: Pour(text, *case).run(past_peak=True) for name, case in cases.items()}


def test_motion_cools_a_deep_thin_slow_pour(slow):
    """By more than a quarter of its rise; the same on a finer mesh within 3 % of the rise."""
    rise = slow["still"].peak_c - 25
    assert slow["moving"].peak_c < slow["still"].peak_c - 0.25 * rise
    assert slow["finer"].peak_c == pytest.approx(slow["moving"].peak_c, abs=0.03 * rise)


def test_resin_too_thick_to_move_peaks_as_if_it_stood_still(slow):
    """Within a twentieth of a kelvin."""
    assert slow["thick"].peak_c == pytest.approx(slow["still"].peak_c, abs=0.05)


def test_what_a_plan_says_of_its_motion_is_the_simulation_s(slow):
    """Peak within 3 °C or a tenth of its rise, and the core's whole curve too; its hour says little, for the peak is
    flat. Random rivers: tests/bench/flow_comparison.py."""
    text = plan(width=110).replace("[pour]", "[resin.flow]\nviscosity_pa_s = 0.4\n[pour]")
    ours, judge = predict(plan_from_text(text)), slow["finer"]
    allowed = max(3.0, 0.1 * (judge.peak_c - 25))
    assert ours.peak_c == pytest.approx(judge.peak_c, abs=allowed)
    core = np.interp(judge.hours, ours.curve.hours, ours.curve.core_c)
    assert core == pytest.approx(judge.core_c, abs=allowed)
    # The still pour is far from it, so that the agreement says something.
    assert slow["still"].peak_c > judge.peak_c + 2 * allowed


def test_a_quick_resin_is_not_helped_by_its_motion():
    """It gels too soon: it peaks no cooler, and at most 6 % of its rise hotter, where warm resin gathers."""
    text = plan(18, 25, 4e-6, 1.2e-4, width=80, hours=6)
    still, moving = (Pour(text, flow, 8).run(past_peak=True) for flow in (None, Flow(0.4)))
    assert still.peak_c > 100
    assert -0.01 < (moving.peak_c - still.peak_c) / (still.peak_c - 25) < 0.06


def test_a_sheet_begins_to_turn_over_by_itself():
    """A wide deep sheet has no cold side to drive it: it moves all the same, and is cooler for it."""
    text = plan(60, 27, shape="sheet", hours=7)
    still, moving = (Pour(text, flow, 8).run() for flow in (None, Flow(0.4)))
    assert moving.fastest_mm_s > 0.05
    assert moving.hottest_c[-1] < still.hottest_c[-1] - 1
