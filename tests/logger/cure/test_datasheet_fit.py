"""Fitting a datasheet: recovered resins, honest ranges, contradictions named."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from logger.cure.fit.datasheet import DscPeak, datasheet_from_text, read_datasheet
from logger.cure.fit.datasheet_fit import E_KJ, E_SD_KJ, RATIO, RATIO_SD, fit_datasheet, kissinger_j_mol
from logger.cure.fit.datasheet_model import GEL_SD, TIME_PART
from logger.cure.model.history import time_to
from logger.cure.model.kinetics import EARLIEST_GEL
from logger.errors import BadInput
from logger.plan.file import Rate, plan_from_table
from logger.quantities import temperature
from logger.words.reader import METRIC
from logger.words.render import say

HERE = Path(__file__).parent / "datasheets"


def films(*gels: tuple[float, float], tolerance: str = "") -> str:
    """A datasheet of film gel times: (°C, min) each."""
    tables = [f"[[gel_time]]\nfilm_mm = 1\nat_c = {c}\ntime_min = {t}\n{tolerance}" for c, t in gels]
    return 'name = "invented"\n' + "".join(tables)


@pytest.fixture(scope="module")
def slow():
    """The invented slow casting system, fitted once."""
    return fit_datasheet(read_datasheet(HERE / "slow-casting.toml"))


def test_the_resin_behind_a_datasheet_is_recovered(slow, slow_casting):
    """The statements were made by the solver from known numbers: those lie in the fit's 90 % ranges, and the rate
    at 25 °C is within 15 %."""
    truth = slow_casting["rate"]
    low, high = slow.ranges["k1_per_s"]
    assert low < truth["k1_per_s"] < high
    low, high = slow.ranges["k2_per_s"]
    assert low < truth["k2_per_s"] < high
    assert slow.resin.rate.k2_per_s == pytest.approx(truth["k2_per_s"], rel=0.15)
    low, high = slow.ranges["heat_of_cure_j_g"]
    assert low < slow_casting["heat_of_cure_j_g"] < high


def test_every_stated_point_is_shown_beside_the_fitted_one(slow):
    """Five statements give six numbers; each is within its tolerance, and the bound is marked as a bound.

    The deepest pour was made to come near its limit, which few makers do: it may be as far off as one in ten.
    """
    assert [point.quantity for point in slow.points] == [
        "working time",
        "gel time",
        "peak",
        "peak time",
        "cure time",
        "peak below",
    ]
    assert all(abs(point.off) < (1.645 if point.bound else 1.0) for point in slow.points)
    assert [point.bound for point in slow.points] == [False] * 5 + [True]
    assert slow.points[-1].fitted < 60.0


def test_the_fitted_table_goes_into_a_plan(slow):
    """The TOML that is printed is a [resin] table that a plan accepts, and the JSON holds only plain numbers."""
    table = slow.resin_table()
    plan = plan_from_table(
        {
            "title": "x",
            "resin": table,
            "pour": {"shape": "sheet", "depth_mm": 30.0},
            "air": {"room_c": 22.0},
        }
    )
    assert plan.resin.rate.k2_per_s == pytest.approx(slow.resin.rate.k2_per_s, rel=1e-3)
    assert slow.to_toml().startswith("[resin]")
    told = json.loads(json.dumps(slow.to_json(), allow_nan=False))
    assert set(told) >= {"resin", "points", "ranges_90pct", "curves", "assumptions", "warnings"}
    assert len(told["curves"]) == 5
    assert told["curves"][1]["mean_conversion"][0] == 0.0


def test_what_the_datasheet_cannot_tell_stays_as_wide_as_before(slow):
    """The rate is learned to a few per cent of what was open; energy and heat keep most of their prior's width."""
    assert slow.learned["k2_per_s"] < 0.1
    assert slow.learned["heat_of_cure_j_g"] > 0.5
    assert 1.1 < slow.rate_factor_range < 1.6


