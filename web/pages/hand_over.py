"""What goes out of the shop with a table: the client's sheet, and the annex that the shop keeps to it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.alarms.kind import Priority
from logger.errors import BadInput
from logger.record import pictures
from logger.record.gather import gather
from logger.record.pdf import to_pdf
from logger.store import logos, pours, shared_links
from logger.store.events import must_be_own
from logger.store.shops import shop_of_pour
from logger.words.reader import Reader, reading
from web.actions import hand_over as hand_over_actions
from web.actions.photos import photo_bytes
from web.pages.label import card_address
from web.pages.public_card import CODE_LETTERS
from web.pages.record import record_context
from web.schemas import RowId
from web.security.access import MakerDep, ReaderDep, ServiceDep, Who
from web.service.service import Service
from web.views import hand_over
from web.views.data_uri import jpeg, png, qr_code
from web.views.photo_sanitize import for_paper
from web.views.reader_units import reader_of
from web.views.render import STATIC, templates

router = APIRouter(include_in_schema=False)
#: Dots an inch of the photo on the sheet.
DOTS = 200
#: Photos to choose from at most, the newest.
MOST_CHOICES = 24
#: Height of the annex's curves, of a width of 680.
COURSE_HIGH, FORECAST_HIGH = 220.0, 170.0


@router.get("/pours/{pour_id}/sheet")
def sheet(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Show the client's sheet as it prints; above it, for a maker, what is on it."""
    u = reader_of(request)
    shown = _sheet(service, pour_id, u) | {"css": None, "may": _may(who)}
    shown["narrow_curve"] = Markup(pictures.cure_plot(shown["record"], u, *pictures.PHONE))
    shown["choices"] = hand_over_actions.photos_of(shown["record"])[:MOST_CHOICES]
    return _document(request, "client-sheet.html", shown)


@router.get("/pours/{pour_id}/sheet.pdf")
async def sheet_pdf(pour_id: RowId, request: Request, service: ServiceDep, _who: ReaderDep) -> Response:
    """Send the client's sheet as PDF. Raises NoPdf."""
    u = reader_of(request)
    body = await run_in_threadpool(lambda: _drawn("client-sheet.html", _sheet(service, pour_id, u)))
    return _as_pdf(body, f"sheet-{pour_id}.pdf")


@router.post("/pours/{pour_id}/sheet/photo")
def choose_photo(
    pour_id: RowId,
    service: ServiceDep,
    who: MakerDep,
    photo: Annotated[str, Form(max_length=64)] = hand_over_actions.NO_PHOTO,
) -> Response:
    """Put one of the pour's photos on the sheet, or none."""
    with service.store.read() as connection:
        record = gather(connection, pour_id, service.settings.workshop)
    hand_over_actions.choose_photo(service, pour_id, photo, record, who)
    return RedirectResponse(f"/pours/{pour_id}/sheet", 303)


