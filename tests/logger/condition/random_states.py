"""Random states of a pour, coherent in themselves: a band and a chance are of one set of peaks. All invented."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import numpy as np

from logger.alarms.inputs import Remedy
from logger.alarms.registry import KINDS
from logger.alarms.state import Phase
from logger.condition.evidence import Evidence, ExpectedPeak, OpenAlarm, Thermometer
from logger.pour import LIVE, Stage

START_MS = 1_700_000_000_000
MEMBERS = 64


def states(count: int, seed: int = 0) -> Iterator[tuple[Evidence, int]]:
    """Yield so many states, each with its moment (true time, ms)."""
    rng = Random(seed)
    for _ in range(count):
        hour = rng.choice((rng.uniform(0.0, 1.0), rng.uniform(0.0, 80.0)))
        now_ms = START_MS + round(hour * 3_600_000)
        yield _state(rng, hour, now_ms), now_ms


def _state(rng: Random, hour: float, now_ms: int) -> Evidence:
    limit_c = rng.choice((55.0, 60.0, 75.0))
    probes = tuple(_probe(rng, place, now_ms) for place in _places(rng))
    cores = [p.celsius for p in probes if p.kind == "core" and p.celsius is not None]
    hottest = None
    if cores:
        hottest = max(cores) + rng.choice((0.0, 0.0, rng.uniform(0.0, 60.0))), rng.uniform(0.0, hour)
    return Evidence(
        stage=rng.choice((*LIVE, *LIVE, *LIVE, Stage.RELEASED)),
        started_ms=START_MS,
        limit_c=limit_c,
        thermometers=probes,
        alarms=[_alarm(rng, number, now_ms) for number in range(rng.choice((0, 0, 0, 1, 2, 4)))],
        hottest=hottest,
        planned=_planned(rng) if rng.random() < 0.9 else None,
        forecast=_forecast(rng, limit_c, hour) if rng.random() < 0.8 else None,
        look_due_ms=now_ms + rng.randint(-600_000, 600_000) if rng.random() < 0.3 else None,
        unjudged="its readings have not been judged for 90 s: go there and look"
        if rng.random() < 0.05
        else None,
    )


def _places(rng: Random) -> list[str]:
    places = ["core", "core-2", "surface", "underside", "room"]
    return sorted(rng.sample(places, rng.randint(0, 5)), key=places.index)


def _probe(rng: Random, place: str, now_ms: int) -> Thermometer:
    if rng.random() < 0.05:
        return Thermometer(place, None, None, rng.choice((None, "missing")))
    celsius = round(rng.choice((rng.uniform(15.0, 50.0), rng.uniform(50.0, 120.0), 60.0, 60.1)), 3)
    age_ms = rng.choice((0, 5_000, 5_000, 5_000, 100_000, 3_600_000))
    return Thermometer(place, celsius, now_ms - age_ms, rng.choice((None, None, None, None, "bad-crc")))


def _alarm(rng: Random, number: int, now_ms: int) -> OpenAlarm:
    kind = KINDS[rng.choice(list(KINDS))]
    phase = rng.choice((Phase.RAISED, Phase.ACKNOWLEDGED, Phase.RETURNED))
    by = "Ada" if phase is Phase.ACKNOWLEDGED else None
    raised_ms = now_ms - rng.randint(0, 7_200_000)
    return OpenAlarm(
        number + 1, kind.name, kind.priority, phase, kind.limit, raised_ms, by, raised_ms if by else None
    )


def _planned(rng: Random) -> ExpectedPeak:
    peak_c, at_h = rng.choice((rng.uniform(25.0, 58.0), rng.uniform(58.0, 345.0))), rng.uniform(0.2, 40.0)
    return ExpectedPeak(peak_c, peak_c, peak_c, 0.0, at_h, at_h)


def _forecast(rng: Random, limit_c: float, hour: float) -> ExpectedPeak:
    """A forecast of some time ago, from one set of members' peaks."""
    centre, spread = rng.uniform(25.0, 120.0), rng.choice((0.3, 2.0, 15.0))
    peaks = np.array([rng.gauss(centre, spread) for _ in range(MEMBERS)])
    low, middle, high = np.quantile(peaks, (0.05, 0.5, 0.95), method="hazen")
    made_h = max(0.0, hour - rng.uniform(0.0, 2.0))
    at_h = max(0.0, made_h + rng.uniform(-6.0, 20.0))
    chance = float(np.mean(peaks > limit_c))
    later = made_h + rng.uniform(0.0, 4.0)
    return ExpectedPeak(
        float(low),
        float(middle),
        float(high),
        chance,
        at_h,
        at_h + rng.uniform(0.0, 3.0),
        later if 0.0 < chance < 1.0 and rng.random() < 0.8 else None,
        later if chance > 0.05 else None,
        rng.choice((None, Remedy("fans", "fans now: {78 °C} → {57 °C}"))),
        made_h,
    )
