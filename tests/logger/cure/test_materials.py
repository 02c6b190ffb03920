"""Materials against handbook values."""

from __future__ import annotations

import pytest

from logger.cure.model.materials import Material

EPOXY = Material(0.2, 1150.0, 1900.0)


def test_diffusivity_of_epoxy():
    """k/(ρ cp) = 9.15e-8 m²/s."""
    assert EPOXY.diffusivity == pytest.approx(9.15e-8, rel=1e-3)
