"""A condition in words: what is so, what to do, who is on it, what comes next, and how sure that is.

Quantities are marked (logger/quantities.py); `clock` writes a moment as a time of day in the reader's zone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, floor

from logger.alarms.registry import KINDS
from logger.condition.evidence import ExpectedPeak, Thermometer
from logger.condition.judgement import Condition, ConditionCause, Severity
from logger.condition.peak_call import Call
from logger.pour import Stage
from logger.quantities import peak as peak_mark
from logger.quantities import temperature
from logger.units import HOUR_MS, hours_minutes, span

STAGE_WORDS = {
    Stage.PLANNED: "Planned",
    Stage.READY: "Ready to pour",
    Stage.POURING: "Pouring",
    Stage.WATCHED: "First hour",
    Stage.CURING: "Curing",
    Stage.RELEASED: "Out of the form",
    Stage.CLOSED: "Record sealed",
    Stage.SPOILED: "Given up",
}
PLACE_WORDS = {"core": "Core", "surface": "Surface", "underside": "Underside", "room": "Room"}
#: A station's word for a missing temperature → what a maker can do something with.
FAULT_WORDS = {
    "missing": "unplugged or cut",
    "empty-read": "no answer",
    "malformed": "garbled answer",
    "bad-crc": "disturbed by noise",
    "all-zero": "data wire held low",
    "power-on-85": "woke up without measuring",
    "low-power-127": "starved of power",
    "out-of-range": "outside what it can measure",
    "io-error": "could not be read",
    "stuck-read": "did not answer in time",
    "open-wire": "broken wire",
}
#: A pour of which no alarm would come.
NOT_WATCHED = "Not watched"
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
EITHER_WAY = (
    "Right either way: stay within reach, put the fans in place, keep covers, sun and heaters off it."
)
AFTER_HEAT = "Before you open the form, look for cracks, bubbles and yellowing; open it cold."

Clock = Callable[[int], str]


@dataclass(frozen=True, slots=True)
class ConditionWords:
    """What a screen says of a pour. Empty where there is nothing to say."""

    state: str
    headline: str
    action: str
    who: str
    expected: str
    certainty: str


def words_of(condition: Condition, stage: Stage, started_ms: int | None, clock: Clock) -> ConditionWords:
    """Return a condition's words."""
    expected, certainty = _expected(condition, started_ms, clock)
    return ConditionWords(
        _state(condition, stage),
        _headline(condition),
        _action(condition, clock),
        _who(condition, clock),
        expected,
        certainty,
    )


def place_words(probe: Thermometer) -> str:
    """Return a probe's place: "Core 2"."""
    kind, _, number = probe.place.partition("-")
    return f"{PLACE_WORDS.get(kind, kind)} {number}".strip()


def chance_words(chance: float) -> str:
    """Return a chance as people say it; never 0 or 100 %."""
    if chance < 0.01:
        return "below 1 %"
    return "above 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def danger_words(condition: Condition) -> str:
    """Return what the danger is, in few words and without its numbers: that somebody is on it cools nothing."""
    if condition.cause is ConditionCause.UNJUDGED:
        return NOT_WATCHED
    if condition.cause is ConditionCause.FORECAST_OVER:
        return "Has been over its limit" if condition.peak.call is Call.PASSED else "Will pass its limit"
    if condition.cause is ConditionCause.ALARM and condition.alarm is not None:
        return KINDS[condition.alarm.kind].title
    return "Over its limit" if condition.cause is ConditionCause.OVER_LIMIT else "Was over its limit"


def _state(condition: Condition, stage: Stage) -> str:
    severity, cause = condition.severity, condition.cause
    if cause is ConditionCause.UNJUDGED:
        return NOT_WATCHED
    if severity is Severity.NONE:
        return STAGE_WORDS[stage]
    if condition.by is not None and severity is Severity.DANGER:
        return danger_words(condition)
    if condition.by is not None and severity is Severity.ANSWERED:
        return f"{condition.by} is on it"
    if cause is ConditionCause.CLEARED:
        return "Alarm cleared, not confirmed yet"
    if cause is ConditionCause.WENT_OVER:
        return "Went over its limit"
    return {
        Severity.DANGER: "Go to the pour now",
        Severity.BLIND: "No readings",
        Severity.CHECK: "Check soon",
        Severity.OPEN: "Too early to know",
    }.get(severity, "Nothing wrong")


