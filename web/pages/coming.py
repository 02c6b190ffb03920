"""What comes next, and when: looks, peak, gel, layers, release. Pure.

Times are hours since pouring; the forecast's middle value where there is one, else the plan's prediction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.pour import Stage
from web.pages.course import Foretold

#: Hours after its time for which something stays on the list.
STAYS_H = 0.5
#: What a later layer will find → what to do about it.
JOINTS = {"too early": "not before it has gelled", "bonds": "it bonds without a scuff",
          "scuff": "scuff, wash and dry first"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Coming:
    """One thing to come. `at_h` counts from pouring; `sure` says what it rests on."""

    what: str
    at_h: float
    until_h: float | None = None
    sure: str = "predicted from the plan"
    ask: str = ""


def coming(
    stage: Stage,
    hour: float,
    told: Foretold,
    forecast: Mapping[str, Any] | None,
    looks_due_h: Sequence[float] = (),
    hottest_c: float | None = None,
) -> list[Coming]:
    """What is still to come at an hour of the pour, the soonest first."""
    found = [Coming("Look at the form", at_h, sure="promised for the first hour",
                    ask="dry below, level, no smell of heat") for at_h in looks_due_h[:2]]  # fmt: skip
    peak_c, peak_h, sure = told.core_peak_c, told.core_peak_at_h, "predicted from the plan"
    release_h = told.release_at_h
    if forecast is not None:
        sure = f"forecast at {forecast['at_h']:.1f} h"
        peak_c, peak_h = forecast["core_peak_c"]["p50"], forecast["core_peak_at_h"]["p50"]
        if forecast.get("release_at_h"):
            release_h = forecast["release_at_h"]["p50"]
    # A foretold peak below what has been measured is no news to anybody.
    if peak_h > 0.05 and (hottest_c is None or hottest_c <= peak_c + 1.0):
        found.append(Coming(f"Core at its hottest, about {{{peak_c:.3f}}}", peak_h, sure=sure,
                            ask="be in reach"))  # fmt: skip
    if told.gel_at_h is not None:
        found.append(Coming("Resin may gel", told.gel_at_h, ask="from then on do not disturb it"))
    found += [
        Coming(f"Pour layer {number}", at_h, sure="planned", ask=JOINTS[finds])
        for number, (at_h, finds) in enumerate(told.layers, start=2)
    ]
    if told.bonds_from_h is not None and told.bonds_until_h is not None:
        found.append(Coming("A next layer bonds without a scuff", told.bonds_from_h, told.bonds_until_h,
                            ask="as long as a thumbnail still sinks in; later: scuff, wash and dry"))  # fmt: skip
    if release_h is not None:
        found.append(Coming("Hard and cool enough to open the form", release_h, sure=sure,
                            ask="press with a gloved thumb first; flip once it rings hard"))  # fmt: skip
    if stage is Stage.RELEASED:
        found = []
    if told.full_cure_at_h is not None:
        found.append(Coming("Fully cured", told.full_cure_at_h, ask="then it may take load and heat"))
    kept = [item for item in found if (item.until_h or item.at_h) > hour - STAYS_H]
    return sorted(kept, key=lambda item: item.at_h)
