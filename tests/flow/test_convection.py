"""Motion, carriage and conduction together against published benchmarks of convection."""

from __future__ import annotations

import numpy as np
import pytest

from tests.flow.box import Box

#: Critical Rayleigh numbers and wavenumbers of a layer warmed from below: 1100.65 belongs to a rigid floor with a free
#: ceiling, as resin has them. Chandrasekhar 1961, Hydrodynamic and Hydromagnetic Stability, ch. II, as public codes
#: quote it; Glomski & Johnson 2012, Appl. Math. Sci. 6:5097, give that pair to fifty digits (abstract read);
#: 27 π⁴ / 4 is a closed form.
ONSET = {
    ("bottom",): (1100.650, 2.6823),
    ("bottom", "top"): (1707.762, 3.1163),
    (): (27 * np.pi**4 / 4, np.pi / np.sqrt(2)),
}


def growth(rayleigh, rigid, wavenumber, n):
    """Rate at which a small roll grows, in units of depth²/diffusivity."""
    box = Box(n, np.pi / wavenumber, rayleigh, rigid)
    still = 1 - box.z
    t = still + 1e-3 * np.cos(wavenumber * box.x) * np.sin(np.pi * box.z)
    sizes = []
    for _ in range(40):
        t = box.step(t, 0.01)
        sizes.append(np.log(np.sqrt(((t - t.mean(axis=1, keepdims=True)) ** 2).mean())))
    return (sizes[-1] - sizes[-11]) / 0.1


@pytest.mark.parametrize("rigid", ONSET, ids=["rigid floor, free ceiling", "both rigid", "both free"])
def test_a_layer_warmed_from_below_begins_to_move_at_the_published_rayleigh_number(rigid):
    """Within 0.5 %: two meshes, carried to the limit."""
    critical, wavenumber = ONSET[rigid]

    def onset(n):
        low, high = (growth(part * critical, rigid, wavenumber, n) for part in (0.95, 1.05))
        assert low < 0 < high
        return critical * (0.95 - 0.1 * low / (high - low))

    coarse, fine = onset(12), onset(20)
    assert fine + (fine - coarse) / ((20 / 12) ** 2 - 1) == pytest.approx(critical, rel=0.005)


def test_steady_convection_of_even_viscosity_is_the_benchmark_s():
    """Case 1a of Blankenbach et al. 1989, Geophys. J. Int. 98:23: Ra 10⁴, all walls free, Nusselt 4.884409 and speed
    42.864947 (numbers from memory, given by many codes' documents). Two meshes, carried to the limit."""

    def steady(n):
        box = Box(n, 1.0, 1e4)
        t = box.settle(1 - box.z + 0.3 * np.cos(np.pi * box.x) * np.sin(np.pi * box.z), 1e-3)
        return np.array([box.nusselt(t), box.vrms(t)])

    coarse, fine = steady(16), steady(24)
    nusselt, speed = fine + (fine - coarse) / (1.5**2 - 1)
    assert nusselt == pytest.approx(4.884409, rel=0.003)
    assert speed == pytest.approx(42.864947, rel=0.003)


def test_still_heat_of_an_even_source_makes_a_parabola():
    """Insulated floor, ceiling at 0: the floor stands at source · depth² / 2 (closed form)."""
    box = Box(20, 0.2, 0.0, floor=0.0, source=3.0)
    t = np.zeros((20, box.nx))
    for _ in range(300):
        t = box.step(t, 0.02)
    # The cells' means of a parabola lie dz²/24 of its bend beside its middles; its half-step splitting adds as little.
    assert t[:, 0] == pytest.approx(1.5 * (1 - box.z[:, 0] ** 2), abs=0.02)
