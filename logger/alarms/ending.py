"""May a pour take a step that cannot be taken back for long: first hour over, out of the form, given up, sealed? Pure.

Not while its core is over the limit, on the way there, not hard, or while that is not known; nor while an alarm of
high rank is up, or looks of the first hour are still asked for. What a person may answer for stands in
`Obstacle.signable`: an exception by name and reason, a step of its own. A core that is seen to be over its limit, or to
rise towards it, nobody signs for: that ends by itself, or with the probe.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from logger.alarms.book import AlarmEntry
from logger.alarms.conditions.heat import EARLY_C, FORECAST_CREDIT_S, core_will_overheat
from logger.alarms.inputs import AlarmLimits, ForecastAnswer, LooksSummary
from logger.alarms.kind import Priority
from logger.alarms.place_facts import at_place, head_place
from logger.alarms.signal import ProbeSignal
from logger.alarms.state import AlarmState
from logger.facts import Fact, fact, sentence
from logger.pour import Stage
from logger.quantities import hours as hours_of
from logger.quantities import peak as peak_mark
from logger.quantities import rate, temperature
from logger.units import HOUR_MS

#: A core that gets to its limit within so many hours, as it rises now, is on its way there (project choice).
AHEAD_H = 4.0
#: Less than this is no rise: three spreads of a slope over a quarter of an hour at 0.1 °C of noise, °C/h.
LEAST_RISE_C_H = 1.0
#: A core whose trend is not known yet is known to be cool only this far below its limit, °C.
FAR_C = 10.0
#: Once a pour that was not known to be cool has ended, its core has cooled or burnt by then (project choice).
SETTLES_H = 24.0
#: So long may a signed exception be used, min.
EXCEPTION_MIN = 30.0


class ObstacleKind(StrEnum):
    """What keeps a watch from ending, the gravest first."""

    RISING = "rising"  #: seen to rise over the limit, or towards it
    HOT = "hot"  #: seen over the limit
    WAS_HOT = "was-hot"  #: over the limit when it was last known, and not seen to have cooled
    FORECAST = "forecast"  #: foretold to pass the limit
    UNKNOWN = "unknown"  #: nobody knows how hot the core is
    ALARM = "alarm"  #: an alarm of high rank is up, acknowledged or not
    UNCURED = "uncured"  #: the core is not hard yet, or nobody knows whether it is
    LOOKS = "looks"  #: looks of the first hour are still asked for


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One thing in the way of an end. `text`: what it is; `about`: the key of the alarm that it is."""

    why: ObstacleKind
    text: str
    about: str = ""

    @property
    def signable(self) -> bool:
        """Whether a person may let it pass by name and reason: not what a probe shows at this moment."""
        return self.why not in (ObstacleKind.RISING, ObstacleKind.HOT)

    @property
    def name(self) -> str:
        """What an exception is signed for: of an alarm, that alarm and no other."""
        return f"{self.why}:{self.about}" if self.about else str(self.why)


@dataclass(frozen=True, slots=True)
class CoreEvidence:
    """What a pour's core is judged by. Times in ms on the steady timeline.

    signals: of every probe of the pour; doubted: probes whose readings are doubted; states: of the alarms about the
    core; foretold: the frozen prediction's (peak °C, hours after pouring), where no forecast was made.
    """

    signals: Sequence[ProbeSignal]
    limits: AlarmLimits
    started_ms: int
    states: Mapping[str, AlarmState]
    doubted: frozenset[str] = frozenset()
    answer: ForecastAnswer | None = None
    foretold: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class StepEvidence:
    """What a step is judged by. entries: its alarms that are not plainly normal; open_from_h:
    from when the form may be opened, h after pouring, None: not known; next_look_ms: when the next look is due, steady;
    None: all were made."""

    core: CoreEvidence
    entries: Sequence[AlarmEntry]
    open_from_h: float | None
    looks: LooksSummary
    next_look_ms: int | None


#: The alarms about the core.
OF_THE_CORE = ("core-hot", "core-will-overheat")
#: What of the core counts before a step. The first hour's end leaves the watch on; a seal comes after the watch, and
#: whoever ended that has answered for what was not known then.
_SEEN = (ObstacleKind.RISING, ObstacleKind.HOT)
_KNOWN = (*_SEEN, ObstacleKind.WAS_HOT, ObstacleKind.FORECAST)


