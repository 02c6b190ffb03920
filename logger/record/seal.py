"""Seals a pour's record when the pour is closed: heads, counts and hashes of everything that the record rests on.

The seal's own hash goes into the chain of events as the event "sealed"; what is added afterwards is chained behind
it. Whoever keeps the seal's hash on paper (it is printed on the record and its label) can prove the file later, even
against somebody who may write anything into the database.
"""

from __future__ import annotations

from sqlalchemy import Connection

from logger.errors import NotAllowed
from logger.facts import fact
from logger.pour import Stage, stage_word
from logger.record.gather import Measured, gather_open
from logger.record.json_values import JsonObject, JsonView
from logger.store import events, pours, seals, stations
from logger.store.hash_chain import canonical, sha256
from logger.store.rows import PourRow

SEAL_VERSION = 1
#: What stands for good once an alarm is raised, and what its answer and end add.
ALARM_RAISED = ("kind", "activation", "priority", "late", "raised_ms")
ALARM_ANSWER = (
    "phase",
    "reason",
    "value",
    "limit",
    "acknowledged_ms",
    "acknowledged_by",
    "returned_ms",
    "ended_ms",
)
FORECAST_FIELDS = ("made_ms", "at_h", "body")


def seal(
    tx: Connection, pour_id: int, by: str, now_ms: int, workshop: str, cached: Measured | None = None
) -> JsonObject:
    """Seal a closed pour in the transaction that closed it; return the seal.

    `cached`: of its readings, from before the transaction; worked out anew when readings came since. Raises NotAllowed
    when the pour is not closed, or sealed already.
    """
    pour = pours.get_pour(tx, pour_id)
    if pour.stage != Stage.CLOSED:
        raise NotAllowed(fact("only-closed-is-sealed", pour=pour_id, stage=stage_word(pour.stage)))
    record = gather_open(tx, pour_id, workshop, cached)
    body = canonical(record)
    content = {
        "version": SEAL_VERSION,
        "sealed_ms": now_ms,
        "by": by,
        "readings": {"count": seals.counted(tx, pour_id), "head": pour.reading_head},
        "events": {"count": len(record["events"]), "head": pour.event_head},
        "boots": seals.boots_of(tx, pour_id),
        "pour": pour_hashes(tx, pour),
        "alarms": [alarm_hashes(seals.alarm_row(tx, row)) for row in seals.ids_of_alarms(tx, pour_id)],
        "forecasts": [
            forecast_hash(seals.forecast_row(tx, row)) for row in seals.ids_of_forecasts(tx, pour_id)
        ],
        "figures": record["figures"],
        "record_sha256": sha256(body),
    }
    seals.keep_seal(tx, pour_id, content, body)
    events.add_event(
        tx,
        pour_id,
        now_ms,
        "sealed",
        by,
        fact("event-sealed", seal=seal_hash(content)[:16]),
        {"seal_sha256": seal_hash(content)},
    )
    return content


def seal_hash(content: JsonView) -> str:
    """Return the one hash of a seal, hex: what is printed."""
    return sha256(canonical(content))


def pour_hashes(connection: Connection, pour: PourRow) -> dict[str, str]:
    """Return the hash of each thing about the pour that is not a row of its own."""
    values = {name: getattr(pour, name) for name in seals.POUR_FIELDS} | {
        "station": stations.name_of(connection, pour.station_id),
        "poured_boot": seals.poured_boot(connection, pour),
        "probes": seals.probes_chosen(connection, pour.id),
    }
    return {name: sha256(canonical(value)) for name, value in values.items()}


def alarm_hashes(row: JsonView) -> list[str]:
    """Return the hashes of an alarm as raised and of its answer. Its subject goes in without the pour's number here."""
    subject = row["subject"].partition("/")[2] or row["subject"]
    raised = [subject, *(row[name] for name in ALARM_RAISED)]
    return [sha256(canonical(raised)), sha256(canonical([row[name] for name in ALARM_ANSWER]))]


def forecast_hash(row: JsonView) -> str:
    """Return the hash of a forecast."""
    return sha256(canonical([row[name] for name in FORECAST_FIELDS]))
