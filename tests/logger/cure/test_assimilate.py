"""From readings to the posterior: against closed forms on a linear model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, stats

from logger.cure.forecast.assimilate import Datum, Model, draw, effective, fit, weigh

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Record:
    """A probe's pieces."""

    name: str
    celsius: Floats
    white: Floats


def linear(matrices: list[Floats]) -> Model:
    """Readings that are linear in θ."""
    return lambda theta: [theta @ m.T for m in matrices]


def kalman(matrices: list[Floats], covs: list[Floats], values: list[Floats]) -> tuple[Floats, Floats]:
    """Kalman's update of N(0, I) in gain form (Kalman 1960, J. Basic Eng. 82:35; closed form)."""
    h, y = np.vstack(matrices), np.concatenate(values)
    r = np.zeros((len(y), len(y)))
    at = 0
    for cov in covs:
        r[at : at + len(cov), at : at + len(cov)] = cov
        at += len(cov)
    gain = h.T @ np.linalg.inv(h @ h.T + r)
    return gain @ y, np.eye(h.shape[1]) - gain @ h


@pytest.fixture
def problem() -> tuple[list[Floats], list[Floats], list[Datum]]:
    """Three probes of 8 pieces on 5 unknowns, with correlated noise drawn from the covariance that is told."""
    rng = np.random.default_rng(4)
    truth = rng.standard_normal(5)
    matrices = [rng.standard_normal((8, 5)) for _ in range(3)]
    covs, data = [], []
    for i, m in enumerate(matrices):
        lag = np.abs(np.subtract.outer(np.arange(8), np.arange(8)))
        cov = 0.3 * 0.6**lag + 0.1 * np.eye(8)
        covs.append(cov)
        noise = np.linalg.cholesky(cov) @ rng.standard_normal(8)
        data.append(Record(f"probe-{i}", m @ truth + 0.5 * noise, np.linalg.inv(np.linalg.cholesky(cov))))
    return matrices, covs, data


def test_a_linear_pour_gives_kalmans_posterior(
    problem: tuple[list[Floats], list[Floats], list[Datum]],
) -> None:
    """Mean and covariance equal Kalman's to rounding."""
    matrices, covs, data = problem
    found = fit(linear(matrices), data, np.zeros(5))
    mean, cov = kalman(matrices, covs, [d.celsius for d in data])
    assert found.best == pytest.approx(mean, abs=1e-8)
    assert found.spread == pytest.approx(cov, abs=1e-8)
    assert min(found.trust.values()) == 1.0


def test_members_of_a_linear_pour_weigh_the_same_and_have_kalmans_moments(
    problem: tuple[list[Floats], list[Floats], list[Datum]],
) -> None:
    """Where Laplace is exact no member is preferred, and 4000 of them have Kalman's mean and spread."""
    matrices, covs, data = problem
    model = linear(matrices)
    theta, log_density = draw(fit(model, data, np.zeros(5)), 4000, np.random.default_rng(1))
    weights, power = weigh(theta, log_density, model(theta), data)
    mean, cov = kalman(matrices, covs, [d.celsius for d in data])
    assert power == 1.0
    assert effective(weights) == pytest.approx(4000, rel=0.01)
    assert weights @ theta == pytest.approx(mean, abs=0.01)
    centred = theta - mean
    # A covariance of 2000 pairs is itself known to 1/√2000 = 2 %; four of those.
    assert (weights[:, None] * centred).T @ centred == pytest.approx(cov, abs=0.09 * np.abs(cov).max())


def test_without_readings_the_posterior_is_the_prior() -> None:
    """No probe: mean 0, covariance I."""
    found = fit(lambda _: [], [], np.zeros(4))
    assert found.best == pytest.approx(np.zeros(4))
    assert found.spread == pytest.approx(np.eye(4))


