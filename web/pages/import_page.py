"""The import page: what did we pour before this program watched, and what comes from another workshop?"""

from __future__ import annotations

from collections.abc import Mapping as AnyMapping
from datetime import datetime
from typing import IO, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from logger.errors import BadInput, LoggerError
from logger.quantities import quantity
from logger.record.import_log import LogAsked, first_lines
from logger.record.past_log import Column, Mapping, check_mapping, guess_columns
from logger.store import pours
from logger.words.phrase import phrase
from logger.words.render import say
from web.security.access import MakerDep, ServiceDep
from web.service.service import Service
from web.views.render import page

router = APIRouter(include_in_schema=False)
#: Largest file that the page takes, bytes; a larger one goes by `pourlog import`. A record of three days with six
#: probes every 5 s has 14 MB; one that an earlier program packed, 51 MB.
LARGEST = 64 * 1024 * 1024
#: What the form's other fields may take, bytes: a plan file and some words.
FIELDS = 512 * 1024
TIMES = {
    "s": phrase("seconds since the start"),
    "min": phrase("minutes since the start"),
    "h": phrase("hours since the start"),
    "iso": "2026-06-25T08:00 (ISO 8601)",
    "%Y-%m-%d %H:%M:%S": "2026-06-25 08:00:00",
    "%Y-%m-%d %H:%M": "2026-06-25 08:00",
    "%d/%m/%Y %H:%M": phrase("{example} (day first)", example="25/06/2026 08:00"),
    "%m/%d/%Y %H:%M": phrase("{example} (month first)", example="06/25/2026 08:00"),
    "%d.%m.%Y %H:%M": "25.06.2026 08:00",
    "unix": phrase("seconds since 1970"),
}
DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t"}
#: Columns that the form has room for.
COLUMNS = 5


@router.get("/shop/import")
def import_page(request: Request, service: ServiceDep, _who: MakerDep) -> Response:
    """Show the form."""
    return _page(request, service, {})


@router.post("/shop/import", max_body_size=LARGEST + FIELDS)
async def take(request: Request, service: ServiceDep, who: MakerDep) -> Response:
    """Show a log's columns, or take a log or a bundle in."""
    async with request.form(max_files=1, max_fields=60) as form:
        given = {name: value for name, value in form.items() if isinstance(value, str)}
        upload = form.get("file")
        try:
            if not isinstance(upload, UploadFile) or not upload.size:
                raise BadInput(
                    phrase("file"),
                    phrase("is missing"),
                    remedy=phrase("choose the file; browsers ask for it each time"),
                )
            if upload.size > LARGEST:
                raise BadInput(
                    phrase("file"),
                    phrase("is too large for this page"),
                    value=quantity(upload.size / 1e6, "MB", 0),
                    allowed=quantity(LARGEST / 1e6, "MB", 0),
                    remedy=phrase("use `pourlog import` there"),
                )
            name = _shown_name(upload.filename)
            if given.get("act") == "look" and not await run_in_threadpool(_is_packed, upload.file):
                text = await run_in_threadpool(first_lines, upload.file, name)
                heading, rows = guess_columns(text, _delimiter(given), _skip(given))
                return _page(request, service, given, heading=heading, rows=rows)
            pour_id = await run_in_threadpool(_take, service, upload.file, name, given, who.name)
        except LoggerError as error:
            return _page(request, service, given, problem=error.fact)
    return RedirectResponse(f"/pours/{pour_id}/record", 303)


def mapping_of(given: AnyMapping[str, str]) -> Mapping:
    """Return the mapping of a filled form. Raises BadInput."""
    columns = tuple(
        Column(
            given[f"heading-{at}"].strip(), given.get(f"place-{at}", "").strip(), given.get(f"unit-{at}", "")
        )
        for at in range(COLUMNS)
        if given.get(f"heading-{at}", "").strip()
    )
    time = tuple(given[name].strip() for name in ("time", "time-2") if given.get(name, "").strip())
    return Mapping(
        time,
        given.get("own_format", "").strip() or given.get("time_as", ""),
        columns,
        given.get("zone", "").strip() or None,
        _delimiter(given),
        "comma" in given.get("decimal", ""),
        _skip(given),
    )