def _headline(condition: Condition) -> str:
    probe, limit_c, cause = condition.probe, condition.limit_c, condition.cause
    if cause is ConditionCause.OVER_LIMIT and probe is not None and limit_c is not None:
        possessive = "its" if probe.kind == "core" else "the core's"
        return (
            f"{place_words(probe)} at {temperature(probe.celsius or 0.0)}, over {possessive} limit of "
            f"{temperature(limit_c, 0)}"
        )
    if cause is ConditionCause.WAS_OVER_LIMIT and probe is not None and limit_c is not None:
        return (
            f"{place_words(probe)} was at {temperature(probe.celsius or 0.0)}, over its limit of "
            f"{temperature(limit_c, 0)}, when it was last read, {_age(probe, condition.at_ms)}"
        )
    if cause in (ConditionCause.ALARM, ConditionCause.CLEARED) and condition.alarm is not None:
        return KINDS[condition.alarm.kind].title
    if cause is ConditionCause.UNJUDGED:
        return condition.unjudged or "Its readings are not judged"
    if cause is ConditionCause.FORECAST_OVER and limit_c is not None:
        return _over_headline(condition, limit_c)
    if cause is ConditionCause.PROBE_SILENT and probe is not None:
        why = f": {FAULT_WORDS.get(probe.fault, probe.fault)}" if probe.fault else ""
        return f"{place_words(probe)} gives no reading, last {_age(probe, condition.at_ms)}{why}"
    if cause in (ConditionCause.NO_READINGS, ConditionCause.CORE_UNSEEN):
        return _unseen_headline(condition)
    if cause is ConditionCause.FORECAST_REFUTED:
        return f"Hotter than its {'plan' if condition.peak.planned else 'forecast'} allowed"
    if cause is ConditionCause.WENT_OVER and condition.peak.hottest is not None and limit_c is not None:
        return (
            f"Its peak is past; it reached {temperature(condition.peak.hottest[0])}, over its limit of "
            f"{temperature(limit_c, 0)}"
        )
    return ""


def _over_headline(condition: Condition, limit_c: float) -> str:
    call = condition.peak.call
    if call is Call.PASSED:
        return f"It has been over {temperature(limit_c, 0)}, and its peak is not past"
    if condition.peak.planned:
        return f"The plan says that the core passes {temperature(limit_c, 0)}"
    sure = "will probably pass" if call is Call.OVER else "more likely than not passes"
    return f"The core {sure} {temperature(limit_c, 0)}"


def _unseen_headline(condition: Condition) -> str:
    probe = condition.probe
    what = "No thermometer" if condition.cause is ConditionCause.NO_READINGS else "No probe at the core"
    if probe is None:
        return f"{what} has been read: nobody sees how hot it gets"
    why = f" ({FAULT_WORDS.get(probe.fault, probe.fault)})" if probe.fault else ""
    return f"{what} reads{why}: the core was at {temperature(probe.celsius or 0.0)} {_age(probe, condition.at_ms)}"


def _action(condition: Condition, clock: Clock) -> str:
    cause, alarm = condition.cause, condition.alarm
    if cause is ConditionCause.UNJUDGED:
        return "Go there and look: no alarm of it would come."
    if cause is ConditionCause.ALARM and alarm is not None:
        return KINDS[alarm.kind].what_to_do[0]
    if (
        cause is ConditionCause.FORECAST_OVER
        and condition.peak.peak is not None
        and condition.peak.peak.remedy
    ):
        # Its numbers are of the middle: while nobody knows how hot it gets, they would be taken for the answer.
        certain = condition.peak.call is Call.OVER
        remedy = condition.peak.peak.remedy
        return f"What helps most: {remedy if certain else remedy.partition(':')[0]}."
    if cause in _ADVICE_OF:
        return KINDS[_ADVICE_OF[cause]].what_to_do[0]
    if cause is ConditionCause.CLEARED:
        return "Confirm on the alarm's page that you have seen it."
    if cause is ConditionCause.PEAK_OPEN:
        return EITHER_WAY
    if cause is ConditionCause.WENT_OVER:
        return AFTER_HEAT
    if condition.look_due_ms is not None:
        due = condition.look_due_ms
        return f"Next check of the form: {clock(due) if due > condition.at_ms else 'now'}."
    return ""


def _who(condition: Condition, clock: Clock) -> str:
    if condition.by is not None:
        since = "" if condition.since_ms is None else f" since {clock(condition.since_ms)}"
        return f"{condition.by} is on it{since}"
    return "Nobody is on it yet" if condition.severity >= Severity.CHECK else ""


def _expected(condition: Condition, started_ms: int | None, clock: Clock) -> tuple[str, str]:
    """Return what comes next, and how sure that is."""
    call, peak, limit_c = condition.peak.call, condition.peak.peak, condition.limit_c
    if peak is None or limit_c is None:
        return "The peak is not predicted yet.", ""
    if call is Call.PAST:
        return _past(condition, limit_c), _certainty(condition, peak)
    outdone = _outdone(condition, peak)
    if outdone:
        return outdone, "measured"
    moments = _Moments(started_ms, condition.at_ms, clock)
    if condition.peak.planned:
        return _by_plan(peak, limit_c, moments), _certainty(condition, peak)
    return _by_forecast(condition, peak, limit_c, moments), _certainty(condition, peak)


