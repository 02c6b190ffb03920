"""What the probes would have read so far if the unknowns were θ: the model that the readings are compared with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from logger.arrays import Floats
from logger.cure.forecast.assimilate import Posterior, draw_normal, fit
from logger.cure.forecast.heating import HEATING, Window, changes_of, end_h, onset_h
from logger.cure.forecast.likelihood import ProbeLikelihood, Readings, likelihoods_of
from logger.cure.forecast.parameters import Parameter, members_at, parameters_of, reach
from logger.cure.solver.ensemble import EnsembleResult, EnsembleRun, Intervention, RoomHistory, run_ensemble
from logger.cure.solver.fans import FanEffect, interventions_of
from logger.cure.solver.march import Resolution
from logger.plan.file import Plan

#: Cells of the mesh in each direction against a prediction's.
FINENESS = 0.6
#: Part of the fan's cooling that arrives: 1 as it should, 0 like still air. It may not turn at all: a wide prior.
FAN_PART = Parameter("fan_part", 0.5, "fan-cools-more", "fan-cools-less", middle=1.0)
#: Readings whose χ² per piece is above this ask for another explanation.
UNEXPLAINED = 2.0
#: Another window of heating must explain this much more: half a χ² of this size.
WORTH = 10.0
MOST_WINDOWS = 2
#: Rounds of the search at most.
ROUNDS = 12
#: Other places that the search may start from: the first time, and when an earlier forecast says where to look.
PILOTS, PILOTS_AFTER = 24, 6


@dataclass(frozen=True)
class ObservedPour:
    """A pour until at_h: its plan, its readings by place, its room, and for how long a model error lasts, h.

    fans: the fan's runs so far. windows: when something warmed its surface.
    """

    plan: Plan
    history: Mapping[str, Readings]
    at_h: float
    room: RoomHistory
    memory_h: float
    fans: tuple[FanEffect, ...] = ()
    windows: tuple[Window, ...] = ()

    @cached_property
    def probes(self) -> tuple[ProbeLikelihood, ...]:
        """The evidence of each probe."""
        edges = [edge for window in self.windows for edge in window if edge is not None]
        edges += [edge for fan in self.fans for edge in (fan.run.from_h, fan.run.to_h) if edge is not None]
        room_c = float(self.room.celsius.mean())
        return likelihoods_of(self.history, self.at_h, self.memory_h, room_c, edges)

    @cached_property
    def times(self) -> Floats:
        """Hours at which any probe was read, and at_h."""
        return np.unique(np.concatenate([*(p.times for p in self.probes), [self.at_h]]))

    @property
    def unknowns(self) -> tuple[Parameter, ...]:
        """The plan's unknowns, how much of a fan's cooling arrives, and the strength of each window of heating."""
        fan = (FAN_PART,) if self.fans else ()
        return parameters_of(self.plan) + fan + (HEATING,) * len(self.windows)

    def flux_w_m2(self, theta: Floats) -> Floats:
        """Absorbed heat of each window in each member (M, windows)."""
        return HEATING.value(theta[:, theta.shape[1] - len(self.windows) :])

    def fan_part(self, theta: Floats) -> Floats | None:
        """How much of the fan's cooling arrives in each member (M,); None where no fan is an unknown."""
        if not self.fans:
            return None
        return np.maximum(FAN_PART.value(theta[:, len(parameters_of(self.plan))]), 0.0)

    def fan_changes(self, theta: Floats) -> list[Intervention]:
        """Return the fan's runs in each member."""
        part = self.fan_part(theta)
        if part is None:
            return []
        top = np.asarray(members_at(self.unknowns, theta).top_factor, dtype=float)
        return interventions_of(self.plan, self.fans, top, part)

    def done(self, theta: Floats) -> list[Intervention]:
        """Return what was done to the pour: each member's fan and heating."""
        heated = changes_of(self.windows, self.flux_w_m2(theta))
        return [*self.fan_changes(theta), *heated]

    def run(self, theta: Floats) -> EnsembleResult:
        """Return the members θ (M, p) until at_h."""
        return run_ensemble(
            self.plan,
            members_at(self.unknowns, theta),
            EnsembleRun(hours=self.at_h, output_hours=self.times, resolution=Resolution(FINENESS)),
            room=self.room,
            changes=self.done(theta),
        )

    def read(self, theta: Floats, result: EnsembleResult) -> list[Floats]:
        """Return what each probe's pieces would be, one (M, n) per probe."""
        room_c = np.interp(self.times, self.room.hours, self.room.celsius)
        out = []
        for probe in self.probes:
            values: Floats = getattr(result, probe.kind + "_c")
            part = reach(self.unknowns, theta, probe.kind)
            if part is not None:
                values = values + part[:, None] * (values - room_c)
            out.append(np.asarray(values[:, np.searchsorted(self.times, probe.times)] @ probe.gather.T))
        return out

    def model(self, theta: Floats) -> list[Floats]:
        """Run and read."""
        return self.read(theta, self.run(theta))


def infer(
    observed: ObservedPour,
    rng: np.random.Generator,
    start: Floats | None = None,
    *,
    rounds: int = ROUNDS,
    axes: Floats | None = None,
) -> tuple[ObservedPour, Posterior]:
    """Return the likeliest θ; where no θ explains the readings, also with heat on the surface for a while.

    start: where to look first, and axes: of the spread there. rounds: how long to look at most.
    """
    count = len(observed.unknowns)
    begin = np.zeros(count)
    if start is not None:
        begin[: len(start)] = start[:count]
    pilots = PILOTS if start is None else PILOTS_AFTER
    places = np.vstack([np.zeros(count), draw_normal(rng, pilots, count)])
    best = fit(observed.model, observed.probes, begin, rounds=rounds, pilots=places, axes=axes)
    for _ in range(MOST_WINDOWS):
        if max(best.misfit.values(), default=0.0) < UNEXPLAINED:
            break
        last = observed.windows[-1][1] if observed.windows else 0.0
        if last is None:
            break
        onset = onset_h(observed.history, observed.at_h, last)
        if onset is None:
            break
        end = end_h(observed.history, observed.at_h, onset + 0.1)
        tried = []
        for window in ((onset, None), (onset, end)) if end is not None else ((onset, None),):
            other = replace(observed, windows=(*observed.windows, window))
            here = np.vstack(
                [np.append(best.best, f) for f in (-1.0, 0.0, 1.5)] + [np.append(0.0 * best.best, 0.0)]
            )
            tried.append((other, fit(other.model, other.probes, here[1], rounds=rounds, pilots=here)))
        other, posterior = min(tried, key=lambda pair: pair[1].cost)
        if posterior.cost > best.cost - WORTH:
            break
        observed, best = other, posterior
    return observed, best
