"""The record as people and programs get it: page, PDF, files, calendar, comparison, shop, import."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
import threading
import zipfile
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import icalendar
import numpy as np
import pytest
import segno
from needs import missing
from PIL import Image

from logger.cure.solver.prediction import predict
from logger.plan.file import plan_from_text
from logger.pour import Stage
from logger.record import refit_offers
from logger.record.pdf import NoPdf, to_pdf
from logger.store import events, forecasts, shared_links
from logger.words.reader import METRIC
from logger.words.render import say
from web.actions import pours
from web.pages.record import facts

STAGES = (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
#: A plan with everything that a record lists (invented).
FULL = """
title = "Wharf Lane: walnut river table"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[resin.limits]
max_depth_mm = 50
[pour]
shape = "river"
depth_mm = 40
width_mm = 250
length_mm = 1800
[form]
underside = "open"
[air]
room_c = 21
[run]
hours = 12
[cost]
currency = "credits"
resin_per_kg = 14
[[slab]]
name = "left slab"
species = "black walnut"
thickness_mm = 75
width_mm = 350
length_mm = 1500
source = "own stock, plank 7"
[slab.meter]
readings_pct = [7.6, 7.9, 8.1]
[[person]]
name = "Ada"
"""


#: A forecast as the record keeps it (invented).
FORECAST: dict[str, Any] = {
    "at_h": 1.0, "core_peak_c": {"p05": 40.0, "p50": 44.25, "p95": 49.5},
    "core_peak_at_h": {"p05": 10.0, "p50": 14.0, "p95": 19.0}, "chance_core_over_limit": 0.02, "causes": [],
    "crosses_limit_at_h": None,
    "bands": {"hours": [1.0, 6.0, 12.0], "core_c": {"p05": [22.0, 30.0, 36.0], "p50": [22.5, 33.0, 41.0],
                                                    "p95": [23.0, 36.0, 47.0]}},
}  # fmt: skip


def words(answer: Any) -> str:
    """A page's text without its tags."""
    assert answer.status_code == 200, answer.text[:500]
    return (
        re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)).replace("\u00a0", " ").replace("&#34;", '"')
    )


def follow(plan: str) -> Any:
    """What probes would read if the pour went as planned, but 8 % hotter over its start."""
    curve = predict(plan_from_text(plan)).curve

    def at(hour: float) -> dict[str, float | str | None]:
        core = float(np.interp(hour, curve.hours, curve.core_c))
        return {"core": 21 + 1.08 * (core - 21), "surface": core - 1.5, "room": 21.0 - 0.1 * hour}

    return at


@pytest.fixture
def poured(shop: Any) -> int:
    """A pour that cured for three hours, with batch, forecast, look, lot; out of its form."""
    pour = int(shop.plan(FULL))
    pours.note(
        shop.service,
        pour,
        "too damp to wait",
        "Ben",
        "override",
        {"point": "air", "person": "Ben", "reason": "too damp to wait"},
    )
    pours.note(
        shop.service,
        pour,
        "right",
        "Ada",
        "batch",
        {"a_g": 2000.0, "b_g": 1000.0, "error_pct": 0.4, "light": "ok", "sentence": "Right."},
    )
    shop.go(pour, *STAGES)
    shop.humidity_pct = 47.5
    shop.feed(3.0, 300, follow(FULL))
    with shop.service.store.write() as tx:
        forecasts.add_forecast(tx, pour, 1.0, shop.service.timeline.true_ms(), FORECAST)
    shop.go(pour, Stage.RELEASED)
    return pour


@pytest.fixture
def sealed(shop: Any, poured: int, maker: Any) -> int:
    """The same, told how it ended, and sealed."""
    base = f"/pours/{poured}/record"
    for path, data in (
        (
            "lot",
            {
                "product": "Slow casting system (invented)",
                "part": "A",
                "lot": "A-17",
                "kg": "12,5",
                "expires_on": "2027-04-30",
            },
        ),
        ("test", {"what": "hardness", "value": "no thumbnail mark", "text": "after 3 h at 21 °C"}),
        (
            "outcome",
            {
                "state": "flawed",
                "defect": ["crack"],
                "where-crack": "left edge",
                "cost": "120",
                "currency": "credits",
                "hours": "3.5",
                "text": "a hair crack",
            },
        ),
    ):
        answer = maker.post(f"{base}/{path}", data=data, follow_redirects=False)
        assert answer.status_code == 303, answer.text
    shop.go(poured, Stage.CLOSED)
    return poured


