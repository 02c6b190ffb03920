"""By how much what a plan does not say may move its peak: what is asked first. Pure."""

from __future__ import annotations

from collections.abc import Callable

from logger.cure.solver.prediction import coarse_peak_c
from logger.extremes import BEYOND_C
from logger.plan.file import Plan, plan_from_table, plan_to_table

#: How far each may be from what is assumed (this project's choice): room and mix by 3 K, the panel half as thick again.
ROOM_K, START_K, PANEL = 3.0, 3.0, 1.5


def unsaid(plan: Plan) -> list[str]:
    """Return what moves the peak and that nobody has said, by the names of the questions."""
    answered = {
        "underside": plan.form.underside is not None,
        "night": isinstance(plan.air.room_c, list),
        "start": plan.pour.start_c is not None,
        "panel": "bottom" in plan.form.model_fields_set,
    }
    return [name for name, is_answered in answered.items() if not is_answered]


def effects_of(plan: Plan) -> dict[str, float]:
    """Return for each thing that is unsaid by how many kelvin it may move the peak: a quick solution each. Raises
    DidNotConverge.
    """
    asked = unsaid(plan)
    if not asked:
        return {}
    as_it_is = coarse_peak_c(plan, BEYOND_C)
    return {name: abs(coarse_peak_c(_CHANGES[name](plan), BEYOND_C) - as_it_is) for name in asked}


def _with(plan: Plan, table: str, key: str, value: object) -> Plan:
    whole = plan_to_table(plan)
    part = dict(whole.get(table, {}))
    part[key] = value
    return plan_from_table(whole | {table: part})


def _open(plan: Plan) -> Plan:
    return _with(plan, "form", "underside", "open")


def _warmer_room(plan: Plan) -> Plan:
    return _with(plan, "air", "room_c", plan.room_schedule()[0][1] + ROOM_K)


def _warmer_mix(plan: Plan) -> Plan:
    start = plan.pour.start_c if plan.pour.start_c is not None else plan.room_schedule()[0][1]
    return _with(plan, "pour", "start_c", start + START_K)


def _thicker(plan: Plan) -> Plan:
    return _with(plan, "form", "bottom", {"thickness_mm": PANEL * plan.form.bottom.thickness_mm})


_CHANGES: dict[str, Callable[[Plan], Plan]] = {
    "underside": _open,
    "night": _warmer_room,
    "start": _warmer_mix,
    "panel": _thicker,
}
