"""From an empty folder to a watched pour, by pages alone: the whole way with four datasheets, and what it costs.

A newcomer's browser does all of it: first set-up, probes, phone, resin, pour, signatures. Counted are the values that
are typed and the presses; a choice from a list and a photo taken count as a press each. The datasheets are invented.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from phone_receivers import WebServer, web_server
from PIL import Image

from hardware.clock import Stamp
from logger.daemon import new_station
from logger.store import alarms, page_queries, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.security.setup_code import new_setup_code
from web.service.service import Service

playwright = pytest.importorskip("playwright.sync_api")
expect = playwright.expect

#: The most that the shortest way may cost (this project's aim).
MOST_TYPED, MOST_PRESSED = 10, 20
_DRAWN = io.BytesIO()
Image.new("RGB", (40, 30), "peru").save(_DRAWN, "JPEG")
PHOTO = {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": _DRAWN.getvalue()}
ROOM_C = 21.0


@dataclass(frozen=True)
class Sheet:
    """An invented datasheet, as it is typed."""

    name: str
    ratio: str
    deepest: str
    ratio_by: str = "weight"
    more: dict[str, str] = field(default_factory=dict)


SHORTEST = Sheet("Quay clear", "2:1", "40")
SHEETS = {
    "slow casting, 3:1 by weight without densities": Sheet(
        "Harbour deep", "3:1", "60", more={"working": "420", "hard": "72"}
    ),
    "with ranges": Sheet("Jetty medium", "100:45", "20-25", more={"working": "80-100", "hard": "24-36"}),
    "only name, ratio and depth": SHORTEST,
    "quick coating": Sheet("Slipway coat", "2:1", "6", "volume", {"working": "25", "hard": "12-24"}),
}


@dataclass
class Hands:
    """A newcomer at her phone: what she types and presses is counted."""

    page: Any
    typed: int = 0
    pressed: int = 0

    def type(self, name: str, value: str) -> None:
        """Type one value into the visible field of a name."""
        self.page.locator(f"[name={name}]:visible").fill(value)
        self.typed += 1

    def press(self, words: str | re.Pattern[str], role: Any = "button", within: str = "main") -> None:
        """Press a button or a link, and wait for what it brings."""
        self.page.locator(within).get_by_role(role, name=words).first.click()
        self.page.wait_for_load_state()
        self.pressed += 1

    def choose(self, name: str, value: str) -> None:
        """Choose from a list, or one of several; what is chosen already costs nothing."""
        what = self.page.locator(f"select[name={name}]:visible")
        if what.count():
            if what.input_value() != value:
                what.select_option(value)
                self.pressed += 1
        else:
            self.page.locator(f"[name={name}][value={value}]").check()
            self.pressed += 1

    def photograph(self, within: str) -> None:
        """Take the photo that a form asks for."""
        self.page.locator(f"{within} input[type=file]:visible").set_input_files(PHOTO)
        self.pressed += 1


@pytest.fixture
def phone() -> Iterator[WebServer]:
    """A phone's receiver on the loopback: whatever comes has arrived."""
    with web_server() as made:
        yield made


@pytest.fixture
def plugged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four thermometers hang on this machine, as the kernel's folder shows them."""
    for number in range(1, 5):
        (tmp_path / "w1" / f"28-0000000000c{number}").mkdir(parents=True)
    monkeypatch.setattr(new_station, "probes_here", partial(new_station.probes_here, tmp_path / "w1"))


@pytest.fixture
def newcomer(chromium: Any, address: str, service: Service, plugged: None) -> Iterator[Hands]:
    """A phone's browser that has opened the link of the first set-up, as the terminal shows it."""
    code = new_setup_code(service)
    # Datasheets and workshop are metric: a browser from elsewhere would have been offered inches.
    view = {"width": 390, "height": 844}
    context = chromium.new_context(viewport=view, base_url=address, locale="en-GB")
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"/set-up?code={code}")
    yield Hands(page)
    context.close()


@pytest.fixture
def sweep(service: Service, clock: Any) -> Callable[[], None]:
    """Lets the station that was enrolled report its four probes now."""
    seq = 0

    def report() -> None:
        nonlocal seq
        stamp: Stamp = clock.stamp()
        rows = []
        for number, place in enumerate(("core", "room", "surface", "underside"), start=1):
            seq += 1
            probe = f"28-0000000000c{number}"
            milli_c = round(1000 * ROOM_C)
            rows.append(WireReading(probe, place, stamp, milli_c, None, "00", None, None, seq=seq))
        with service.store.write() as tx:
            (name,) = stations.names_in_use(tx)
            batch = ReadingBatch(stations.by_name(tx, name).id, "spool-1", stamp, rows)
            readings.save_batch(tx, batch, service.timeline.true_ms())

    return report


