"""What leaves the shop with a table: the client's sheet, its annex, the public card behind its label, the logo."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from needs import missing
from PIL import Image, PngImagePlugin

from logger.alarms.kind import Priority
from logger.pour import Stage
from logger.store import logos, shared_links
from logger.store.events import EVENT
from logger.words.reader import METRIC
from logger.words.render import say
from web.actions import pours
from web.pages.hand_over import other_alarms
from web.views import hand_over

#: A client's table (invented). Its resin's own glass transition stands in the plan.
PLAN = """
title = "Wharf Lane: walnut river table"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
density_kg_m3 = 1100
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[resin.glass]
tg_inf_c = 68
[resin.limits]
max_depth_mm = 50
max_core_c = 55
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
[[slab]]
name = "left slab"
species = "black walnut"
thickness_mm = 75
width_mm = 350
length_mm = 1500
dried = "kiln"
[[slab]]
name = "right slab"
species = "black walnut"
thickness_mm = 75
width_mm = 350
length_mm = 1500
dried = "kiln"
[[person]]
name = "Ada"
"""
CLIENT = "Family Sample (invented)"
STAGES = (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)


def picture(size: tuple[int, int] = (900, 600), **save: Any) -> bytes:
    """A photo, or a logo, blue on the left and brown on the right."""
    made = Image.new("RGB", size, "#1d5a78")
    made.paste("#6b4526", (size[0] // 2, 0, *size))
    out = io.BytesIO()
    made.save(out, **({"format": "JPEG"} | save))
    return out.getvalue()


@pytest.fixture
def table(shop: Any, maker: Any) -> int:
    """A sealed pour with batches and a photo, whose core stayed below its limit."""
    return pour_a_table(shop, maker, hottest=44.0)


def pour_a_table(shop: Any, maker: Any, hottest: float) -> int:
    pour = int(shop.plan(PLAN, CLIENT))
    batch = {"a_g": 3000.0, "b_g": 1500.0, "error_pct": 0.4, "light": "ok", "sentence": "Right."}
    pours.note(shop.service, pour, "right", "Ada", "batch", batch)
    shop.go(pour, *STAGES)
    rise = hottest - 21.0
    shop.feed(6.0, 300, lambda h: {"core": 21 + rise * (1 - abs(h - 3) / 3), "surface": 24.0, "room": 21.0})
    sent = {"photo": ("table.jpg", picture())}
    assert maker.post(f"/pours/{pour}/photos", files=sent, data={"text": "oiled"}).status_code == 200
    shop.go(pour, Stage.RELEASED, Stage.CLOSED)
    return pour


def of_pdf(maker: Any, path: str) -> bytes:
    """A document as PDF."""
    if find_spec("weasyprint") is None:
        missing("weasyprint is not installed; pip install 'pourlog[pdf]'")
    if shutil.which("pdftotext") is None:
        missing("pdftotext is not installed; apt install poppler-utils")
    answer = maker.get(path)
    assert answer.status_code == 200, answer.text
    return bytes(answer.content)


def written(pdf: bytes) -> str:
    """What is written in a PDF, by another program."""
    done = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    return re.sub(r"\s+", " ", done.stdout.decode()).replace("\u00a0", " ")


def pages_of(pdf: bytes, folder: Path) -> list[Any]:
    """Each page as grey pixels, 75 dots an inch."""
    (folder / "it.pdf").write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", "75", "-gray", "-png", str(folder / "it.pdf"), str(folder / "it")], check=True
    )
    return [np.asarray(Image.open(path).convert("L")) for path in sorted(folder.glob("it-*.png"))]


def blank_share(page: Any) -> float:
    """The widest band across a page on which nothing stands, inside its margins (13 mm), as a share of its height."""
    margin = round(13 / 25.4 * 75)
    rows = np.flatnonzero((page < 245).any(axis=1))
    # The annex's page number stands in the margin.
    inside = [margin, *(row for row in rows if margin <= row <= len(page) - margin), len(page) - margin]
    return float(np.diff(inside).max() / len(page))


def text(answer: Any) -> str:
    """A page's text without its tags."""
    bare = re.sub(r"<(style|script).*?</\1>|<[^>]+>", " ", answer.text, flags=re.DOTALL)
    return re.sub(r"\s+", " ", bare).replace("\u00a0", " ").replace("&#34;", '"')


