"""How long a mass stays workable."""

from __future__ import annotations

import pytest

from logger.cure.fit.datasheet_model import WORKABLE
from logger.cure.fit.working_time import working_time_h
from logger.cure.model.history import time_to
from logger.errors import DidNotConverge, OutOfRange


def test_a_thimble_lasts_as_long_as_the_isothermal_cure(slow_resin):
    """Two grams keep no heat: the time is the closed integral of the rate, within 3 %."""
    assert working_time_h(slow_resin, 0.002, 25.0) == pytest.approx(
        time_to(WORKABLE, 25.0, slow_resin.rate), rel=0.03
    )


def test_more_in_the_pail_and_a_warmer_room_leave_less_time(slow_resin):
    """Common practice, no source: a larger mass and a warmer room each shorten the working time."""
    small, large = working_time_h(slow_resin, 0.2, 25.0), working_time_h(slow_resin, 10.0, 25.0)
    assert large < 0.9 * small
    assert working_time_h(slow_resin, 0.2, 30.0) < 0.7 * small


def test_what_never_thickens_is_told(slow_resin):
    """Far below zero nothing happens: said with mass and temperature, not answered with a number."""
    with pytest.raises(DidNotConverge, match="does not thicken"):
        working_time_h(
            slow_resin.model_copy(
                update={"rate": slow_resin.rate.model_copy(update={"k1_per_s": 1e-9, "k2_per_s": 1e-7})}
            ),
            0.1,
            -10.0,
        )


@pytest.mark.parametrize(("mass_kg", "celsius"), [(0.0, 25.0), (500.0, 25.0), (0.1, 120.0)])
def test_no_mass_is_refused(slow_resin, mass_kg, celsius):
    """A mass or temperature outside the range is refused with the range."""
    with pytest.raises(OutOfRange, match=r"0\.001 to 200 kg"):
        working_time_h(slow_resin, mass_kg, celsius)
