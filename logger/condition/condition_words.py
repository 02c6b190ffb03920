"""What is said of a condition: what is so, what to do, who is on it, what comes next, and how sure that is. Facts."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor

from logger.alarms.place_facts import label_of
from logger.alarms.registry import KINDS
from logger.condition.evidence import ExpectedPeak, Thermometer
from logger.condition.judgement import Condition, ConditionCause, Severity
from logger.condition.peak_call import Call
from logger.facts import NOTHING, Fact, Value, fact, sentence
from logger.pour import Stage
from logger.quantities import chance, hours, moment, seconds, temperature
from logger.quantities import peak as peak_of
from logger.units import HOUR_MS

STAGE_WORDS: dict[Stage, Fact] = {stage: fact(f"stage-{stage}") for stage in Stage}
#: A station's word for a missing temperature → what a maker can do something with.
FAULT_WORDS: dict[str, Fact] = {
    name: fact(f"fault-{name}")
    for name in (
        "missing",
        "empty-read",
        "malformed",
        "bad-crc",
        "all-zero",
        "power-on-85",
        "low-power-127",
        "out-of-range",
        "io-error",
        "stuck-read",
        "open-wire",
    )
}
#: A pour of which no alarm would come.
NOT_WATCHED = fact("not-watched")
#: The alarm whose first advice fits a cause.
_ADVICE_OF = {
    ConditionCause.OVER_LIMIT: "core-hot",
    ConditionCause.WAS_OVER_LIMIT: "core-hot",
    ConditionCause.FORECAST_OVER: "core-will-overheat",
    ConditionCause.NO_READINGS: "station-silent",
    ConditionCause.CORE_UNSEEN: "core-unwatched",
    ConditionCause.PROBE_SILENT: "probe-lost",
    ConditionCause.FORECAST_REFUTED: "hotter-than-predicted",
}
#: A severity's state, where neither its cause nor whoever is on it gives one.
_STATES = {
    Severity.DANGER: fact("go-to-the-pour"),
    Severity.BLIND: fact("no-readings-now"),
    Severity.CHECK: fact("check-soon"),
    Severity.OPEN: fact("too-early-to-know"),
}


@dataclass(frozen=True, slots=True)
class ConditionWords:
    """What a screen says of a pour; nothing where there is nothing to say."""

    state: Fact
    headline: str
    action: str
    who: str
    expected: Fact
    certainty: str


def words_of(condition: Condition, stage: Stage, started_ms: int | None) -> ConditionWords:
    """Return what is said of a condition."""
    expected, certainty = _expected(condition, started_ms)
    return ConditionWords(
        _state(condition, stage),
        _headline(condition),
        _action(condition),
        _who(condition),
        expected,
        certainty,
    )


def place_words(probe: Thermometer) -> str:
    """Return a probe's place: "Core 2"."""
    return label_of(probe.place)


def fault_words(fault: str) -> str:
    """Return why a temperature is missing; a fault that has no words as the station gives it."""
    return FAULT_WORDS.get(fault, fault)


def danger_words(condition: Condition) -> Fact:
    """Return what the danger is, in few words and without its numbers: that somebody is on it cools nothing."""
    if condition.cause is ConditionCause.UNJUDGED:
        return NOT_WATCHED
    if condition.cause is ConditionCause.FORECAST_OVER:
        return fact("has-been-over" if condition.peak.call is Call.PASSED else "will-pass-its-limit")
    if condition.cause is ConditionCause.ALARM and condition.alarm is not None:
        return KINDS[condition.alarm.kind].title
    return fact("is-over-its-limit" if condition.cause is ConditionCause.OVER_LIMIT else "was-over-its-limit")


def _state(condition: Condition, stage: Stage) -> Fact:
    severity, cause = condition.severity, condition.cause
    if cause is ConditionCause.UNJUDGED:
        return NOT_WATCHED
    if severity is Severity.NONE:
        return STAGE_WORDS[stage]
    if condition.by is not None and severity is Severity.DANGER:
        return danger_words(condition)
    if condition.by is not None and severity is Severity.ANSWERED:
        return fact("who-is-on-it", who=condition.by)
    if cause is ConditionCause.CLEARED:
        return fact("alarm-cleared")
    if cause is ConditionCause.WENT_OVER:
        return fact("went-over-its-limit")
    return _STATES.get(severity, fact("nothing-wrong"))


