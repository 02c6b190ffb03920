"""What a prediction says, and that it holds together for plans of every kind."""

from __future__ import annotations

import json

import numpy as np
import pytest

from logger.alarms.band import expect
from logger.cure.solver import prediction
from logger.cure.solver.prediction import (
    coarse_peak_c,
    long_enough,
    predict,
    predict_coarsely,
    proven_peak_c,
    stop_after_peak,
)
from logger.plan.file import plan_from_table
from logger.words.reader import METRIC
from logger.words.render import say

GIVEN = {"top_w_m2k": 10.0, "bottom_w_m2k": 6.0, "side_w_m2k": 6.0}


def test_the_json_has_the_contracts_names_and_plain_numbers(plan_of, slow_casting):
    """The names of the command-line contract; a dump and a load give the same."""
    made = predict(plan_of(slow_casting, "river", 45.0, 23.0, air=GIVEN)).to_json()
    assert json.loads(json.dumps(made)) == made
    assert set(made) >= {"peak_c", "peak_at_h", "hottest", "gel_at_h", "end", "curve"}
    assert set(made["hottest"]) == {"x_mm", "z_mm"}
    assert set(made["end"]) == {"mean_conversion", "least_conversion", "tg_c"}
    lengths = {len(column) for column in made["curve"].values()}
    assert set(made["curve"]) == {
        "hours",
        "core_c",
        "hottest_c",
        "surface_c",
        "underside_c",
        "mean_conversion",
    }
    assert len(lengths) == 1
    assert lengths.pop() <= 1010


def test_the_curve_is_close_and_shows_the_peak(plan_of, quick_coating):
    """Five minutes or closer over a day, rising hours, and the peak itself is on it."""
    found = predict(plan_of(quick_coating, "sheet", 20.0, 23.0, run={"hours": 24.0}, air=GIVEN))
    assert np.diff(found.curve.hours).max() <= 5.01 / 60
    assert np.all(np.diff(found.curve.hours) > 0)
    assert found.curve.hottest_c.max() == pytest.approx(found.peak_c, abs=0.5)
    assert np.all(np.diff(found.curve.mean_conversion) > -1e-4)


@pytest.mark.parametrize("hours", [2.5, 3.5, 5.0, 7.0, 8.5, 10.0])
def test_the_curve_as_it_is_kept_rises_in_time_whatever_the_run(plan_of, quick_coating, hours):
    """A picture of the cross-section makes the solver stop beside an hour of the curve's own: in the digits that are
    kept they must not be the same hour, or the watch cannot compare the pour with it."""
    plan = plan_of(quick_coating, "river", 7.0, 21.0, run={"hours": hours}, air=GIVEN)
    curve = predict(plan, field_hours=np.linspace(0.0, hours, 49)).to_json()["curve"]
    assert np.all(np.diff(curve["hours"]) > 0)
    expect(curve["hours"], curve["core_c"])


def test_a_pour_too_cold_to_gel_says_so(plan_of, slow_casting):
    """gel_at_h is None, in JSON null."""
    found = predict(plan_of(slow_casting, "river", 20.0, 8.0, run={"hours": 12.0}, air=GIVEN))
    assert found.gel_at_h is None
    assert found.to_json()["gel_at_h"] is None


def test_warnings_name_the_depth_the_room_and_the_energy(plan_of, slow_casting):
    """Each with its value and the range."""
    resin = slow_casting | {"rate": slow_casting["rate"] | {"e1_j_mol": 95e3}}
    told = predict(
        plan_of(resin, "river", 55.0, [[0, 15.0], [10, 33.0]], run={"hours": 2.0}, air=GIVEN)
    ).warnings
    for words in ("55 mm", "50 mm", "15 °C", "33 °C", "95000 J/mol", "40000 to 80000"):
        assert any(words in say(line, METRIC) for line in told), words


