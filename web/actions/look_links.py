"""What a look has found, answered from a message's link without signing in: dry, wet, or later."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.first_hour import (
    LATER_LAST_MS,
    LATER_TIMES,
    MINUTE_MS,
    Look,
    LookResult,
    Reminding,
    next_due_ms,
    remind_at_ms,
    summarize_looks,
)
from logger.alarms.state import Phase, Transition
from logger.delivery import signed_links
from logger.delivery.compose import LOOK_DUE
from logger.delivery.look_reminders import LATER, reminding_of
from logger.delivery.signed_links import Claim, LinkRefused
from logger.errors import NotAllowed
from logger.facts import fact
from logger.pour import LIVE
from logger.store import alarms, events, page_queries, pours
from logger.store.message_links import Purpose
from logger.store.rows import PourRow
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.actions.watching import by_link
from web.service.service import Service

#: A second tap on "later" within so long is the first one, ms.
ONE_TAP_MS = MINUTE_MS


@dataclass(frozen=True, slots=True)
class AskedLook:
    """The look that a link asks for. due_ms: true time; None: no look is due any more. look: the look that was made
    for it; later: whether that may be answered."""

    pour: PourRow
    due_ms: int | None
    look: Look | None
    later: bool


def asked_look(service: Service, token: str) -> AskedLook:
    """Return what a message's link asks for, if it still holds. Changes nothing. Raises LinkRefused, NotFound."""
    with service.store.read() as connection:
        claim = _claim(service, connection, token)
        return _asked(service, connection, claim)


def note_finding(service: Service, token: str, finding: LookResult) -> None:
    """Note what was found, once. A leak is noted at any time of a watched pour; dry only for a look that is asked for.

    Raises LinkRefused, NotAllowed when somebody has looked meanwhile or the first hour is over, NotFound.
    """
    with service.store.read() as connection:
        claim = _claim(service, connection, token)
        asked = _asked(service, connection, claim)
    if finding is LookResult.DRY:
        _must_be_asked(asked)

    def use(tx: Connection) -> None:
        signed_links.use_token(tx, token, service.timeline.now_ms())

    look = pour_actions.MadeLook(finding)
    pour_actions.look(service, asked.pour.id, look, by_link(service, claim.to), use)


def later(service: Service, token: str) -> int | None:
    """Move the reminder by a few minutes, or acknowledge the alarm that the look is late; return when it is asked again
    (true ms), None: by the alarm.

    Raises LinkRefused, NotAllowed when it was moved often enough, or the look is due by now; NotFound.
    """
    now_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        claim = _claim(service, tx, token)
        asked = _asked(service, tx, claim)
        by = by_link(service, claim.to)
        if claim.alarm_id is None:
            return _move_reminder(service, tx, asked, by, now_ms)
        _must_be_asked(asked)

    def act(book: AlarmBook, key: str, at_ms: int) -> list[Transition]:
        _kind, state = book.look_up(key)
        return book.acknowledge(key, by, at_ms) if state.phase is Phase.RAISED else []

    service.watch.act(claim.alarm_id, by, act)
    return None


def later_of_pour(service: Service, pour_id: int, by: str) -> None:
    """Do the same for the look that a pour's own page asks for.

    Raises NotAllowed when it was moved often enough, or no look is due; NotFound.
    """
    with service.store.write() as tx:
        alarm_up = _alarm_up(tx, pour_id)
        if not alarm_up:
            _move_reminder(service, tx, asked_of_pour(service, tx, pour_id), by, service.timeline.true_ms())
    if alarm_up:
        pour_actions.take_look_due(service, pour_id, by)


def asked_of_pour(service: Service, connection: Connection, pour_id: int) -> AskedLook:
    """Return the look that a pour's own page asks for: its next one. Raises NotFound."""
    pour, now_ms = pours.get_pour(connection, pour_id), service.timeline.true_ms()
    looks = page_queries.looks_of(connection, pour_id)
    due_ms = None
    if pour.poured_ms is not None and pour.stage in LIVE:
        over = summarize_looks(pour.poured_ms, service.rhythm, looks, now_ms).over
        due_ms = None if over else next_due_ms(pour.poured_ms, service.rhythm, looks)
    if due_ms is None:
        return AskedLook(pour, None, looks[-1] if looks else None, later=False)
    later = _alarm_up(connection, pour_id) or _may_wait(connection, pour_id, due_ms, now_ms)
    return AskedLook(pour, due_ms, None, later)


