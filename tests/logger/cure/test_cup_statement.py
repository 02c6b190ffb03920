"""A measured cup, added to a datasheet as the program advises it, makes the resin better known and stays true."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest

from logger.cure.fit.datasheet import Peak, datasheet_from_text, specimen_plan
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.what_it_means import MEASURED_PCT, within_pct
from logger.cure.fit.working_time import working_time_h
from logger.cure.solver.prediction import predict
from logger.plan.file import Resin
from logger.probe_checks.cup import CupLook, CupState, cup_course
from web.actions.cup_test import with_statement

#: An invented resin; its datasheet states how long 100 g of it stay workable at 25 °C.
TRUE: dict[str, Any] = {
    "name": "Slow casting system (invented)",
    "heat_of_cure_j_g": 360,
    "rate": {"k1_per_s": 2e-6, "k2_per_s": 1.1e-4, "e1_j_mol": 55e3, "e2_j_mol": 55e3, "m": 1.0, "n": 2.0},
}
MASS_KG, ROOM_C = 0.2, 21.0


def test_a_cup_narrows_the_bands_and_keeps_the_truth_inside() -> None:
    """The probe's noise and steps are between the true cup and what is found; the true cup is this program's solver."""
    resin = Resin.model_validate(TRUE).model_dump(exclude_none=True, mode="json")
    specimen = specimen_plan(Peak(mass_kg=MASS_KG, at_c=ROOM_C, peak_c=ROOM_C + 9), resin, 30)
    assert specimen is not None
    curve: Any = predict(specimen).to_json()["curve"]
    noise = random.Random(4)
    felt = np.interp(np.arange(0, 30 * 3600, 30) / 3600, curve["hours"], curve["core_c"])
    looks = [CupLook(30.0 * i, round(16 * (c + noise.gauss(0, 0.08))) / 16) for i, c in enumerate(felt)]
    course = cup_course(looks, 30 * 3600)
    assert course.state is CupState.PAST
    assert course.peak_c == pytest.approx(max(curve["core_c"]), abs=0.3)
    assert course.peak_s is not None
    assert course.peak_s / 3600 == pytest.approx(curve["hours"][int(np.argmax(curve["core_c"]))], rel=0.03)

    sheet = (
        'name = "Slow casting system (invented)"\n[[working_time]]\nmass_kg = 0.1\nat_c = 25\n'
        f"time_min = {60 * working_time_h(Resin.model_validate(TRUE), 0.1, 25.0):.0f}\n"
    )
    measured = {
        "mass_kg": MASS_KG,
        "at_c": ROOM_C,
        "peak_c": round(course.peak_c or 0.0, 1),
        "time_min": round(course.peak_s / 60, 1),
        "tolerance_pct": MEASURED_PCT,
    }
    before = fit_datasheet(datasheet_from_text(sheet))
    after = fit_datasheet(datasheet_from_text(with_statement(sheet, measured)))
    wide, narrow = before.ranges["heat_of_cure_j_g"], after.ranges["heat_of_cure_j_g"]
    assert narrow[1] - narrow[0] < 0.9 * (wide[1] - wide[0])
    assert after.rate_factor_range < 0.85 * before.rate_factor_range
    assert narrow[0] <= TRUE["heat_of_cure_j_g"] <= narrow[1]


def test_hot_water_before_it_tells_a_cup_that_keeps_its_heat_from_a_hotter_resin() -> None:
    """A cup in foam loses 4 W/(m²·K), less than half of a bare one: by the peak alone the resin seems hotter than it is
    (the truth falls out of the range); with the loss that water has told it is inside, and known better.
    """
    resin = Resin.model_validate(TRUE).model_dump(exclude_none=True, mode="json")
    in_foam = Peak(mass_kg=MASS_KG, at_c=ROOM_C, peak_c=ROOM_C + 9, loss_w_m2k=4.0)
    specimen = specimen_plan(in_foam, resin, 30)
    assert specimen is not None
    found = predict(specimen)
    sheet = (
        'name = "Slow casting system (invented)"\n[[working_time]]\nmass_kg = 0.1\nat_c = 25\n'
        f"time_min = {60 * working_time_h(Resin.model_validate(TRUE), 0.1, 25.0):.0f}\n"
    )
    measured = {
        "mass_kg": MASS_KG,
        "at_c": ROOM_C,
        "peak_c": round(found.core_peak_c, 1),
        "time_min": round(60 * found.core_peak_at_h, 1),
    }
    alone = fit_datasheet(
        datasheet_from_text(with_statement(sheet, measured | {"tolerance_pct": MEASURED_PCT}))
    )
    known = measured | {"tolerance_pct": within_pct(5.0), "loss_w_m2k": 4.0}
    told = fit_datasheet(datasheet_from_text(with_statement(sheet, known)))
    wrong, right = alone.ranges["heat_of_cure_j_g"], told.ranges["heat_of_cure_j_g"]
    assert wrong[0] > TRUE["heat_of_cure_j_g"]
    assert right[0] <= TRUE["heat_of_cure_j_g"] <= right[1]
    assert right[1] - right[0] < 0.85 * (wrong[1] - wrong[0])
