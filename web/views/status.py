"""How a pour stands, as every page shows it: the one judgement of it, in words, and its thermometers.

An old number is never shown as a present one.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from typing import Literal

from sqlalchemy import Connection

from logger.alarms.first_hour import Rhythm
from logger.condition.condition_words import ConditionWords, fault_words, place_words, words_of
from logger.condition.evidence import Evidence, OpenAlarm, Thermometer
from logger.condition.judgement import Condition, Severity, judge
from logger.errors import LoggerError
from logger.pour import LIVE, Stage
from logger.store import forecasts
from logger.store.condition_queries import evidence_of
from logger.store.rows import Json, PourWithPrediction
from logger.words.phrase import phrase
from logger.words.reader import METRIC
from logger.words.render import say
from web.answers import SeverityName, StandingShape, fact_answer
from web.service.pipeline import unjudged
from web.service.service import Service

log = logging.getLogger(__name__)

#: A state's shape and colour.
Tone = Literal["stop", "lost", "watch", "hand", "open", "calm", "quiet"]
TONES: dict[Severity, Tone] = {
    Severity.DANGER: "stop",
    Severity.BLIND: "lost",
    Severity.CHECK: "watch",
    Severity.ANSWERED: "hand",
    Severity.OPEN: "open",
    Severity.CALM: "calm",
    Severity.NONE: "quiet",
}
SEVERITY_NAMES: dict[Severity, SeverityName] = {
    Severity.DANGER: "danger",
    Severity.BLIND: "blind",
    Severity.CHECK: "check",
    Severity.ANSWERED: "answered",
    Severity.OPEN: "open",
    Severity.CALM: "calm",
    Severity.NONE: "none",
}
UNREADABLE = phrase("What is stored of it cannot be read: go there and look")


@dataclass(frozen=True, slots=True)
class Spot:
    """One thermometer as a page shows it. `celsius` is None when there is no present temperature."""

    place: str
    word: str
    kind: str  #: the place without its number: "core" of "core-2"
    celsius: float | None
    last_c: float | None
    last_ms: int | None
    fault: str | None


@dataclass(frozen=True, slots=True)
class Status:
    """One pour at one moment: its condition, what is said of it, and its thermometers."""

    condition: Condition
    words: ConditionWords
    tone: Tone
    spots: tuple[Spot, ...]
    last_ms: int | None
    live: bool
    #: The forecast that it was judged by: what a page says of the forecast is of the same one.
    forecast: Json | None

    @property
    def old(self) -> bool:
        """Whether no reading of it stands for the present."""
        return self.condition.old

    @property
    def alarm(self) -> int | None:
        """The alarm that it is about."""
        return None if self.condition.alarm is None else self.condition.alarm.id

    @property
    def by(self) -> str | None:
        """Who is on it."""
        return self.condition.by

    @property
    def others(self) -> tuple[OpenAlarm, ...]:
        """Further alarms that are true, or over and not confirmed; the gravest first."""
        return self.condition.others

    def linked(self, most: int | None = None) -> list[int]:
        """Return the alarms to which a page that shows this links: the one it is about, and `most` of the others."""
        lead = [] if self.alarm is None or not self.words.headline else [self.alarm]
        return lead + [other.id for other in self.others[:most]]

    @property
    def core(self) -> Spot | None:
        """The hottest core probe that reads, or the first one."""
        cores = [spot for spot in self.spots if spot.kind == "core"]
        return max(cores, key=lambda spot: -300.0 if spot.celsius is None else spot.celsius, default=None)


def status_of(service: Service, connection: Connection, pour: PourWithPrediction, now_ms: int) -> Status:
    """Return how a pour stands at `now_ms` (true time), asked from the store.

    One whose stored plan or forecast cannot be read is one that nobody watches: go there and look.
    """
    hottest = None
    if pour.poured_ms is not None:
        hottest = service.curves.hottest(connection, pour.id, pour.poured_ms)
    not_judged = unjudged(service, pour) if pour.stage in LIVE else None
    return judged(connection, pour, now_ms, service.rhythm, not_judged, hottest)


def judged(
    connection: Connection,
    pour: PourWithPrediction,
    now_ms: int,
    rhythm: Rhythm,
    not_judged: str | None,
    hottest: tuple[float, float] | None = None,
) -> Status:
    """Return how a pour stands, from the store alone. not_judged: why no alarm of it can be relied on, if so."""
    newest = forecasts.latest(connection, pour.id)
    try:
        evidence = evidence_of(connection, pour, newest, rhythm, not_judged, hottest)
    except (LoggerError, AttributeError, KeyError, TypeError, ValueError):
        log.exception("pour %s cannot be judged for its page", pour.id)
        evidence = Evidence(Stage(pour.stage), pour.poured_ms, None, unjudged=not_judged or UNREADABLE)
    return status_from(evidence, now_ms, None if newest is None else newest.body)


def status_from(evidence: Evidence, now_ms: int, forecast: Json | None = None) -> Status:
    """Return how a pour stands at `now_ms` (true time) by its evidence."""
    condition = judge(evidence, now_ms)
    read_ms = [probe.read_ms for probe in evidence.thermometers if probe.read_ms is not None]
    return Status(
        condition,
        words_of(condition, evidence.stage, evidence.started_ms),
        TONES[condition.severity],
        tuple(_spot(probe, evidence.present(probe, now_ms)) for probe in evidence.thermometers),
        max(read_ms, default=None),
        evidence.live,
        forecast,
    )


def status_json(s: Status) -> StandingShape:
    """As programs see it: in English, and its headline, or else its state, as a fact."""
    reader = replace(METRIC, now_ms=s.condition.at_ms)
    return StandingShape(
        tone=s.tone,
        word=say(s.words.state, reader),
        because=say(s.words.headline, reader),
        action=say(s.words.action, reader),
        expected=say(s.words.expected, reader),
        certainty=say(s.words.certainty, reader),
        fact=fact_answer(s.words.headline or s.words.state),
        severity=SEVERITY_NAMES[s.condition.severity],
        cause=str(s.condition.cause),
        alarm=s.alarm,
        by=None if s.by is None else say(s.by, METRIC),
        since_ms=s.condition.since_ms,
        others=[other.id for other in s.others],
    )


def urgency(s: Status) -> tuple[int, bool]:
    """Where a pour stands among others: trouble first, and of that what nobody is on yet."""
    return -s.condition.severity, s.by is not None


def _spot(probe: Thermometer, present: bool) -> Spot:
    fault = None if probe.fault is None else fault_words(probe.fault)
    celsius = probe.celsius if present else None
    return Spot(probe.place, place_words(probe), probe.kind, celsius, probe.celsius, probe.read_ms, fault)