def test_a_field_is_the_section_at_that_hour(plan_of, slow_casting):
    """Resin above the panel and inside the slab; its hottest cell is on the curve; only resin cures."""
    plan = plan_of(slow_casting, "river", 45.0, 23.0, air=GIVEN)
    found = predict(plan, field_hours=[0.0, 20.0])
    assert [shot.hours for shot in found.fields] == [0.0, 20.0]
    shot = found.fields[1]
    assert shot.temperature_c.shape == shot.is_resin.shape == (len(shot.z_mm), len(shot.x_mm))
    assert shot.z_edges_mm[0] == pytest.approx(-19.0)
    assert shot.z_edges_mm[-1] == pytest.approx(45.0)
    assert shot.x_edges_mm[-1] == pytest.approx(150.0 + 200.0)
    assert np.array_equal(np.isnan(shot.conversion), ~shot.is_resin)
    assert np.nanmax(shot.temperature_c[shot.is_resin]) == pytest.approx(
        np.interp(20.0, found.curve.hours, found.curve.hottest_c), abs=0.1
    )


def test_a_later_layer_warms_on_its_own_start_and_is_air_before(plan_of, slow_casting):
    """Poured at 12 h at 28 °C on a 20 mm layer; before that the place is empty in the drawing."""
    layered = plan_of(
        slow_casting,
        "river",
        20.0,
        22.0,
        air=GIVEN,
        run={"hours": 48.0},
        layer=[{"at_h": 12.0, "depth_mm": 20.0, "start_c": 28.0}],
    )
    found = predict(layered, field_hours=[11.9, 12.0, 14.0])
    before, poured, after = found.fields
    assert (~before.is_there).sum() == poured.is_resin.sum() - before.is_resin.sum() > 0
    fresh = poured.is_resin & ~before.is_resin
    assert poured.temperature_c[fresh] == pytest.approx(np.full(fresh.sum(), 28.0))
    assert np.all(after.conversion[fresh] < after.conversion[before.is_resin].min())
    assert found.heat_balance_error <= 1e-4
    one = predict(plan_of(slow_casting, "river", 20.0, 22.0, air=GIVEN, run={"hours": 48.0}))
    assert found.core_peak_c > one.core_peak_c


def test_two_layers_poured_at_once_are_one_deep_pour(plan_of, slow_casting):
    """A second layer seconds after the first, at the same temperature, on another mesh."""
    once = predict(plan_of(slow_casting, "sheet", 40.0, 23.0, air=GIVEN))
    twice = predict(
        plan_of(slow_casting, "sheet", 20.0, 23.0, air=GIVEN, layer=[{"at_h": 0.003, "depth_mm": 20.0}])
    )
    assert twice.peak_c == pytest.approx(once.peak_c, abs=0.1)
    assert twice.peak_at_h == pytest.approx(once.peak_at_h, rel=0.005)


def test_sun_on_the_top_warms_it_by_the_flux_over_the_coefficient(plan_of, slow_casting):
    """Inert resin, insulated below: in the end the top is 300/10 K over the room, and so is the core."""
    inert = slow_casting | {"heat_of_cure_j_g": 0.0}
    plan = plan_of(
        inert,
        "sheet",
        20.0,
        22.0,
        air=GIVEN | {"bottom_w_m2k": 0.0},
        run={"hours": 40.0},
        heat=[{"from_h": 0.0, "to_h": 40.0, "absorbed_w_m2": 300.0}],
    )
    curve = predict(plan).curve
    assert curve.surface_c[-1] == pytest.approx(52.0, abs=0.05)
    assert curve.core_c[-1] == pytest.approx(52.0, abs=0.1)


def test_a_fan_and_an_open_underside_cool_when_coefficients_are_computed(plan_of, slow_casting):
    """No coefficient given: still air and a closed underside run hottest, and a form of which nothing is said is taken
    to stand on a bench, which the answer says."""

    def hottest(**more):
        return predict(plan_of(slow_casting, "river", 45.0, 24.0, **more)).peak_c

    closed = hottest(form={"underside": "closed"})
    still = hottest(form={"underside": "open"})
    fanned = hottest(form={"underside": "open"}, air={"top_air_m_s": 2.0})
    assert closed > still + 1.0 > fanned + 2.0
    unsaid = predict(plan_of(slow_casting, "river", 45.0, 24.0))
    assert unsaid.peak_c == pytest.approx(closed, abs=0.01)
    assert any("taken to stand on a bench" in say(warning, METRIC) for warning in unsaid.warnings)
    said = predict(plan_of(slow_casting, "sheet", 10.0, 24.0, air={"bottom_w_m2k": 7.0}))
    assert not any("bench" in say(warning, METRIC) for warning in said.warnings)