@pytest.mark.parametrize(("asked", "size"), [("", "A4"), ("?units=us", "letter"), ("?language=de", "A4")])
def test_the_clients_sheet_is_one_full_page_of_the_readers_paper(
    maker: Any, table: int, tmp_path: Path, asked: str, size: str
) -> None:
    """A4 is ISO 216; Letter is 8.5 in by 11 in (ANSI/ASME Y14.1). No band of it stays blank but room to sign."""
    pdf = of_pdf(maker, f"/pours/{table}/sheet.pdf{asked}")
    told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    assert re.search(r"Pages:\s+1\n", told)
    assert re.search(rf"Page size:.*\({size}\)", told), told
    (page,) = pages_of(pdf, tmp_path)
    assert blank_share(page) < 0.07
    assert pdf.count(b"/DCTDecode") == 1, "the photo (ISO 32000-1, 7.4.8: JPEG data)"


def test_a_sheet_without_a_photo_is_full_as_well(maker: Any, table: int, tmp_path: Path) -> None:
    """The curve takes the room."""
    maker.post(f"/pours/{table}/sheet/photo", data={"photo": ""})
    pdf = of_pdf(maker, f"/pours/{table}/sheet.pdf")
    assert b"/DCTDecode" not in pdf
    (page,) = pages_of(pdf, tmp_path)
    assert blank_share(page) < 0.07


def test_the_sheet_says_what_a_client_asks_and_nothing_of_the_shops_alarms(maker: Any, table: int) -> None:
    """Wood, resin, size, how hot against the limit, care; no alarm, no signature of a check."""
    told = written(of_pdf(maker, f"/pours/{table}/sheet.pdf"))
    for part in (
        f"For {CLIENT}.",
        "2 × black walnut, kiln dried",
        "4.1 L, 4.50 kg",
        "1800 mm × 250 mm × 40 mm",
        "The resin stayed within its limit: at most 44.0 °C, limit 55 °C.",
        "hottest 44 °C",
        "Hot pots, pans and cups: always on a mat.",
        "data sheet goes before what is written here",
        "Received: name, date, signature",
    ):
        assert part in told, part
    assert "larm" not in told
    assert "a pour of a test" not in told


def test_a_core_that_went_over_its_limit_is_said_so_plainly(maker: Any, shop: Any) -> None:
    """On the sheet and on the card, with how long."""
    hot = pour_a_table(shop, maker, hottest=60.0)
    plain = "The resin went over its limit: 60.0 °C, limit 55 °C, for 50 min."
    assert plain in written(of_pdf(maker, f"/pours/{hot}/sheet.pdf"))
    assert plain in text(maker.get(card_path(maker, shop.service, hot)))


def test_what_a_table_bears_rests_on_its_own_resin_and_its_own_cure(maker: Any, table: int) -> None:
    """Rounded down, below the glass transition by the margin of `hardness`; without the resin's own glass transition
    in the plan no number is promised.
    """
    record = maker.get(f"/api/pours/{table}/record").json()
    record["figures"]["tg_at_release_c"] = 59.4
    assert hand_over.heat_c(record) == 45.0
    assert "nothing hotter than 45 °C" in say(hand_over.bears(record, METRIC)[0], METRIC)
    record["plan_toml"] = record["plan_toml"].replace("[resin.glass]\ntg_inf_c = 68\n", "")
    assert hand_over.heat_c(record) is None
    assert "data sheet" in say(hand_over.bears(record, METRIC)[0], METRIC)


def test_long_gaps_in_the_readings_are_said_with_the_verdict(maker: Any, table: int) -> None:
    """A peak may have been in one."""
    record = maker.get(f"/api/pours/{table}/record").json()
    record["figures"]["longest_gap_h"] = 3.0
    assert [say(more, METRIC) for more in hand_over.cure_verdict(record).more] == [
        "The longest time without a reading was 3 h 00 min."
    ]
    record["figures"]["core_peak_c"] = None
    assert hand_over.cure_verdict(record).within is None


