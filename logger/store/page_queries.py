"""What pages ask of the database: read-only questions that no other noun's file needs."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Row, select

from logger.alarms.first_hour import Look, LookResult
from logger.alarms.kind import Priority, urgency
from logger.alarms.state import UP, Phase
from logger.planning.readiness import Override, SecondCheck, Signature
from logger.store.alarms import ALARM, OURS
from logger.store.events import EVENT, EVENTS
from logger.store.pours import POUR, POUR_PROBE
from logger.store.readings import READING
from logger.store.rows import EventRow, ListedPour, PressingAlarm, ProbeRow, all_rows, columns
from logger.store.stations import probes_of


def pressing(connection: Connection) -> list[PressingAlarm]:
    """Alarms that nobody has acknowledged, and those of high priority that are true although somebody has; the gravest
    first, each with `pour_title` (None: the watch itself)."""
    rows = all_rows(
        connection,
        select(*columns(ALARM, PressingAlarm, POUR.c.title.label("pour_title")))
        .join(POUR, POUR.c.id == ALARM.c.pour_id, isouter=True)
        .where(
            ALARM.c.phase.in_((Phase.RAISED, Phase.RETURNED))
            | ((ALARM.c.phase == Phase.ACKNOWLEDGED) & (ALARM.c.priority == Priority.HIGH)),
            OURS,
        ),
        PressingAlarm,
    )
    return sorted(
        rows,
        key=lambda row: (
            urgency(row.priority if row.phase in UP else Priority.LOW),
            row.phase != Phase.RAISED,
            row.raised_ms,
        ),
    )


def probes_of_pour(connection: Connection, pour: ListedPour) -> list[ProbeRow]:
    """Return the probes that watch a pour, each with its last reading: all of its station's, or those chosen for it."""
    if pour.station_id is None:
        return []
    chosen = set(
        connection.execute(select(POUR_PROBE.c.rom).where(POUR_PROBE.c.pour_id == pour.id)).scalars()
    )
    return [row for row in probes_of(connection, pour.station_id) if not chosen or row.rom in chosen]


def newest_events(connection: Connection, pour_id: int, most: int = 200) -> list[EventRow]:
    """Return a pour's events, newest first."""
    newest = EVENTS.where(EVENT.c.pour_id == pour_id).order_by(EVENT.c.id.desc()).limit(most)
    return all_rows(connection, newest, EventRow)


def events_of_kind(connection: Connection, pour_id: int, *kinds: str) -> list[EventRow]:
    """Return a pour's events of some kinds, oldest first."""
    query = EVENTS.where(EVENT.c.pour_id == pour_id, EVENT.c.kind.in_(kinds)).order_by(EVENT.c.id)
    return all_rows(connection, query, EventRow)


def contacts_of(connection: Connection, pour_id: int) -> dict[str, Row[Any]]:
    """Place → the last change of each contact (rows with neither temperature nor fault)."""
    rows = connection.execute(
        select(READING)
        .where(READING.c.pour_id == pour_id, READING.c.milli_c.is_(None), READING.c.fault.is_(None))
        .order_by(READING.c.id)
    )
    return {row.place: row for row in rows}


def looks_of(connection: Connection, pour_id: int) -> list[Look]:
    """Return the looks of a pour's first hour, oldest first: events of kind "look" with data {"finding": …}."""
    looks = [
        Look(row.at_ms, row.by, LookResult(row.facts["finding"]), row.text)
        for row in events_of_kind(connection, pour_id, "look")
    ]
    return sorted(looks, key=lambda look: look.at_ms)  # one that a phone kept for a while comes in late


def signatures_of(connection: Connection, pour_id: int) -> tuple[list[Signature], list[Override]]:
    """Who has signed what since the plan was last changed, and what was let pass by name and reason.

    Events "signed" {"point", "person"}, "unsigned" {"point", "person"}, "signed-again" {"point", "person", "minutes",
    "photo"}, "override" {"point", "person", "reason", "unknown"}; a photo is an event "photo" {"point"} of its own.
    """
    signed: dict[tuple[str, str], Signature] = {}
    overrides: dict[str, Override] = {}
    photos: set[str] = set()
    rows = events_of_kind(connection, pour_id, *_SIGNING)
    for row in rows:
        about = row.facts
        if row.kind == "plan-changed":
            signed.clear()
            overrides.clear()
            photos.clear()
        elif row.kind == "photo" and "point" in about:
            photos.add(about["point"])
        elif row.kind == "override":
            overrides[about["point"]] = Override(
                about["point"], about["person"], about["reason"], bool(about.get("unknown"))
            )
        elif row.kind in ("signed", "unsigned", "signed-again"):
            _sign(signed, row)
    signatures = [replace(s, has_photo=s.point in photos) for s in signed.values()]
    return signatures, list(overrides.values())


_SIGNING = ("signed", "unsigned", "signed-again", "override", "photo", "plan-changed")


def _sign(signed: dict[tuple[str, str], Signature], row: EventRow) -> None:
    """Take one signature, its second check or its taking back into account; a second tap moves no first one."""
    about = row.facts
    key = about["point"], about["person"].casefold()
    if row.kind == "unsigned":
        signed.pop(key, None)
    elif row.kind == "signed":
        signed.setdefault(key, Signature(about["point"], about["person"], at_ms=row.at_ms))
    elif key in signed:
        signed[key] = replace(signed[key], again=SecondCheck(about["minutes"], about["photo"]))
