"""What comes next, and when: looks, peak, gel, layers, release. Pure.

Times are hours since pouring; the forecast's middle value where there is one, else the plan's prediction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.pour import Stage
from logger.quantities import peak as peak_mark
from web.views.predicted import Foretold
from web.views.words import not_within

#: Hours after its time for which something stays on the list.
STAYS_H = 0.5
#: What a later layer will find → what to do about it.
JOINTS = {
    "too early": "not before it has gelled",
    "bonds": "it bonds without a scuff",
    "scuff": "scuff, wash and dry first",
}


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
    foretold: Foretold,
    forecast: Mapping[str, Any] | None,
    looks_due_h: Sequence[float] = (),
    hottest_c: float | None = None,
) -> list[Coming]:
    """Return what is still to come at an hour of the pour, the soonest first."""
    items = [
        Coming(
            "Look at the form",
            at_h,
            sure="promised for the first hour",
            ask="dry below, level, no smell of heat",
        )
        for at_h in looks_due_h[:2]
    ]
    peak_c, peak_h, sure = foretold.core_peak_c, foretold.core_peak_at_h, "predicted from the plan"
    if forecast is not None:
        sure = f"forecast at {forecast['at_h']:.1f} h"
        peak_c, peak_h = forecast["core_peak_c"]["p50"], forecast["core_peak_at_h"]["p50"]
    # A foretold peak below what has been measured is no news to anybody.
    if peak_h > 0.05 and (hottest_c is None or hottest_c <= peak_c + 1.0):
        items.append(
            Coming(f"Core at its hottest, about {peak_mark(peak_c)}", peak_h, sure=sure, ask="be in reach")
        )
    if foretold.gel_at_h is not None:
        items.append(Coming("Resin may gel", foretold.gel_at_h, ask="from then on do not disturb it"))
    items += [
        Coming(f"Pour layer {number}", at_h, sure="planned", ask=JOINTS[finds])
        for number, (at_h, finds) in enumerate(foretold.layers, start=2)
    ]
    if foretold.bonds_from_h is not None and foretold.bonds_until_h is not None:
        items.append(
            Coming(
                "A next layer bonds without a scuff",
                foretold.bonds_from_h,
                foretold.bonds_until_h,
                ask="as long as a thumbnail still sinks in; later: scuff, wash and dry. Plan that layer "
                "first: on warm resin it gets hotter than one alone",
            )
        )
    items += _release(foretold.release_at_h, forecast, sure, hour)
    if stage is Stage.RELEASED:
        items = []
    if foretold.full_cure_at_h is not None:
        items.append(Coming("Fully cured", foretold.full_cure_at_h, ask="then it may take load and heat"))
    ahead = [item for item in items if (item.until_h or item.at_h) > hour - STAYS_H]
    return sorted(ahead, key=lambda item: item.at_h)


def _release(
    planned_h: float | None, forecast: Mapping[str, Any] | None, sure: str, hour: float
) -> list[Coming]:
    """When the form may be opened; where the forecast does not see that within the run, that, and what was planned."""
    release = None if forecast is None else forecast.get("release_at_h")
    if release is None:
        # Forecasts of older programs are silent on it where it may take longer than the run.
        return [] if planned_h is None else [_opened(planned_h, "predicted from the plan")]
    within_h = release.get("within_h")
    if release["p50"] is not None:
        late = release["p95"] is None and within_h is not None
        return [_opened(release["p50"], f"{sure}; {not_within(within_h)}" if late else sure)]
    # It stays on the list for as long as that is so.
    items = [
        Coming(
            "Probably not hard yet",
            max(within_h, hour),
            sure=sure,
            ask=f"{not_within(within_h)}; keep the room warm and leave the form closed",
        )
    ]
    if planned_h is not None and planned_h > within_h:
        items.append(_opened(planned_h, "predicted from the plan"))
    return items


def _opened(at_h: float, sure: str) -> Coming:
    return Coming(
        "Hard and cool enough to open the form",
        at_h,
        sure=sure,
        ask="press with a gloved thumb first; flip once it rings hard",
    )