def test_the_page_tells_what_a_client_asks_two_years_later(maker: Any, sealed: int) -> None:
    """Who, which wood and resin, how hot, what was overridden, how it ended."""
    page = words(maker.get(f"/pours/{sealed}/record"))
    for told in (
        "A client (invented)",
        "black walnut",
        "7.6, 7.9, 8.1 %",
        "A-17",
        "2027-04-30",
        "too damp to wait",
        "Flawed, can be mended.",
        "A crack: left edge.",
        "120.00 credits",
        "no thumbnail mark",
        "Glass transition then, estimated",
        "Seal:",
        "(40.0 °C to 49.5 °C)",
    ):
        assert told in page, told


def test_a_closed_records_page_is_the_same_after_the_resins_fit_has_changed(
    maker: Any, service: Any, sealed: int
) -> None:
    """Byte for byte: nothing that is learned later reaches a sealed record."""
    before = maker.get(f"/pours/{sealed}/record").text
    learner = refit_offers.Learner(service.store, service.timeline, lambda function, *given: function(*given))
    assert learner.make_due() == 1
    assert learner.make_due() == 0, "offered once"
    with service.store.write() as tx:
        events.add_event(tx, None, 1, "fit-offered", "x", "", {"resin_key": "y", "pours_seen": []})
    assert maker.get(f"/pours/{sealed}/record").text == before


def test_readings_that_come_after_the_seal_are_kept_and_leave_the_record_as_it_was(
    maker: Any, shop: Any, service: Any, sealed: int
) -> None:
    """A station that was cut off delivers what it still had: nothing is lost, and nothing gets into what was sealed."""
    before = maker.get(f"/api/pours/{sealed}/record").json()
    with service.store.read() as connection:
        rows = connection.exec_driver_sql("SELECT count(*) FROM reading").scalar()
    shop.clock.move(-1800)  # read half an hour before the form was opened
    shop.sweep(core=88.0, room=21.0)
    shop.clock.move(1800)
    with service.store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM reading").scalar() == rows + 2
    assert maker.get(f"/api/pours/{sealed}/record").json() == before
    assert maker.get(f"/api/pours/{sealed}/verify").json()["ok"]


def test_what_is_told_after_sealing_is_an_addition_with_a_reason(maker: Any, sealed: int) -> None:
    """Never an edit: the sealed outcome stays in the record, the newer one stands beside it."""
    late = {"state": "lost", "defect": "separation", "text": "the edge let go"}
    refused = maker.post(f"/pours/{sealed}/record/outcome", data=late)
    assert refused.status_code == 422
    assert "say why you add to it now" in refused.json()["error"]["message"]
    assert (
        maker.post(f"/pours/{sealed}/record/outcome", data=late | {"reason": "the client called"}).status_code
        == 200
    )
    record = maker.get(f"/api/pours/{sealed}/record").json()
    assert record["outcome"]["state"] == "flawed"
    (added,) = record["additions"]
    assert (added["kind"], added["by"], added["data"]["reason"]) == ("addition", "Ada", "the client called")
    page = words(maker.get(f"/pours/{sealed}/record"))
    assert "Lost." in page
    assert "Why: the client called" in page
    assert maker.get(f"/api/pours/{sealed}/verify").json()["ok"]


def a_photo(shade: int = 90) -> dict[str, Any]:
    """A small picture to send."""
    made = io.BytesIO()
    Image.new("RGB", (60, 40), (200, 130, shade)).save(made, "PNG")
    return {"photo": ("crack.png", made.getvalue(), "image/png")}


@pytest.mark.parametrize("path", ["/pours/{}/photos", "/api/pours/{}/photos"])
def test_a_photo_after_sealing_is_an_addition_with_name_time_and_reason(
    maker: Any, service: Any, sealed: int, path: str
) -> None:
    """Refused without a reason, shown apart on the page, drawn on the paper, packed, and proven with the rest."""
    address = path.format(sealed)
    before = maker.get(f"/api/pours/{sealed}/record").json()["photos"]
    refused = maker.post(address, files=a_photo(), data={"text": "the crack"})
    assert refused.status_code == 422
    assert "say why you add to it now" in refused.json()["error"]["message"]
    told = {"text": "the crack", "reason": "the client sent it"}
    assert maker.post(address, files=a_photo(), data=told).status_code in (200, 201)
    record = maker.get(f"/api/pours/{sealed}/record").json()
    assert record["photos"] == before, "what was sealed stays"
    (added,) = record["additions"]
    assert (added["by"], added["data"]["about"], added["data"]["reason"]) == (
        "Ada",
        "photo",
        "the client sent it",
    )
    assert added["at_ms"] == service.timeline.true_ms()
    picture = f"/pours/{sealed}/photos/{added['data']['sha256']}"
    assert maker.get(picture).headers["content-type"] == "image/jpeg"
    page = maker.get(f"/pours/{sealed}/record").text
    assert picture in page
    assert "Why: the client sent it" in words(maker.get(f"/pours/{sealed}/record"))
    bundle = maker.get(f"/api/pours/{sealed}/bundle").content
    assert f"photos/{added['data']['sha256']}.jpg" in zipfile.ZipFile(io.BytesIO(bundle)).namelist()
    assert maker.get(f"/api/pours/{sealed}/verify").json()["ok"]
    (Path(service.settings.data_dir) / "photos" / f"{added['data']['sha256']}.jpg").write_bytes(b"another")
    altered = maker.get(f"/api/pours/{sealed}/verify").json()
    assert not altered["ok"]
    assert "photo" in altered["sentence"]


