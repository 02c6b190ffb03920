"""What the probes would have read so far if the unknowns were θ: the model that the readings are compared with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.cure.assimilate import Posterior, draw_normal, fit
from logger.cure.ensemble import Change, EnsembleResult, RoomHistory, run_ensemble
from logger.cure.evidence import Probe, Readings, evidence_of
from logger.cure.heating import HEATING, Window, changes_of, end_h, onset_h
from logger.cure.unknowns import Unknown, members_at, reach, unknowns_of
from logger.plan_file import Plan

Floats = NDArray[np.float64]

#: Cells of the mesh in each direction against a prediction's.
FINENESS = 0.6
#: Readings whose χ² per piece is above this ask for another explanation.
UNEXPLAINED = 2.0
#: Another window of heating must explain this much more: half a χ² of this size.
WORTH = 10.0
MOST_WINDOWS = 2
#: Other places that the search may start from: the first time, and when an earlier forecast says where to look.
PILOTS, PILOTS_AFTER = 24, 6


@dataclass(frozen=True)
class Seen:
    """A pour until at_h: its plan, what was done to it, its room, its probes, and when something warmed its surface."""

    plan: Plan
    at_h: float
    room: RoomHistory
    probes: tuple[Probe, ...]
    times: Floats
    changes: tuple[Change, ...] = ()
    windows: tuple[Window, ...] = ()

    @property
    def unknowns(self) -> tuple[Unknown, ...]:
        """The plan's unknowns and the strength of each window of heating."""
        return unknowns_of(self.plan) + (HEATING,) * len(self.windows)

    def flux_w_m2(self, theta: Floats) -> Floats:
        """Absorbed heat of each window in each member (M, windows)."""
        return HEATING.value(theta[:, theta.shape[1] - len(self.windows) :])

    def done(self, theta: Floats) -> list[Change]:
        """What was done to the pour, with each member's heating."""
        return [*self.changes, *changes_of(self.windows, self.flux_w_m2(theta))]

    def run(self, theta: Floats) -> EnsembleResult:
        """The members θ (M, p) until at_h."""
        return run_ensemble(self.plan, members_at(self.unknowns, theta), hours=self.at_h,
                            output_hours=self.times, room=self.room, changes=self.done(theta),
                            fineness=FINENESS)  # fmt: skip

    def read(self, theta: Floats, result: EnsembleResult) -> list[Floats]:
        """What each probe's pieces would be, one (M, n) per probe."""
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


def seen_of(
    plan: Plan, history: Mapping[str, Readings], at_h: float, room: RoomHistory, memory_h: float,
    changes: Sequence[Change], windows: tuple[Window, ...] = (),
) -> Seen:  # fmt: skip
    """The pour as its probes saw it until at_h."""
    edges = [edge for window in windows for edge in window if edge is not None]
    probes = evidence_of(history, at_h, memory_h, float(room.celsius.mean()), edges)
    times = np.unique(np.concatenate([*(p.times for p in probes), [at_h]]))
    return Seen(plan, at_h, room, probes, times, tuple(changes), windows)


def explain(
    seen: Seen, history: Mapping[str, Readings], memory_h: float, rng: np.random.Generator,
    start: Floats | None = None,
) -> tuple[Seen, Posterior]:  # fmt: skip
    """The likeliest θ; where no θ explains the readings, also with heat on the surface for a while."""
    count = len(seen.unknowns)
    begin = np.zeros(count) if start is None else start[:count]
    pilots = PILOTS if start is None else PILOTS_AFTER
    places = np.vstack([np.zeros(count), draw_normal(rng, pilots, count)])
    best = fit(seen.model, seen.probes, begin, pilots=places)
    for _ in range(MOST_WINDOWS):
        if max(best.misfit.values(), default=0.0) < UNEXPLAINED:
            break
        last = seen.windows[-1][1] if seen.windows else 0.0
        if last is None:
            break
        onset = onset_h(history, seen.at_h, last)
        if onset is None:
            break
        end = end_h(history, seen.at_h, onset + 0.1)
        tried = []
        for window in ((onset, None), (onset, end)) if end is not None else ((onset, None),):
            other = seen_of(seen.plan, history, seen.at_h, seen.room, memory_h, seen.changes,
                            (*seen.windows, window))  # fmt: skip
            here = np.vstack(
                [np.append(best.best, f) for f in (-1.0, 0.0, 1.5)] + [np.append(0.0 * best.best, 0.0)]
            )
            tried.append((other, fit(other.model, other.probes, here[1], pilots=here)))
        other, found = min(tried, key=lambda pair: pair[1].cost)
        if found.cost > best.cost - WORTH:
            break
        seen, best = other, found
    return seen, best
