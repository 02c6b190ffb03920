"""Slow flow of a liquid of uneven viscosity in a rectangle, driven by its own weight; a judge for tests.

Stokes' equation for the streamfunction ψ on a staggered grid: u = ∂ψ/∂z on the cells' sides, w = −∂ψ/∂x on their
floors, so that each cell keeps its volume exactly. The motion is the one that turns the work of the weight into
heat of friction at the least, Σ 4 μ (∂²ψ/∂x∂z)² + μ (∂²ψ/∂z² − ∂²ψ/∂x²)²  (Helmholtz's minimum of dissipation;
from memory). Friction of a rigid wall enters by its half cell, a free one has none.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array, diags_array, eye_array, kron
from scipy.sparse.linalg import splu

#: Beyond this many iterations the factors of an older viscosity serve no more.
STALE = 10


def _inner(n):
    """Injects the n − 1 inner nodes of an axis into its n + 1 nodes."""
    return csr_array(eye_array(n + 1, n - 1, k=-1))


def _slope(n, h):
    """Difference of the nodes at both ends of each of n cells; ψ = 0 at the walls."""
    return csr_array((eye_array(n, n + 1, k=1) - eye_array(n, n + 1)) @ _inner(n) / h)


def _bend(n, h, low_rigid, high_rigid):
    """Second derivative at all n + 1 nodes: that of the mirror image at a rigid wall, none at a free one."""
    full = (eye_array(n + 1, n + 1, k=1) - 2 * eye_array(n + 1) + eye_array(n + 1, n + 1, k=-1)) @ _inner(n)
    full = full.tolil()
    full[0, 0] = 2.0 if low_rigid else 0.0
    full[n, n - 2] = 2.0 if high_rigid else 0.0
    return csr_array(full / h**2)


class Stokes:
    """The motion in nz rows (upwards) by nx columns of cells of dz by dx metres.

    rigid: which walls the liquid sticks to, among "left", "right", "bottom", "top"; it slips along the others.
    """

    def __init__(self, nx, nz, dx, dz, rigid=("right", "bottom")):
        self.nx, self.nz, self.dx, self.dz = nx, nz, dx, dz
        self.stretch = kron(_slope(nz, dz), _slope(nx, dx)).tocsr()
        bend_z = kron(_bend(nz, dz, "bottom" in rigid, "top" in rigid), _inner(nx))
        bend_x = kron(_inner(nz), _bend(nx, dx, "left" in rigid, "right" in rigid))
        self.shear = (bend_z - bend_x).tocsr()
        self._stretch_t, self._shear_t = self.stretch.T.tocsr(), self.shear.T.tocsr()
        half = np.ones((nz + 1, nx + 1))
        half[[0, -1]] *= 0.5
        half[:, [0, -1]] *= 0.5
        self._node_area = half.ravel() * dx * dz
        self.psi = np.zeros((nz - 1) * (nx - 1))
        self._factors = None
        self.factored = 0

    def _weights(self, viscosity):
        """4 μ of the cells and μ of the nodes, times their areas."""
        wide = np.ones((self.nz + 2, self.nx + 2))
        wide[1:-1, 1:-1] = viscosity
        wide[[0, -1]] = wide[[1, -2]]
        wide[:, [0, -1]] = wide[:, [1, -2]]
        wide = np.sqrt(wide[1:] * wide[:-1])
        nodes = np.sqrt(wide[:, 1:] * wide[:, :-1])
        return 4 * viscosity.ravel() * self.dx * self.dz, nodes.ravel() * self._node_area

    def _factorise(self, cells, nodes):
        matrix = self._stretch_t @ diags_array(cells) @ self.stretch
        matrix = matrix + self._shear_t @ diags_array(nodes) @ self.shear
        self._factors = splu(
            matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True}
        )
        self.factored += 1

    def move(self, viscosity, lift, tolerance=1e-4):
        """Speeds u (nz, nx + 1) and w (nz + 1, nx), m/s, from the cells' viscosity, Pa·s, and lift, N/m³ upwards."""
        cells, nodes = self._weights(viscosity)
        at_floors = 0.5 * (lift[1:] + lift[:-1])
        work = (at_floors[:, 1:] - at_floors[:, :-1]).ravel() * self.dz

        def friction(p):
            return self._stretch_t @ (cells * (self.stretch @ p)) + self._shear_t @ (nodes * (self.shear @ p))

        # Conjugate gradients from the last motion, preconditioned by the factors of a viscosity not long ago.
        for fresh in (False, True):
            if self._factors is None or fresh:
                self._factorise(cells, nodes)
            psi = self._factors.solve(work) if fresh else self.psi
            left = work - friction(psi)
            goal = tolerance * np.linalg.norm(work)
            direction, before = None, 0.0
            for _ in range(STALE):
                if np.linalg.norm(left) <= goal:
                    break
                better = self._factors.solve(left)
                now = left @ better
                direction = better if direction is None else better + now / before * direction
                before = now
                pushed = friction(direction)
                step = now / (direction @ pushed)
                psi = psi + step * direction
                left = left - step * pushed
            else:
                continue
            break
        self.psi = psi
        nodes_psi = np.zeros((self.nz + 1, self.nx + 1))
        nodes_psi[1:-1, 1:-1] = psi.reshape(self.nz - 1, self.nx - 1)
        u = (nodes_psi[1:] - nodes_psi[:-1]) / self.dz
        return u, (nodes_psi[:, :-1] - nodes_psi[:, 1:]) / self.dx
