"""The band around the frozen prediction: plausible batches stay inside, a much faster or hotter one leaves it early."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from logger.alarms.band import LEAST_C, expect
from logger.cure.solver.prediction import predict
from logger.errors import BadInput
from logger.plan.file import Plan, plan_from_table, plan_from_text


def plan(depth_mm: float = 45.0, faster: float = 1.0, hotter: float = 1.0, room_c: float = 21.0) -> Plan:
    """An invented river pour of a slow system."""
    return plan_from_table(
        {
            "title": "River",
            "resin": {
                "name": "Invented slow system",
                "heat_of_cure_j_g": 330.0 * hotter,
                "rate": {"k1_per_s": 5e-7 * faster, "k2_per_s": 1.4e-5 * faster},
            },
            "pour": {"shape": "sheet", "depth_mm": depth_mm, "start_c": room_c},
            "air": {"room_c": room_c, "top_w_m2k": 8.5, "bottom_w_m2k": 7.0},
        }
    )


def first_over(depth_mm: float, faster: float, hotter: float) -> tuple[float | None, float, float]:
    """Hour at which the true core leaves the planned band; the true peak, °C, and its hour."""
    planned, true = predict(plan(depth_mm)).curve, predict(plan(depth_mm, faster, hotter)).curve
    band = expect(planned.hours.tolist(), planned.core_c.tolist())
    over = [h for h, c in zip(true.hours, true.core_c, strict=True) if h >= 0.5 and c > band.top_c(h)]
    peak = int(np.argmax(true.core_c))
    return (float(over[0]) if over else None), float(true.core_c[peak]), float(true.hours[peak])


@pytest.mark.parametrize("depth_mm", [30.0, 45.0, 50.0])
@pytest.mark.parametrize(
    ("faster", "hotter"), [(1.05, 1.0), (0.95, 1.0), (1.0, 1.05), (1.0, 0.95), (1.03, 1.03)]
)
def test_a_batch_five_per_cent_off_stays_inside_the_band(
    depth_mm: float, faster: float, hotter: float
) -> None:
    """Common practice, no source: batches differ from their datasheet by some per cent. At 50 mm that is 6 °C."""
    over, peak_c, _ = first_over(depth_mm, faster, hotter)
    assert peak_c < 60
    assert over is None


@pytest.mark.parametrize(("depth_mm", "faster", "hotter"), [(55, 1.3, 1.0), (50, 1.3, 1.1), (45, 1.3, 1.1)])
def test_a_batch_thirty_per_cent_off_leaves_it_half_way_to_its_peak(
    depth_mm: float, faster: float, hotter: float
) -> None:
    """In time to do something: these peak above 90 °C."""
    over, peak_c, peak_h = first_over(depth_mm, faster, hotter)
    assert peak_c > 90
    assert over is not None
    assert over < 0.55 * peak_h


def test_a_slower_batch_that_peaks_later_is_no_news() -> None:
    """After the predicted peak a core that only now gets there is as hot as planned."""
    hours = [h / 4 for h in range(240)]

    def curve(peak_h: float) -> list[float]:
        return [21 + 25 * math.exp(-(((h - peak_h) / 5) ** 2)) for h in hours]

    band = expect(hours, curve(12))
    late = curve(21)
    assert max(c - p for c, p in zip(late, curve(12), strict=True)) > 20
    assert all(c < band.top_c(h) for h, c in zip(hours, late, strict=True))


def test_the_band_of_a_forecast_is_used_where_it_is_given_and_never_too_tight() -> None:
    """p95 is passed by 1 pour in 20; the top is stretched to 1 in 100."""
    band = expect([0.0, 10.0], [20.0, 40.0], [20.0, 42.0], [20.0, 52.0])
    assert band.top_c(10.0) == pytest.approx(42 + 1.4 * 10)
    assert band.top_c(0.0) == pytest.approx(20 + LEAST_C)


def test_a_curve_that_was_kept_with_one_hour_twice_is_compared_with() -> None:
    """Rounded together by an older program and frozen with its pour: such a pour is watched all the same."""
    band = expect([0.0, 1.0, 1.0, 2.0], [20.0, 30.0, 30.001, 40.0])
    assert band.core_c(1.5) == pytest.approx(35.0, abs=0.01)


def test_it_reads_between_and_holds_beyond_its_ends() -> None:
    """Linear between, the last value after the end."""
    band = expect([0.0, 1.0], [20.0, 32.0])
    assert band.core_c(0.5) == pytest.approx(26.0)
    assert band.core_c(-1) == 20.0
    assert band.core_c(99) == pytest.approx(32.0)


@pytest.mark.parametrize(
    ("hours", "core"),
    [
        ([], []),
        ([0, 1], [20]),
        ([1, 0], [20, 20]),
        ([0, 1], [20, math.nan]),
        ([0, math.nan], [20, 20]),
        ([0, 1e9], [20, 20]),
        (5, 20),
    ],
)
def test_a_curve_that_is_none_is_refused(hours: list[float], core: list[float]) -> None:
    """Rather no band than a wrong one."""
    with pytest.raises(BadInput, match="predicted curve"):
        expect(hours, core)


def test_an_hour_that_is_there_twice_counts_with_its_hotter_core() -> None:
    """As predictions of earlier versions kept a core that runs away: a pour must be judged all the same."""
    expected = expect([0.0, 1.0, 1.0, 1.0, 2.0], [20.0, 40.0, 90.0, 60.0, 50.0])
    assert expected.core_c(1.0) == 90.0
    assert expected == expect([0.0, 1.0, 2.0], [20.0, 90.0, 50.0])


def test_a_core_that_runs_away_within_milliseconds_has_a_band(plan_toml: str) -> None:
    """From an invented plan to what is frozen with its pour, and to the band that its readings are judged by."""
    steep = (
        plan_toml.replace("1.4e-5", "5e-3")
        .replace("= 330", "= 500")
        .replace("depth_mm = 40", "depth_mm = 100")
    )
    kept = predict(plan_from_text(steep)).to_json()["curve"]
    assert isinstance(kept, dict)
    hours = kept["hours"]
    assert all(before < after for before, after in pairwise(hours))
    assert expect(hours, kept["core_c"]).core_c(hours[-1]) == pytest.approx(kept["core_c"][-1], abs=0.5)