def test_the_maker_chooses_the_photo_and_the_sealed_record_stays_as_it_was(
    maker: Any, service: Any, table: int
) -> None:
    """One of the pour's own, or none; nothing is added to the record."""
    before = maker.get(f"/api/pours/{table}/everything").text
    other = maker.post(
        f"/pours/{table}/photos",
        files={"photo": ("b.jpg", picture((600, 900)))},
        data={"reason": "delivered"},
    )
    assert other.status_code == 200
    first, second = re.findall(
        r'name="photo" value="([0-9a-f]{64})"', maker.get(f"/pours/{table}/sheet").text
    )
    with_other = maker.get(f"/api/pours/{table}/everything").text
    assert with_other != before, "the photo itself is an addition"
    assert maker.post(f"/pours/{table}/sheet/photo", data={"photo": second}).status_code == 200
    assert f'value="{second}" checked' in maker.get(f"/pours/{table}/sheet").text
    assert maker.post(f"/pours/{table}/sheet/photo", data={"photo": "0" * 64}).status_code == 422
    assert f'value="{second}" checked' in maker.get(f"/pours/{table}/sheet").text
    assert first != second
    assert maker.get(f"/api/pours/{table}/everything").text == with_other


def test_the_annex_has_every_alarm_of_high_priority_and_sums_up_the_others(
    maker: Any, shop: Any, tmp_path: Path
) -> None:
    """However many there are; no page but the last has a fifth of it blank; the seal stands in full."""
    hot = pour_a_table(shop, maker, hottest=60.0)
    record = maker.get(f"/api/pours/{hot}/record").json()
    high = [alarm for alarm in record["alarms"] if alarm["priority"] == Priority.HIGH]
    assert high, "a core over its limit raises one"
    pdf = of_pdf(maker, f"/pours/{hot}/annex.pdf")
    told = written(pdf)
    head, _, rest = told.partition("Alarms of high priority")
    section = rest.partition("Other alarms")[0]
    for alarm in high:
        assert alarm["title"] in section, alarm["title"]
        assert alarm["title"] not in head
    assert "Exceptions signed later" in told
    assert maker.get(f"/api/pours/{hot}/verify").json()["seal_sha256"] in told.replace(" ", "")
    pages = pages_of(pdf, tmp_path)
    assert max(blank_share(page) for page in pages[:-1]) < 0.20


def test_alarms_that_are_summed_up_lose_none() -> None:
    """By kind, most often first; those of high priority are not among them."""

    def alarm(kind: str, priority: str, at_ms: int, answered: int | None) -> dict[str, Any]:
        return {
            "kind": kind, "title": kind, "priority": priority, "raised_ms": at_ms, "acknowledged_ms": answered,
        }  # fmt: skip

    rows = [alarm("look-due", "medium", at, at + 1 if at % 2 else None) for at in range(1, 41)]
    rows += [alarm("air-damp", "low", 7, None), alarm("core-hot", "high", 9, 10)]
    summed = other_alarms({"alarms": rows})
    assert [(row["kind"], row["n"], row["answered"]) for row in summed] == [
        ("look-due", 40, 20),
        ("air-damp", 1, 0),
    ]
    assert (summed[0]["first_ms"], summed[0]["last_ms"]) == (1, 40)


def card_path(maker: Any, service: Any, pour: int, title: str = "Walnut river table") -> str:
    """The path of a pour's public card, opened."""
    answer = maker.post(f"/pours/{pour}/label", data={"title": title}, follow_redirects=False)
    assert answer.status_code == 303
    with service.store.read() as connection:
        card = shared_links.card_of(connection, pour)
    assert card is not None
    return f"/card/{card.token}"


@pytest.fixture
def passer_by(maker: Any) -> TestClient:
    """A browser of somebody who scanned the label: not signed in."""
    return TestClient(maker.app)


def test_the_card_opens_without_a_sign_in_and_tells_no_private_data(
    maker: Any, service: Any, table: int, passer_by: TestClient
) -> None:
    """Title, workshop, dates, sealed, peak against limit, code; no client, no maker, no alarm, no way further in."""
    path = card_path(maker, service, table)
    answer = passer_by.get(path)
    told = text(answer)
    seal = maker.get(f"/api/pours/{table}/verify").json()["seal_sha256"]
    for part in (
        "Walnut river table",
        "The record of this cure is sealed, and the seal holds.",
        "The resin stayed within its limit: at most 44.0 °C, limit 55 °C.",
        seal[:16],
    ):
        assert part in told, part
    assert "larm" not in told
    for private in (CLIENT, "Sample", "Wharf Lane", "Ada", seal, f"/pours/{table}", "/settings"):
        assert private not in answer.text, private
    assert answer.headers["x-robots-tag"] == "noindex"
    assert answer.headers["referrer-policy"] == "no-referrer"