def test_a_note_to_a_sealed_record_carries_its_reason_and_nothing_else_is_done_to_it(
    maker: Any, sealed: int
) -> None:
    """By page and API; looks, batches and levels belong to a pour that lives."""
    for address, body in (
        (f"/api/pours/{sealed}/notes", {"json": {"text": "late"}}),
        (f"/pours/{sealed}/notes", {"data": {"text": "late"}}),
    ):
        assert maker.post(address, **body).status_code == 422
        kind = next(iter(body))
        assert maker.post(address, **{kind: body[kind] | {"reason": "I forgot"}}).status_code in (200, 201)
    record = maker.get(f"/api/pours/{sealed}/record").json()
    assert [(row["text"], row["data"]["reason"]) for row in record["additions"]] == [("late", "I forgot")] * 2
    look = maker.post(f"/api/pours/{sealed}/looks", json={"finding": "dry"})
    assert look.status_code == 409
    assert "its record sealed" in look.json()["error"]["message"]


def test_programs_tell_outcome_test_lot_and_layer_and_are_refused_like_the_page(
    maker: Any, poured: int, shop: Any
) -> None:
    """The same checks and the same events as the record's page; after sealing each needs its reason."""
    base = f"/api/pours/{poured}"
    sent = {
        "outcome": {
            "state": "flawed",
            "defects": [{"kind": "leak", "where": "north seam"}],
            "rework_cost": 40,
            "currency": "credits",
            "rework_h": 1.5,
            "text": "a litre lost",
        },
        "tests": {"what": "hardness", "value": "no mark"},
        "lots": {
            "product": "Resin (invented)",
            "part": "B",
            "lot": "B-4",
            "kg": 6.2,
            "expires_on": "2027-05-31",
        },
        "layers": {"number": 2},
    }
    for name, body in sent.items():
        assert maker.post(f"{base}/{name}", json=body).status_code == 201, name
    record = maker.get(f"{base}/record").json()
    assert record["outcome"]["defects"] == [{"kind": "leak", "where": "north seam"}]
    assert [lot["lot"] for lot in record["lots"]] == ["B-4"]
    assert [test["value"] for test in record["tests"]] == ["no mark"]
    assert record["layers"][-1]["number"] == 2
    for name, body in (
        ("outcome", {"state": "splendid"}),
        ("tests", {"what": "taste", "value": "x"}),
        ("lots", sent["lots"] | {"expires_on": "soon"}),
        ("layers", {"number": 1}),
    ):
        assert maker.post(f"{base}/{name}", json=body).status_code == 422, name
    shop.go(poured, Stage.CLOSED)
    assert maker.post(f"{base}/tests", json=sent["tests"]).status_code == 422
    late = maker.post(f"{base}/tests", json=sent["tests"] | {"reason": "measured after a week"})
    assert late.status_code == 201
    assert late.json()["kind"] == "addition"


NONSENSE: list[tuple[str, dict[str, str], str]] = [
    ("outcome", {"state": "fine"}, "state: is not known"),
    ("outcome", {"state": "good", "defect": "leak"}, "a defect is named"),
    ("outcome", {"state": "flawed", "cost": "-3"}, "rework_cost: is not an amount"),
    ("lot", {"product": "R", "part": "A", "lot": "1", "kg": "0"}, "kg: is not a mass"),
    ("lot", {"product": "R", "part": "A", "lot": "1", "kg": "1", "expires_on": "April"}, "is not a date"),
    ("test", {"what": "taste", "value": "sweet"}, "what: is not known"),
    ("layer", {"number": "1"}, "is not a layer"),
    ("addition", {"text": " "}, "note: is empty"),
]


