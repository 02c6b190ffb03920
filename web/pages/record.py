"""The record page: what happened to this table? Printable; of a sealed pour it is drawn from what was sealed."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from logger.condition.condition_words import FAULT_WORDS, STAGE_WORDS
from logger.errors import BadInput
from logger.pour import Stage
from logger.quantities import count, difference, hours, percent, quantity, rate, temperature
from logger.quantities import peak as peak_of
from logger.record import event_views, pictures
from logger.record.gather import gather
from logger.record.pdf import to_pdf
from logger.record.seal import seal_hash
from logger.record.shop_history import outcome_now
from logger.store import pours
from logger.words.numbers import LANGUAGE_NAMES
from logger.words.phrase import phrase
from logger.words.reader import Reader, reading
from web.actions import pours as pour_actions
from web.actions.hand_over import photos_of
from web.actions.photos import photo_bytes
from web.actions.undo import undoable
from web.schemas import RowId
from web.security.access import OwnerDep, ReaderDep, ServiceDep
from web.service.service import Service
from web.views import hand_over, paper
from web.views.data_uri import jpeg, qr_code
from web.views.photo_sanitize import thumbnail
from web.views.reader_units import reader_of
from web.views.render import STATIC, page, templates
from web.views.words import hours_minutes

router = APIRouter(include_in_schema=False)
#: Photos on the paper, and how wide each is drawn into it, pixels: 200 dots an inch at 42 mm.
PHOTOS_ON_PAPER, PAPER_PIXELS = 4, 330
#: Heights of the paper's two large plots, of a width of 680.
COURSE_HIGH, FORECAST_HIGH = 250.0, 160.0
#: A millimetre of a sheet that is 182 wide, in a plot's units.
A_MM = pictures.PAGE_WIDTH / 182.0
LIGHTS = {"ok": phrase("ok"), "watch": phrase("to watch"), "stop": phrase("at stop")}
#: What stands where there is no value.
NONE = "–"
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
        return page(request, "record-unread.html", {"pour": pour, "problem": error.fact})
    # What mending cost is the shop's own: whoever reads by a link is not told.
    shown["shows_cost"] = who is not None
    shown["narrow"] = Markup(pictures.course_plot(shown["record"], reader_of(request), *pictures.PHONE))
    with service.store.read() as connection:
        shown["undo"] = None if who is None else undoable(service, connection, shown["pour"])
    return page(request, "record.html", shown)


@router.post("/pours/{pour_id}/remove")
def remove(
    pour_id: RowId, service: ServiceDep, who: OwnerDep, sure: Annotated[str, Form(max_length=10)] = ""
) -> Response:
    """Delete a record from elsewhere for good. The shop's own are kept."""
    if sure != "yes":
        raise BadInput(
            "sure",
            phrase("is not ticked"),
            remedy=phrase("go back and tick that it is to be deleted"),
        )
    pour_actions.remove(service, pour_id, who.name)
    return RedirectResponse("/shop#foreign", 303)


@router.get("/pours/{pour_id}/record.pdf")
async def record_pdf(pour_id: RowId, request: Request, service: ServiceDep, who: ReaderDep) -> Response:
    """Show the record on two sheets. Raises NoPdf."""
    u = reader_of(request)

    def draw() -> bytes:
        shown = _on_paper(service, pour_id, u, shows_cost=who is not None)
        css = (STATIC / "sheets.css").read_text(encoding="utf-8")
        with reading(shown["u"]):
            return to_pdf(templates().get_template("record-pdf.html").render(shown | {"css": css}))

    body = await run_in_threadpool(draw)
    name = f"record-{pour_id}.pdf"
    return Response(
        body,
        media_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
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
        (phrase("Measured against predicted"), pictures.course_plot(record, u)),
        (phrase("What was forecast"), pictures.forecast_plot(record, u)),
        (phrase("The room"), pictures.air_plot(record, u)),
        (phrase("The air"), pictures.damp_plot(record, u)),
    ]
    # On paper room and air stand side by side.
    half = pictures.HALF
    beside = [
        (phrase("The room"), pictures.air_plot(record, u, half)),
        (phrase("Its humidity"), pictures.damp_plot(record, u, half)),
    ]
    return {
        "record": record,
        "languages": LANGUAGE_NAMES,
        "pour": pour,
        "facts": facts(record),
        "fault_words": FAULT_WORDS,
        "stage_word": STAGE_WORDS[Stage(pour.stage)],
        "sealed": pour.stage == Stage.CLOSED,
        "seal_sha256": None if seal is None else seal_hash(seal),
        "plots": [(title, Markup(drawn)) for title, drawn in plots if drawn is not None],
        "beside": [(title, Markup(drawn)) for title, drawn in beside if drawn is not None],
        "went": hand_over.cure_verdict(record),
        "leading": leading(record),
        "dried": hand_over.DRIED,
        "outcome": outcome_now(record, record["additions"]),
        "states": event_views.STATES,
        "defects": event_views.DEFECTS,
        "tests": event_views.TESTS,
        "lights": LIGHTS,
        "forecasts": forecast_lines(record),
        "address": address,
        "points": sorted(record["points"], key=_gravest_first),
        "code": qr_code(address),
        "zone_note": phrase("times are in the time zone of the machine that shows this"),
    }


