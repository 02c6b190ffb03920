"""Alarms as pages, history and messages see them: one row an activation, kept in step with the state machine's changes.

The machine's own state is the pour's watchbook; both are written in one transaction.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, Select, func, insert, select, update

from logger.alarms.kind import Priority, urgency
from logger.alarms.rates import Span
from logger.alarms.registry import KINDS
from logger.alarms.state import Phase, Transition, Why
from logger.errors import NotFound
from logger.facts import cut, fact
from logger.store.boots import BOOT
from logger.store.database import table
from logger.store.events import EVENT, WATCH, add_event, ours
from logger.store.pours import OWN, POUR
from logger.store.rows import AlarmRow, all_rows, columns, first_row
from logger.store.tables import Alarm

ALARM = table(Alarm)
_ALARMS = select(*columns(ALARM, AlarmRow))
#: Alarms that people here have to do with: those in a record from elsewhere were answered there, or never.
OURS = ours(ALARM.c.pour_id)
#: Phases in which somebody has yet to do something.
OPEN = (Phase.RAISED, Phase.ACKNOWLEDGED, Phase.RETURNED)
#: Longest reason that is kept.
_LONGEST = 1000


def save_changes(
    tx: Connection, pour_id: int | None, changes: Iterable[Transition], true_shift_ms: int
) -> list[int]:
    """Write changes into the alarms' rows and the pour's events; gives the row id of each change's alarm.

    `true_shift_ms` turns the steady timeline of the changes into the time of day.
    """
    ids = []
    for change in changes:
        at_ms = change.at_ms + true_shift_ms
        row_id = _row_of(tx, pour_id, change, at_ms)
        values: dict[str, Any] = {"phase": str(change.phase), "quiet": change.quiet}
        if change.why in (Why.FIRST_TIME, Why.AGAIN, Why.WORSE, Why.REALARM):
            values |= {"reason": cut(change.text, _LONGEST), "value": change.value, "limit": change.limit}
        if change.why is Why.ACKNOWLEDGED or (change.why is Why.CLOSED and change.by):
            values |= {"acknowledged_ms": at_ms, "acknowledged_by": change.by}
        if change.why is Why.RETURNED:
            values["returned_ms"] = at_ms
        if change.phase is Phase.NORMAL:
            values["ended_ms"] = at_ms
        tx.execute(update(ALARM).where(ALARM.c.id == row_id).values(**values))
        add_event(
            tx,
            pour_id,
            at_ms,
            "alarm",
            change.by or WATCH,
            cut(change.text, 4000),
            {
                "alarm": row_id,
                "kind": change.kind,
                "subject": change.subject,
                "why": str(change.why),
                "phase": str(change.phase),
                "value": change.value,
                "limit": change.limit,
                "late": change.late,
                "measured_ms": change.measured_ms + true_shift_ms,
                "quiet": change.quiet,
            },
        )
        ids.append(row_id)
    return ids


def _row_of(tx: Connection, pour_id: int | None, change: Transition, at_ms: int) -> int:
    subject = change.subject if pour_id is None else f"{pour_id}/{change.subject}"
    value = tx.execute(
        select(ALARM.c.id).where(
            ALARM.c.subject == subject, ALARM.c.kind == change.kind, ALARM.c.activation == change.activation
        )
    ).scalar()
    if value is not None:
        return int(value)
    values = {
        "pour_id": pour_id,
        "subject": subject,
        "kind": change.kind,
        "activation": change.activation,
        "priority": str(KINDS[change.kind].priority),
        "phase": str(change.phase),
        "reason": cut(change.text, _LONGEST),
        "value": change.value,
        "limit": change.limit,
        "late": change.late,
        "quiet": change.quiet,
        "raised_ms": at_ms,
    }
    return int(tx.execute(insert(ALARM).values(**values).returning(ALARM.c.id)).scalar_one())


def row_id_of(connection: Connection, pour_id: int, key: str, activation: int) -> int | None:
    """Return the row of one activation of the alarm with that key (<kind>/<subject>), or None."""
    kind, _, subject = key.partition("/")
    value = connection.execute(
        select(ALARM.c.id).where(
            ALARM.c.subject == f"{pour_id}/{subject}", ALARM.c.kind == kind, ALARM.c.activation == activation
        )
    ).scalar()
    return None if value is None else int(value)


def same_alarm(alarm_id: int) -> Select[Any]:
    """Return the ids of every activation of the alarm that one activation belongs to."""
    this = ALARM.alias("this")
    return (
        select(ALARM.c.id)
        .join(this, (this.c.subject == ALARM.c.subject) & (this.c.kind == ALARM.c.kind))
        .where(this.c.id == alarm_id)
    )


def get_alarm(connection: Connection, alarm_id: int) -> AlarmRow:
    """One activation. Raises NotFound, also for one in a record from elsewhere: nobody answers it here."""
    row = first_row(connection, _ALARMS.where(ALARM.c.id == alarm_id, OURS), AlarmRow)
    if row is None:
        raise NotFound(fact("no-alarm", alarm=alarm_id))
    return row


def open_alarms(connection: Connection, pour_id: int | None = None) -> list[AlarmRow]:
    """Alarms that are true or unacknowledged, of one pour or of all: what is true first, and of that the gravest."""
    query = _ALARMS.where(ALARM.c.phase.in_(OPEN), OURS)
    if pour_id is not None:
        query = query.where(ALARM.c.pour_id == pour_id)
    return sorted(
        all_rows(connection, query, AlarmRow),
        key=lambda row: (
            row.phase == Phase.RETURNED,
            urgency(row.priority),
            row.phase == Phase.ACKNOWLEDGED,
            row.raised_ms,
        ),
    )


def alarms_of(connection: Connection, pour_id: int) -> list[AlarmRow]:
    """Every activation of a pour, oldest first."""
    return all_rows(connection, _ALARMS.where(ALARM.c.pour_id == pour_id).order_by(ALARM.c.id), AlarmRow)


def spans(connection: Connection) -> list[Span]:
    """Every activation that was told, as the alarms' own rates want it: those raised quietly are left out."""
    raised = connection.execute(
        select(EVENT.c.data).where(EVENT.c.kind == "alarm", ours(EVENT.c.pour_id)).order_by(EVENT.c.id)
    ).scalars()
    quiet = {
        data["alarm"] for data in raised if data.get("quiet") and data["why"] in (Why.FIRST_TIME, Why.AGAIN)
    }
    return [
        Span(
            row.kind,
            row.subject,
            Priority(row.priority),
            row.raised_ms,
            row.returned_ms or row.ended_ms,
            row.acknowledged_ms,
        )
        for row in all_rows(connection, _ALARMS.where(OURS).order_by(ALARM.c.id), AlarmRow)
        if row.id not in quiet
    ]


def history_from_ms(connection: Connection) -> int | None:
    """When the first pour was poured, or the first alarm raised; None before that."""
    poured = select(func.min(POUR.c.poured_boot_ms + BOOT.c.offset_ms)).join(
        BOOT, BOOT.c.id == POUR.c.poured_boot_id
    )
    firsts = [
        connection.execute(poured.where(OWN)).scalar(),
        connection.execute(select(func.min(ALARM.c.raised_ms)).where(OURS)).scalar(),
    ]
    return min((int(value) for value in firsts if value is not None), default=None)
