"""Records for programs and phones: JSON, CSV, bundle, proof, calendar, comparison; and how far the watch has come."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import Field
from sqlalchemy import func, select
from starlette.responses import PlainTextResponse, Response, StreamingResponse

from logger.errors import LoggerError, NotFound
from logger.pour import LIVE, Stage
from logger.record import compare, refit_offers
from logger.record.bundle import write_bundle
from logger.record.calendar import CalendarEntry, calendar
from logger.record.files import everything
from logger.record.gather import gather
from logger.record.verify import verify
from logger.store import pours, shared_links
from logger.store.readings import READING
from logger.store.rows import PourWithPrediction
from logger.store.shared_links import LinkKind
from logger.words.phrase import phrase
from logger.words.reader import METRIC, Reader
from logger.words.render import say
from web.actions import pours as pour_actions
from web.answers import (
    ERRORS,
    CompareAnswer,
    ComparedPour,
    FitOffer,
    PredictionErrors,
    ProgressAnswer,
    ShopAnswer,
    StockLot,
    TroubleAnswer,
    VerdictAnswer,
)
from web.schemas import RemoveShape, RowId
from web.security.access import OwnerDep, ServiceDep, ViewerDep
from web.service.service import Service
from web.views.agenda import coming
from web.views.compared_pours import every_pour
from web.views.csv_in_units import lines_for
from web.views.predicted import foretold_of
from web.views.reader_units import reader_of
from web.views.shop_account import lessons_of, shelf_of, today
from web.views.status import status_of

router = APIRouter(tags=["records"], responses=ERRORS)
#: A whole record. Free JSON: a sealed one is passed on as it was sealed, by whichever version of the program.
RecordJson = Annotated[
    dict[str, Any],
    Field(
        description="a whole record as it was sealed, or as it stands; logger/record/SCHEMA.md has its fields"
    ),
]
#: Pieces in which a file is sent, bytes.
PIECE = 256 * 1024
#: Links by whose token a calendar is read as well.
WITH_CALENDAR = (LinkKind.RECORD, LinkKind.SCREEN)
#: Reminds so long before something that asks for hands, min.
REMIND_MIN = 15
#: How the names of these begin (`web.views.agenda.Coming.name`).
REMINDED = ("pour-layer", "a-next-layer", "hard-and-cool")


def _files(media_type: str, what: str) -> dict[int | str, dict[str, Any]]:
    """Return the description of an answer that is a file."""
    shape = {"type": "object" if media_type == "application/json" else "string", "description": what}
    return {200: {"description": "A file", "content": {media_type: {"schema": shape}}}}


@router.get("/api/pours/{pour_id}/record")
def record(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> RecordJson:
    """Everything that is kept about a pour but its single readings."""
    with service.store.read() as connection:
        return gather(connection, pour_id, service.settings.workshop)


@router.get(
    "/api/pours/{pour_id}/everything",
    response_class=Response,
    responses=_files("application/json", "the record and its rows; logger/record/SCHEMA.md has their fields"),
)
def whole(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> Response:
    """Send the record and every row that it rests on, as one JSON text; see SCHEMA.md in the bundle."""
    with service.store.read() as connection:
        if pours.get_pour(connection, pour_id).origin is not None:
            gather(connection, pour_id, service.settings.workshop)  # said before the answer begins

    def pieces() -> Iterator[str]:
        with service.store.read() as connection:
            yield from everything(connection, pour_id, service.settings.workshop)

    return StreamingResponse(pieces(), media_type="application/json", headers=_named(f"pour-{pour_id}.json"))


@router.get(
    "/api/pours/{pour_id}/tables/{name}",
    response_class=Response,
    responses=_files("text/csv", "a table with a head line"),
)
def table(
    pour_id: RowId,
    name: str,
    request: Request,
    service: ServiceDep,
    _who: ViewerDep,
    units: Annotated[str, Query(max_length=10)] = "",
) -> Response:
    """One table of a pour as CSV: readings, events, alarms, forecasts or boots. As it is stored, to be proved; with
    `units` (metric, us) to be read: temperatures in those units, which the heading names.
    """
    reader = reader_of(request)
    with service.store.read() as connection:
        pours.get_pour(connection, pour_id)
        lines_for(connection, pour_id, name, units, reader)

    def pieces() -> Iterator[str]:
        with service.store.read() as connection:
            yield from lines_for(connection, pour_id, name, units, reader)

    return StreamingResponse(
        pieces(),
        media_type="text/csv; charset=utf-8; header=present",
        headers=_named(f"pour-{pour_id}-{name}{'-' if units else ''}{units}.csv"),
    )


@router.get(
    "/api/pours/{pour_id}/bundle",
    response_class=Response,
    responses=_files("application/zip", "the record, its rows and its photos"),
)
def bundle(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> Response:
    """Send the record with its rows and photos as one file, to keep elsewhere, to verify and to import."""
    # Made whole before the first byte is sent: a photo that is gone is an error, not half a file.
    held = tempfile.TemporaryFile(dir=service.settings.data_dir)  # noqa: SIM115 - closed when it was sent
    try:
        with service.store.read() as connection:
            write_bundle(
                connection,
                pour_id,
                service.settings.workshop,
                _photos(service),
                held,
                service.timeline.true_ms(),
            )
    except BaseException:
        held.close()
        raise
    held.seek(0)

    def pieces() -> Iterator[bytes]:
        with held:
            while piece := held.read(PIECE):
                yield piece

    return StreamingResponse(pieces(), media_type="application/zip", headers=_named(f"pour-{pour_id}.zip"))


@router.get("/api/pours/{pour_id}/verify")
def prove(pour_id: RowId, service: ServiceDep, _who: ViewerDep, seal: str | None = None) -> VerdictAnswer:
    """Whether the record stands; if not, the first row that was altered, is missing or was put in."""
    with service.store.read() as connection:
        return VerdictAnswer(**asdict(verify(connection, pour_id, printed=seal, pictures=_photos(service))))


@router.post("/api/pours/{pour_id}/remove", status_code=204)
def remove(pour_id: RowId, _sure: RemoveShape, service: ServiceDep, who: OwnerDep) -> None:
    """Delete a record from elsewhere for good. The shop's own are kept."""
    pour_actions.remove(service, pour_id, who.name)