def asked_again_ms(service: Service, connection: Connection, asked: AskedLook) -> int | None:
    """Return when a look that was answered with "later" is asked for again, true ms; None where it was not."""
    if asked.due_ms is None:
        return None
    reminding = reminding_of(connection, asked.pour.id, asked.due_ms)
    return remind_at_ms(asked.due_ms, service.rhythm, reminding) if reminding.later_ms else None


def _alarm_up(connection: Connection, pour_id: int) -> bool:
    return any(
        alarm.kind == LOOK_DUE and alarm.phase == Phase.RAISED
        for alarm in alarms.open_alarms(connection, pour_id)
    )


def _may_wait(connection: Connection, pour_id: int, due_ms: int, now_ms: int) -> bool:
    later_ms = reminding_of(connection, pour_id, due_ms).later_ms
    return len(later_ms) < LATER_TIMES and now_ms < due_ms + LATER_LAST_MS


def _move_reminder(service: Service, tx: Connection, asked: AskedLook, by: str, now_ms: int) -> int | None:
    """Note "later", once for a double tap; return when it is asked again, true ms."""
    due_ms = _must_be_asked(asked)
    reminding = reminding_of(tx, asked.pour.id, due_ms)
    if any(now_ms - ms < ONE_TAP_MS for ms in reminding.later_ms):
        return remind_at_ms(due_ms, service.rhythm, reminding)
    if not asked.later:
        raise NotAllowed(
            phrase("it cannot wait any longer: go and look, dry below, level as it was, no smell of heat")
        )
    events.add_event(tx, asked.pour.id, now_ms, LATER, by, fact("event-look-later"), {"due_ms": due_ms})
    reminding = Reminding(reminding.sent_ms, [*reminding.later_ms, now_ms])
    return remind_at_ms(due_ms, service.rhythm, reminding)


def _claim(service: Service, connection: Connection, token: str) -> Claim:
    claim = signed_links.read_token(connection, token, service.timeline.now_ms())
    if claim.purpose is not Purpose.LOOK or claim.look is None:
        raise LinkRefused(phrase("this link is for something else"))
    return claim


def _asked(service: Service, connection: Connection, claim: Claim) -> AskedLook:
    assert claim.look is not None
    pour_id, of_ms = claim.look
    pour, now_ms = pours.get_pour(connection, pour_id), service.timeline.true_ms()
    looks = page_queries.looks_of(connection, pour_id)
    if pour.poured_ms is None or pour.stage not in LIVE:
        return AskedLook(pour, None, looks[-1] if looks else None, later=False)
    next_ms = next_due_ms(pour.poured_ms, service.rhythm, looks)
    over = summarize_looks(pour.poured_ms, service.rhythm, looks, now_ms).over
    last_look = looks[-1] if looks and (next_ms is None or (of_ms and next_ms > of_ms)) else None
    if claim.alarm_id is not None and alarms.get_alarm(connection, claim.alarm_id).phase not in (
        Phase.RAISED,
        Phase.ACKNOWLEDGED,
    ):
        last_look = looks[-1] if looks else None
    if over or next_ms is None or last_look is not None:
        return AskedLook(pour, None, last_look, later=False)
    due_ms = of_ms or next_ms
    may_wait = _may_wait(connection, pour_id, due_ms, now_ms)
    return AskedLook(pour, due_ms, None, later=claim.alarm_id is not None or may_wait)


def _must_be_asked(asked: AskedLook) -> int:
    if asked.due_ms is not None:
        return asked.due_ms
    if asked.look is not None:
        raise NotAllowed(phrase("{by} has looked already: nothing was noted twice", by=asked.look.by))
    raise NotAllowed(phrase("no check of the form is due any more: nothing was noted"))