def test_assumptions_are_named(slow):
    """The container of a stated mass, and what "workable" means, are printed with the fit."""
    told = say(" ".join(slow.assumptions), METRIC)
    assert "cup as wide as the mix is deep" in told
    assert "workable" in told


def test_a_working_time_of_minutes_disagrees_with_a_deep_cool_pour():
    """Common practice, no source: what is done in ten minutes in a cup cannot stay under 60 °C 50 mm deep. Both are
    kept; the fit says which does not fit, by how much, and is wider than either alone would leave it."""
    fitted = fit_datasheet(read_datasheet(HERE / "contradictory.toml"))
    assert fitted.disagreement in fitted.warnings
    told = say(fitted.disagreement, METRIC)
    assert "a working time of 10 min for 100 g at 25 °C" in told
    assert "a 50 mm pour at 22 °C that stays under 60 °C" in told
    assert "by the others it comes to" in told
    alone = fit_datasheet(
        datasheet_from_text('name = "x"\n[[working_time]]\nmass_kg = 0.1\nat_c = 25\ntime_min = 10\n')
    )
    assert fitted.rate_factor_range > 1.3 * alone.rate_factor_range


def test_a_usual_slow_casting_datasheet_is_no_contradiction():
    """Eight hours of working time, 50 mm, hard after three days (invented): the fit finds its way off the runaway."""
    text = """
        name = "invented"
        cure_time = [{ time_h = 72, at_c = 23 }]
        working_time = [{ mass_kg = 0.1, at_c = 25, time_min = 480 }]
        deepest_pour = [{ depth_mm = 50, at_c = 23 }]
    """
    fit = fit_datasheet(datasheet_from_text(text))
    assert fit.disagreement == ""
    deepest = next(point for point in fit.points if point.bound)
    assert deepest.fitted < 75.0


def test_the_odd_one_out_is_found():
    """Three film gel times agree on one energy, the fourth does not: it is named, and that it is a third as long."""
    rate = Rate(k1_per_s=6e-6, k2_per_s=2e-4, e1_j_mol=58_000, e2_j_mol=58_000, m=1.0, n=2.0)
    good = [(c, 60 * time_to(EARLIEST_GEL, c, rate)) for c in (15.0, 25.0, 35.0)]
    odd = time_to(EARLIEST_GEL, 20.0, rate)
    fitted = fit_datasheet(datasheet_from_text(films(*good, (20.0, 60 * odd / 3))))
    (told,) = [warning for warning in fitted.warnings if "does not fit" in say(warning, METRIC)]
    assert told.code == "unlike-agreeing-statements"
    assert told.values["statement"].values["at"] == temperature(20.0, None)
    assert "3 times as long" in say(told, METRIC)


def test_a_range_is_taken_as_a_range():
    """40 to 60 min is no 49 min within some per cent: what the datasheet leaves open stays open (uniform between the
    ends: (ln 60/40)²/12 of variance; closed form)."""
    point = fit_datasheet(datasheet_from_text(films((25.0, 49.0))))
    ranged = fit_datasheet(datasheet_from_text(films((25.0, 49.0)).replace("49.0", "[40, 60]")))
    assert ranged.resin.rate.k2_per_s == pytest.approx(point.resin.rate.k2_per_s, rel=0.01)
    wider = ranged.covariance[0, 0] - point.covariance[0, 0]
    assert wider == pytest.approx(np.log(60 / 40) ** 2 / 12, rel=0.05)


def test_an_energy_outside_forty_to_eighty_is_warned_about():
    """Gel times that hardly change with temperature ask for an energy that no room-temperature epoxy has."""
    text = films((15.0, 300.0), (25.0, 290.0), (35.0, 280.0), tolerance="tolerance_pct = 5\n")
    fitted = fit_datasheet(datasheet_from_text(text))
    assert any("outside 40 to 80" in say(told, METRIC) for told in fitted.warnings)


