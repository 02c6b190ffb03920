"""Gathers the cure record of one pour from the store: everything that answers a client's call two years later."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from logger.plan_file import plan_from_text
from logger.record.figures import figures, places_from
from logger.store import alarms, events, forecasts, pours, readings, stations

#: Changes with the meaning of the record's fields.
RECORD_VERSION = 1


def gather(connection: Connection, pour_id: int, workshop: str) -> dict[str, Any]:
    """The record as plain values (JSON). Raises NotFound."""
    pour = pours.get_pour(connection, pour_id)
    plan = plan_from_text(pour.plan_toml, f"pour {pour_id}'s plan")
    rows = readings.series(connection, pour_id)
    poured_ms = pour.poured_ms
    if poured_ms is None:
        timed: list[tuple[float, str, float | None]] = []
    else:
        timed = [
            ((row.at_ms - poured_ms) / 3.6e6, row.place, None if row.milli_c is None else row.milli_c / 1000)
            for row in rows
            if row.milli_c is not None or row.fault is not None
        ]
    names = {row.id: row.name for row in stations.all_stations(connection)}
    return {
        "record_version": RECORD_VERSION,
        "workshop": workshop,
        "pour": {
            "id": pour.id,
            "title": pour.title,
            "client": pour.client,
            "stage": pour.stage,
            "station": names.get(pour.station_id),
            "created_ms": pour.created_ms,
            "poured_ms": poured_ms,
            "released_ms": pour.released_ms,
            "closed_ms": pour.closed_ms,
        },
        "plan": plan.model_dump(exclude_none=True, mode="json"),
        "plan_toml": pour.plan_toml,
        "prediction": pour.prediction,
        "model_version": pour.model_version,
        "figures": figures(places_from(timed), plan.resin.limits.max_core_c, pour.prediction).to_json(),
        "faults": _faults(rows, poured_ms),
        "alarms": [
            {
                name: getattr(row, name)
                for name in ("kind", "subject", "priority", "phase", "reason", "value", "limit", "late",
                             "raised_ms", "acknowledged_ms", "acknowledged_by", "returned_ms", "ended_ms")
            }
            for row in alarms.alarms_of(connection, pour_id)
        ],
        "forecasts": [row.body for row in forecasts.milestones(connection, pour_id)],
        "events": [
            {"at_ms": row.at_ms, "kind": row.kind, "by": row.by, "text": row.text, "data": row.data}
            for row in events.events_of(connection, pour_id)
        ],
        "chain": {"readings": pour.reading_head, "events": pour.event_head},
    }  # fmt: skip


def _faults(rows: list[Any], poured_ms: int | None) -> list[dict[str, Any]]:
    """Failed reads by probe and reason, with when they began and ended: a gap is told, not hidden."""
    found: dict[tuple[str, str, str], dict[str, Any]] = {}
    for row in rows:
        if row.fault is None or poured_ms is None:
            continue
        hour = round((row.at_ms - poured_ms) / 3.6e6, 4)
        entry = found.setdefault(
            (row.probe, row.place, row.fault),
            {"probe": row.probe, "place": row.place, "fault": row.fault, "count": 0, "first_h": hour},
        )
        entry["count"] += 1
        entry["last_h"] = hour
    return list(found.values())