def _headline(condition: Condition) -> str:
    probe, limit_c, cause = condition.probe, condition.limit_c, condition.cause
    if (
        cause in (ConditionCause.OVER_LIMIT, ConditionCause.WAS_OVER_LIMIT)
        and probe is not None
        and limit_c is not None
    ):
        return _over_limit(condition, probe, limit_c)
    if cause in (ConditionCause.ALARM, ConditionCause.CLEARED) and condition.alarm is not None:
        return KINDS[condition.alarm.kind].title
    if cause is ConditionCause.UNJUDGED:
        return sentence(condition.unjudged or NOTHING) or fact("readings-not-judged")
    if cause is ConditionCause.FORECAST_OVER and limit_c is not None:
        return _over_headline(condition, limit_c)
    if cause is ConditionCause.PROBE_SILENT and probe is not None:
        code = "probe-silent-why" if probe.fault else "probe-silent"
        why = fault_words(probe.fault or "")
        return fact(code, place=place_words(probe), last=_age(probe, condition.at_ms), why=why)
    if cause in (ConditionCause.NO_READINGS, ConditionCause.CORE_UNSEEN):
        return _unseen_headline(condition)
    if cause is ConditionCause.FORECAST_REFUTED:
        return fact("hotter-than-planned" if condition.peak.planned else "hotter-than-forecast")
    if cause is ConditionCause.WENT_OVER and condition.peak.hottest is not None and limit_c is not None:
        hottest = temperature(condition.peak.hottest[0])
        return fact("peak-past-over", hottest=hottest, limit=temperature(limit_c, 0))
    return NOTHING


def _over_limit(condition: Condition, probe: Thermometer, limit_c: float) -> Fact:
    known: dict[str, Value] = {
        "place": place_words(probe),
        "now": temperature(probe.celsius or 0.0),
        "limit": temperature(limit_c, 0),
    }
    if condition.cause is ConditionCause.WAS_OVER_LIMIT:
        return fact("place-was-over", age=_age(probe, condition.at_ms), **known)
    return fact("core-is-over" if probe.kind == "core" else "place-is-over", **known)


def _over_headline(condition: Condition, limit_c: float) -> Fact:
    call, limit = condition.peak.call, temperature(limit_c, 0)
    if call is Call.PASSED:
        return fact("been-over-and-not-past", limit=limit)
    if condition.peak.planned:
        return fact("plan-passes-limit", limit=limit)
    return fact("core-probably-passes" if call is Call.OVER else "core-rather-passes", limit=limit)


def _unseen_headline(condition: Condition) -> Fact:
    probe = condition.probe
    blind = "no-thermometer" if condition.cause is ConditionCause.NO_READINGS else "no-core-probe"
    if probe is None:
        return fact(f"{blind}-ever")
    known: dict[str, Value] = {
        "core": temperature(probe.celsius or 0.0),
        "last": _age(probe, condition.at_ms),
    }
    if probe.fault:
        return fact(f"{blind}-why", why=fault_words(probe.fault), **known)
    return fact(blind, **known)


def _action(condition: Condition) -> str:
    cause, alarm = condition.cause, condition.alarm
    if cause is ConditionCause.UNJUDGED:
        return fact("go-and-look")
    if cause is ConditionCause.ALARM and alarm is not None:
        return KINDS[alarm.kind].what_to_do[0]
    remedy = None if condition.peak.peak is None else condition.peak.peak.remedy
    if cause is ConditionCause.FORECAST_OVER and remedy is not None:
        # Its numbers are of the middle: while nobody knows how hot it gets, they would be taken for the answer.
        certain = condition.peak.call is Call.OVER
        return fact("helps-most", remedy=sentence(remedy.words) if certain else remedy.short)
    if cause in _ADVICE_OF:
        return KINDS[_ADVICE_OF[cause]].what_to_do[0]
    if cause is ConditionCause.CLEARED:
        return fact("confirm-that-seen")
    if cause is ConditionCause.PEAK_OPEN:
        return fact("right-either-way")
    if cause is ConditionCause.WENT_OVER:
        return fact("look-for-cracks")
    if condition.look_due_ms is not None:
        due = condition.look_due_ms
        return fact("next-check-at", at=moment(due)) if due > condition.at_ms else fact("next-check-now")
    return NOTHING


def _who(condition: Condition) -> str:
    if condition.by is not None:
        if condition.since_ms is None:
            return fact("who-is-on-it", who=condition.by)
        return fact("who-is-on-it-since", who=condition.by, since=moment(condition.since_ms))
    return fact("nobody-is-on-it") if condition.severity >= Severity.CHECK else NOTHING


