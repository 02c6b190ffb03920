"""Gathers the cure record of one pour from the store: everything that answers a client's call two years later.

The record of a sealed pour is the text that was sealed, whatever program or fit came later; what was added since
stands apart in `additions`. Its fields are described in logger/record/SCHEMA.md.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from sqlalchemy import Connection

from logger.alarms.registry import KINDS
from logger.errors import LoggerError
from logger.facts import fact
from logger.plan.file import Plan, plan_from_text
from logger.planning.assess import assess_fully
from logger.record import event_views
from logger.record.bounds import never, read_json
from logger.record.downsample import thin
from logger.record.figures import Place, figures, hour_means
from logger.record.json_values import JsonObject
from logger.record.shapes import Addition, PourShape, RecordShape, fits
from logger.store import alarms, events, forecasts, page_queries, pours, seals, stations
from logger.store import traces as columns
from logger.store.rows import AlarmRow, EventRow
from logger.store.transfer import pour_of
from logger.words.reader import METRIC
from logger.words.render import say

#: Changes with the meaning of the record's fields.
RECORD_VERSION = 2
#: Columns to which the measured curves are thinned: two sheets' width.
CURVE_COLUMNS = 300
_ALARM_FIELDS = (
    "kind",
    "subject",
    "priority",
    "phase",
    "reason",
    "value",
    "limit",
    "late",
    "raised_ms",
    "acknowledged_ms",
    "acknowledged_by",
    "returned_ms",
    "ended_ms",
)


def gather(connection: Connection, pour_id: int, workshop: str) -> JsonObject:
    """Return the record as plain values (JSON), with `seal` (None while it is open) and `additions`.

    Raises NotFound, and BadInput for a record from elsewhere that earlier programs took in although it is none.
    """
    pour = pours.get_pour(connection, pour_id)
    body = seals.sealed_body(connection, pour_id) if pour.seal is not None else None
    if body is None or pour.seal is None:
        return gather_open(connection, pour_id, workshop) | {"seal": None, "additions": []}
    where = (
        ""
        if pour.origin is None
        else fact("record-from", pour=pour_id, workshop=str(pour.origin["workshop"]))
    )
    if pour.origin is not None:
        fits(PourShape, pour_of(connection, pour_id), where)
    later = seals.events_after(connection, pour_id, pour.seal["events"]["count"])
    additions = [_event(row) for row in later if row.kind != "sealed"]
    if pour.origin is not None:
        for addition in additions:
            fits(Addition, addition, where)
        return foreign_record(body, where) | {"seal": pour.seal, "additions": additions}
    sealed: JsonObject = json.loads(body, parse_constant=never)
    return sealed | {"seal": pour.seal, "additions": additions}


def foreign_record(body: str, where: str) -> JsonObject:
    """Return a record from elsewhere, from its text: what came in was not always checked. Raises BadInput."""
    record: JsonObject = read_json(body, where, never)
    fits(RecordShape, record, where)
    return record


@dataclass(frozen=True)
class Measured:
    """What a record says of a pour's readings: it takes a second, so it is worked out before the write lock."""

    reading_head: str
    released_ms: int | None
    parts: JsonObject


def measured(connection: Connection, pour_id: int) -> Measured:
    """Return figures, curves, air, contacts and faults of a pour, and up to which reading. Raises NotFound."""
    pour = pours.get_pour(connection, pour_id)
    plan = plan_from_text(pour.plan_toml, f"pour {pour_id}'s plan")
    poured_ms = pour.poured_ms
    release_h = None if poured_ms is None or pour.released_ms is None else _hours(pour.released_ms, poured_ms)
    traces = [] if poured_ms is None else columns.traces(connection, pour_id)
    humidity = _humidity(connection, pour_id, poured_ms)
    _points(pour.plan_toml)  # kept in memory: sealing must not solve a plan while it holds the write lock
    parts = {
        "figures": figures(
            _places(traces, poured_ms or 0),
            plan.resin.limits.max_core_c,
            pour.prediction,
            resin=plan.resin,
            release_h=release_h,
            humidity=humidity,
        ).to_json(),
        "curves": _curves(traces, poured_ms or 0),
        "air": {"hours": _hourly(humidity), "name": "relative humidity, hourly means, %"},
        "contacts": columns.contacts(connection, pour_id),
        "faults": _faults(connection, pour_id, poured_ms),
    }
    return Measured(pour.reading_head, pour.released_ms, parts)