def test_the_cards_code_opens_nothing_else(
    maker: Any, service: Any, table: int, passer_by: TestClient
) -> None:
    """Neither as a shared link, nor as a calendar, nor in the cookies of record and wall screen."""
    token = card_path(maker, service, table).rpartition("/")[2]
    assert passer_by.get(f"/shared/{token}").status_code == 404
    assert passer_by.get(f"/calendar/{token}").status_code == 404
    passer_by.cookies.set(f"pourlog_record_{table}", token)
    passer_by.cookies.set("pourlog_screen", token)
    for path in (f"/pours/{table}/record", f"/pours/{table}/sheet", f"/pours/{table}/annex", "/"):
        assert passer_by.get(path).status_code == 401, path


def test_an_ended_card_is_gone_and_opens_again_under_the_same_code(
    maker: Any, service: Any, table: int, passer_by: TestClient
) -> None:
    """A label that is glued on is not printed again."""
    path = card_path(maker, service, table)
    with service.store.read() as connection:
        link = shared_links.card_of(connection, table)
    assert "Public card of" in text(maker.get("/links"))
    maker.post(f"/links/{link.id}/end")
    assert passer_by.get(path).status_code == 404
    assert "Open a public card" in maker.get(f"/pours/{table}/label").text
    assert card_path(maker, service, table, "The same table") == path
    assert "The same table" in passer_by.get(path).text


def test_a_card_says_when_the_seal_does_not_hold(
    maker: Any, service: Any, table: int, passer_by: TestClient, clock: Any
) -> None:
    """A reading that somebody altered in the database, found at the next proof."""
    path = card_path(maker, service, table)
    assert "the seal holds" in passer_by.get(path).text
    with service.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE reading SET milli_c = milli_c + 1 WHERE id = (SELECT max(id) FROM reading)"
        )
    clock.move(11 * 60)
    told = passer_by.get(path).text
    assert "The seal does not hold" in told
    assert "the seal holds" not in told


def test_the_logo_is_its_pixels_alone_small_and_on_every_document(
    maker: Any, service: Any, table: int, passer_by: TestClient
) -> None:
    """Text, profile and EXIF of the file are gone; removed, it is nowhere any more."""
    secret = PngImagePlugin.PngInfo()
    secret.add_text("Author", "a private name")
    exif = Image.Exif()
    exif[0x010E] = "a private place"
    sent = picture((2000, 1600), format="PNG", pnginfo=secret, exif=exif)
    assert b"a private name" in sent
    assert maker.post("/settings/logo", files={"photo": ("l.png", sent)}).status_code == 200
    with service.store.read() as connection:
        kept = logos.logo_of(connection)
    assert kept is not None
    assert b"private" not in kept
    with Image.open(io.BytesIO(kept)) as drawn:
        assert drawn.format == "PNG"
        assert drawn.info.keys() <= {"transparency"}
        assert drawn.width <= 600
        assert drawn.height <= 300
    path = card_path(maker, service, table)
    places = (f"/pours/{table}/sheet", f"/pours/{table}/annex", path, "/settings")
    for place in places:
        assert "data:image/png;base64," in maker.get(place).text, place
    maker.post("/settings/logo/remove")
    for place in places:
        assert "data:image/png;base64," not in maker.get(place).text, place


@pytest.mark.parametrize("sent", [b"", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"x" * 6_000_000])
def test_what_is_no_small_picture_is_no_logo(maker: Any, service: Any, sent: bytes) -> None:
    """Said on the page, and nothing is kept."""
    answer = maker.post("/settings/logo", files={"photo": ("l.svg", sent)})
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    with service.store.read() as connection:
        assert logos.logo_of(connection) is None


def test_what_is_handed_over_is_noted_with_the_shop_not_with_the_pour(
    maker: Any, service: Any, table: int
) -> None:
    """Who and when, for the audit; the pour's own chain is left alone."""
    with service.store.read() as connection:
        before = connection.execute(EVENT.select().where(EVENT.c.pour_id == table)).all()
    path = card_path(maker, service, table)
    maker.post(f"/pours/{table}/sheet/photo", data={"photo": ""})
    maker.get(path)
    with service.store.read() as connection:
        link = shared_links.card_of(connection, table)
    maker.post(f"/links/{link.id}/end")
    with service.store.read() as connection:
        after = connection.execute(EVENT.select().where(EVENT.c.pour_id == table)).all()
        kinds = [row.kind for row in connection.execute(EVENT.select().where(EVENT.c.pour_id.is_(None)))]
    assert after == before
    assert kinds[-3:] == ["card-opened", "sheet-photo", "link-ended"]
