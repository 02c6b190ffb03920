"""Least squares against a certified data set and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from logger.cure.fit.least_squares import least_squares

# NIST StRD nonlinear regression, Misra1a: y = b1 (1 − exp(−b2 x)); certified b1 = 238.94212918 ± 2.7070075241,
# b2 = 5.5015643181e-4 ± 7.2668688436e-6, residual standard deviation 0.10187876330 (data and certified
# values as public codes quote its file; checked against scipy as well).
X = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
)
Y = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
)
SPREAD = 0.10187876330
CERTIFIED = np.array([238.94212918, 5.5015643181e-4])
CERTIFIED_SD = np.array([2.7070075241, 7.2668688436e-6])


def misra(points):
    """Residuals (N, 14) in units of the residual standard deviation; b2 is counted in 1e-4."""
    model = points[:, :1] * (1.0 - np.exp(-points[:, 1:] * 1e-4 * X))
    return (model - Y) / SPREAD


def test_certified_values_and_their_uncertainty_come_out():
    """From NIST's farther start the certified parameters are met within a twentieth of their own uncertainty,
    and the uncertainties within 2 %."""
    found = least_squares(misra, np.array([500.0, 1.0]), np.array([0.05, 0.0005]))
    scale = np.array([1.0, 1e-4])
    assert found.settled
    assert np.all(np.abs(found.theta * scale - CERTIFIED) < 0.05 * CERTIFIED_SD)
    assert np.sqrt(np.diag(found.covariance())) * scale == pytest.approx(CERTIFIED_SD, rel=0.02)


def test_the_minimum_is_scipys():
    """scipy's least_squares (reference library) ends at the same sum of squares."""
    judge = optimize.least_squares(lambda p: misra(p[None, :])[0], [500.0, 1.0], x_scale=[100.0, 1.0])
    found = least_squares(misra, np.array([500.0, 1.0]), np.array([0.05, 0.0005]))
    assert found.cost == pytest.approx(judge.cost, rel=1e-3)


def test_a_step_never_exceeds_its_longest():
    """A cliff is approached in bounded moves: no point asked for lies farther from the last than allowed."""
    asked = []

    def residuals(points):
        asked.append(points[0].copy())
        return np.exp(points) - 20.0

    least_squares(residuals, np.array([0.0]), np.array([0.01]), longest=np.array([0.5]))
    moves = np.abs(np.diff(np.array(asked)[:, 0]))
    assert moves.max() <= 0.5 + 1e-12
    assert asked[-1][0] == pytest.approx(np.log(20.0), abs=0.02)


def test_running_out_of_rounds_is_told():
    """A fit that is stopped early says that it has not settled."""
    found = least_squares(misra, np.array([500.0, 1.0]), np.array([0.05, 0.0005]), most_rounds=2)
    assert not found.settled
