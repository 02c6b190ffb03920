"""Whatever the state of a pour: nothing that is said of it is better than its readings, and no two things disagree.

The rules stand here once more, on their own, as the words of what was asked for; nothing of the judgement is used.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

import pytest

from logger.alarms.kind import Priority
from logger.alarms.state import Phase
from logger.condition.condition_words import ConditionWords, words_of
from logger.condition.evidence import Evidence
from logger.condition.judgement import Condition, Severity, judge
from logger.pour import LIVE, Stage
from logger.words.reader import Reader
from logger.words.render import say
from tests.logger.condition.random_states import states

STATES = 20_000
#: The age from which a reading is no present one, s: in the first hour, later.
EARLY_S, LATER_S = 60, 150


def reading_now(evidence: Evidence, now_ms: int) -> dict[str, float]:
    """Place → °C of the thermometers that read now."""
    young = evidence.stage in (Stage.POURING, Stage.WATCHED)
    oldest_ms = now_ms - 1000 * (EARLY_S if young else LATER_S)
    return {
        p.place: p.celsius
        for p in evidence.thermometers
        if p.celsius is not None and p.read_ms is not None and p.read_ms >= oldest_ms and p.fault is None
    }


def least_severity(evidence: Evidence, now_ms: int) -> Severity:
    """How grave it is at the least, by each rule alone."""
    if evidence.stage not in LIVE:
        return Severity.NONE
    now = reading_now(evidence, now_ms)
    limit = evidence.limit_c or 1e9
    true = [alarm for alarm in evidence.alarms if alarm.phase in (Phase.RAISED, Phase.ACKNOWLEDGED)]
    last_cores = [
        p.celsius for p in evidence.thermometers if p.kind == "core" and p.place not in now and p.celsius
    ]
    danger = (
        any(celsius > limit for celsius in now.values())
        or any(celsius > limit for celsius in last_cores)
        or any(alarm.priority is Priority.HIGH for alarm in true)
        or evidence.unjudged is not None
        or _will_pass(evidence)
    )
    if danger:
        return Severity.DANGER
    if not any(place.startswith("core") for place in now):
        return Severity.BLIND
    if any(alarm.phase is not Phase.ACKNOWLEDGED for alarm in evidence.alarms):
        return Severity.CHECK
    return Severity.ANSWERED if true else Severity.CALM


def _will_pass(evidence: Evidence) -> bool:
    forecast = evidence.forecast
    if forecast is None:
        return False
    past = forecast.made_h is not None and forecast.last_at_h <= forecast.made_h
    refuted = evidence.hottest is not None and evidence.hottest[0] > forecast.high_c + 1.0
    return forecast.chance > 0.5 and not past and not refuted


def degrees(text: str) -> list[int]:
    """Every temperature in a text, to the degree."""
    return [round(float(number)) for number in re.findall(r"(-?[\d.]+) °C", text)]


class InMs(Reader):
    """A reader who is given every moment in milliseconds, "<1790000000000>"."""

    def moment(self, at_ms: int) -> str:
        """As a mark that a pattern finds."""
        return f"<{at_ms}>"


@dataclass(frozen=True)
class Judged:
    """A state, its condition, its words, and all of these in one text in °C."""

    evidence: Evidence
    now_ms: int
    condition: Condition
    words: ConditionWords
    text: str


@pytest.fixture(scope="module")
def judged() -> list[Judged]:
    """Twenty thousand states, judged."""
    done = []
    for evidence, now_ms in states(STATES):
        condition = judge(evidence, now_ms)
        words = words_of(condition, evidence.stage, evidence.started_ms)
        parts = (words.state, words.headline, words.action, words.who, words.expected)
        done.append(Judged(evidence, now_ms, condition, words, shown(" | ".join(parts))))
    return done


def shown(text: str) -> str:
    """A text as it is read in °C."""
    return say(text, InMs()).replace("\u00a0", " ")


def test_no_state_looks_better_than_its_readings(judged: list[Judged]) -> None:
    """Twenty thousand of them."""
    for one in judged:
        evidence, now_ms, condition, text = one.evidence, one.now_ms, one.condition, one.text
        assert condition.severity >= least_severity(evidence, now_ms), (evidence, text)
        if condition.severity is not Severity.CALM:
            assert "Nothing wrong" not in text, (evidence, text)


def test_no_alarm_of_lower_rank_leads_over_a_higher_one(judged: list[Judged]) -> None:
    """Acknowledged or not, in whatever order they are given."""
    ranks = list(Priority)
    for one in judged:
        evidence, condition = one.evidence, one.condition
        if not condition.severity or condition.alarm is None:
            continue
        true = [alarm for alarm in evidence.alarms if alarm.phase in (Phase.RAISED, Phase.ACKNOWLEDGED)]
        lead = ranks.index(condition.alarm.priority)
        assert not true or lead <= min(ranks.index(alarm.priority) for alarm in true), evidence
        order = [ranks.index(a.priority) for a in condition.others if a.phase is not Phase.RETURNED]
        assert all(first <= second for first, second in pairwise(order)), evidence


def test_no_sentence_about_the_peak_is_refuted_by_the_readings_or_by_its_own_numbers(
    judged: list[Judged],
) -> None:
    """Middle, band, chance, limit and what was measured agree."""
    for one in judged:
        evidence, now_ms, condition, text = one.evidence, one.now_ms, one.condition, one.text
        expected = shown(one.words.expected)
        limit = evidence.limit_c or 0.0
        now = reading_now(evidence, now_ms)
        cores = [celsius for place, celsius in now.items() if place.startswith("core")]
        measured = max([*cores, evidence.hottest[0] if evidence.hottest else -300.0])
        found = degrees(expected)
        why = (evidence, expected)
        if "below its limit" in expected:
            assert measured <= limit, why
            assert all(degree <= round(limit) for degree in found), why
        if "anywhere" in expected:
            low, high = found[1], found[2]
            assert low <= limit <= high, why
            assert measured < high + 1, why
        if "will probably pass" in expected:
            assert min(found[1:] or [999]) >= int(limit), why
        if "peak is past" in expected and cores:
            assert max(cores) <= found[0] + 0.5, why
        if evidence.forecast is not None and "chance" in expected:
            assert ("More likely than not" in expected) <= (evidence.forecast.chance > 0.5), why
            assert ("is not known yet" in expected) <= (evidence.forecast.chance <= 0.5), why
        if "plan predicts" in expected:
            assert measured <= max(found), why
        assert "about <" not in expected or int(re.findall(r"about <(\d+)>", expected)[0]) > now_ms, why
        assert text.count("over its limit") < 2 or condition.severity >= Severity.OPEN, why


def test_the_temperature_in_the_headline_is_the_one_that_is_read(judged: list[Judged]) -> None:
    """And of the hottest thermometer that is over the limit."""
    seen = 0
    for one in judged:
        evidence, now_ms, condition = one.evidence, one.now_ms, one.condition
        headline = shown(one.words.headline)
        over = [c for c in reading_now(evidence, now_ms).values() if c > (evidence.limit_c or 1e9)]
        if condition.severity and over:
            seen += 1
            assert f"at {max(over):.1f} °C" in headline, (evidence, headline)
    assert seen > STATES / 20