def start_of(text: str, zone: str | None) -> int | None:
    """Return a start such as 2026-06-25T08:00 in a zone, ms; None where nothing is given. Raises BadInput."""
    if not text.strip():
        return None
    try:
        at = datetime.fromisoformat(text.strip())
        if at.tzinfo is None:
            if zone is None:
                raise BadInput(
                    phrase("zone"),
                    phrase("is missing"),
                    allowed=phrase("an IANA name, such as Europe/Berlin or UTC"),
                    remedy=phrase("say in which time zone the start is meant"),
                )
            at = at.replace(tzinfo=ZoneInfo(zone))
    except (ValueError, ZoneInfoNotFoundError) as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            phrase("start"),
            phrase("is no day and time"),
            value=text,
            allowed=phrase("such as 2026-06-25T08:00"),
            remedy=phrase("give day and time of day, and a time zone by its IANA name"),
        ) from error
    return round(at.timestamp() * 1000)


def _take(service: Service, file: IO[bytes], name: str, given: AnyMapping[str, str], by: str) -> int:
    packed = _is_packed(file)
    asked = None if packed else _asked(service, given)
    with service.imports.laid_down(file) as path:
        taken = (
            service.imports.record(path, name, by)
            if asked is None
            else service.imports.log(path, name, asked, by)
        )
    service.news.publish("pour", pour=taken.pour_id)
    return taken.pour_id


def _asked(service: Service, given: AnyMapping[str, str]) -> LogAsked:
    mapping = mapping_of(given)
    check_mapping(mapping)
    return LogAsked(
        mapping,
        _plan_text(service, given),
        given.get("title", "").strip(),
        given.get("client", "").strip()[:200],
        start_of(given.get("start", ""), mapping.zone),
        "leave_out_bad" in given,
    )


def _is_packed(file: IO[bytes]) -> bool:
    begins = file.read(2)
    file.seek(0)
    return begins == b"PK"


def _shown_name(given: str | None) -> str:
    """Return a file's name as a browser sends it, for messages and the record: on one line, without folders."""
    name = "".join(letter for letter in (given or "") if letter.isprintable())
    return name.replace("\\", "/").rpartition("/")[2].strip()[:100] or say(phrase("the file"))


def _plan_text(service: Service, given: AnyMapping[str, str]) -> str:
    if given.get("plan_toml", "").strip():
        return given["plan_toml"]
    like = given.get("like", "").strip()
    if not like.isdecimal():
        raise BadInput(
            phrase("plan"),
            phrase("is missing"),
            remedy=phrase("choose a pour with the same resin and shape, or paste a plan file"),
        )
    with service.store.read() as connection:
        return str(pours.get_pour(connection, int(like[:9])).plan_toml)


def _delimiter(given: AnyMapping[str, str]) -> str:
    return DELIMITERS.get(given.get("delimiter", ""), ",")


def _skip(given: AnyMapping[str, str]) -> int:
    text = given.get("skip", "").strip() or "0"
    if not text.isdigit() or int(text) > 10_000:
        raise BadInput(
            phrase("lines above the heading"),
            phrase("is no number"),
            value=text,
            allowed=phrase("0 to 10000"),
            remedy=phrase("count them"),
        )
    return int(text)


def _page(
    request: Request,
    service: Service,
    given: AnyMapping[str, str],
    *,
    heading: list[str] | None = None,
    rows: list[list[str]] | None = None,
    problem: str | None = None,
) -> Response:
    with service.store.read() as connection:
        earlier: list[tuple[int, str]] = [
            (row.id, row.title) for row in pours.all_pours(connection, most=200)
        ]
    context: dict[str, Any] = {
        "given": given,
        "heading": heading,
        "rows": rows or [],
        "problem": problem,
        "earlier": earlier,
        "times": TIMES,
        "columns": range(COLUMNS),
        "places": ("core", "surface", "underside", "room", "core-2", "room-2"),
    }
    return page(request, "import.html", context, status=422 if problem else 200)
