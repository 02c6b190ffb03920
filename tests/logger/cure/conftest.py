"""Two invented resin systems and a builder of plans, shared by the tests of the cure model."""

from __future__ import annotations

from typing import Any

import pytest

from logger.plan.file import Plan, Resin, plan_from_table

#: Invented: no resin on the market. Slow, for pours 50 mm deep.
SLOW_CASTING: dict[str, Any] = {
    "name": "invented slow casting system",
    "heat_of_cure_j_g": 380.0,
    "rate": {"k1_per_s": 4e-7, "k2_per_s": 2.9e-5, "m": 1.0, "n": 2.0},
    "limits": {"max_depth_mm": 50.0},
}
#: Invented: no resin on the market. Quick, for coats a few millimetres thick.
QUICK_COATING: dict[str, Any] = {
    "name": "invented quick coating system",
    "heat_of_cure_j_g": 450.0,
    "rate": {"k1_per_s": 6e-6, "k2_per_s": 2.2e-4, "m": 1.0, "n": 2.0},
    "limits": {"max_depth_mm": 6.0},
}


def build(resin: dict[str, Any], shape: str, depth_mm: float, room_c: Any, **more: Any) -> Plan:
    """A plan of a river 300 mm wide, a round 300 mm across or a sheet; `more` are further tables."""
    pour: dict[str, Any] = {"shape": shape, "depth_mm": depth_mm}
    if shape != "sheet":
        pour |= {"width_mm": 300.0, "length_mm": 1500.0}
    air = {"room_c": room_c} | more.pop("air", {})
    pour |= more.pop("pour", {})
    return plan_from_table({"title": "invented", "resin": resin, "pour": pour, "air": air, **more})


@pytest.fixture(scope="session")
def slow_casting() -> dict[str, Any]:
    """The [resin] table of the invented slow casting system."""
    return SLOW_CASTING


@pytest.fixture(scope="session")
def slow_resin() -> Resin:
    """The invented slow casting system as the plan file's model."""
    return build(SLOW_CASTING, "sheet", 10.0, 22.0).resin


@pytest.fixture
def quick_coating() -> dict[str, Any]:
    """The [resin] table of the invented quick coating system."""
    return QUICK_COATING


@pytest.fixture(scope="session")
def plan_of() -> Any:
    """The builder of plans."""
    return build
