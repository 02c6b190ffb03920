"""The import page: what did we pour before this program watched, and what comes from another workshop?"""

from __future__ import annotations

import io
from collections.abc import Mapping as AnyMapping
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.cure.prediction import predict
from logger.errors import BadInput, LoggerError
from logger.plan_file import Plan, plan_from_text
from logger.record.bring_in import bring_in_log, text_of
from logger.record.bundle import bring_in, keep_photos, read_bundle
from logger.record.past_log import Column, Mapping, guess_columns
from logger.store import pours
from web.access import MakerDep, ServiceDep
from web.pages.frame import page
from web.service import Service

router = APIRouter(include_in_schema=False)
#: Largest file that the page takes, bytes; a larger one goes by `pourlog import`.
LARGEST = 15 * 1024 * 1024
#: What the form's other fields may take, bytes: a plan file and some words.
FIELDS = 512 * 1024
TIMES = {
    "s": "seconds since the start", "min": "minutes since the start", "h": "hours since the start",
    "iso": "2026-06-25T08:00 (ISO 8601)", "%Y-%m-%d %H:%M:%S": "2026-06-25 08:00:00",
    "%Y-%m-%d %H:%M": "2026-06-25 08:00", "%d/%m/%Y %H:%M": "25/06/2026 08:00 (day first)",
    "%m/%d/%Y %H:%M": "06/25/2026 08:00 (month first)", "%d.%m.%Y %H:%M": "25.06.2026 08:00",
    "unix": "seconds since 1970",
}  # fmt: skip
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
#: Columns that the form has room for.
COLUMNS = 5


@router.get("/shop/import")
def import_page(request: Request, service: ServiceDep, _who: MakerDep) -> Response:
    """The form."""
    return _page(request, service, {})


@router.post("/shop/import", max_body_size=LARGEST + FIELDS)
async def take(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Shows a log's columns, or takes a log or a bundle in."""
    async with request.form(max_files=1, max_fields=60) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("file")
        raw = await upload.read(LARGEST + 1) if isinstance(upload, UploadFile) else b""
        name = (upload.filename or "the file") if isinstance(upload, UploadFile) else "the file"
    try:
        if not raw:
            raise BadInput("file", "is missing", remedy="choose the file; browsers ask for it each time")
        if len(raw) > LARGEST:
            raise BadInput("file", "is too large for this page", value=f"{len(raw) / 1e6:.0f} MB",
                           allowed=f"{LARGEST / 1e6:.0f} MB", remedy="use `pourlog import` there")  # fmt: skip
        if given.get("act") == "look" and not raw.startswith(b"PK"):
            heading, rows = guess_columns(text_of(raw, name), _delimiter(given), _skip(given))
            return _page(request, service, given, heading=heading, rows=rows)
        pour_id = await run_in_threadpool(_take, service, raw, name, given, who.name)
    except LoggerError as error:
        return _page(request, service, given, problem=str(error))
    return RedirectResponse(f"/pours/{pour_id}/record", 303)


def mapping_of(given: AnyMapping[str, str]) -> Mapping:
    """The mapping of a filled form. Raises BadInput."""
    columns = tuple(
        Column(given[f"heading-{at}"].strip(), given.get(f"place-{at}", "").strip(), given.get(f"unit-{at}", ""))
        for at in range(COLUMNS) if given.get(f"heading-{at}", "").strip()
    )  # fmt: skip
    time = tuple(given[name].strip() for name in ("time", "time-2") if given.get(name, "").strip())
    return Mapping(
        time, given.get("own_format", "").strip() or given.get("time_as", ""), columns,
        given.get("zone", "").strip() or None, _delimiter(given), "comma" in given.get("decimal", ""), _skip(given),
    )  # fmt: skip


def start_of(text: str, zone: str | None) -> int | None:
    """A start such as 2026-06-25T08:00 in a zone, ms; None where nothing is given. Raises BadInput."""
    if not text.strip():
        return None
    try:
        at = datetime.fromisoformat(text.strip())
        if at.tzinfo is None:
            if zone is None:
                raise BadInput("zone", "is missing", allowed="an IANA name, such as Europe/Berlin or UTC",
                               remedy="say in which time zone the start is meant")  # fmt: skip
            at = at.replace(tzinfo=ZoneInfo(zone))
    except (ValueError, ZoneInfoNotFoundError) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput("start", "is no day and time", value=text, allowed="such as 2026-06-25T08:00",
                       remedy="give day and time of day, and a time zone by its IANA name") from error  # fmt: skip
    return round(at.timestamp() * 1000)


def _take(service: Service, raw: bytes, name: str, given: AnyMapping[str, str], by: str) -> int:
    now_ms = service.timeline.true_ms()
    if raw.startswith(b"PK"):
        bundle = read_bundle(io.BytesIO(raw), name)
        with service.store.write() as tx:
            pour_id = bring_in(tx, bundle, by, now_ms)
            keep_photos(bundle, Path(service.settings.data_dir) / "photos")
        return pour_id
    plan = _plan(service, given)
    prediction = predict(plan).to_json()
    mapping = mapping_of(given)
    with service.store.write() as tx:
        pour_id, _log = bring_in_log(
            tx, raw, mapping, plan, prediction, where=name, client=given.get("client", "").strip()[:200],
            poured_ms=start_of(given.get("start", ""), mapping.zone), leave_out_bad="leave_out_bad" in given, by=by,
            now_ms=now_ms,
        )  # fmt: skip
    service.news.tell("pour", pour=pour_id)
    return pour_id


def _plan(service: Service, given: AnyMapping[str, str]) -> Plan:
    title = given.get("title", "").strip()
    if given.get("plan_toml", "").strip():
        plan = plan_from_text(given["plan_toml"], "the plan")
    elif given.get("like", "").strip().isdigit():
        with service.store.read() as connection:
            pour = pours.get_pour(connection, int(given["like"]))
        plan = plan_from_text(pour.plan_toml, f"pour {pour.id}'s plan")
    else:
        raise BadInput(
            "plan", "is missing", remedy="choose a pour with the same resin and shape, or paste a plan file"
        )
    return plan.model_copy(update={"title": title[:300]}) if title else plan


def _delimiter(given: AnyMapping[str, str]) -> str:
    return DELIMITERS.get(given.get("delimiter", ""), ",")


def _skip(given: AnyMapping[str, str]) -> int:
    text = given.get("skip", "").strip() or "0"
    if not text.isdigit() or int(text) > 10_000:
        raise BadInput(
            "lines above the heading", "is no number", value=text, allowed="0 to 10000", remedy="count them"
        )
    return int(text)


def _page(
    request: Request, service: Service, given: AnyMapping[str, str], *, heading: list[str] | None = None,
    rows: list[list[str]] | None = None, problem: str | None = None,
) -> Response:  # fmt: skip
    with service.store.read() as connection:
        known: list[tuple[int, str]] = [(row.id, row.title) for row in pours.all_pours(connection, most=200)]
    context: dict[str, Any] = {"given": given, "heading": heading, "rows": rows or [], "problem": problem,
                               "known": known, "times": TIMES, "columns": range(COLUMNS),
                               "places": ("core", "surface", "underside", "room", "core-2", "room-2")}  # fmt: skip
    return page(request, "import.html", context, status=422 if problem else 200)
