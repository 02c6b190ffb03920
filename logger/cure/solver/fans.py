"""Fans that blow over the surface for a while: by the plan, by hand or on a forecast, and how much of it arrives.

How much more heat the surface sheds while a fan runs is taken at a fixed difference to the room; how much of that a
fan really brings is an unknown of its own, so that a fan which does not turn shows in the readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.arrays import Floats
from logger.cure.model import heat_transfer
from logger.cure.solver.mesh import section_of
from logger.cure.solver.simulation import Intervention
from logger.plan.file import Plan

#: Air that a workshop fan drives over the surface, m/s (common practice, no source).
FAN_M_S = 2.0
#: How far a face is above the room when coefficients with and without a fan are compared, K.
OVER_ROOM_K = 15.0
#: A fan that raises the coefficient by less than this is counted in by the plan itself.
LEAST_RATIO = 1.15
#: So long a fan must have run before its cooling is judged, h.
SETTLED_H = 0.25


@dataclass(frozen=True)
class FanRun:
    """The fan runs from an hour to another (None: it still runs), at that speed of the air."""

    from_h: float
    to_h: float | None = None
    air_m_s: float = FAN_M_S

    def runs_at(self, at_h: float) -> bool:
        """Whether it runs at that hour."""
        return self.from_h <= at_h and (self.to_h is None or at_h < self.to_h)


@dataclass(frozen=True)
class FanEffect:
    """A run as the surface feels it: `ratio` of the coefficient with the fan to that without it."""

    run: FanRun
    ratio: float


def runs_of(plan: Plan) -> tuple[FanRun, ...]:
    """Return the runs that the plan has."""
    return tuple(FanRun(fan.from_h, fan.to_h, fan.air_m_s) for fan in plan.fan)


def fan_effects(plan: Plan, runs: Sequence[FanRun]) -> tuple[FanEffect, ...]:
    """Return the runs that change what the plan's surface sheds; not those that the plan's coefficient counts in."""
    felt = [FanEffect(run, _with(plan, run.air_m_s) / max(_planned(plan), 1e-9)) for run in runs]
    # An insulated face (coefficient 0) has no air over it.
    return tuple(blow for blow in felt if blow.ratio >= LEAST_RATIO and _planned(plan) > 0)


def interventions_of(
    plan: Plan, blows: Sequence[FanEffect], top_factor: Floats, part: Floats | float = 1.0
) -> list[Intervention]:
    """Return the runs as changes. top_factor (M,): each member's own; part (M,): how much of the fan's cooling
    arrives.
    """
    changes = []
    for blow in blows:
        run, still_air = blow.run, plan.air.top_air_m_s
        if plan.air.top_w_m2k is None:
            felt = top_factor * ((1.0 - part) / blow.ratio + part)
            changes.append(Intervention(run.from_h, top_air_m_s=max(run.air_m_s, still_air), top_factor=felt))
        else:
            changes.append(
                Intervention(run.from_h, top_factor=top_factor * (1.0 + part * (blow.ratio - 1.0)))
            )
        if run.to_h is not None:
            speed = still_air if plan.air.top_w_m2k is None else None
            changes.append(Intervention(run.to_h, top_air_m_s=speed, top_factor=top_factor))
    return changes


def switched_off(plan: Plan, at_h: float, top_factor: Floats) -> Intervention:
    """Return the fan switched off at an hour."""
    speed = plan.air.top_air_m_s if plan.air.top_w_m2k is None else None
    return Intervention(at_h, top_air_m_s=speed, top_factor=top_factor)


def cooling(
    plan: Plan, runs: Sequence[FanRun], at_h: float, part: Floats | None, top_factor: Floats
) -> Floats | None:
    """How much of the running fan's cooling arrives, (M,); None where none runs, or not long enough to tell.

    part: the members' own, where the fan is an unknown of its own. Where the plan's coefficient counts the fan
    in, what the members shed between still air and that coefficient is compared.
    """
    running = next((run for run in runs if run.runs_at(at_h)), None)
    if running is None or at_h - running.from_h < SETTLED_H:
        return None
    if part is not None and fan_effects(plan, [running]):
        return part
    still, planned = _with(plan, 0.0), _planned(plan)
    if planned < LEAST_RATIO * still:
        return None
    return np.asarray((top_factor * planned - still) / (planned - still))


def _planned(plan: Plan) -> float:
    given = plan.air.top_w_m2k
    return _with(plan, plan.air.top_air_m_s) if given is None else given


def _with(plan: Plan, air_m_s: float) -> float:
    """Coefficient of the top face in air of that speed, W/(m²·K)."""
    section = section_of(plan, 0.3)
    room_c = float(np.mean([celsius for _, celsius in plan.room_schedule()]))
    return float(
        heat_transfer.top_w_m2k(
            room_c + OVER_ROOM_K,
            room_c,
            size_m=section.plate_size_m,
            run_m=section.plate_run_m,
            air_m_s=air_m_s,
            emissivity=plan.air.emissivity,
        )
    )


def without_fan(plan: Plan) -> Plan:
    """Return the plan without the fan's times, where the fan is given apart."""
    return plan.model_copy(update={"fan": []}) if plan.fan else plan


def runs_of_pour(plan: Plan, ran: Sequence[tuple[float, float | None]], at_h: float) -> tuple[FanRun, ...]:
    """When the fan ran and runs (hours, None: still), and when the plan will have it run after at_h."""
    usual = plan.air.top_air_m_s or FAN_M_S
    air = max((fan.air_m_s for fan in plan.fan), default=usual)
    runs = [FanRun(max(from_h, 0.0), to_h, air) for from_h, to_h in ran]
    if runs and runs[-1].to_h is None:
        # What was switched on within a planned time ends with it.
        until = next((fan.to_h for fan in plan.fan if fan.from_h <= at_h < fan.to_h), None)
        runs[-1] = FanRun(runs[-1].from_h, until, air)
    ahead = [run for run in runs_of(plan) if run.from_h > at_h]
    return tuple(runs + ahead)