def step_obstacles(to: Stage, evidence: StepEvidence, now_ms: int) -> tuple[Obstacle, ...]:
    """Return what stands in the way of a pour's step now, the gravest first."""
    core = obstacles(evidence.core, now_ms)
    if to is Stage.CLOSED:
        return tuple(o for o in core if o.why in _KNOWN)
    if to is Stage.CURING:
        core = tuple(o for o in core if o.why in _SEEN)
        return (*core, *_high_alarms(evidence, core), *_open_looks(evidence, now_ms))
    return (*core, *_high_alarms(evidence, core), *_uncured(evidence, now_ms))


def _high_alarms(evidence: StepEvidence, core: Sequence[Obstacle]) -> list[Obstacle]:
    """Return the alarms of high rank that are up, but for what is said of the core already."""
    covered = set(OF_THE_CORE) if any(o.why in _KNOWN for o in core) else set()
    if any(o.why is ObstacleKind.UNKNOWN for o in core):
        covered.add("core-unwatched")
    return [
        Obstacle(
            ObstacleKind.ALARM,
            _alarm_up(entry),
            entry.key,
        )
        for entry in evidence.entries
        if entry.state.up and entry.kind.priority is Priority.HIGH and entry.kind.name not in covered
    ]


def _alarm_up(entry: AlarmEntry) -> Fact:
    reason = sentence(entry.state.reason)
    if not reason:
        return fact("end-alarm-up", title=entry.kind.title)
    return fact("end-alarm-up-because", title=entry.kind.title, reason=reason)


def _uncured(evidence: StepEvidence, now_ms: int) -> list[Obstacle]:
    hours = _hours(evidence.core, now_ms)
    if evidence.open_from_h is None:
        return [Obstacle(ObstacleKind.UNCURED, fact("end-hardness-unknown"))]
    if hours >= evidence.open_from_h:
        return []
    left = hours_of(evidence.open_from_h - hours)
    return [Obstacle(ObstacleKind.UNCURED, fact("end-not-hard", left=left))]


def _open_looks(evidence: StepEvidence, now_ms: int) -> list[Obstacle]:
    due_ms = evidence.next_look_ms
    if evidence.looks.over or due_ms is None:
        return []
    span = hours_of(abs(due_ms - now_ms) / HOUR_MS)
    text = fact("end-check-missed", ago=span) if due_ms <= now_ms else fact("end-check-to-come", left=span)
    return [Obstacle(ObstacleKind.LOOKS, text)]


def obstacles(evidence: CoreEvidence, now_ms: int) -> tuple[Obstacle, ...]:
    """Return what keeps the watch from ending now, the gravest first; nothing when the core is known to be cool, and to
    stay so."""
    cores = [signal for signal in evidence.signals if signal.base == "core" and signal.believed_c is not None]
    fresh = [t for t in cores if now_ms - t.believed_ms <= t.recent_ms and t.probe not in evidence.doubted]
    # The gravest is enough: a core that rises is not reported as hot as well.
    by_readings = _rising(fresh, evidence) or _hot(fresh, cores, evidence, now_ms)
    return tuple(by_readings or [*_foretold(evidence, now_ms), *_unknown(fresh, cores, evidence, now_ms)])


def _rising(fresh: Sequence[ProbeSignal], evidence: CoreEvidence) -> list[Obstacle]:
    limit = evidence.limits.max_core_c
    for signal in sorted(fresh, key=_hottest_first):
        slope, value = signal.slope_c_h(), signal.believed_c
        if slope is None or value is None or slope < LEAST_RISE_C_H:
            continue
        said = {
            "place": head_place(signal.place),
            "core": temperature(value),
            "limit": temperature(limit, 0),
            "by": rate(slope),
        }
        if value > limit - EARLY_C:
            return [Obstacle(ObstacleKind.RISING, fact("end-rising-over", **said))]
        left_h = (limit - value) / slope
        if left_h <= AHEAD_H:
            text = fact("end-rising-towards", left=hours_of(left_h), **said)
            return [Obstacle(ObstacleKind.RISING, text)]
    return []


def _hot(
    fresh: Sequence[ProbeSignal], cores: Sequence[ProbeSignal], evidence: CoreEvidence, now_ms: int
) -> list[Obstacle]:
    limit = evidence.limits.max_core_c
    over = [signal for signal in fresh if (signal.believed_c or 0.0) > limit - EARLY_C]
    if over:
        signal = min(over, key=_hottest_first)
        core, place = temperature(signal.believed_c or 0.0), head_place(signal.place)
        text = fact("end-over", place=place, core=core, limit=temperature(limit, 0))
        return [Obstacle(ObstacleKind.HOT, text)]
    # What was over the limit when it was last known has not been seen to cool.
    lost = [t for t in cores if t not in fresh and (t.believed_c or 0.0) > limit - 2 * EARLY_C]
    if lost:
        signal = min(lost, key=_hottest_first)
        age_ms, place = now_ms - signal.believed_ms, signal.place
        known = {"core": temperature(signal.believed_c or 0.0), "limit": temperature(limit, 0)}
        if age_ms <= signal.recent_ms:
            text = fact("end-doubted-over", place=at_place(place), **known)
        else:
            text = fact("end-was-over", place=head_place(place), ago=hours_of(age_ms / HOUR_MS), **known)
        return [Obstacle(ObstacleKind.WAS_HOT, text)]
    if evidence.states["core-hot"].up:
        return [Obstacle(ObstacleKind.WAS_HOT, fact("end-not-back-yet", limit=temperature(limit, 0)))]
    return []


