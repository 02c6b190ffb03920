"""The record page: what happened to this table? Printable; of a sealed pour it is drawn from what was sealed."""

from __future__ import annotations

from base64 import b64encode
from typing import Annotated, Any

import segno
from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.condition.condition_words import FAULT_WORDS, STAGE_WORDS
from logger.errors import BadInput
from logger.pour import Stage
from logger.record import event_views, pictures
from logger.record.gather import gather
from logger.record.pdf import to_pdf
from logger.record.seal import seal_hash
from logger.record.shop_history import outcome_now
from logger.store import pours
from logger.words.reader import Reader, reading
from web.actions import pours as pour_actions
from web.actions.photos import photo_bytes
from web.actions.undo import undoable
from web.schemas import RowId
from web.security.access import OwnerDep, ReaderDep, ServiceDep
from web.service.service import Service
from web.views import paper
from web.views.photo_sanitize import thumbnail
from web.views.reader_units import reader_of
from web.views.render import STATIC, page, templates
from web.views.words import hours_minutes

router = APIRouter(include_in_schema=False)
#: Photos on the paper, and how wide each is drawn into it, pixels: 200 dots an inch at 42 mm.
PHOTOS_ON_PAPER, PAPER_PIXELS = 4, 330
#: Heights of the paper's two large plots, of a width of 680.
COURSE_HIGH, FORECAST_HIGH = 250.0, 160.0
LIGHTS = {"ok": "ok", "watch": "to watch", "stop": "at stop"}
_RANK = {"stop": 0, "watch": 1, "ok": 2}


