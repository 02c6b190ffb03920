"""The forecast's cross-section: the middle member solved again from the pour on, to draw.

A forecast keeps of it what that takes: a few numbers instead of half a hundred fields. Its rise over the room is then
drawn to agree with what the core probe has read, and from now on with the forecast's middle, so that picture and
curve say the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields as fields_of
from dataclasses import replace
from typing import Any

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.forecast import Forecast
from logger.cure.forecast.likelihood import Readings, good_readings
from logger.cure.forecast.observation_model import FINENESS
from logger.cure.forecast.predictive import middle_member
from logger.cure.forecast.room_forecast import pieces
from logger.cure.solver.ensemble import EnsembleRun, Intervention, Members, RoomHistory, run_ensemble
from logger.cure.solver.march import Resolution
from logger.cure.solver.mesh import section_of
from logger.cure.solver.prediction import Field, field_of
from logger.plan.file import Plan

#: How much the rise may be drawn larger or smaller than it was solved.
MOST, LEAST = 1.25, 0.8
#: Nearer to the room than this, a rise says nothing of how far it is off, K.
LEAST_RISE_C = 1.5
#: Points of what the core probe has read so far.
READ_POINTS = 61


def to_draw(plan: Plan, history: Mapping[str, Readings], forecast: Forecast) -> dict[str, Any]:
    """Return what solving the forecast's middle member again takes, as JSON."""
    state = forecast.state
    which = middle_member(forecast.ahead.core_peak_c)
    member = {name: float(values[which]) for name, values in state.members.arrays().items()}
    past_h, past_c = np.zeros(0), np.zeros(0)
    if "room" in history:
        past_h, past_c = pieces(*good_readings(history["room"], forecast.at_h), forecast.at_h)
    if not len(past_h):
        past_h = np.linspace(0.0, forecast.at_h, 25)[:-1]
        past_c = np.interp(past_h, *np.array(plan.room_schedule()).T)
    ahead = np.median(state.room.celsius, axis=0)
    before = past_h < state.room.hours[0] - 1e-6
    hours, celsius = np.append(past_h[before], state.room.hours), np.append(past_c[before], ahead)
    core = min((place for place in history if place.partition("-")[0] == "core"), default=None)
    read_h, read_c = (
        good_readings(history[core], forecast.at_h) if core is not None else (np.zeros(0), np.zeros(0))
    )
    grid = np.linspace(0.0, forecast.at_h, READ_POINTS)[:-1]
    grid = grid[(grid >= read_h[0]) & (grid <= read_h[-1])] if len(read_h) else grid[:0]
    return {
        "until_h": state.until_h,
        "core": {
            "hours": grid.round(4).tolist(),
            "celsius": np.interp(grid, read_h, read_c).round(2).tolist(),
        }
        if len(grid)
        else {"hours": [], "celsius": []},
        "member": {name: round(value, 6) for name, value in member.items()},
        "room": {"hours": hours.round(4).tolist(), "celsius": celsius.round(3).tolist()},
        "done": [_intervention_values(change, which) for change in state.done],
    }


def _intervention_values(change: Intervention, which: int) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for one in fields_of(Intervention):
        value = getattr(change, one.name)
        if isinstance(value, np.ndarray):
            value = float(value[which if value.size > 1 else 0])
        if value is not None:
            values[one.name] = value
    return values


def fields_to_draw(
    plan: Plan, cut: Mapping[str, Any], hours: Sequence[float], core: tuple[Sequence[float], Sequence[float]]
) -> tuple[Field, ...]:
    """Return the fields at some hours of what `to_draw` gave; `core`: hours and °C that the core's rise is to agree
    with (see `core_to_draw`).

    Raises DidNotConverge, BadInput for what another version of the program has kept.
    """
    room = RoomHistory(np.array(cut["room"]["hours"]), np.array(cut["room"]["celsius"]))
    times_h = sorted({float(hour) for hour in hours if 0 <= hour <= cut["until_h"]})
    run = run_ensemble(
        plan,
        Members(**cut["member"]),
        EnsembleRun(cut["until_h"], times_h, times_h, Resolution(FINENESS)),
        room=room,
        changes=[Intervention(**values) for values in cut["done"]],
    )
    section = section_of(plan, FINENESS)
    room_c = np.interp(times_h, room.hours, room.celsius)
    core_c = np.interp(times_h, *core)
    factors = _factors(run.core_c[0], core_c, room_c)
    rises = run.core_c[0] - room_c
    # What a larger or smaller rise does not explain is put where it is as warm as the core, and less where it is less.
    shifts = core_c - (room_c + factors * rises)
    drawn = []
    for shot, factor, shift, rise, air_c in zip(run.snapshots, factors, shifts, rises, room_c, strict=True):
        field = field_of(section, shot)
        own = field.temperature_c - air_c
        share = np.clip(own / rise, 0.0, 1.0) if abs(rise) > LEAST_RISE_C else field.is_resin.astype(float)
        drawn.append(replace(field, temperature_c=air_c + shift * share + factor * own))
    return tuple(drawn)


def core_to_draw(cut: Mapping[str, Any], bands: Mapping[str, Any]) -> tuple[list[float], list[float]]:
    """Hours and °C of the core: what it has read, then the middle of the forecast."""
    return [*cut["core"]["hours"], *bands["hours"]], [*cut["core"]["celsius"], *bands["core_c"]["p50"]]


def _factors(solved_c: Floats, core_c: Floats, room_c: Floats) -> Floats:
    rise = solved_c - room_c
    clear = np.abs(rise) > LEAST_RISE_C
    factor = np.where(clear, (core_c - room_c) / np.where(clear, rise, 1.0), 1.0)
    return np.clip(factor, LEAST, MOST)
