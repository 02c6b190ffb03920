"""The record page: what happened to this table? Printable, from the readings as they were taken."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.alarms.kinds import KINDS
from logger.pour import Stage
from logger.record.gather import gather
from logger.store import pours
from web.access import ReaderDep, ServiceDep
from web.pages.frame import page
from web.pages.measures import Units, units_of
from web.pages.standing import FAULT_WORDS, STAGE_WORDS
from web.pages.words import hours_minutes
from web.shapes import RowId

router = APIRouter(include_in_schema=False)


@router.get("/pours/{pour_id}/record")
def record_page(pour_id: RowId, request: Request, service: ServiceDep, _who: ReaderDep) -> Response:
    """Plan, figures, alarms, faults, events."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        record = gather(connection, pour_id, service.settings.workshop)
    u = units_of(request)
    prediction = record["prediction"] or {}
    chart = {
        "pour": pour_id,
        "fahrenheit": u.temperature == "f",
        "limit_c": record["figures"]["limit_c"],
        "predicted": {name: prediction.get("curve", {}).get(name, []) for name in ("hours", "core_c")},
        "band": None,
    }
    return page(
        request,
        "record.html",
        {"record": record, "pour": pour, "facts": facts(record, u), "chart": chart, "kinds": KINDS,
         "fault_words": FAULT_WORDS, "stage_word": STAGE_WORDS[Stage(pour.stage)],
         "sealed": pour.stage == Stage.CLOSED},
    )  # fmt: skip


def facts(record: dict[str, Any], u: Units) -> list[tuple[str, str]]:
    """(what, how much) lines of a record, in words; what the readings cannot tell is said, not left out."""
    f = record["figures"]
    warmth = f["core_degree_hours"]
    told = [
        ("Hottest core", _at(u.temp(f["core_peak_c"]), f["core_peak_at_h"])),
        ("Predicted hottest", _at(u.temp(f["predicted_peak_c"]), f["predicted_peak_at_h"])),
        ("Resin's limit", u.temp(f["limit_c"], 0)),
        ("Time over the limit", hours_minutes(f["hours_over_limit"])),
        ("Steepest rise", _at(f"{u.rise(f['steepest_rise_c_per_h'])} an hour", f["steepest_rise_at_h"])),
        ("Widest spread, core to surface", _at(u.rise(f["widest_spread_c"]), f["widest_spread_at_h"])),
        ("Coldest room", _at(u.temp(f["room_coldest_c"]), f["room_coldest_at_h"])),
        ("Warmest room", u.temp(f["room_hottest_c"])),
        ("Warmth the core had", "–" if warmth is None else f"{warmth:,.0f} °C·h above 5 °C"),
        ("Watched for", hours_minutes(f["hours"])),
        ("Longest gap in the core's readings", hours_minutes(f["longest_gap_h"])),
        ("Readings", f"{f['readings']:,}, of which {f['faults']:,} failed"),
    ]  # fmt: skip
    return [(what, "not told by the readings" if how.startswith("–") else how) for what, how in told]


def _at(text: str, hours: float | None) -> str:
    return text if hours is None else f"{text}, {hours_minutes(hours)} after pouring"
