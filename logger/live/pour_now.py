"""How a pour is while messages about it are written: its condition, by the judgement that every screen shows."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from sqlalchemy import Connection

from logger.alarms.first_hour import Rhythm
from logger.condition.condition_words import danger_words, words_of
from logger.condition.judgement import Severity, judge
from logger.delivery.compose import PourNow
from logger.delivery.wording import Now
from logger.store import forecasts, pours
from logger.store.boots import Timeline
from logger.store.condition_queries import evidence_of

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class PourNowReader:
    """Judges a pour from the store, for the messages about its alarms."""

    timeline: Timeline
    rhythm: Rhythm

    def __call__(self, connection: Connection, pour_id: int) -> PourNow | None:
        """Return how the pour is now; None where what is stored of it cannot be read: the message goes without."""
        try:
            pour = pours.get_pour(connection, pour_id)
            newest = forecasts.latest(connection, pour_id)
            evidence = evidence_of(connection, pour, newest, self.rhythm, None)
            condition = judge(evidence, self.timeline.true_ms())
            words = words_of(condition, evidence.stage, evidence.started_ms)
            # It may wait before it is sent: what it says of the pour is of this moment.
            parts = tuple(dict.fromkeys(part for part in (words.state, words.headline, words.who) if part))
            now = Now(parts, words.expected, danger_words(condition), condition.at_ms)
            grave = condition.severity is Severity.DANGER
            alarm_id = None if condition.alarm is None else condition.alarm.id
            return PourNow(now, alarm_id, grave)
        except Exception:
            # An alarm's message goes out, whatever fails in what only accompanies it.
            log.exception("pour %s: its messages go out without how it is now", pour_id)
            return None