def test_nonsense_is_refused_and_nothing_is_kept(maker: Any, poured: int) -> None:
    """The message names the field."""
    before = len(maker.get(f"/api/pours/{poured}/record").json()["events"])
    for path, data, message in NONSENSE:
        answer = maker.post(f"/pours/{poured}/record/{path}", data=data)
        assert answer.status_code == 422, (path, data)
        assert message in answer.json()["error"]["message"]
    assert len(maker.get(f"/api/pours/{poured}/record").json()["events"]) == before


def test_files_come_whole_and_agree_with_each_other(maker: Any, sealed: int) -> None:
    """CSV, JSON and the record's figures count the same readings."""
    table = maker.get(f"/api/pours/{sealed}/tables/readings")
    assert table.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(table.text, newline="")))
    everything = maker.get(f"/api/pours/{sealed}/everything").json()
    figures = everything["record"]["figures"]
    assert len(rows) == figures["readings"] == len(everything["tables"]["readings"]["rows"])
    assert max(int(r["milli_c"]) for r in rows if r["place"] == "core") / 1000 == figures["core_peak_c"]
    assert maker.get(f"/api/pours/{sealed}/tables/secrets").status_code == 422
    assert maker.get("/api/pours/99/everything").status_code == 404


@pytest.mark.parametrize(("units", "unit"), [("us", "°F"), ("metric", "°C")])
def test_a_table_to_be_read_names_its_units_in_the_heading(
    maker: Any, sealed: int, units: str, unit: str
) -> None:
    """Every temperature is the stored one (t/°F = 1.8 t/°C + 32, NIST SP 811, 2008, B.8); all else stays."""
    stored, read = (
        list(
            csv.DictReader(
                io.StringIO(maker.get(f"/api/pours/{sealed}/tables/readings{query}").text, newline="")
            )
        )
        for query in ("", f"?units={units}")
    )
    assert len(stored) == len(read) > 0
    for before, after in zip(stored, read, strict=True):
        milli_c, shown = before.pop("milli_c"), after.pop(f"temperature ({unit})")
        assert before == after
        assert (milli_c == "") == (shown == "")
        if milli_c:
            celsius = int(milli_c) / 1000
            assert float(shown) == pytest.approx(1.8 * celsius + 32 if units == "us" else celsius, abs=6e-4)
    assert maker.get(f"/api/pours/{sealed}/tables/readings?units=cubits").status_code == 422