def _expected(condition: Condition, started_ms: int | None) -> tuple[Fact, str]:
    """Return what comes next, and how sure that is."""
    call, peak, limit_c = condition.peak.call, condition.peak.peak, condition.limit_c
    if peak is None or limit_c is None:
        return fact("peak-not-predicted"), NOTHING
    if call is Call.PAST:
        return _past(condition, limit_c), _certainty(condition, peak)
    outdone = _outdone(condition, peak)
    if outdone is not None:
        return outdone, fact("sure-measured")
    moments = _Moments(started_ms, condition.at_ms)
    if condition.peak.planned:
        return _by_plan(peak, limit_c, moments), _certainty(condition, peak)
    return _by_forecast(condition, peak, limit_c, moments), _certainty(condition, peak)


@dataclass(frozen=True, slots=True)
class _Moments:
    """Gives hours of a pour as clauses with a time of day; what was to come and has not has clauses of its own."""

    started_ms: int | None
    now_ms: int

    def at(self, hours: float, code: str = "at-about", overdue: str = "about-now") -> str:
        """Return when it is: " at about 14:20", or " about now"; nothing before pouring."""
        if self.started_ms is None:
            return NOTHING
        due_ms = self.started_ms + round(hours * HOUR_MS)
        return fact(code, at=moment(due_ms)) if due_ms > self.now_ms else fact(overdue)


def _outdone(condition: Condition, peak: ExpectedPeak) -> Fact | None:
    """Return what has been measured where that is more than anybody foretold; None where it is not."""
    hottest, call, planned = condition.peak.hottest, condition.peak.call, condition.peak.planned
    if hottest is None:
        return None
    measured = temperature(hottest[0])
    if call is Call.REFUTED or (call is Call.PASSED and planned):
        if planned:
            return fact("plan-outdone", core=measured, peak=peak_of(peak.middle_c))
        return fact("forecast-outdone", core=measured, most=peak_of(ceil(peak.high_c)))
    if planned and hottest[0] > peak.middle_c:
        return fact("above-the-plans-peak", core=measured, peak=peak_of(peak.middle_c))
    return None


def _by_plan(peak: ExpectedPeak, limit_c: float, moments: _Moments) -> Fact:
    return fact(
        "plan-peak-over" if peak.middle_c > limit_c else "plan-peak-below",
        peak=peak_of(peak.middle_c),
        when=moments.at(peak.at_h),
        limit=temperature(limit_c, 0),
    )


def _by_forecast(condition: Condition, peak: ExpectedPeak, limit_c: float, moments: _Moments) -> Fact:
    call, hottest = condition.peak.call, condition.peak.hottest
    limit, when = temperature(limit_c, 0), moments.at(peak.at_h)
    reach: dict[str, Value] = {"low": peak_of(floor(peak.low_c)), "high": peak_of(ceil(peak.high_c))}
    middle = peak_of(peak.middle_c)
    if call is Call.BELOW:
        return fact("forecast-below", middle=middle, when=when, limit=limit, **reach)
    if call is Call.PASSED and hottest is not None:
        return fact("forecast-passed", core=temperature(hottest[0]), limit=limit, when=when, **reach)
    # While the limit lies inside the band no single number is given: it would be taken for the answer.
    clear = NOTHING
    if peak.clear_h is not None:
        clear = fact("clear-by", when=moments.at(peak.clear_h, "by-about", "with-next-forecast"))
    odds = chance(peak.chance)
    if call is Call.OPEN:
        return fact("forecast-open", limit=limit, chance=odds, clear=clear, **reach)
    crosses = NOTHING if peak.crossing_h is None else moments.at(peak.crossing_h, overdue="any-minute-now")
    if call is Call.LIKELY_OVER:
        return fact("forecast-rather-over", limit=limit, when=crosses, chance=odds, clear=clear, **reach)
    return fact("forecast-over", limit=limit, when=crosses, chance=odds, middle=middle, **reach)


def _past(condition: Condition, limit_c: float) -> Fact:
    hottest = condition.peak.hottest
    if hottest is None:
        return fact("peak-past-unmeasured")
    core, age = temperature(hottest[0]), hours(hottest[1])
    if hottest[0] > limit_c:
        return fact("peak-past-measured-over", core=core, age=age, limit=temperature(limit_c, 0))
    return fact("peak-past-measured", core=core, age=age)


def _certainty(condition: Condition, peak: ExpectedPeak) -> Fact:
    if condition.peak.call is Call.PAST and condition.peak.hottest is not None:
        return fact("sure-measured")
    if condition.peak.planned or peak.made_h is None:
        return fact("sure-by-plan")
    return fact("sure-by-readings", age=hours(peak.made_h))


def _age(probe: Thermometer, now_ms: int) -> Fact:
    if probe.read_ms is None:
        return fact("never-read")
    return fact("ago", time=seconds(max(0, (now_ms - probe.read_ms) // 1000)))