def test_one_temperature_says_nothing_of_another_room():
    """A datasheet at one temperature is answered with a warning that the energy is only the usual one."""
    fitted = fit_datasheet(datasheet_from_text(films((25.0, 300.0))))
    assert fitted.resin.rate.e1_j_mol == pytest.approx(1000 * E_KJ, rel=0.01)
    assert fitted.learned["e_j_mol"] > 0.98
    assert any("one temperature" in say(told, METRIC) for told in fitted.warnings)


@pytest.mark.parametrize(("cold", "warm", "expected"), [(20.0, 30.0, 2.21)])
def test_two_temperatures_tell_the_energy(cold, warm, expected):
    """Times 2.21 apart over 20 to 30 °C are 58.6 kJ/mol (Arrhenius; ethylenediamine, Riccardi et al. 1984)."""
    text = films((cold, 300.0 * expected), (warm, 300.0), tolerance="tolerance_pct = 1\n")
    fitted = fit_datasheet(datasheet_from_text(text))
    # Both times carry the 12 % that "gelled" leaves open, so that the prior of 58 ± 8 still weighs in.
    assert fitted.resin.rate.e1_j_mol == pytest.approx(58_600, rel=0.01)


def test_ranges_cover_the_truth_as_often_as_they_claim():
    """Invented resins drawn from the priors, with datasheets off by as much as their tolerances say: the 90 %
    ranges of rate and energy hold the truth in 90 % of 30 cases, within the scatter of such a count."""
    draw = np.random.default_rng(20)
    sd = float(np.hypot(TIME_PART, GEL_SD))
    inside = np.zeros(2)
    for _ in range(30):
        energy = draw.normal(E_KJ, E_SD_KJ) * 1000
        k2 = 1e-4 * np.exp(draw.normal(0, 1))
        ratio = RATIO * np.exp(draw.normal(0, RATIO_SD))
        rate = Rate(k1_per_s=k2 / ratio, k2_per_s=k2, e1_j_mol=energy, e2_j_mol=energy, m=1.0, n=2.0)
        gels = [
            (c, 60 * time_to(EARLIEST_GEL, c, rate) * np.exp(draw.normal(0, sd))) for c in (15.0, 25.0, 35.0)
        ]
        fitted = fit_datasheet(datasheet_from_text(films(*gels)))
        for i, (name, truth) in enumerate((("k2_per_s", k2), ("e_j_mol", energy))):
            low, high = fitted.ranges[name]
            inside[i] += low <= truth <= high
    assert np.all(inside >= 24), inside


# Kissinger's equation β E/(R Tp²) = A exp(−E/(R Tp)), exact for first order: E = 60 kJ/mol, A = 1e7 1/s.
KISSINGER = [(2.5, 328.0406), (5.0, 337.7849), (10.0, 348.0988), (20.0, 359.0322)]


def test_kissinger_returns_the_energy_of_a_first_order_reaction():
    """From four exact peaks the energy comes back as 60 kJ/mol."""
    peaks = [DscPeak(heating_k_min=beta, peak_c=kelvin - 273.15) for beta, kelvin in KISSINGER]
    assert kissinger_j_mol(peaks) == pytest.approx(60_000, rel=1e-5)


def test_calorimeter_peaks_replace_the_usual_energy():
    """With calorimeter peaks on the datasheet the energy is theirs, not the usual one."""
    peaks = "".join(
        f"[[dsc_peak]]\nheating_k_min = {beta}\npeak_c = {kelvin - 273.15:.4f}\n"
        for beta, kelvin in KISSINGER
    )
    fitted = fit_datasheet(datasheet_from_text(films((25.0, 300.0)) + peaks))
    assert fitted.resin.rate.e1_j_mol == pytest.approx(60_000, rel=0.01)


def test_one_heating_rate_is_refused():
    """A single calorimeter peak has no slope."""
    with pytest.raises(BadInput, match="two heating rates"):
        kissinger_j_mol([DscPeak(heating_k_min=5.0, peak_c=80.0)])