def test_a_probe_that_contradicts_two_others_is_not_believed(
    problem: tuple[list[Floats], list[Floats], list[Datum]],
) -> None:
    """One probe 30 units off: it is down-weighted and named, and moves the answer less than one spread."""
    matrices, covs, data = problem
    wrong = [*data[:2], Record(data[2].name, data[2].celsius + 30.0, data[2].white)]
    found = fit(linear(matrices), wrong, np.zeros(5))
    mean, cov = kalman(matrices[:2], covs[:2], [d.celsius for d in data[:2]])
    assert found.trust["probe-2"] < 0.1
    assert found.trust["probe-0"] > 0.9
    assert np.all(np.abs(found.best - mean) < np.sqrt(np.diag(cov)))


def test_in_a_bent_valley_every_start_comes_to_the_same_place() -> None:
    """Six unknowns, of which readings fix bent mixtures closely and leave one way along them open.

    As a pour does that is about to run away. The lowest cost is Nelder and Mead's of scipy, started at the best found.
    """
    rng = np.random.default_rng(3)
    mix = np.linalg.qr(rng.standard_normal((6, 6)))[0]
    white = np.diag([1 / 0.01, 1 / 0.01, 1 / 0.02, 1 / 0.8])

    def valley(theta: Floats) -> Floats:
        u = theta @ mix
        bent = [u[:, 1] - 0.6 * u[:, 0] ** 2, u[:, 2] - np.sin(2.0 * u[:, 0]), u[:, 3] + u[:, 0] * u[:, 1]]
        return np.stack([*bent, u[:, 0]], axis=1)

    data = [Record("core", np.array([0.1, -0.2, 0.3, 2.2]), white)]

    def cost(theta: Floats) -> float:
        miss = white @ (data[0].celsius - valley(theta[None, :])[0])
        return float(0.5 * theta @ theta + 0.5 * miss @ miss)

    starts = [np.zeros(6), *rng.standard_normal((5, 6))]
    found = [fit(lambda t: [valley(t)], data, start, rounds=12) for start in starts]
    lowest = optimize.minimize(cost, found[0].best, method="Nelder-Mead", options={"maxiter": 20_000}).fun
    assert [cost(one.best) for one in found] == pytest.approx([lowest] * 6, abs=0.05)
    spread = np.sqrt(np.diag(found[0].spread))
    for one in found[1:]:
        assert np.all(np.abs(one.best - found[0].best) < 0.5 * spread)


def test_ranks_of_the_truth_among_members_are_even_on_draws_from_the_prior() -> None:
    """300 truths from the prior, a bent model, noise as told: chi-square of ten rank bins (Anderson 1996, J. Climate
    9:1518; Hamill 2001, Mon. Weather Rev. 129:550) is not beyond the 99.9 % point."""
    rng = np.random.default_rng(11)
    hours = np.linspace(0.1, 2.0, 6)
    sigma = 0.4
    white = np.eye(6) / sigma

    def bent(theta: Floats) -> Floats:
        # A growth whose rate is not known: what is to come bends strongly in θ.
        return np.asarray(np.exp(0.3 * theta[:, :1]) * hours + 0.5 * theta[:, 1:2])

    ranks = np.zeros(10)
    for _ in range(300):
        truth = rng.standard_normal((1, 3))
        data = [Record("core", bent(truth)[0] + sigma * rng.standard_normal(6), white)]
        theta, log_density = draw(fit(lambda t: [bent(t)], data, np.zeros(3)), 64, rng)
        weights, _ = weigh(theta, log_density, [bent(theta)], data)
        ahead = np.exp(0.6 * theta[:, 0]) + 0.5 * theta[:, 1] + 0.2 * theta[:, 2]
        due = float(np.exp(0.6 * truth[0, 0]) + 0.5 * truth[0, 1] + 0.2 * truth[0, 2])
        ranks[min(int(10 * weights[ahead < due].sum()), 9)] += 1
    assert stats.chisquare(ranks).pvalue > 0.001, ranks


def test_members_that_fit_badly_are_tempered_rather_than_left_to_one() -> None:
    """A Laplace spread far from the posterior still leaves a third of the members in play."""
    data = [Record("core", np.array([2.0]), np.array([[50.0]]))]
    theta = np.random.default_rng(2).standard_normal((90, 1))
    weights, power = weigh(theta, -0.5 * (theta**2).sum(axis=1), [theta**3], data)
    assert power < 1.0
    assert effective(weights) >= 30.0
