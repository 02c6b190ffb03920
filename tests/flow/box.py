"""A rectangle of liquid between a warm floor and a cold ceiling, in units of its depth, its diffusivity and the
difference: what published convection benchmarks solve. Built from the parts that the pours use."""

from __future__ import annotations

import numpy as np

from tests.flow.carry import Conduction, carried
from tests.flow.stokes import Stokes

#: A face at a given temperature, as a coefficient beside which half a cell resists all.
FIXED = 1e12


class Box:
    """n cells through a depth of 1, across `width`; its floor at 1 (or insulated), its ceiling at 0, its sides mirrors.

    viscosity: of the temperature, 1 if uniform. source: heat given off per volume.
    """

    def __init__(self, n, width, rayleigh, rigid=(), viscosity=None, floor=FIXED, source=0.0):
        self.nx, self.nz = round(n * width), n
        self.dx, self.dz = width / self.nx, 1 / n
        self.rayleigh, self.source = rayleigh, source
        self.viscosity = viscosity or np.ones_like
        ones = np.ones((n, self.nx))
        films = {"top": FIXED, "bottom": floor, "side": 0.0}
        self.conduction = Conduction(np.full(self.nx, self.dx), np.full(n, self.dz), ones, ones, films)
        self.outside = np.zeros((n, self.nx))
        self.outside[0] = 1.0 if floor else 0.0
        self.z = ((np.arange(n) + 0.5) * self.dz)[:, None] * np.ones(self.nx)
        self.x = ((np.arange(self.nx) + 0.5) * self.dx)[None, :] * np.ones((n, 1))
        self.stokes = Stokes(self.nx, n, self.dx, self.dz, rigid)

    def speeds(self, t):
        """u and w by the temperatures t (nz, nx)."""
        return self.stokes.move(self.viscosity(t), self.rayleigh * t, tolerance=1e-7)

    def step(self, t, dt):
        """Temperatures after dt, half of the conduction on each side of the motion, which is that of mid-step."""
        u, w = self.speeds(t)
        flat, _ = self.conduction.step(t.ravel(), self.outside.ravel(), 0.5 * dt)
        t = flat.reshape(t.shape) + dt * self.source
        there = t + dt * carried(t, u, w, self.dx, self.dz)
        t = 0.5 * (t + there + dt * carried(there, u, w, self.dx, self.dz))
        flat, _ = self.conduction.step(t.ravel(), self.outside.ravel(), 0.5 * dt)
        return flat.reshape(t.shape)

    def settle(self, t, until, passed=0.5):
        """Temperatures once the heat through the ceiling changes by less than `until` of itself in a unit of time."""
        last, since = None, 0.0
        for count in range(20_000):
            u, w = self.speeds(t)
            dt = min(passed / max(abs(u).max() / self.dx, abs(w).max() / self.dz), 0.01)
            # On a ladder, so that the factors of few steps serve them all.
            dt = 1.1 ** np.floor(np.log(dt) / np.log(1.1))
            t = self.step(t, dt)
            since += dt
            if count % 20 == 19:
                now = self.nusselt(t)
                if last is not None and abs(now - last) < until * now * since:
                    return t
                last, since = now, 0.0
        raise AssertionError("did not settle")

    def nusselt(self, t):
        """Heat through the ceiling over what conduction alone would carry: (T of half a cell below)."""
        return float(2 * t[-1].mean() / self.dz)

    def vrms(self, t):
        """Root of the mean square of the speed, faces to centres."""
        u, w = self.speeds(t)
        square = 0.5 * (u[:, 1:] ** 2 + u[:, :-1] ** 2) + 0.5 * (w[1:] ** 2 + w[:-1] ** 2)
        return float(np.sqrt(square.mean()))