@router.get(
    "/api/pours/{pour_id}/calendar.ics",
    response_class=Response,
    responses=_files("text/calendar", "RFC 5545"),
)
def calendar_of(pour_id: RowId, request: Request, service: ServiceDep, _who: ViewerDep) -> Response:
    """Return what comes next in one pour, as iCalendar (RFC 5545)."""
    return _calendar(service, pour_id, reader_of(request))


@router.get("/calendar/{token}", include_in_schema=False)
def calendar_by_link(token: str, request: Request, service: ServiceDep) -> Response:
    """Return what comes next, for a phone that subscribes with a shared link's token: of all pours, or of its own
    one.
    """
    with service.store.read() as connection:
        link = shared_links.by_token(
            connection, token.removesuffix(".ics")[:100], service.timeline.now_ms(), *WITH_CALENDAR
        )
    if link is None:
        raise NotFound(phrase("this calendar's link was ended, has run out, or was not copied whole"))
    return _calendar(service, link.pour_id, reader_of(request))


@router.get("/api/compare")
def compared(service: ServiceDep, _who: ViewerDep) -> CompareAnswer:
    """Every pour's resin, depth, room, predicted and real peak of the core, and its core from pouring on."""
    listed = every_pour(service)
    return CompareAnswer(
        errors=PredictionErrors.model_validate(compare.errors(listed)),
        pours=[ComparedPour(**one.to_json()) for one in listed],
    )