def _foretold(evidence: CoreEvidence, now_ms: int) -> list[Obstacle]:
    limit, hours, answer = evidence.limits.max_core_c, _hours(evidence, now_ms), evidence.answer
    if answer is not None and _peak_past(answer, hours):
        return []
    alarm = evidence.states["core-will-overheat"]
    call = None if answer is None else core_will_overheat(answer, evidence.limits, evidence.started_ms)
    if call is not None and call.active:
        return [Obstacle(ObstacleKind.FORECAST, call.reason)]
    if alarm.up and (call is None or call.active is None):
        return [Obstacle(ObstacleKind.FORECAST, sentence(alarm.reason))]
    if (
        answer is None
        and evidence.foretold is not None
        and evidence.foretold[0] > limit
        and hours < evidence.foretold[1]
    ):
        peak_c, at_h = evidence.foretold
        text = fact(
            "end-plan-passes", peak=peak_mark(peak_c), age=hours_of(at_h), limit=temperature(limit, 0)
        )
        return [Obstacle(ObstacleKind.FORECAST, text)]
    return []


def _hours(evidence: CoreEvidence, at_ms: int) -> float:
    return (at_ms - evidence.started_ms) / 3.6e6


def _peak_past(answer: ForecastAnswer, hours: float) -> bool:
    """Whether the peak is past at an hour, by a forecast that was made before it, or then."""
    return answer.peak_at_h is not None and answer.peak_at_h.p95 is not None and answer.peak_at_h.p95 <= hours


def _unknown(
    fresh: Sequence[ProbeSignal], cores: Sequence[ProbeSignal], evidence: CoreEvidence, now_ms: int
) -> list[Obstacle]:
    """Return the obstacle that nobody knows how hot the core is: no present reading, or no trend near the limit.

    Past its peak a pour only cools: there a probe that was taken out with the casting leaves nothing unknown.
    """
    limit = evidence.limits.max_core_c
    if fresh:
        near = [t for t in fresh if t.slope_c_h() is None and (t.believed_c or 0.0) > limit - FAR_C]
        if not near:
            return []
        return [Obstacle(ObstacleKind.UNKNOWN, fact("end-trend-unknown", place=head_place(near[0].place)))]
    if not cores:
        return [Obstacle(ObstacleKind.UNKNOWN, fact("end-never-read"))]
    last = max(cores, key=lambda signal: signal.believed_ms)
    if _past_peak(evidence, last) and now_ms - last.believed_ms <= FORECAST_CREDIT_S * 1000:
        return []
    if now_ms - last.believed_ms <= last.recent_ms:
        return [Obstacle(ObstacleKind.UNKNOWN, fact("end-doubted", place=at_place(last.place)))]
    ago = hours_of((now_ms - last.believed_ms) / HOUR_MS)
    text = fact("end-last-read", ago=ago, core=temperature(last.believed_c or 0.0))
    return [Obstacle(ObstacleKind.UNKNOWN, text)]


def _past_peak(evidence: CoreEvidence, last: ProbeSignal) -> bool:
    """Whether a core was read after its peak, by the forecast, and was not near its limit any more."""
    answer, value = evidence.answer, last.believed_c
    if answer is None or value is None or last.probe in evidence.doubted:
        return False
    return value <= evidence.limits.max_core_c - FAR_C / 2 and _peak_past(
        answer, _hours(evidence, last.believed_ms)
    )


def _hottest_first(signal: ProbeSignal) -> float:
    return -(signal.believed_c or 0.0)


def excepted(blocking: Sequence[Obstacle], signed: Mapping[str, object] | None, age_ms: int) -> bool:
    """Return whether a signed exception (its event's data) lets all of these pass: it is recent, and about the same."""
    if signed is None or not 0 <= age_ms <= EXCEPTION_MIN * 60_000:
        return False
    whys = signed["whys"]
    return isinstance(whys, list) and all(
        obstacle.signable and obstacle.name in whys for obstacle in blocking
    )