def test_an_alarms_figures_are_in_the_units_that_its_row_names(maker: Any, shop: Any, plan_toml: str) -> None:
    """A temperature and a difference of temperatures are converted each as what it is."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.5, 20, lambda _h: {"core": 75.0, "surface": 30.0, "room": 20.0})
    stored, read = (
        list(
            csv.DictReader(io.StringIO(maker.get(f"/api/pours/{pour}/tables/alarms{query}").text, newline=""))
        )
        for query in ("", "?units=us")
    )
    by_kind = {row["kind"]: (row, after) for row, after in zip(stored, read, strict=True)}
    before, after = by_kind["core-hot"]
    assert (after["unit"], float(after["limit"])) == ("°F", pytest.approx(1.8 * float(before["limit"]) + 32))
    before, after = by_kind["spread-too-wide"]
    assert (after["unit"], float(after["limit"])) == ("°F", pytest.approx(1.8 * float(before["limit"])))
    assert "°C" not in after["reason"]


def test_a_bundle_is_refused_where_it_came_from_and_when_it_is_damaged(maker: Any, sealed: int) -> None:
    """Once is enough, and half a file is none."""
    raw = maker.get(f"/api/pours/{sealed}/bundle").content
    again = maker.post("/shop/import", data={"act": "take"}, files={"file": ("pour.zip", raw)})
    assert again.status_code == 422
    assert f"it is pour {sealed}" in again.text
    altered = raw[:-200] + bytes([raw[-200] ^ 1]) + raw[-199:]
    assert (
        maker.post("/shop/import", data={"act": "take"}, files={"file": ("p.zip", altered)}).status_code
        == 422
    )


def pdf_of(maker: Any, pour: int) -> bytes:
    """The record as PDF."""
    if find_spec("weasyprint") is None:
        missing("weasyprint is not installed; pip install 'pourlog[pdf]'")
    if shutil.which("pdftotext") is None:
        missing("pdftotext is not installed; apt install poppler-utils")
    answer = maker.get(f"/pours/{pour}/record.pdf")
    assert answer.status_code == 200, answer.text
    return bytes(answer.content)


def text_of(pdf: bytes, page: int | None = None) -> str:
    """What is written in a PDF, or on one of its pages, by another program."""
    chosen = [] if page is None else ["-f", str(page), "-l", str(page)]
    done = subprocess.run(
        ["pdftotext", "-raw", *chosen, "-", "-"], input=pdf, capture_output=True, check=True
    )
    return re.sub(r"\s+", " ", done.stdout.decode()).replace("\u00a0", " ")


def test_the_pdf_has_two_pages_and_the_numbers_of_the_json(maker: Any, sealed: int) -> None:
    """Each figure that the JSON knows stands in the PDF as the page writes it."""
    pdf = pdf_of(maker, sealed)
    told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    assert re.search(r"Pages:\s+2\n", told)
    assert re.search(r"Page size:\s+59[45](\.\d+)? x 84[12]", told), "A4 (ISO 216: 210 mm by 297 mm)"
    record = maker.get(f"/api/pours/{sealed}/record").json()
    text = text_of(pdf)
    for what, how in ((say(what, METRIC), say(how, METRIC)) for what, how in facts(record)):
        assert f"{what} {how}".replace("\u00a0", " ") in text, what
    assert f"{record['figures']['core_peak_c']:.1f} °C" in text
    assert "Flawed, can be mended" in text_of(pdf, 1)
    assert "too damp to wait" in text_of(pdf, 2)
    assert "<image" not in text


def test_a_crowded_record_fits_two_sheets_and_says_what_it_left_out(
    maker: Any, poured: int, shop: Any
) -> None:
    """Forty of everything, long words, photos, humidity, three forecasts: nothing is cut off, the files hold it all."""
    crowd(maker, shop, poured)
    shop.go(poured, Stage.CLOSED)
    for number in range(12):
        told = {"text": "later " * 30, "reason": f"number {number}: " + "because " * 20}
        assert maker.post(f"/api/pours/{poured}/notes", json=told).status_code == 201
    pdf = pdf_of(maker, poured)
    told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    assert re.search(r"Pages:\s+2\n", told)
    first, second = text_of(pdf, 1), text_of(pdf, 2)
    left_out = [int(number) for number in re.findall(r"and (\d+) more in the record's files", first + second)]
    record = maker.get(f"/api/pours/{poured}/record").json()
    shown = sum(
        len(record[name]) for name in ("lots", "slabs", "batches", "alarms", "points", "looks", "additions")
    )
    assert len(left_out) >= 5
    assert sum(left_out) < shown - 12, "of each list some stand on the paper"
    # Nothing was pushed over the edge of its sheet, which ends 15 mm above the paper's; below stands only the foot.
    assert lowest_words(pdf) < (297 - 15) / 25.4 * 72
    assert len(re.findall(r"and \d+ more in the record's files", first)) == 2
    assert f"/pours/{poured}/record" in second
    assert (
        f"pourlog verify FILE --seal {maker.get(f'/api/pours/{poured}/verify').json()['seal_sha256'][:16]}"
        in second
    )
    assert "Its humidity" in first + second
    assert pdf.count(b"/DCTDecode") == 4, "four photos are drawn into it (ISO 32000-1, 7.4.8: JPEG data)"


def crowd(maker: Any, shop: Any, pour: int) -> None:
    """Fills a record of a pour that is out of its form."""
    for number in range(40):
        with shop.service.store.write() as tx:
            at_ms = shop.service.timeline.true_ms()
            events.add_event(tx, pour, at_ms, "look", "Ada", "x" * 300, {"finding": "dry"})
        data = {"a_g": 2000.0, "b_g": 1000.0, "error_pct": -12.5, "light": "stop", "sentence": "y" * 300}
        pours.note(shop.service, pour, f"batch {number}", "Ada", "batch", data)
        lot = {
            "product": "p" * 100,
            "part": "q" * 100,
            "lot": f"{number}" * 20,
            "kg": 1.0,
            "expires_on": None,
        }
        pours.note(shop.service, pour, "", "Ada", "lot", lot)
    pours.note(
        shop.service,
        pour,
        "z " * 1500,
        "Ada",
        "outcome",
        {
            "state": "flawed",
            "defects": [{"kind": "crack", "where": "w" * 300}] * 5,
            "rework_cost": 1.0,
            "currency": "credits",
            "rework_h": 1.0,
        },
    )
    for number in range(6):
        sent = a_photo(shade=30 * number)
        assert (
            maker.post(f"/pours/{pour}/photos", files=sent, data={"text": "a photo " * 30}).status_code == 200
        )
    with shop.service.store.write() as tx:
        for hour in (4.0, 12.0):
            forecasts.add_forecast(tx, pour, hour, shop.service.timeline.true_ms(), FORECAST | {"at_h": hour})


def lowest_words(pdf: bytes) -> float:
    """How far down the lowest words stand, points from the top edge; the foot with the page's number not counted."""
    done = subprocess.run(["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    words_at = re.findall(r'yMax="([\d.]+)">([^<]*)</word>', done.stdout.decode())
    foot = {"The", "workshop", "page", "1", "2", "of"}
    return max(float(down) for down, word in words_at if float(down) < 800 or word not in foot)


def read_code(picture: Path) -> str:
    """What a scanner reads in a picture."""
    if find_spec("cv2") is None:
        missing("opencv-python-headless is not installed; pip install 'pourlog[test]'")
    import cv2  # slow to import, and needed here alone

    found, _points, _straight = cv2.QRCodeDetector().detectAndDecode(cv2.imread(str(picture)))
    return str(found)


def test_the_code_on_the_paper_opens_the_record(
    maker: Any, sealed: int, service: Any, tmp_path: Path
) -> None:
    """Printed at 150 dots an inch and read back by another library; the label's code opens the public card."""
    (tmp_path / "record.pdf").write_bytes(pdf_of(maker, sealed))
    maker.post(f"/pours/{sealed}/label", data={"title": "Walnut river table"})
    with service.store.read() as connection:
        card = shared_links.card_of(connection, sealed)
    base = service.settings.link_base
    opens = {"record": f"{base}/pours/{sealed}/record", "label": f"{base}/card/{card.token}"}
    label = re.search(r'<img src="(data:image/svg[^"]+)"', maker.get(f"/pours/{sealed}/label").text)
    assert label is not None
    (tmp_path / "label.pdf").write_bytes(to_pdf(f'<img style="width: 40mm" src="{label[1]}">'))
    for name in ("record", "label"):
        subprocess.run(
            [
                "pdftoppm",
                "-r",
                "150",
                "-f",
                "1",
                "-l",
                "1",
                "-png",
                "-singlefile",
                str(tmp_path / f"{name}.pdf"),
                str(tmp_path / name),
            ],
            check=True,
        )
        assert read_code(tmp_path / f"{name}.png") == opens[name]
    assert segno.make("x", error="q").error == "Q"


def test_without_the_extra_the_remedy_is_told(
    maker: Any, sealed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page prints the same."""
    monkeypatch.setattr("logger.record.pdf.importlib.util.find_spec", lambda _name: None)
    with pytest.raises(NoPdf, match=r"pip install 'pourlog\[pdf\]'.*print it"):
        to_pdf("<p>x</p>")


def test_a_pdf_fetches_nothing_from_elsewhere() -> None:
    """A name that somebody typed cannot make the service call out."""
    if find_spec("weasyprint") is None:
        missing("weasyprint is not installed; pip install 'pourlog[pdf]'")
    with pytest.raises(NoPdf, match="could not be made"):
        to_pdf('<img src="http://127.0.0.1:9/x.png">')


def test_the_calendar_tells_what_comes_next_and_keeps_its_entries_apart(
    maker: Any, shop: Any, stranger: Any
) -> None:
    """Read by the `icalendar` package; a phone subscribes with a link's token, and a wrong one opens nothing."""
    pour = shop.plan(FULL)
    shop.go(pour, *STAGES)
    shop.feed(0.1, 60, lambda _h: {"core": 21.0, "surface": 21.0, "room": 21.0})
    answer = maker.get(f"/api/pours/{pour}/calendar.ics")
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    found = icalendar.Calendar.from_ical(answer.text)
    entries = found.walk("VEVENT")
    assert any("Hard and cool enough to open the form" in str(entry["SUMMARY"]) for entry in entries)
    assert len({str(entry["UID"]) for entry in entries}) == len(entries) > 1
    record = maker.get(f"/api/pours/{pour}/record").json()
    poured = datetime.fromtimestamp(record["pour"]["poured_ms"] / 1000, UTC)
    assert all(entry["DTSTART"].dt > poured for entry in entries)
    made = maker.post("/links", data={"label": "Ben's phone"}).text
    token = re.search(r"/shared/([\w-]+)", made)
    assert token is not None
    maker.cookies.clear()
    assert "BEGIN:VEVENT" in stranger.get(f"/calendar/{token[1]}.ics").text
    assert stranger.get("/calendar/wrong.ics").status_code == 404


def test_pours_are_compared_with_their_predictions(maker: Any, shop: Any, sealed: int) -> None:
    """By resin, depth and room; the error is real less predicted, of the core in both."""
    other = shop.plan(FULL.replace("depth_mm = 40", "depth_mm = 20").replace("Wharf Lane", "Shallow"))
    shop.go(other, *STAGES)
    shop.feed(1.0, 300, lambda h: {"core": 21.0 + h, "surface": 21.0, "room": 25.0})
    told = maker.get("/api/compare").json()
    mine = next(one for one in told["pours"] if one["pour"] == sealed)
    record = maker.get(f"/api/pours/{sealed}/record").json()
    assert mine["peak_c"] == record["figures"]["core_peak_c"]
    assert mine["predicted_c"] == max(record["prediction"]["curve"]["core_c"])
    assert mine["error_k"] == pytest.approx(mine["peak_c"] - mine["predicted_c"], abs=1e-9)
    assert told["errors"]["pours"] == 1, "the other one is still watched"
    assert next(one for one in told["pours"] if one["pour"] == other)["unfinished"]
    assert "so far" in words(maker.get("/compare"))
    for query, shown, hidden in (
        ("depth_from=30", "Wharf Lane", "Shallow"),
        ("depth_to=30", "Shallow", "Wharf Lane"),
        ("room_from=24", "Shallow", "Wharf Lane"),
        ("resin=Slow+casting+system+(invented)", "Wharf Lane", "Nothing"),
    ):
        page = words(maker.get(f"/compare?{query}")).partition("Predicted and real peaks")[2]
        assert shown in page, query
        assert hidden not in page, query
    assert words(maker.get("/compare?resin=another")).count("Nothing to compare yet") == 1
    assert maker.get("/compare?depth_from=deep").status_code == 422


def test_the_shop_learns_what_went_wrong_and_what_would_have_caught_it(maker: Any, sealed: int) -> None:
    """A crack: its cost, and of the points about depth, room and moisture those that were let pass."""
    told = maker.get("/api/shop").json()
    assert told["states"] == {"flawed": 1}
    (crack,) = told["troubles"]
    assert (crack["kind"], crack["pours"], crack["cost"], crack["rework_h"]) == (
        "crack",
        [sealed],
        {"credits": 120.0},
        3.5,
    )
    record = maker.get(f"/api/pours/{sealed}/record").json()
    (moisture,) = [p for p in record["points"] if p["id"] == "slab-1-moisture"]
    assert moisture["override"]["by"] == "Ada"
    # This plan passes its limit in 1 of 16 cases: its depth was to be looked at, too.
    (depth,) = [p for p in record["points"] if p["id"] == "depth"]
    assert crack["warned"] == {say(one["question"], METRIC): 1 for one in (moisture, depth)}, (
        "the room stood at ok and was signed"
    )
    page = words(maker.get("/shop"))
    assert "A crack" in page
    assert "120.00 credits" in page
    late = {"state": "good", "reason": "the client is happy"}
    maker.post(f"/pours/{sealed}/record/outcome", data=late)
    assert maker.get("/api/shop").json()["states"] == {"good": 1}, "the last word counts"


def test_the_shelf_counts_what_came_in_and_what_was_poured(maker: Any, sealed: int) -> None:
    """Received 20 kg, poured 12.5 kg, thrown away 1 kg; expired and nearly expired lots are called out."""
    lot = {
        "product": "Slow casting system (invented)",
        "part": "A",
        "lot": "A-17",
        "expires_on": "2027-04-30",
    }
    maker.post("/shop/stock", data=lot | {"kg": "20"})
    maker.post("/shop/stock", data=lot | {"kg": "1", "what": "discarded"})
    maker.post("/shop/stock", data=lot | {"lot": "old", "kg": "2", "expires_on": "2026-11-24"})
    maker.post("/shop/stock", data=lot | {"lot": "soon", "kg": "2", "expires_on": "2026-12-20"})
    shelf = {one["lot"]: one for one in maker.get("/api/shop").json()["stock"]}
    assert shelf["A-17"]["left_kg"] == 6.5
    assert [shelf[name]["state"] for name in ("A-17", "old", "soon")] == ["good", "expired", "expires soon"]
    assert "expired: do not pour it" in words(maker.get("/shop"))


def test_a_past_log_is_shown_mapped_and_brought_in_with_its_bad_rows_listed(
    maker: Any, service: Any, plan_toml: str
) -> None:
    """°F, day before month, a zone; the figures are those of the file; the same log is taken once."""
    lines = [
        "When;Air;Probe (F)",
        "25/06/2026 08:00;21,0;69,8",
        "25/06/2026 09:00;21,5;86,0",
        "25/06/2026 10:00;21,5;none of it",
        "25/06/2026 11:00;22,0;104,0",
    ]
    file = {"file": ("old.csv", "\n".join(lines).encode())}
    form = {
        "delimiter": "semicolon",
        "decimal": "comma",
        "time": "When",
        "time_as": "%d/%m/%Y %H:%M",
        "zone": "Europe/Berlin",
        "plan_toml": plan_toml,
        "title": "An old table",
        "heading-0": "Probe (F)",
        "place-0": "core",
        "unit-0": "f",
        "heading-1": "Air",
        "place-1": "room",
        "unit-1": "c",
    }
    shown = words(maker.post("/shop/import", data=form | {"act": "look"}, files=file))
    assert "Probe (F)" in shown
    assert "69,8" in shown
    refused = maker.post("/shop/import", data=form | {"act": "take"}, files=file)
    assert refused.status_code == 422
    assert "line 4" in refused.text
    assert maker.get("/api/pours").json() == [], "nothing was kept"
    taken = maker.post("/shop/import", data=form | {"act": "take", "leave_out_bad": "yes"}, files=file)
    assert taken.status_code == 200
    (pour,) = maker.get("/api/pours").json()
    assert (pour["title"], pour["stage"]) == ("An old table", "released")
    record = maker.get(f"/api/pours/{pour['id']}/record").json()
    assert record["pour"]["poured_ms"] == datetime(2026, 6, 25, 6, 0, tzinfo=UTC).timestamp() * 1000
    assert record["figures"]["core_peak_c"] == 40.0
    assert record["figures"]["core_peak_at_h"] == 3.0
    imported = next(event for event in record["events"] if event["kind"] == "log-imported")
    assert [[line, say(what, METRIC)] for line, what in imported["data"]["bad"]] == [
        [4, "Probe (F) 'none of it' is not a number"]
    ]
    assert imported["data"]["sha256"] == hashlib.sha256("\n".join(lines).encode()).hexdigest()
    again = maker.post("/shop/import", data=form | {"act": "take", "leave_out_bad": "yes"}, files=file)
    assert f"it is pour {pour['id']}" in again.text
    confirm = maker.get(f"/api/pours/{pour['id']}/ending").json()["confirm"]
    pours.move_on(service, pour["id"], Stage.CLOSED, "Ada", confirm=confirm)
    assert maker.get(f"/api/pours/{pour['id']}/verify").json()["ok"]


UNTOLD: list[tuple[dict[str, str], str]] = [
    ({"unit-0": ""}, "unit is not known"),
    ({"time_as": "s", "start": ""}, "start: is missing"),
    ({"zone": "Berlin"}, "zone: is not known"),
    ({"start": "2020-01-01T00:00"}, "start: is not within the log"),
    ({"plan_toml": ""}, "plan: is missing"),
    ({"skip": "many"}, "is no number"),
]


def test_what_an_import_needs_to_know_is_asked_for(maker: Any, plan_toml: str) -> None:
    """Reader, zone and start are never guessed."""
    form = {
        "time": "t",
        "time_as": "%Y-%m-%d %H:%M",
        "zone": "UTC",
        "plan_toml": plan_toml,
        "heading-0": "T",
        "place-0": "core",
        "unit-0": "c",
        "act": "take",
    }
    for change, message in UNTOLD:
        elapsed = change.get("time_as") == "s"
        rows = "t,T\n0,21\n3600,25\n" if elapsed else "t,T\n2026-01-05 09:00,21\n2026-01-05 10:00,25\n"
        answer = maker.post("/shop/import", data=form | change, files={"file": ("old.csv", rows.encode())})
        assert answer.status_code == 422, change
        assert message in answer.text
    assert maker.get("/api/pours").json() == []


def test_after_sealing_the_resins_fit_is_offered_with_its_error_on_pours_left_out(
    maker: Any, shop: Any, service: Any, sealed: int
) -> None:
    """Two pours of one resin: each is predicted by the other's fit, before and after. The thread makes it."""
    other = shop.plan(FULL)
    shop.go(other, *STAGES)
    shop.feed(3.0, 300, follow(FULL))
    shop.go(other, Stage.RELEASED, Stage.CLOSED)
    stop = threading.Event()

    def compute(function: Any, *given: Any) -> Any:
        stop.set()
        return function(*given)

    refit_offers.Learner(service.store, service.timeline, compute).run(stop, idle_s=0.0)
    (offer,) = maker.get("/api/shop").json()["fits"]
    assert offer["pours"] == [sealed, other]
    assert offer["error_before_k"] > 0
    assert offer["error_after_k"] is not None
    assert len(offer["left_out"]) == 2
    assert json.dumps(offer["message"]).count("On pours left out") == 1
    assert plan_from_text(FULL.replace(FULL[FULL.index("[resin]") : FULL.index("[pour]")], offer["table"]))
    assert "Slow casting system (invented)" in words(maker.get("/shop"))