@router.get("/pours/{pour_id}/record")
def record_page(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Everything that is kept about a pour but its single readings."""
    try:
        shown = record_context(service, pour_id, reader_of(request))
    except BadInput as error:
        with service.store.read() as connection:
            pour = pours.get_pour(connection, pour_id)
        if pour.origin is None:
            raise
        return page(request, "record-unread.html", {"pour": pour, "problem": str(error)})
    # What mending cost is the shop's own: whoever reads by a link is not told.
    shown["shows_cost"] = who is not None
    with service.store.read() as connection:
        shown["undo"] = None if who is None else undoable(service, connection, shown["pour"])
    return page(request, "record.html", shown)


@router.post("/pours/{pour_id}/remove")
def remove(
    pour_id: RowId, service: ServiceDep, who: OwnerDep, sure: Annotated[str, Form(max_length=10)] = ""
) -> Response:
    """Delete a record from elsewhere for good. The shop's own are kept."""
    if sure != "yes":
        raise BadInput("sure", "is not ticked", remedy="go back and tick that it is to be deleted")
    pour_actions.remove(service, pour_id, who.name)
    return RedirectResponse("/shop#foreign", 303)


@router.get("/pours/{pour_id}/record.pdf")
async def record_pdf(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Show the record on two sheets. Raises NoPdf."""
    u = reader_of(request)

    def draw() -> bytes:
        shown = _on_paper(service, pour_id, u, shows_cost=who is not None)
        css = (STATIC / "paper.css").read_text(encoding="utf-8")
        with reading(shown["u"]):
            return to_pdf(templates().get_template("record-pdf.html").render(shown | {"css": css}))

    body = await run_in_threadpool(draw)
    name = f"record-{pour_id}.pdf"
    return Response(
        body, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'}
    )


@router.get("/pours/{pour_id}/record/paper")
def record_paper(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Show the same two sheets for a browser to print, where the service makes no PDF."""
    shown = _on_paper(service, pour_id, reader_of(request), shows_cost=who is not None)
    with reading(shown["u"]):
        return templates().TemplateResponse(request, "record-pdf.html", shown | {"css": None})


def record_context(service: Service, pour_id: int, u: Reader) -> dict[str, Any]:
    """Return what the record's page and its PDF show. Raises NotFound."""
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        record = gather(connection, pour_id, service.settings.workshop)
    address = f"{service.settings.link_base}/pours/{pour_id}/record"
    seal = record["seal"]
    plots = [
        ("Measured against predicted", pictures.course_plot(record, u.degrees, u.degree)),
        ("What was forecast", pictures.forecast_plot(record, u.degrees, u.degree)),
        ("The room", pictures.air_plot(record, u.degrees, u.degree)),
        ("The air", pictures.damp_plot(record)),
    ]
    # On paper room and air stand side by side.
    half = pictures.HALF
    beside = [
        ("The room", pictures.air_plot(record, u.degrees, u.degree, half)),
        ("Its humidity", pictures.damp_plot(record, half)),
    ]
    return {
        "record": record,
        "pour": pour,
        "facts": facts(record, u),
        "fault_words": FAULT_WORDS,
        "stage_word": STAGE_WORDS[Stage(pour.stage)],
        "sealed": pour.stage == Stage.CLOSED,
        "seal_sha256": None if seal is None else seal_hash(seal),
        "plots": [(title, Markup(drawn)) for title, drawn in plots if drawn is not None],
        "beside": [(title, Markup(drawn)) for title, drawn in beside if drawn is not None],
        "outcome": outcome_now(record, record["additions"]),
        "states": event_views.STATES,
        "defects": event_views.DEFECTS,
        "tests": event_views.TESTS,
        "lights": LIGHTS,
        "forecasts": forecast_lines(record, u),
        "address": address,
        "points": sorted(record["points"], key=_gravest_first),
        "code": segno.make(address, error="q", micro=False).svg_data_uri(border=2),
        "zone_note": "times of day in the time zone of the machine that shows this",
    }


def facts(record: dict[str, Any], u: Reader) -> list[tuple[str, str]]:
    """Return the (what, how much) lines of a record, in words; what the readings cannot tell is said, not left out."""
    f = record["figures"]
    warmth, cured = f["core_degree_hours"], f.get("conversion_at_release")
    damp, per_kelvin = f.get("air_dampest_hour_pct"), u.degrees(1.0) - u.degrees(0.0)
    record_context = [
        ("Hottest core", _at(u.temp(f["core_peak_c"]), f["core_peak_at_h"])),
        ("Predicted hottest point", _at(u.peak(f["predicted_peak_c"], 1), f["predicted_peak_at_h"])),
        ("Resin's limit", u.temp(f["limit_c"], 0)),
        ("Time over the limit", hours_minutes(f["hours_over_limit"])),
        ("Steepest rise", _at(f"{u.rise(f['steepest_rise_c_per_h'])} an hour", f["steepest_rise_at_h"])),
        ("Widest spread, core to surface", _at(u.rise(f["widest_spread_c"]), f["widest_spread_at_h"])),
        (
            "Warmth the core had",
            "–" if warmth is None else f"{warmth * per_kelvin:,.0f} {u.degree}·h above {u.temp(5.0, 0)}",
        ),
        ("Cured at release, estimated", "–" if cured is None else f"{100 * cured:.0f} %"),
        ("Glass transition then, estimated", u.temp(f.get("tg_at_release_c"), 0)),
        ("Coldest room", _at(u.temp(f["room_coldest_c"]), f["room_coldest_at_h"])),
        ("Coldest hour", _at(u.temp(f.get("room_coldest_hour_c")), f.get("room_coldest_hour_at_h"))),
        ("Warmest room", u.temp(f["room_hottest_c"])),
        ("Dampest hour", "–" if damp is None else _at(f"{damp:.0f} %", f["air_dampest_hour_at_h"])),
        ("Watched for", hours_minutes(f["hours"])),
        ("Longest gap in the core's readings", hours_minutes(f["longest_gap_h"])),
        ("Readings", f"{f['readings']:,}, of which {f['faults']:,} failed"),
    ]
    return [
        (what, "not told by the readings" if how.startswith("–") else how) for what, how in record_context
    ]


def forecast_lines(record: dict[str, Any], u: Reader) -> list[tuple[str, str, str, str]]:
    """(asked at, core's peak, when, chance over the limit) of the forecasts as they were."""
    lines = []
    for forecast in record["forecasts"]:
        peak, when = forecast["core_peak_c"], forecast["core_peak_at_h"]
        lines.append(
            (
                f"{forecast['asked_at_h']:g} h (made at {forecast['at_h']:.1f} h)",
                f"{u.temp(peak['p50'])} ({u.temp(peak['p05'])} to {u.temp(peak['p95'])})",
                f"{when['p50']:.1f} h ({when['p05']:.1f} to {when['p95']:.1f})",
                f"{100 * forecast['chance_core_over_limit']:.0f} %",
            )
        )
    return lines


def small_photos(service: Service, record: dict[str, Any]) -> list[dict[str, str]]:
    """Return the photos that the paper has room for, drawn small into it: of the table first, then those of the
    points.
    """
    added = [
        row["data"] | {"at_ms": row["at_ms"], "text": row["text"]}
        for row in record["additions"]
        if event_views.subject(row["kind"], row["data"]) == "photo"
    ]
    by_hash = {photo["sha256"]: photo for photo in [*record["photos"], *added]}
    ordered = sorted(by_hash.values(), key=lambda photo: (bool(photo.get("point")), -photo["at_ms"]))
    shown = []
    for photo in ordered[:PHOTOS_ON_PAPER]:
        raw = photo_bytes(service, photo)
        # A photo whose file is gone or no picture any more is told by `verify`; the paper shows the others.
        small = None if raw is None else _small(raw)
        if small is not None:
            shown.append(
                {
                    "src": f"data:image/jpeg;base64,{b64encode(small).decode('ascii')}",
                    "words": photo["text"] or photo.get("point", ""),
                    "at_ms": photo["at_ms"],
                }
            )
    return shown


def _small(raw: bytes) -> bytes | None:
    try:
        return thumbnail(raw, PAPER_PIXELS)
    except BadInput:
        return None


def _on_paper(service: Service, pour_id: int, u: Reader, *, shows_cost: bool) -> dict[str, Any]:
    """Return the record with lists cut to what two sheets hold; `more` says how many lines each has lost."""
    shown = record_context(service, pour_id, u) | {
        "workshop": service.settings.workshop,
        "u": u,
        "shows_cost": shows_cost,
    }
    shown["pictures"] = small_photos(service, shown["record"])
    record = dict(shown["record"])
    lists = (*paper.LISTS_FIRST, *paper.LISTS_SECOND)
    whole = {name: record[name] for name in lists if name != "points"} | {"points": shown["points"]}
    forecast = pictures.forecast_plot(record, u.degrees, u.degree, FORECAST_HIGH)
    contents = paper.PaperContents(
        lengths={name: len(rows) for name, rows in whole.items()},
        forecasts=len(shown["forecasts"]),
        forecast_plot=forecast is not None,
        air=bool(shown["beside"]),
        photos=bool(shown["pictures"]),
        outcome=shown["outcome"] is not None,
        passed=sum(p["override"] is not None for p in shown["points"]),
    )
    fits = paper.room(contents)
    cut = {name: rows[: fits.lines[name]] for name, rows in whole.items()}
    more = {name: len(rows) - len(cut[name]) for name, rows in whole.items()}
    return shown | {
        "record": record | cut,
        "points": cut["points"],
        "more": more,
        "air_first": fits.air_first,
        "course": Markup(pictures.course_plot(record, u.degrees, u.degree, COURSE_HIGH)),
        "forecast": None if forecast is None else Markup(forecast),
    }


def _gravest_first(point: dict[str, Any]) -> tuple[bool, int]:
    return point["override"] is None, _RANK[point["light"]]


def _at(text: str, hours: float | None) -> str:
    return text if hours is None else f"{text}, {hours_minutes(hours)} after pouring"
