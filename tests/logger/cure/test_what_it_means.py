"""What a fitted resin means in the shop: depths that hold when they are planned, and advice that does what it says."""

from __future__ import annotations

import numpy as np
import pytest

from logger.arrays import Floats
from logger.cure.fit.datasheet import Peak, datasheet_from_text, specimen_plan
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.what_it_means import _wide, safe_depths, what_would_narrow
from logger.cure.solver.planned_band import member_peaks, members_of
from logger.cure.solver.prediction import long_enough, predict
from logger.errors import BadInput
from logger.plan.file import Plan, Resin

#: Name and depth are all that is known (invented).
SHEET = """
name = "Slow system (invented)"
[limits]
max_depth_mm = 40
[[deepest_pour]]
depth_mm = 40
at_c = 23
at_plus_minus_k = 2
"""


@pytest.fixture(scope="module")
def resin() -> Resin:
    """The resin as a plan takes it."""
    return Resin.model_validate(fit_datasheet(datasheet_from_text(SHEET)).resin_table())


@pytest.fixture(scope="module")
def depths(resin: Resin):
    """Safe depths at 20 and 30 °C."""
    return safe_depths(resin, (20.0, 30.0))


def peaks(plan: Plan) -> Floats:
    """Hottest points of the possible resins, °C."""
    assert plan.resin.possible is not None
    return member_peaks(plan, members_of(plan.resin.possible))[1]


def test_the_safe_depth_holds_when_it_is_planned(resin: Resin, depths) -> None:
    """As `pourlog predict` solves it, and in nine of ten of the possible resins (one member of forty counts 2.5 %)."""
    for depth in depths:
        plan = _wide(resin, depth.safe_mm, depth.room_c)
        assert predict(long_enough(plan)).peak_c <= 60.0
        assert np.mean(peaks(plan) > 60.0) <= 0.125


def test_a_warmer_room_allows_less(depths) -> None:
    """Nine in ten is less deep than even, and 30 °C less than 20 °C; never more than the datasheet."""
    cool, warm = depths
    assert warm.safe_mm < cool.safe_mm <= 40.0
    assert cool.safe_mm <= cool.even_mm <= cool.most_mm


def test_a_cup_narrows_the_band_by_about_as_much_as_was_promised(resin: Resin) -> None:
    """The cup that is advised is tried (it reads what the fit expects) and added: the band shrinks as was told."""
    sheet = datasheet_from_text(SHEET)
    best = what_would_narrow(resin, sheet)[0]
    assert best.kind == "cup test"
    assert best.mass_kg == 0.2, "no larger one: a quick system in it may smoke"
    asked = Peak(mass_kg=best.mass_kg, at_c=best.at_c, peak_c=99.0)
    tried = specimen_plan(asked, resin.model_dump(exclude_none=True, mode="json"), 200.0)
    assert tried is not None
    read = predict(tried)
    cup = f"[[peak]]\nmass_kg = {best.mass_kg}\nat_c = {best.at_c}\ntolerance_pct = 10\n"
    again = f"{SHEET}{cup}peak_c = {read.peak_c:.1f}\ntime_min = {60 * read.peak_at_h:.0f}\n"
    fitted = Resin.model_validate(fit_datasheet(datasheet_from_text(again)).resin_table())
    plan = _wide(fitted, 40.0, 23.0)
    rises = np.log(np.quantile(peaks(plan), (0.05, 0.95), method="hazen") - 23.0)
    promised = np.log(np.array(best.after_c) - 23.0)
    before = np.log(np.array(best.before_c) - 23.0)
    assert np.ptp(rises) < 0.95 * np.ptp(before)
    assert np.ptp(rises) == pytest.approx(np.ptp(promised), rel=0.2)


def test_what_is_stated_already_is_not_asked_for(resin: Resin) -> None:
    """Nobody is asked for a number that stands on the datasheet."""
    sheet = datasheet_from_text(SHEET + "[[working_time]]\nmass_kg = 0.1\nat_c = 25\ntime_min = 600\n")
    kinds = [(one.kind, one.mass_kg, one.at_c) for one in what_would_narrow(resin, sheet)]
    assert ("working time", 0.1, 25.0) not in kinds
    assert ("working time", 1.0, 25.0) in kinds


def test_a_resin_without_its_spread_has_no_safe_depth(resin: Resin) -> None:
    """One resin alone says nothing of nine cases in ten."""
    with pytest.raises(BadInput, match="fit its datasheet again"):
        safe_depths(resin.model_copy(update={"possible": None}))