def test_a_computed_coefficient_sits_where_the_correlations_put_it(plan_of, slow_casting):
    """A warm inert sheet loses heat as a lumped body would with the correlations' coefficient (small Biot)."""
    from logger.cure.model import heat_transfer

    inert = slow_casting | {"heat_of_cure_j_g": 0.0, "conductivity_w_mk": 5.0}
    plan = plan_of(
        inert,
        "sheet",
        30.0,
        20.0,
        pour={"start_c": 50.0},
        run={"hours": 2.0},
        form={"bottom": {"thickness_mm": 0.0}},
        air={"bottom_w_m2k": 0.0},
    )
    curve = predict(plan).curve
    t, step = 50.0, 5.0
    for _ in range(int(7200 / step)):
        h = heat_transfer.top_w_m2k(t, 20.0, size_m=0.25, run_m=1.0, air_m_s=0.0, emissivity=0.9)
        t -= step * float(h) * (t - 20.0) / (0.03 * 1100.0 * 1900.0)
    assert curve.core_c[-1] == pytest.approx(t, abs=0.3)


@pytest.mark.parametrize("seed", range(14))
def test_the_heat_balance_closes_for_plans_of_every_kind(seed):
    """Stored and lost make generated and absorbed, to 1e-4: shapes, schedules, sun, layers, missing panels."""
    draw = np.random.default_rng(1000 + seed)
    shape = ("river", "round", "sheet")[seed % 3]
    room = float(draw.uniform(16, 28))
    table = {
        "title": f"balance {seed}",
        "resin": {
            "name": "invented",
            "heat_of_cure_j_g": float(draw.uniform(280, 420)),
            "rate": {
                "k1_per_s": float(draw.uniform(4e-7, 3e-6)),
                "k2_per_s": float(draw.uniform(1e-5, 8e-5)),
            },
        },
        "pour": {
            "shape": shape,
            "depth_mm": float(draw.uniform(10, 35)),
            "start_c": float(draw.uniform(18, 30)),
        },
        "form": {
            "bottom": {"thickness_mm": float(draw.choice([0.0, 19.0]))},
            "side": {"thickness_mm": float(draw.choice([0.0, 30.0, 200.0]))},
        },
        "air": {"room_c": room, **GIVEN},
        "run": {"hours": 30.0},
    }
    if shape != "sheet":
        table["pour"]["width_mm"] = float(draw.uniform(100, 300))
    if seed % 2:
        table["air"]["room_c"] = [[0.0, room], [8.0, room - 4], [20.0, room + 3]]
    if seed % 4 == 1:
        table["layer"] = [{"at_h": 6.0, "depth_mm": 12.0}]
    if seed % 4 == 2:
        table["heat"] = [{"from_h": 3.0, "to_h": 6.0, "absorbed_w_m2": 150.0}]
    if seed % 7 == 3:
        table["air"] = {"room_c": room}
        table["pour"]["depth_mm"] *= 0.5  # coefficients computed on a runaway take several seconds
    assert predict(plan_from_table(table)).heat_balance_error <= 1e-4


def test_a_runaway_is_called_one_and_no_number_beyond_the_model_is_given_as_truth(plan_of, slow_casting):
    """Above 100 °C the usual cautions, above 150 °C that it is outside what the model knows; an ordinary peak has
    neither."""
    said = {}
    for name, depth_mm, room_c in (("calm", 20.0, 20.0), ("runaway", 50.0, 22.0), ("beyond", 80.0, 28.0)):
        air = {"top_w_m2k": 6.0, "bottom_w_m2k": 3.0, "side_w_m2k": 5.0}
        found = predict(plan_of(slow_casting, "sheet", depth_mm, room_c, air=air, run={"hours": 60.0}))
        said[name] = found.peak_c, say(" ".join(found.warnings), METRIC)
    assert said["calm"][0] < 60.0
    assert "runaway" not in said["calm"][1]
    assert 100.0 < said["runaway"][0] < 150.0
    assert "smoke" in said["runaway"][1]
    assert "safety data sheet" in said["runaway"][1]
    assert "outside" not in said["runaway"][1]
    assert said["beyond"][0] > 150.0
    assert "outside what the model knows" in said["beyond"][1]