@dataclass(frozen=True, slots=True)
class _Moments:
    """Writes hours of a pour as times of day; what was to come and has not is put in words of its own."""

    started_ms: int | None
    now_ms: int
    clock: Clock

    def at(self, hours: float, word: str = "at about", overdue: str = "about now") -> str:
        """Return when it is: " at about 14:20", or " about now"; nothing before pouring."""
        if self.started_ms is None:
            return ""
        due_ms = self.started_ms + round(hours * HOUR_MS)
        return f" {word} {self.clock(due_ms)}" if due_ms > self.now_ms else f" {overdue}"


def _outdone(condition: Condition, peak: ExpectedPeak) -> str:
    """Return what has been measured where that is more than anybody foretold; empty where it is not."""
    hottest, call, planned = condition.peak.hottest, condition.peak.call, condition.peak.planned
    if hottest is None:
        return ""
    measured = temperature(hottest[0])
    if call is Call.REFUTED or (call is Call.PASSED and planned):
        foretold = (
            f"the plan predicted a peak of {peak_mark(peak.middle_c)}"
            if planned
            else f"its forecast allowed {peak_mark(ceil(peak.high_c))} at most"
        )
        return (
            f"The core has read {measured}; {foretold}. Do not rely on that {'plan' if planned else 'forecast'}: "
            "the next forecast takes the readings in."
        )
    if planned and hottest[0] > peak.middle_c:
        return f"The core has read {measured}; the plan's peak was {peak_mark(peak.middle_c)}."
    return ""


def _by_plan(peak: ExpectedPeak, limit_c: float, moments: _Moments) -> str:
    over = "over" if peak.middle_c > limit_c else "below"
    return (
        f"The plan predicts a peak of {peak_mark(peak.middle_c)}{moments.at(peak.at_h)}, {over} its limit of "
        f"{temperature(limit_c, 0)}."
    )


def _by_forecast(condition: Condition, peak: ExpectedPeak, limit_c: float, moments: _Moments) -> str:
    call, hottest = condition.peak.call, condition.peak.hottest
    limit, chance = temperature(limit_c, 0), chance_words(peak.chance)
    reach = f"{peak_mark(floor(peak.low_c))} to {peak_mark(ceil(peak.high_c))}"
    middle = f"about {peak_mark(peak.middle_c)} ({reach})"
    if call is Call.BELOW:
        return f"Peak {middle}{moments.at(peak.at_h)}, below its limit of {limit}."
    if call is Call.PASSED and hottest is not None:
        measured = temperature(hottest[0])
        return f"It has been at {measured}, over its limit of {limit}: peak {reach}{moments.at(peak.at_h)}."
    # While the limit lies inside the band no single number is given: it would be taken for the answer.
    clear = ""
    if peak.clear_h is not None:
        clear = f" It will be clear{moments.at(peak.clear_h, 'by about', 'with the next forecast')}."
    if call is Call.OPEN:
        return (
            f"Whether it passes {limit} is not known yet: its peak may be anywhere from {reach} (chance over the "
            f"limit {chance}).{clear}"
        )
    crosses = "" if peak.crossing_h is None else moments.at(peak.crossing_h, overdue="any minute now")
    if call is Call.LIKELY_OVER:
        return f"More likely than not it passes {limit}{crosses} (chance {chance}): peak {reach}.{clear}"
    return f"It will probably pass {limit}{crosses} (chance {chance}): peak {middle}."


def _past(condition: Condition, limit_c: float) -> str:
    hottest = condition.peak.hottest
    if hottest is None:
        return "By the hour its peak is past; nobody has measured it."
    over = f", over its limit of {temperature(limit_c, 0)}" if hottest[0] > limit_c else ""
    return f"The peak is past: {temperature(hottest[0])}, {hours_minutes(hottest[1])} after pouring{over}."


def _certainty(condition: Condition, peak: ExpectedPeak) -> str:
    if condition.peak.call is Call.PAST and condition.peak.hottest is not None:
        return "measured"
    if condition.peak.planned or peak.made_h is None:
        return "from the plan alone; the readings come into it with the first forecast"
    return f"90 % range, from the readings until {hours_minutes(peak.made_h)} after pouring"


def _age(probe: Thermometer, now_ms: int) -> str:
    if probe.read_ms is None:
        return "never"
    return f"{span(max(0, (now_ms - probe.read_ms) // 1000))} ago"