def facts(record: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the (what, how much) lines of a record, in words; what the readings cannot tell is said, not left out."""
    f = record["figures"]
    cured, damp = f.get("conversion_at_release"), f.get("air_dampest_hour_pct")
    record_context = [
        (phrase("Hottest core"), _at(_temperature(f["core_peak_c"]), f["core_peak_at_h"])),
        (
            phrase("Predicted hottest point"),
            _at(
                NONE if f["predicted_peak_c"] is None else peak_of(f["predicted_peak_c"], 1),
                f["predicted_peak_at_h"],
            ),
        ),
        (phrase("Resin's limit"), _temperature(f["limit_c"], 0)),
        (phrase("Time over the limit"), hours_minutes(f["hours_over_limit"])),
        (
            phrase("Steepest rise"),
            _at(
                NONE if f["steepest_rise_c_per_h"] is None else rate(f["steepest_rise_c_per_h"]),
                f["steepest_rise_at_h"],
            ),
        ),
        (
            phrase("Widest spread, core to surface"),
            _at(_difference(f["widest_spread_c"]), f["widest_spread_at_h"]),
        ),
        (phrase("Cured at release, estimated"), NONE if cured is None else percent(100 * cured, 0)),
        (phrase("Glass transition then, estimated"), _temperature(f.get("tg_at_release_c"), 0)),
        (phrase("Coldest room"), _at(_temperature(f["room_coldest_c"]), f["room_coldest_at_h"])),
        (
            phrase("Coldest hour"),
            _at(_temperature(f.get("room_coldest_hour_c")), f.get("room_coldest_hour_at_h")),
        ),
        (phrase("Warmest room"), _temperature(f["room_hottest_c"])),
        (phrase("Dampest hour"), NONE if damp is None else _at(percent(damp, 0), f["air_dampest_hour_at_h"])),
        (phrase("Time watched"), hours_minutes(f["hours"])),
        (phrase("Longest gap in the core's readings"), hours_minutes(f["longest_gap_h"])),
        (
            phrase("Readings"),
            phrase(
                "{readings}, of which {faults} failed",
                readings=count(f["readings"]),
                faults=count(f["faults"]),
            ),
        ),
    ]
    return [(what, phrase("not measured") if how == NONE else how) for what, how in record_context]


def leading(record: dict[str, Any]) -> list[tuple[str, str]]:
    """Return the few (what, how much) that somebody asks first."""
    f = record["figures"]
    return [
        (phrase("Hottest core"), _temperature(f["core_peak_c"])),
        (phrase("Resin's limit"), _temperature(f["limit_c"], 0)),
        (
            phrase("After pouring"),
            NONE if f["core_peak_at_h"] is None else hours_minutes(f["core_peak_at_h"]),
        ),
        (phrase("Time over the limit"), hours_minutes(f["hours_over_limit"])),
    ]


def forecast_lines(record: dict[str, Any]) -> list[tuple[str, str, str, str]]:
    """(asked at, core's peak, when, chance over the limit) of the forecasts as they were."""
    lines: list[tuple[str, str, str, str]] = []
    for forecast in record["forecasts"]:
        peak, when = forecast["core_peak_c"], forecast["core_peak_at_h"]
        lines.append(
            (
                phrase(
                    "{asked} (made at {made})",
                    asked=hours(forecast["asked_at_h"]),
                    made=hours(forecast["at_h"]),
                ),
                phrase(
                    "{middle} ({low} to {high})",
                    middle=temperature(peak["p50"]),
                    low=temperature(peak["p05"]),
                    high=temperature(peak["p95"]),
                ),
                phrase(
                    "{middle} h ({low} to {high})",
                    middle=quantity(when["p50"], ""),
                    low=quantity(when["p05"], ""),
                    high=quantity(when["p95"], ""),
                ),
                percent(100 * forecast["chance_core_over_limit"], 0),
            )
        )
    return lines


def small_photos(service: Service, record: dict[str, Any]) -> list[dict[str, str]]:
    """Return the photos that the paper has room for, drawn small into it: of the table first, then those of the
    points.
    """
    shown = []
    for photo in photos_of(record)[:PHOTOS_ON_PAPER]:
        raw = photo_bytes(service, photo)
        # A photo whose file is gone or no picture any more is told by `verify`; the paper shows the others.
        small = None if raw is None else _small(raw)
        if small is not None:
            shown.append(
                {
                    "src": jpeg(small),
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
    forecast = pictures.forecast_plot(record, u, FORECAST_HIGH)
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
        "course": Markup(pictures.course_plot(record, u, COURSE_HIGH + fits.left * A_MM)),
        "forecast": None if forecast is None else Markup(forecast),
    }


def _gravest_first(point: dict[str, Any]) -> tuple[bool, int]:
    return point["override"] is None, _RANK[point["light"]]


def _temperature(celsius: float | None, digits: int = 1) -> str:
    return NONE if celsius is None else temperature(celsius, digits)


def _difference(kelvin: float | None) -> str:
    return NONE if kelvin is None else difference(kelvin)


def _at(text: str, after_h: float | None) -> str:
    if after_h is None:
        return text
    return phrase("{value}, {after} after pouring", value=text, after=hours(after_h))