def test_a_layer_after_the_run_is_not_left_out_in_silence(plan_of, slow_casting):
    """Nor is a pour that is still warming when the run ends."""
    layers = [{"at_h": 80.0, "depth_mm": 20.0}]
    found = predict(plan_of(slow_casting, "sheet", 20.0, 22.0, layer=layers))
    assert any(
        "Layer 2 at 80 h is poured after the 72 h" in say(warning, METRIC) for warning in found.warnings
    )
    short = predict(plan_of(slow_casting, "sheet", 30.0, 24.0, run={"hours": 20.0}))
    assert any("still warming after the 20 h" in say(warning, METRIC) for warning in short.warnings)
    whole = predict(plan_of(slow_casting, "sheet", 30.0, 24.0, run={"hours": 100.0}))
    assert not any("still warming" in say(warning, METRIC) for warning in whole.warnings)


def test_a_finer_mesh_that_would_take_minutes_is_not_begun_and_that_is_said(
    plan_of, slow_casting, monkeypatch
):
    """What one solution may cost is bounded; a single layer stays under the bound."""
    plan = plan_of(slow_casting, "sheet", 80.0, 28.0, run={"hours": 30.0})
    assert prediction.TOO_MANY_CELLS not in predict(plan).warnings
    monkeypatch.setattr(prediction, "MOST_WORK", 1.0)
    monkeypatch.setattr(
        prediction.extremes, "RUNAWAY_C", 1000.0
    )  # warm enough for the finer meshes that prove a peak
    assert prediction.TOO_MANY_CELLS in predict(plan).warnings


def later_layer(plan_of, slow_casting, **more):
    """A warm mix that cools before it heats itself, and a layer on it after 50 h."""
    layer = [{"at_h": 50.0, "depth_mm": 25.0, "start_c": 27.0}]
    pour = {"start_c": 28.0}
    return long_enough(
        plan_of(slow_casting, "sheet", 30.0, more.pop("room_c", 20.0), layer=layer, pour=pour, **more)
    )


def test_a_search_sees_the_peak_and_not_the_days_after_it(plan_of, slow_casting):
    """The same peak from fewer steps, that of the last layer too; a run that passes what it may is not seen to its end.
    In a room that changes nothing is left out: it may warm again."""
    plan = later_layer(plan_of, slow_casting)
    whole, seen = predict_coarsely(plan), predict_coarsely(plan, stop=stop_after_peak(plan, 60.0))
    assert seen.peak_c == pytest.approx(whole.peak_c, abs=1e-9)
    assert seen.peak_at_h > 50.0
    assert seen.steps < 0.9 * whole.steps
    assert seen.curve.hours[-1] < plan.run.hours
    over = coarse_peak_c(plan, whole.peak_c - 5.0)
    assert whole.peak_c - 5.0 < over < whole.peak_c
    changing = later_layer(plan_of, slow_casting, room_c=[(0.0, 20.0), (100.0, 21.0)])
    assert predict_coarsely(changing, stop=stop_after_peak(changing, 90.0)).curve.hours[-1] == pytest.approx(
        changing.run.hours
    )


def test_a_peak_that_is_near_the_limit_is_that_of_the_prediction(plan_of, slow_casting):
    """Further off a single solution tells on which side it lies."""
    plan = later_layer(plan_of, slow_casting)
    peak_c = predict(plan).peak_c
    assert proven_peak_c(plan, peak_c + 0.5) == peak_c
    assert proven_peak_c(plan, peak_c + 15.0) == pytest.approx(peak_c, abs=0.3)
    assert peak_c - 10.0 < proven_peak_c(plan, peak_c - 15.0) < peak_c
