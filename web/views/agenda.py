"""What comes next, and when: looks, peak, gel, layers, release. Pure.

Times are hours since pouring; the forecast's middle value where there is one, else the plan's prediction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

from logger.condition.peak_call import Call, PeakCall
from logger.pour import Stage
from logger.quantities import hours
from logger.quantities import peak as peak_mark
from logger.words.phrase import phrase
from web.views.predicted import Foretold
from web.views.words import not_within

#: The name of a look at the form among what comes.
LOOK_AT_THE_FORM = "look-at-the-form"
#: Hours after its time for which something stays on the list.
STAYS_H = 0.5
#: What a later layer will find → what to do about it.
JOINTS = {
    "too early": phrase("not before it has gelled"),
    "bonds": phrase("it bonds without a scuff"),
    "scuff": phrase("scuff, wash and dry first"),
}


#: Calls after which the resin has gelled: it was at its hottest, or hotter than anybody foretold.
GELLED = (Call.PAST, Call.PASSED, Call.REFUTED)
#: Calls with which no peak is announced.
NO_PEAK = (Call.PAST, Call.REFUTED, Call.UNKNOWN)


@dataclass(frozen=True, slots=True)
class Coming:
    """One thing to come. `name` stays the same when its time or its words change; `at_h` counts from pouring; `sure`
    says what it rests on; `short`: what, without figures; "" where it has none."""

    name: str
    what: str
    at_h: float
    until_h: float | None = None
    sure: str = phrase("predicted from the plan")
    ask: str = ""
    short: str = ""


def coming(
    stage: Stage,
    hour: float,
    foretold: Foretold,
    forecast: Mapping[str, Any] | None,
    peak: PeakCall,
    looks_due_h: Sequence[float] = (),
) -> list[Coming]:
    """Return what is still to come at an hour of the pour, the soonest first.

    peak: what the pour's judgement says of it. What the plan foretells beside it comes at the pace that the forecast
    shows, so that nothing is announced in an order in which it cannot happen.
    """
    items = [
        Coming(
            LOOK_AT_THE_FORM,
            phrase("Look at the form"),
            at_h,
            sure=phrase("first-hour check"),
            ask=phrase("dry below, level, no smell of heat"),
        )
        for at_h in looks_due_h[:2]
    ]
    sure = (
        phrase("predicted from the plan")
        if forecast is None
        else phrase("forecast at {after}", after=hours(forecast["at_h"]))
    )
    items += _peak(peak, sure)
    pace, by = _pace(foretold, forecast)
    gel_h, gel_by = _gel(foretold, forecast, peak, sure)
    if gel_h is not None:
        items.append(
            Coming(
                "resin-may-gel",
                phrase("Resin may gel"),
                gel_h,
                sure=gel_by,
                ask=phrase("from then on do not disturb it"),
            )
        )
    items += [
        Coming(
            f"pour-layer-{number}",
            phrase("Pour layer {number}", number=number),
            at_h,
            sure=phrase("planned"),
            ask=JOINTS[finds],
        )
        for number, (at_h, finds) in enumerate(foretold.layers, start=2)
    ]
    if foretold.bonds_from_h is not None and foretold.bonds_until_h is not None:
        items.append(
            Coming(
                "a-next-layer-bonds-without-a-scuff",
                phrase("A next layer bonds without a scuff"),
                pace * foretold.bonds_from_h,
                pace * foretold.bonds_until_h,
                sure=by,
                ask=phrase(
                    "as long as a thumbnail still sinks in; later: scuff, wash and dry. Plan that layer "
                    "first: on warm resin it gets hotter than one alone"
                ),
            )
        )
    items += _release(foretold.release_at_h, forecast, sure, hour)
    if stage is Stage.RELEASED:
        items = []
    cured_h = full_cure_h(foretold, forecast)
    if cured_h is not None:
        items.append(
            Coming(
                "fully-cured",
                phrase("Fully cured"),
                cured_h,
                sure=by,
                ask=phrase("then it may take load and heat"),
            )
        )
    ahead = [item for item in items if (item.until_h or item.at_h) > hour - STAYS_H]
    return sorted(ahead, key=lambda item: item.at_h)


def _peak(peak: PeakCall, sure: str) -> list[Coming]:
    """Return the peak to come; nothing where it is past, or refuted by what has been measured."""
    to_come = peak.peak
    if (
        to_come is None
        or to_come.at_h <= 0.05
        or peak.call in NO_PEAK
        or (peak.planned and peak.call is Call.PASSED)
    ):
        return []
    what = phrase("Core at its hottest, about {peak}", peak=peak_mark(to_come.middle_c))
    if not peak.planned and peak.call in (Call.OPEN, Call.LIKELY_OVER, Call.PASSED):
        what = phrase(
            "Core at its hottest, about {low} to {high}",
            low=peak_mark(floor(to_come.low_c)),
            high=peak_mark(ceil(to_come.high_c)),
        )
    return [
        Coming(
            "core-at-its-hottest",
            what,
            to_come.at_h,
            sure=sure,
            ask=phrase("stay nearby"),
            short=phrase("Core at its hottest"),
        )
    ]


def _gel(
    foretold: Foretold, forecast: Mapping[str, Any] | None, peak: PeakCall, sure: str
) -> tuple[float | None, str]:
    """Return when the resin may gel, and what that rests on; None once it has, or where nobody knows any more."""
    gel = None if forecast is None else forecast.get("gel_at_h")
    if forecast is not None and gel is not None:
        to_come = gel["p50"] is not None and gel["p50"] > forecast["at_h"] + 1e-3
        return (gel["p50"] if to_come else None), sure
    if foretold.gel_at_h is None or peak.call in GELLED:
        return None, ""
    pace, by = _pace(foretold, forecast)
    return pace * foretold.gel_at_h, by


def _pace(foretold: Foretold, forecast: Mapping[str, Any] | None) -> tuple[float, str]:
    """Return how much later than planned things come, as a factor of the hours, and what that rests on."""
    if forecast is None or foretold.core_peak_at_h <= 0.05:
        return 1.0, phrase("predicted from the plan")
    return (
        forecast["core_peak_at_h"]["p50"] / foretold.core_peak_at_h,
        phrase("predicted from the plan, at the pace that the readings show"),
    )


def full_cure_h(foretold: Foretold, forecast: Mapping[str, Any] | None) -> float | None:
    """Return when it is fully cured: as much later than planned as it is hard; None while that is not known."""
    planned_h = foretold.full_cure_at_h
    release = None if forecast is None else forecast.get("release_at_h")
    if planned_h is None or release is None or foretold.release_at_h is None:
        return planned_h
    if release["p50"] is None:
        return None
    hard_h = float(release["p50"])
    return max(hard_h, planned_h + max(hard_h - foretold.release_at_h, 0.0))


def _release(
    planned_h: float | None, forecast: Mapping[str, Any] | None, sure: str, hour: float
) -> list[Coming]:
    """When the form may be opened; where the forecast does not see that within the run, that, and what was planned."""
    release = None if forecast is None else forecast.get("release_at_h")
    if release is None:
        # Forecasts of older programs are silent on it where it may take longer than the run.
        return [] if planned_h is None else [_opened(planned_h, phrase("predicted from the plan"))]
    within_h = release.get("within_h")
    if release["p50"] is not None:
        late = release["p95"] is None and within_h is not None
        return [
            _opened(
                release["p50"],
                phrase("{sure}; {late}", sure=sure, late=not_within(within_h)) if late else sure,
            )
        ]
    # It stays on the list for as long as that is so.
    items = [
        Coming(
            "probably-not-hard-yet",
            phrase("Probably not hard yet"),
            max(within_h, hour),
            sure=sure,
            ask=phrase("{late}; keep the room warm and leave the form closed", late=not_within(within_h)),
        )
    ]
    if planned_h is not None and planned_h > within_h:
        items.append(_opened(planned_h, phrase("predicted from the plan")))
    return items


def _opened(at_h: float, sure: str) -> Coming:
    return Coming(
        "hard-and-cool-enough-to-open-the-form",
        phrase("Hard and cool enough to open the form"),
        at_h,
        sure=sure,
        ask=phrase("press with a gloved thumb first; flip once it rings hard"),
    )
