"""When something warms the surface, told from the surface's curve alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from logger.cure.forecast.heating import end_h, onset_h, to_come

Floats = NDArray[np.float64]

HOURS = np.arange(0.0, 6.0, 1.0 / 60.0)


@dataclass(frozen=True)
class Place:
    """Readings of one place."""

    hours: Floats
    celsius: Floats


def history(surface_c: Floats, core_c: Floats) -> dict[str, Place]:
    """Readings every minute with 0.05 K noise."""
    rng = np.random.default_rng(3)
    return {
        "surface": Place(HOURS, surface_c + 0.05 * rng.standard_normal(len(HOURS))),
        "core": Place(HOURS, core_c + 0.05 * rng.standard_normal(len(HOURS))),
    }


def under_sun(from_h: float, to_h: float, flux_w_m2: float) -> Floats:
    """What a thick slab's face gains from a constant flux, and loses again after it: 2 q √(t/π) / e, e = √(kρc) = 661.

    Carslaw & Jaeger 1959, Conduction of Heat in Solids, §2.9 (closed form).
    """
    rise = [
        2.0 * flux_w_m2 * np.sqrt(np.maximum(HOURS - at, 0.0) * 3600.0 / np.pi) / 661.0
        for at in (from_h, to_h)
    ]
    return np.asarray(rise[0] - rise[1])


def test_sun_on_a_calm_pour_is_found_within_minutes_of_its_beginning_and_its_end() -> None:
    """120 W/m² from 2 h to 4 h: both edges within five minutes."""
    calm = 22.0 + HOURS
    seen = history(calm + under_sun(2.0, 4.0, 120.0), calm + 1.0)
    assert onset_h(seen, 3.0) == pytest.approx(2.0, abs=1 / 12)
    assert end_h(seen, 5.0, 2.1) == pytest.approx(4.0, abs=1 / 12)


def test_a_pour_that_runs_away_by_itself_is_not_taken_for_sun() -> None:
    """The core shoots up by 90 K within an hour and drags the surface along: no sun."""
    core = 25.0 + 90.0 / (1.0 + np.exp(-(HOURS - 4.0) / 0.15))
    surface = 25.0 + 0.4 * (np.interp(HOURS - 0.1, HOURS, core) - 25.0)
    assert onset_h(history(surface, core), 4.2) is None


def test_noise_alone_is_no_sun() -> None:
    """A flat curve with the noise of a probe has no kink."""
    flat = np.full(len(HOURS), 23.0)
    assert onset_h(history(flat, flat), 6.0) is None
    assert end_h(history(flat, flat), 6.0, 1.0) is None


def test_a_pour_in_ten_may_still_get_sun_and_then_loses_it_again() -> None:
    """Of 2000 members about an eighth is warmed within the next 14 h, none at the end, and the dice are repeatable."""
    changes = to_come(5.0, 40.0, 2000, np.random.default_rng(2))
    fluxes = np.array([change.absorbed_w_m2 for change in changes])
    assert all(5.0 < change.at_h < 21.0 for change in changes)
    assert 0.08 < (fluxes > 0).any(axis=0).mean() < 0.16
    assert fluxes.min() >= 0.0
    assert not fluxes[-1].any()
    again = to_come(5.0, 40.0, 2000, np.random.default_rng(2))
    assert all((a.absorbed_w_m2 == b.absorbed_w_m2).all() for a, b in zip(changes, again, strict=True))
