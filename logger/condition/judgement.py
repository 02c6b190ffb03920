"""The one judgement of a pour: how grave it is, what leads, who is on it, and what else is true. Pure.

It never falls below what is measured, whoever has acknowledged what. The gravest of all that is true leads; an alarm
of lower rank never stands before one of higher rank, acknowledged or not.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum, StrEnum

from logger.alarms.kind import Priority
from logger.alarms.registry import KINDS
from logger.condition.evidence import PLACES, Evidence, OpenAlarm, Thermometer
from logger.condition.peak_call import Call, PeakCall, call_of
from logger.facts import fact
from logger.units import HOUR_MS


class Severity(IntEnum):
    """How grave a pour's condition is; the higher, the graver."""

    NONE = 0  #: it is not watched: planned, or over
    CALM = 1  #: everything that is known is as it should be
    OPEN = 2  #: too early to know whether it passes its limit
    ANSWERED = 3  #: something of lower rank is wrong, and somebody is on it
    CHECK = 4  #: something is wrong: look soon
    BLIND = 5  #: nobody sees how hot it is
    DANGER = 6  #: it can hurt, or the pour be lost: go there now


class ConditionCause(StrEnum):
    """What a condition is about. Declared in the order in which causes of one severity lead."""

    OVER_LIMIT = "over-limit"  #: a thermometer reads more than the core's limit
    WAS_OVER_LIMIT = "was-over-limit"  #: the core was over its limit when it was last read
    ALARM = "alarm"  #: an alarm is true
    UNJUDGED = "unjudged"  #: no alarm of it would come
    FORECAST_OVER = "forecast-over"  #: it will pass the limit, more likely than not
    NO_READINGS = "no-readings"  #: no thermometer has been read lately
    CORE_UNSEEN = "core-unseen"  #: no thermometer at the core reads
    WENT_OVER = "went-over"  #: it has been over its limit, and its peak is past
    FORECAST_REFUTED = "forecast-refuted"  #: the core has read more than the forecast allows
    PROBE_SILENT = "probe-silent"  #: one of its thermometers gives no reading
    CLEARED = "cleared"  #: an alarm is over, and nobody has confirmed it
    PEAK_OPEN = "peak-open"  #: the forecast has the limit inside its band
    NOTHING = "nothing"


#: The alarm in which each cause rings.
RINGS_AS = {
    ConditionCause.OVER_LIMIT: "core-hot",
    ConditionCause.WAS_OVER_LIMIT: "core-hot",
    ConditionCause.FORECAST_OVER: "core-will-overheat",
}
_KIND_ORDER = {name: place for place, name in enumerate(("core-hot", *(k for k in KINDS if k != "core-hot")))}
_PRIORITY_ORDER = list(Priority)


@dataclass(frozen=True, slots=True)
class Condition:
    """How a pour is at one moment.

    alarm: the one that it is about. others: further alarms that are true or not confirmed, the gravest first. probe:
    the thermometer that the cause is about. core: the hottest core that reads now; None: none does. old: whether no
    reading stands for the present. look_due_ms: when the form is to be looked at next.
    """

    severity: Severity
    cause: ConditionCause
    peak: PeakCall
    at_ms: int
    alarm: OpenAlarm | None = None
    others: tuple[OpenAlarm, ...] = ()
    probe: Thermometer | None = None
    core: Thermometer | None = None
    old: bool = False
    limit_c: float | None = None
    hour: float | None = None
    look_due_ms: int | None = None
    unjudged: str | None = None

    @property
    def by(self) -> str | None:
        """Who has its alarm in hand; None: nobody, or it has none."""
        return (self.alarm.by or fact("somebody")) if self.alarm is not None and self.alarm.answered else None

    @property
    def since_ms(self) -> int | None:
        """Since when somebody has it in hand."""
        return self.alarm.acknowledged_ms if self.alarm is not None and self.alarm.answered else None


@dataclass(frozen=True, slots=True)
class _Fact:
    """Something that is true of the pour."""

    severity: Severity
    cause: ConditionCause
    alarm: OpenAlarm | None = None
    probe: Thermometer | None = None

    @property
    def order(self) -> tuple[int, ...]:
        """What leads: danger, blindness, what is wrong; of these the measured, then by rank, then what nobody is on.

        Whether somebody is on an alarm moves it within its rank alone; one that is over comes after all that are true.
        """
        measured = self.cause in (ConditionCause.OVER_LIMIT, ConditionCause.WAS_OVER_LIMIT)
        answered = self.alarm is not None and self.alarm.answered
        rank = 0 if self.alarm is None else _PRIORITY_ORDER.index(self.alarm.priority)
        over = self.cause is ConditionCause.CLEARED
        tier = Severity.CHECK if self.severity is Severity.ANSWERED else self.severity
        kind = 0 if self.alarm is None else _KIND_ORDER.get(self.alarm.kind, len(_KIND_ORDER))
        return (-tier, not measured, over, rank, answered, list(ConditionCause).index(self.cause), kind)


