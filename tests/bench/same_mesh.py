"""scipy's BDF on the very system that the solver integrates: same cells, same flow between them, same faces.

For the benchmarks here: what the solver's own way through time is worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.sparse import block_array, csr_array, diags_array, lil_array

from logger.cure.solver.boundary import heat_losses_of
from logger.cure.solver.ensemble import probe_of
from logger.cure.solver.mesh import section_of
from logger.cure.solver.operators import Factors, interval_of

GAS = 8.31446261815324


@dataclass
class System:
    """dT/dt = A T + b T_room + rise r(α, T), dα/dt = r, on the cells of the solver's own mesh."""

    matrix: csr_array
    of_room: np.ndarray
    wet: np.ndarray
    rise: float
    rate: object
    start_k: np.ndarray
    room_k: float
    core: np.ndarray

    def speeds(self, t_k, a):
        rate = self.rate
        inverse = 1 / 298.15 - 1 / t_k
        a = np.clip(a, 0.0, 1.0)
        b1, b2 = rate.e1_j_mol / GAS, rate.e2_j_mol / GAS
        slow, fast = rate.k1_per_s * np.exp(b1 * inverse), rate.k2_per_s * np.exp(b2 * inverse)
        power = a**rate.m
        left = (1 - a) ** rate.n
        value = (slow + fast * power) * left
        by_t = (slow * b1 + fast * power * b2) / t_k**2 * left
        by_a = fast * rate.m * np.maximum(a, 1e-6) ** (rate.m - 1) * left - rate.n * value / np.maximum(
            1 - a, 1e-9
        )
        return value, by_t, by_a

    def solve(self, hours, *, rtol, atol_k=1e-3, analytic=True):
        """Peak °C of the core and its hour. analytic: Jacobian given; otherwise differenced by its sparsity."""
        n, m = len(self.start_k), len(self.wet)
        pick = csr_array((np.ones(m), (self.wet, np.arange(m))), shape=(n, m))
        constant = self.of_room * self.room_k

        def change(t, y):
            value, _, _ = self.speeds(y[:n][self.wet], y[n:])
            out = np.empty_like(y)
            out[:n] = self.matrix @ y[:n] + constant
            out[:n][self.wet] += self.rise * value
            out[n:] = value
            return out

        def jacobian(t, y):
            _, by_t, by_a = self.speeds(y[:n][self.wet], y[n:])
            return block_array(
                [
                    [
                        self.matrix + pick @ diags_array(self.rise * by_t) @ pick.T,
                        pick @ diags_array(self.rise * by_a),
                    ],
                    [diags_array(by_t) @ pick.T, diags_array(by_a)],
                ]
            ).tocsc()

        how = {"jac": jacobian}
        if not analytic:
            pattern = jacobian(0.0, np.concatenate([self.start_k, np.full(m, 0.5)]))
            how = {"jac_sparsity": pattern != 0}
        y = np.concatenate([self.start_k, np.zeros(m)])
        atol = np.concatenate([np.full(n, atol_k), np.full(m, atol_k * 1e-2)])
        found = solve_ivp(change, (0.0, hours * 3600), y, method="BDF", rtol=rtol, atol=atol, **how)
        assert found.success
        hot = self.core @ found.y[:n]
        i = int(hot.argmax())
        return float(hot[i]) - 273.15, float(found.t[i]) / 3600


def system_of(plan, *, fineness=1.0, rate_factor=1.0, heat_factor=1.0, top_factor=1.0):
    """The solver's semi-discrete system for one member of a plan with given coefficients and one room °C."""
    section = section_of(plan, fineness)
    one = np.ones(1)
    factors = Factors(one * top_factor, one, one)
    interval = interval_of(
        section, 1, heat_losses_of(plan, section), factors, probe_of(plan, section, 0 * one, 0 * one), 0.0
    )
    number = np.arange(section.rows * section.columns).reshape(section.rows, section.columns)
    n = number.size
    matrix = lil_array((n, n))
    for lines in interval.z_lines + interval.x_lines:
        block = number[lines.rows, lines.columns]
        for line in block.T if lines.along == "z" else block:
            rate = lines.generator if lines.along == "z" else lines.generator.T
            for i, cell in enumerate(line):
                for j in np.flatnonzero(rate[i]):
                    matrix[cell, line[j]] += rate[i, j]
    of_room = np.zeros(n)
    for face in interval.faces:
        coupling = (face.conductance(face.h) * face.per_capacity)[0]
        for i, (first, second) in enumerate(zip(face.first, face.second, strict=True)):
            matrix[first, first] -= coupling[i] * face.weights[0, i]
            matrix[first, second] -= coupling[i] * face.weights[1, i]
            of_room[first] += coupling[i]
    wet = number[interval.observer.resin_rows, interval.observer.resin_columns].ravel()
    room_k = plan.room_schedule()[0][1] + 273.15
    start = np.full(n, room_k)
    start[wet] = (plan.room_schedule()[0][1] if plan.pour.start_c is None else plan.pour.start_c) + 273.15
    rate = plan.resin.rate.model_copy(
        update={
            "k1_per_s": plan.resin.rate.k1_per_s * rate_factor,
            "k2_per_s": plan.resin.rate.k2_per_s * rate_factor,
        }
    )
    rise = 1000 * plan.resin.heat_of_cure_j_g * heat_factor / plan.resin.specific_heat_j_kgk
    return System(matrix.tocsr(), of_room, wet, rise, rate, start, room_k, interval.observer.warm[0, 0])