def set_up(hands: Hands, address: str, sweep: Callable[[], None]) -> None:
    """An owner, a station that reads, a phone that rings."""
    hands.type("name", "Ines")
    hands.type("password", "three plain words")
    hands.press("Start")
    hands.press("Probes", "link")
    hands.press("Enrol the station")
    sweep()
    hands.page.reload()
    hands.press("Next: your phone", "link")
    hands.press("Web hook", "link")
    hands.type("address", address)
    hands.press("Save and send a test")
    hands.press("It has arrived")
    expect(hands.page.locator("main")).to_contain_text("Alarms reach you")


def plan(hands: Hands, sheet: Sheet, depth: str) -> int:
    """A river of that depth, of the datasheet's resin; gives the pour's number, once all of it is worked out."""
    hands.press("Next: the pour", "link")
    for name, value in (("title", "A river table"), ("depth", depth), ("width", "250"), ("length", "1800")):
        hands.type(name, value)
    if hands.page.locator("[name=resin]:visible").count():
        hands.type("resin", sheet.name)
        hands.type("ratio", sheet.ratio)
        hands.choose("ratio_by", sheet.ratio_by)
        hands.type("deepest", sheet.deepest)
        for name, value in sheet.more.items():
            hands.type(name, value)
    hands.press("Plan it and predict")
    hands.page.wait_for_url("**/plan")
    expect(hands.page.locator("main")).to_contain_text("Expected peak")
    return int(hands.page.url.split("/")[-2])


def sign_and_pour(hands: Hands, clock: Any, sweep: Callable[[], None]) -> None:
    """One person alone signs at the desk, the bench and the form, and looks again after ten minutes."""
    hands.press(re.compile("^I have read this plan"))
    for place in ("bench", "form"):
        if hands.page.locator(f"#{place} > form input[type=file]").count():
            hands.photograph(f"#{place} > form")
        hands.press(re.compile("^Yes to"), within=f"#{place}")
    clock.move(10 * 60 + 5)
    sweep()
    hands.page.reload()
    for place in ("bench", "form"):
        hands.photograph(f"#{place} > form")
        hands.press(re.compile("^Checked again"), within=f"#{place}")
    hands.press("We are ready")
    hands.press("Start pouring")


@pytest.mark.parametrize("which", SHEETS)
def test_a_newcomer_pours_within_ten_typed_values_and_twenty_presses(
    newcomer: Hands,
    service: Service,
    clock: Any,
    sweep: Callable[[], None],
    phone: WebServer,
    which: str,
) -> None:
    """No override for a pour as deep as its datasheet allows; twice as deep is a clear stop."""
    sheet = SHEETS[which]
    set_up(newcomer, f"http://127.0.0.1:{phone.port}/alarms", sweep)
    assert phone.titles() == ["Test message: please confirm"]
    deepest = sheet.deepest.split("-")[0]
    pour = plan(newcomer, sheet, deepest)
    assert newcomer.page.locator(".finding.stop").count() == 0, newcomer.page.locator("main").inner_text()
    sign_and_pour(newcomer, clock, sweep)
    with service.store.read() as connection:
        stage = pours.get_pour(connection, pour).stage
        overrides = page_queries.signatures_of(connection, pour)[1]
        raised = {row.kind for row in alarms.alarms_of(connection, pour)}
    assert (stage, overrides) == ("pouring", [])
    assert raised == set()
    if sheet is SHORTEST:
        assert newcomer.typed <= MOST_TYPED
        assert newcomer.pressed <= MOST_PRESSED
    newcomer.page.goto("/pours/new")
    plan_again = Hands(newcomer.page)
    for name, value in (
        ("title", "Twice as deep"),
        ("depth", str(2 * float(deepest))),
        ("width", "250"),
        ("length", "1800"),
        ("room", "26"),
    ):
        plan_again.type(name, value)
    plan_again.press("Plan it and predict")
    newcomer.page.wait_for_url("**/plan")
    expect(newcomer.page.locator(".verdict")).to_contain_text("Do not pour it like this")