def judge(evidence: Evidence, now_ms: int) -> Condition:
    """Return a pour's condition at `now_ms` (true time)."""
    hour = None if evidence.started_ms is None else (now_ms - evidence.started_ms) / HOUR_MS
    peak = call_of(evidence, now_ms)
    true = sorted(_true_of(evidence, peak, now_ms), key=lambda each: each.order)
    if not evidence.live:
        # What is no longer watched is neither well nor ill; an alarm that nobody confirmed stays on the list.
        lead = _Fact(Severity.NONE, ConditionCause.NOTHING)
    else:
        lead = true[0] if true else _Fact(Severity.CALM, ConditionCause.NOTHING)
    alarm = lead.alarm or _ringing(evidence, lead.cause)
    others = tuple(each.alarm for each in true if each.alarm is not None and each.alarm is not alarm)
    present = [probe for probe in evidence.thermometers if evidence.present(probe, now_ms)]
    newest_ms = max((p.read_ms for p in evidence.thermometers if p.read_ms is not None), default=None)
    gravest = max((each.severity for each in true), default=lead.severity) if evidence.live else lead.severity
    return Condition(
        gravest,
        lead.cause,
        peak,
        now_ms,
        alarm,
        tuple(dict.fromkeys(others)),
        lead.probe,
        _hottest([probe for probe in present if probe.kind == "core"]),
        evidence.live and (newest_ms is None or now_ms - newest_ms > evidence.too_old_ms),
        evidence.limit_c,
        hour,
        evidence.look_due_ms if evidence.live else None,
        evidence.unjudged,
    )


def _true_of(evidence: Evidence, peak: PeakCall, now_ms: int) -> Iterator[_Fact]:
    for alarm in evidence.alarms:
        yield _of_alarm(alarm)
    if not evidence.live:
        return
    yield from _measured(evidence, now_ms)
    if evidence.unjudged is not None:
        yield _Fact(Severity.DANGER, ConditionCause.UNJUDGED)
    if peak.over:
        yield _Fact(Severity.DANGER, ConditionCause.FORECAST_OVER)
    elif peak.call is Call.REFUTED:
        yield _Fact(Severity.CHECK, ConditionCause.FORECAST_REFUTED)
    elif peak.went_over(evidence.limit_c):
        yield _Fact(Severity.OPEN, ConditionCause.WENT_OVER)
    elif peak.call is Call.OPEN:
        yield _Fact(Severity.OPEN, ConditionCause.PEAK_OPEN)


def _of_alarm(alarm: OpenAlarm) -> _Fact:
    if not alarm.true:
        return _Fact(Severity.CHECK, ConditionCause.CLEARED, alarm)
    severity = Severity.ANSWERED if alarm.answered else Severity.CHECK
    if alarm.priority is Priority.HIGH:
        severity = Severity.DANGER
    return _Fact(severity, ConditionCause.ALARM, alarm)


def _measured(evidence: Evidence, now_ms: int) -> Iterator[_Fact]:
    """Yield what the thermometers themselves say, with no alarm between."""
    probes = [probe for probe in evidence.thermometers if probe.kind in PLACES]
    present = [probe for probe in probes if evidence.present(probe, now_ms)]
    cores = [probe for probe in probes if probe.kind == "core" and probe.celsius is not None]
    limit_c = evidence.limit_c
    if limit_c is not None:
        over = [probe for probe in present if (probe.celsius or 0.0) > limit_c]
        if over:
            yield _Fact(Severity.DANGER, ConditionCause.OVER_LIMIT, probe=_hottest(over))
        was_over = [p for p in cores if p not in present and (p.celsius or 0.0) > limit_c]
        if was_over:
            yield _Fact(Severity.DANGER, ConditionCause.WAS_OVER_LIMIT, probe=_hottest(was_over))
    if not present:
        yield _Fact(Severity.BLIND, ConditionCause.NO_READINGS, probe=_hottest(cores))
    elif not any(probe.kind == "core" for probe in present):
        yield _Fact(Severity.BLIND, ConditionCause.CORE_UNSEEN, probe=_hottest(cores))
    places = {probe.place for probe in present}
    # One that has not read since pouring began, or whose place another has taken, is not missed.
    silent = [
        probe
        for probe in probes
        if probe not in present
        and probe.place not in places
        and (probe.read_ms or 0) >= (evidence.started_ms or 0)
    ]
    if present and silent:
        yield _Fact(Severity.CHECK, ConditionCause.PROBE_SILENT, probe=silent[0])


def _ringing(evidence: Evidence, cause: ConditionCause) -> OpenAlarm | None:
    """Return the alarm in which a cause rings, if it does."""
    kind = RINGS_AS.get(cause)
    rings = [alarm for alarm in evidence.alarms if alarm.kind == kind and alarm.true]
    return min(rings, key=lambda alarm: alarm.answered, default=None)


def _hottest(probes: list[Thermometer]) -> Thermometer | None:
    return max(probes, key=lambda p: -300.0 if p.celsius is None else p.celsius, default=None)
