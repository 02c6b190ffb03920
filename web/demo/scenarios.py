"""Scenarios of the demo: a plan, and what really happens. All of it is invented: workshop, people, resin, tables.

The true behaviour differs from the plan, since a bench that plays the plan's own prediction would prove nothing.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from typing import Any

from logger.quantities import temperature
from logger.words.phrase import phrase

WORKSHOP = "Heron & Plane (invented workshop)"
OWNER, SECOND = "Ines", "Jonas"

_RESIN: dict[str, Any] = {
    "name": "Slow casting system (invented)",
    "density_kg_m3": 1100.0,
    "specific_heat_j_kgk": 1900.0,
    "conductivity_w_mk": 0.20,
    "heat_of_cure_j_g": 360.0,
    "rate": {"k1_per_s": 6.0e-7, "k2_per_s": 1.6e-5},
    # As two cup tests left it open.
    "possible": {
        "rate": "0.86 0.92 0.97 1 1.03 1.09 1.16",
        "first": "1 1 1 1 1 1 1",
        "energy": "0.98 1.01 0.99 1 1.01 0.99 1.02",
        "heat": "1.02 0.98 1.01 1 0.99 1.02 0.98",
    },
    "limits": {"max_depth_mm": 50.0, "max_core_c": 60.0, "min_room_c": 17.0, "max_room_c": 29.0},
}


def _slab(name: str, source: str, readings: list[float]) -> dict[str, Any]:
    return {
        "name": name,
        "species": "American elm",
        "thickness_mm": 45.0,
        "width_mm": 260.0,
        "length_mm": 2100.0,
        "source": source,
        "dried": "kiln",
        "bark": "removed",
        "seal": "tacky",
        "sealed_under": True,
        "meter": {"readings_pct": readings, "corrects_temperature": True},
    }


_TABLE: dict[str, Any] = {
    "title": "River table, two elm slabs",
    "resin": _RESIN,
    "pour": {"shape": "river", "depth_mm": 40.0, "width_mm": 280.0, "length_mm": 2100.0, "start_c": 21.0},
    "form": {
        "bottom": {"thickness_mm": 18.0},
        "side": {"thickness_mm": 260.0},
        "support": {"panel": "melamine", "span_mm": 300.0, "supports": 8},
        "underside": "open",
        "clamp": {"count": 10, "force_n": 800.0},
        "face": {"material": "melamine", "taped": True},
        "seam": {"gap_mm": 0.1, "gap_length_mm": 100.0, "sealed": True, "tested": True},
    },
    "mix": {
        "part_a": "resin",
        "part_b": "hardener",
        "density_a_kg_m3": 1140.0,
        "density_b_kg_m3": 1020.0,
        "ratio_parts": [2.0, 1.0],
        "ratio_by": "volume",
        "measure_by": "weight",
        "working_time_min": 420.0,
        "working_time_mass_kg": 1.0,
        "working_time_c": 25.0,
    },
    "pails": {"sizes_l": [5.0, 10.0, 20.0]},
    "scale": {"resolution_g": 1.0, "max_kg": 30.0},
    "slab": [
        _slab("left slab", "own stock, plank 3", [7.7, 8.0, 8.2, 8.1, 7.9, 8.3]),
        _slab("right slab", "own stock, plank 4", [7.8, 8.1, 8.3, 8.0, 8.2, 7.9]),
    ],
    "air": {"room_c": 21.0, "relative_humidity_pct": 45.0},
    "cost": {"currency": "credits", "resin_per_kg": 14.0},
    "person": [{"name": OWNER, "role": "maker"}, {"name": SECOND, "role": "second pair of eyes"}],
    "run": {"hours": 72.0},
}


@dataclass(frozen=True, slots=True)
class MisreadingSpan:
    """What a probe says instead of the truth, from one hour to another. `kind` is a word of the bench."""

    place: str
    kind: str
    from_h: float
    until_h: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """One demo: its plan, its truth (both as plan tables), its lying probes, and what will happen, in words."""

    name: str
    words: str
    what_happens: tuple[str, ...]
    client: str
    plan: dict[str, Any]
    truth: dict[str, Any]
    lies: tuple[MisreadingSpan, ...] = field(default=())
    #: What the invented maker tells at the end; as logger/record/SCHEMA.md has it.
    outcome: dict[str, Any] = field(
        default_factory=lambda: {"state": "good", "text": "as it was meant to be"}
    )
    hardness: str = "no thumbnail mark"


def _changed(table: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """Return a copy of a plan table with dotted keys replaced (dots written as double underscores)."""
    changed = copy.deepcopy(table)
    for dotted, value in changes.items():
        *tables, key = dotted.split("__")
        inner = changed
        for name in tables:
            inner = inner.setdefault(name, {})
        inner[key] = value
    return changed


def _rate(factor: float) -> dict[str, float]:
    rate: dict[str, float] = _RESIN["rate"]
    return {name: value * factor for name, value in rate.items()}


_DEEP = _changed(_TABLE, title="Conference table, deep river", pour__depth_mm=45.0)
_DAY_AND_NIGHT = [
    (0.0, 21.0),
    (6.0, 22.0),
    (16.0, 19.6),
    (30.0, 22.0),
    (40.0, 19.6),
    (54.0, 22.0),
    (72.0, 20.0),
]
_HEATING_FAILS = [(0.0, 21.0), (9.0, 20.5), (12.0, 15.5), (20.0, 11.0), (72.0, 10.0)]

SCENARIOS: dict[str, Scenario] = {
    scenario.name: scenario
    for scenario in (
        Scenario(
            "calm",
            phrase("a pour that goes as planned"),
            (
                phrase("the core warms to about {core} on the first night", core=temperature(37.0, 0)),
                phrase("nothing of high priority is raised"),
                phrase("at the end it is released and its record is sealed"),
            ),
            "A client with patience (invented)",
            _TABLE,
            _changed(_TABLE, resin__rate=_rate(0.98), air__room_c=_DAY_AND_NIGHT),
        ),
        Scenario(
            "hot",
            phrase("resin that cures a fifth faster than its datasheet, poured warm, in still air"),
            (
                phrase("within hours the core runs above its predicted curve"),
                phrase(
                    "around hour 10 it passes the resin's limit of {limit}: the alert page opens",
                    limit=temperature(60.0, 0),
                ),
                phrase("the lamp and the buzzer go on until somebody acknowledges"),
            ),
            "A client in a hurry (invented)",
            _DEEP,
            _changed(
                _DEEP, resin__rate=_rate(1.22), pour__start_c=23.0, air__room_c=22.0, air__top_w_m2k=8.0
            ),
            outcome={
                "state": "lost",
                "defects": [{"kind": "crack", "where": "along the middle"}],
                "rework_cost": 640.0,
                "currency": "credits",
                "rework_h": 9.0,
                "text": "yellowed and cracked; poured anew",
            },
            hardness="hard, and brittle",
        ),
        Scenario(
            "cold-room",
            phrase("the heating fails on the first evening"),
            (
                phrase("after about hour 11 the room falls below what the resin bears"),
                phrase("the cure falls behind: it will not be hard when it was promised"),
            ),
            "A client with a birthday (invented)",
            _changed(_TABLE, title="Birthday table, two elm slabs"),
            _changed(_TABLE, air__room_c=_HEATING_FAILS),
            outcome={
                "state": "flawed",
                "defects": [{"kind": "soft-spot", "where": "at the window end"}],
                "rework_h": 2.0,
                "text": "soft when it came out; hardened in a warm room",
            },
            hardness="a thumbnail sinks in",
        ),
        Scenario(
            "dead-probe",
            phrase("the core probe's cable is cut by a router at hour 5"),
            (
                phrase(
                    "the probe first wakes up with {power_on}, which is no temperature, then gives empty reads",
                    power_on=temperature(85.0),
                ),
                phrase("the missing core is called out; it is never taken for a calm pour"),
                phrase("the record shows the gap as a gap"),
            ),
            "A client who asks for proof (invented)",
            _changed(_TABLE, title="Library table, two elm slabs"),
            _changed(_TABLE, resin__rate=_rate(1.03)),
            (
                MisreadingSpan("core", "power-on", 4.98, 5.0),
                MisreadingSpan("core", "empty", 5.0, 30.0),
                MisreadingSpan("core", "all-zero", 30.0, 31.0),
                MisreadingSpan("core", "pulled", 31.0, 80.0),
            ),
        ),
    )
}