@router.get("/api/shop", response_model_exclude_unset=True)
def shop_account(service: ServiceDep, _who: ViewerDep) -> ShopAnswer:
    """Return what went wrong how often and what it cost; the fits on offer; the resin on the shelf."""
    with service.store.read() as connection:
        account = lessons_of(connection)
        shelf = shelf_of(connection, today(service))
        offered = list(refit_offers.offers(connection).values())
    return ShopAnswer(
        records=account.records,
        states=account.states,
        cost=account.cost,
        rework_h=account.hours,
        untold=account.untold,
        alarms=_in_words(account.alarms),
        troubles=[
            TroubleAnswer(
                kind=trouble.kind,
                pours=trouble.pours,
                cost=trouble.cost,
                rework_h=trouble.hours,
                warned=_in_words(trouble.warned),
                silent=trouble.silent,
            )
            for trouble in account.troubles
        ],
        fits=[FitOffer(**offer) for offer in offered],
        stock=[
            StockLot(
                product=lot.product,
                part=lot.part,
                lot=lot.lot,
                left_kg=lot.left_kg,
                state=lot.state,
                expires_on=None if lot.expires_on is None else lot.expires_on.isoformat(),
            )
            for lot in shelf
        ],
    )


def _in_words(counted: Counter[str]) -> dict[str, int]:
    """Return counts by what is counted, in words: facts that read the same are the same."""
    words = Counter[str]()
    for name, count in counted.items():
        words[say(name, METRIC)] += count
    return dict(words)


@router.get("/api/pours/{pour_id}/progress")
def progress(pour_id: RowId, service: ServiceDep, _who: ViewerDep) -> ProgressAnswer:
    """How many readings there are, and how many the watch has yet to judge."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        mine = select(func.count()).where(READING.c.pour_id == pour_id)
        left = mine.where(READING.c.id > pour.judged_reading_id)
        return ProgressAnswer(
            readings=connection.execute(mine).scalar_one(), to_judge=connection.execute(left).scalar_one()
        )


def _calendar(service: Service, pour_id: int | None, reader: Reader) -> Response:
    now_ms = service.timeline.true_ms()
    entries: list[CalendarEntry] = []
    with service.store.read() as connection:
        stages = (*LIVE, Stage.RELEASED)
        rows: Sequence[PourWithPrediction] = (
            pours.predicted_pours(connection, stages)
            if pour_id is None
            else [pours.get_pour(connection, pour_id)]
        )
        alive = [row for row in rows if row.poured_ms is not None and row.stage in stages]
        standings = {row.id: status_of(service, connection, row, now_ms) for row in alive}
    for pour in alive:
        try:
            foretold = foretold_of(pour.plan_toml, pour.prediction)
        except LoggerError:
            # A plan that the solver cannot follow has no dates to give; the other pours keep theirs.
            continue
        standing = standings[pour.id]
        hour = (now_ms - pour.started_ms) / 3.6e6
        address = f"{service.settings.link_base}/pours/{pour.id}"
        for item in coming(Stage(pour.stage), hour, foretold, standing.forecast, standing.condition.peak):
            what, ask, sure = (say(text, reader) for text in (item.short or item.what, item.ask, item.sure))
            entries.append(
                CalendarEntry(
                    f"pour-{pour.id}-{item.name}@pourlog",
                    f"{what}: {pour.title}",
                    pour.started_ms + round(item.at_h * 3.6e6),
                    None if item.until_h is None else pour.started_ms + round(item.until_h * 3.6e6),
                    f"{ask}\n{sure}".strip(),
                    address,
                    REMIND_MIN if item.name.startswith(REMINDED) else None,
                )
            )
    name = service.settings.workshop
    if pour_id is not None:
        name = say(phrase("{workshop}: pour {pour}", workshop=name, pour=str(pour_id)), reader)
    return PlainTextResponse(calendar(name, entries, now_ms), media_type="text/calendar; charset=utf-8")


def _photos(service: Service) -> Path:
    return Path(service.settings.data_dir) / "photos"


def _named(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