def gather_open(
    connection: Connection, pour_id: int, workshop: str, cached: Measured | None = None
) -> JsonObject:
    """Return the record as the store has it now. `cached`: of its readings, used where no new ones have come."""
    pour = pours.get_pour(connection, pour_id)
    plan = plan_from_text(pour.plan_toml, f"pour {pour_id}'s plan")
    poured_ms = pour.poured_ms
    noted = [_event(row) for row in events.events_of(connection, pour_id)]
    signatures, overrides = page_queries.signatures_of(connection, pour_id)
    required, problem = _points(pour.plan_toml)
    if cached is None or (cached.reading_head, cached.released_ms) != (pour.reading_head, pour.released_ms):
        cached = measured(connection, pour_id)
    return {
        "record_version": RECORD_VERSION,
        "workshop": workshop,
        "pour": {
            "id": pour.id,
            "title": pour.title,
            "client": pour.client,
            "stage": pour.stage,
            "station": stations.name_of(connection, pour.station_id),
            "created_ms": pour.created_ms,
            "poured_ms": poured_ms,
            "released_ms": pour.released_ms,
            "closed_ms": pour.closed_ms,
        },
        "plan": plan.model_dump(exclude_none=True, mode="json"),
        "plan_toml": pour.plan_toml,
        "prediction": pour.prediction,
        "model_version": pour.model_version,
        **cached.parts,
        "slabs": _slabs(plan),
        "lots": event_views.lots(noted),
        "batches": event_views.batches(noted),
        "points": event_views.points(required, signatures, overrides),
        "points_problem": problem,
        "layers": event_views.layers(
            noted, [layer.model_dump(mode="json") for layer in plan.layer], plan.pour.depth_mm, poured_ms
        ),
        "looks": event_views.of_kind(noted, "look"),
        "photos": event_views.of_kind(noted, "photo"),
        "tests": event_views.of_kind(noted, "test"),
        "outcome": event_views.outcome(noted),
        "alarms": [_alarm(row) for row in alarms.alarms_of(connection, pour_id)],
        "forecasts": _forecasts(connection, pour_id),
        "events": noted,
        "chain": {"readings": pour.reading_head, "events": pour.event_head},
    }


@lru_cache(maxsize=16)
def _points(plan_toml: str) -> tuple[list[JsonObject], str | None]:
    """Return the readiness points that the plan asks for, and why there are none."""
    try:
        plan = plan_from_text(plan_toml)
        return [point.to_json() for point in assess_fully(plan).points], None
    except LoggerError as error:
        # A plan that planning cannot follow was poured all the same: its record says so, and tells the rest.
        return [], error.fact


def _places(traces: Sequence[columns.Trace], poured_ms: int) -> dict[str, Place]:
    """Return one Place for each place; where two probes read one place, both are in it, sorted by time."""
    by_place: dict[str, list[columns.Trace]] = {}
    for trace in traces:
        by_place.setdefault(trace.place, []).append(trace)
    places = {}
    for place, mine in by_place.items():
        hours = np.concatenate([(trace.at_ms - poured_ms) / 3.6e6 for trace in mine])
        order = np.argsort(hours, kind="stable")
        places[place] = Place(hours[order], np.concatenate([trace.celsius for trace in mine])[order])
    return places


def _humidity(connection: Connection, pour_id: int, poured_ms: int | None) -> Place | None:
    if poured_ms is None:
        return None
    at_ms, percent = columns.humidity(connection, pour_id)
    return Place((at_ms - poured_ms) / 3.6e6, percent) if len(at_ms) else None


def _hourly(humidity: Place | None) -> list[list[float]]:
    if humidity is None:
        return []
    return [[hour, round(mean, 2)] for hour, mean in hour_means(*humidity.good())]


def _curves(traces: Sequence[columns.Trace], poured_ms: int) -> list[JsonObject]:
    """Return each probe's course, thinned so that no highest or lowest reading is lost; None where a read failed."""
    curves = []
    for trace in traces:
        hours, celsius = thin((trace.at_ms - poured_ms) / 3.6e6, trace.celsius, CURVE_COLUMNS)
        curves.append(
            {
                "probe": trace.probe,
                "place": trace.place,
                "hours": np.round(hours, 5).tolist(),
                "celsius": [None if value != value else round(value, 3) for value in celsius.tolist()],
            }
        )
    return curves


def _slabs(plan: Plan) -> list[JsonObject]:
    """Return the slabs with their moisture as the meter showed it."""
    return [
        {
            "name": slab.name,
            "species": slab.species,
            "source": slab.source,
            "dried": slab.dried,
            "bark": slab.bark,
            "seal": slab.seal,
            "thickness_mm": slab.thickness_mm,
            "width_mm": slab.width_mm,
            "length_mm": slab.length_mm,
            "moisture_pct": [] if slab.meter is None else list(slab.meter.readings_pct),
            "meter": None if slab.meter is None else slab.meter.kind,
        }
        for slab in plan.slab
    ]


def _faults(connection: Connection, pour_id: int, poured_ms: int | None) -> list[JsonObject]:
    """Return failed reads by probe and reason, with when they began and ended: a gap is shown, not hidden."""
    if poured_ms is None:
        return []
    return [
        {
            "probe": row["probe"],
            "place": row["place"],
            "fault": row["fault"],
            "count": row["count"],
            "first_h": _hours(row["first_ms"], poured_ms),
            "last_h": _hours(row["last_ms"], poured_ms),
        }
        for row in columns.faults(connection, pour_id)
    ]


def _alarm(row: AlarmRow) -> JsonObject:
    fields: JsonObject = {name: getattr(row, name) for name in _ALARM_FIELDS}
    fields["title"] = say(KINDS[row.kind].title, METRIC) if row.kind in KINDS else row.kind
    answered = row.acknowledged_ms
    fields["answered_after_s"] = None if answered is None else round((answered - row.raised_ms) / 1000, 1)
    return fields


def _forecasts(connection: Connection, pour_id: int) -> list[JsonObject]:
    """Return the forecast as it was at each milestone hour."""
    bodies = []
    for hour in forecasts.MILESTONES_H:
        row = forecasts.at_milestone(connection, pour_id, hour)
        if row is not None:
            bodies.append({"asked_at_h": hour} | row.body)
    return bodies


def _event(row: EventRow) -> JsonObject:
    return {"at_ms": row.at_ms, "kind": row.kind, "by": row.by, "text": row.text, "data": row.data}


def _hours(at_ms: int, poured_ms: int) -> float:
    return round((at_ms - poured_ms) / 3.6e6, 4)
