"""How fast a core moves: against an outside estimator, through noise, jumps and gaps."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import theilslopes

from logger.condition.trend import rate_k_h

NOW_MS = 1_795_593_600_000


def readings(k_h: float, every_s: float = 30.0, span_min: float = 40.0) -> tuple[np.ndarray, np.ndarray]:
    """Readings of a steady course up to now, in a probe's steps of 1/16 °C."""
    at_ms = NOW_MS - np.arange(0, span_min * 60, every_s)[::-1] * 1000
    return at_ms.astype(np.int64), np.round(16 * (40 + k_h * (at_ms - NOW_MS) / 3.6e6)) / 16


@pytest.mark.parametrize("k_h", [-6.0, 0.0, 1.2, 9.0, 110.0])
@pytest.mark.parametrize("every_s", [5.0, 30.0])
def test_a_steady_course_has_its_own_rate(k_h: float, every_s: float) -> None:
    """Within what a probe's steps leave open."""
    rate = rate_k_h(*readings(k_h, every_s), NOW_MS)
    assert rate == pytest.approx(k_h, abs=0.3)


def test_the_rate_is_that_of_a_reference_library() -> None:
    """scipy.stats.theilslopes on the same quarter of an hour (30 readings: none is left out)."""
    at_ms, celsius = readings(8.0)
    celsius = celsius + np.random.default_rng(3).normal(0, 0.2, len(celsius))
    lately = at_ms > NOW_MS - 15 * 60_000
    judge = theilslopes(celsius[lately], at_ms[lately] / 3.6e6).slope
    assert rate_k_h(at_ms, celsius, NOW_MS) == pytest.approx(judge, abs=1e-9)


def test_a_lone_wrong_reading_does_not_turn_it() -> None:
    """The value with which a sensor wakes up, as the last one but one."""
    at_ms, celsius = readings(3.0)
    celsius[-2] = 85.0
    assert rate_k_h(at_ms, celsius, NOW_MS) == pytest.approx(3.0, abs=0.5)


def test_faults_count_for_nothing() -> None:
    """Every second look failed."""
    at_ms, celsius = readings(5.0)
    celsius[::2] = np.nan
    assert rate_k_h(at_ms, celsius, NOW_MS) == pytest.approx(5.0, abs=0.4)


@pytest.mark.parametrize(
    ("every_s", "span_min", "silent_s"),
    [(30.0, 4.0, 0.0), (600.0, 15.0, 0.0), (30.0, 40.0, 200.0), (30.0, 0.0, 0.0)],
)
def test_where_the_readings_do_not_tell_there_is_no_rate(
    every_s: float, span_min: float, silent_s: float
) -> None:
    """Too short a time, too few, none lately, none at all: a number would be taken for the present one."""
    at_ms, celsius = readings(5.0, every_s, span_min)
    assert rate_k_h(at_ms, celsius, NOW_MS + round(silent_s * 1000)) is None