@router.get("/pours/{pour_id}/annex")
def annex(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Show the annex as it prints."""
    shown = _annex(service, pour_id, reader_of(request), shows_cost=who is not None)
    return _document(request, "annex.html", shown | {"css": None, "may": _may(who)})


@router.get("/pours/{pour_id}/annex.pdf")
async def annex_pdf(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Send the annex as PDF. Raises NoPdf."""
    u, shows_cost = reader_of(request), who is not None
    body = await run_in_threadpool(
        lambda: _drawn("annex.html", _annex(service, pour_id, u, shows_cost=shows_cost))
    )
    return _as_pdf(body, f"annex-{pour_id}.pdf")


def _may(who: Who | None) -> bool:
    return who is not None and who.role in ("maker", "owner")


def _document(request: Request, template: str, shown: Mapping[str, Any]) -> Response:
    with reading(shown["u"]):
        return templates().TemplateResponse(request, template, dict(shown))


def _drawn(template: str, shown: Mapping[str, Any]) -> bytes:
    css = (STATIC / "sheets.css").read_text(encoding="utf-8")
    with reading(shown["u"]):
        return to_pdf(templates().get_template(template).render({**shown, "css": css, "may": False}))


def _as_pdf(body: bytes, name: str) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(body, media_type="application/pdf", headers=headers)


def _branded(service: Service, pour_id: int, u: Reader) -> dict[str, Any]:
    """Return what both documents have: whose they are, the paper, the code of the public card."""
    with service.store.read() as connection:
        must_be_own(pour_id, pours.origin_of(connection, pour_id))
        logo = logos.logo_of(connection, shop_of_pour(connection, pour_id))
        card = shared_links.card_of(connection, pour_id)
    address = None if card is None else card_address(service, str(card.token))
    return {
        "u": u,
        "paper": hand_over.paper_for(u),
        "logo": None if logo is None else png(logo),
        "card_address": address,
        "card_code": None if address is None else qr_code(address),
    }


def _sheet(service: Service, pour_id: int, u: Reader) -> dict[str, Any]:
    shown = record_context(service, pour_id, u) | _branded(service, pour_id, u)
    record, paper = shown["record"], shown["paper"]
    with service.store.read() as connection:
        chosen = hand_over_actions.sheet_photo(connection, pour_id, record)
    raw = None if chosen is None else photo_bytes(service, chosen)
    made, said = hand_over.made_of(record), hand_over.bears(record, u)
    texts = (made, [*said, hand_over.DATA_SHEET], shown["went"].more)
    code = shown["card_code"] is not None
    space, photo = hand_over.shared_out(paper, texts, u, photo=raw is not None, code=code), None
    if raw is not None and space.photo is not None:
        size = (round(mm / 25.4 * DOTS) for mm in (hand_over.PHOTO_WIDE, space.photo))
        try:
            photo = jpeg(for_paper(raw, *size))
        except BadInput:
            # A file that is no picture any more is told by `verify`; the sheet does without.
            space = hand_over.shared_out(paper, texts, u, photo=False, code=code)
    seal = shown["seal_sha256"]
    curve = pictures.cure_plot(record, u, space.curve / paper.wide * pictures.PAGE_WIDTH)
    return shown | {
        "photo": photo,
        "chosen": None if chosen is None else chosen["sha256"],
        "made_of": made,
        "bears": said,
        "data_sheet": hand_over.DATA_SHEET,
        "curve": Markup(curve),
        "proof_code": None if seal is None else seal[:CODE_LETTERS],
    }


def _annex(service: Service, pour_id: int, u: Reader, *, shows_cost: bool) -> dict[str, Any]:
    shown = record_context(service, pour_id, u) | _branded(service, pour_id, u)
    record = shown["record"]
    forecast = pictures.forecast_plot(record, u, FORECAST_HIGH)
    return shown | {
        "shows_cost": shows_cost,
        "course": Markup(pictures.course_plot(record, u, COURSE_HIGH)),
        "forecast": None if forecast is None else Markup(forecast),
        "high": [alarm for alarm in record["alarms"] if alarm["priority"] == Priority.HIGH],
        "others": other_alarms(record),
        "exceptions": [row for row in record["events"] if row["kind"] == "end-exception"],
    }


def other_alarms(record: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the alarms of medium and low priority by kind, most often first: how many, first, last, answered."""
    rows = [alarm for alarm in record["alarms"] if alarm["priority"] != Priority.HIGH]
    often = Counter(alarm["kind"] for alarm in rows)
    summed = []
    for kind, n in often.most_common():
        mine = [alarm for alarm in rows if alarm["kind"] == kind]
        summed.append(
            {
                "kind": kind,
                "title": mine[0]["title"],
                "priority": mine[0]["priority"],
                "n": n,
                "first_ms": min(alarm["raised_ms"] for alarm in mine),
                "last_ms": max(alarm["raised_ms"] for alarm in mine),
                "answered": sum(alarm["acknowledged_ms"] is not None for alarm in mine),
            }
        )
    return summed
