"""Draws every kind of alarm as it meets a maker: message, alert page and board card side by side. Run by hand:

    python tests/bench/alarm_sheet.py [--to FOLDER] [--dark]

Each kind is raised on a pour of its own, with invented readings and reasons, on a clock moved by hand; the store, the
pages and the words of messages are the real ones. Writes sheet.html and its pictures, and prints where.
"""

from __future__ import annotations

import argparse
import socket
import sys
import tempfile
import threading
from html import escape
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import sync_playwright
from tour import part_of_tests

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from logger.alarms.kind import Kind
from logger.alarms.notify_policy import Message, NotifyReason, Recipient
from logger.alarms.registry import KINDS
from logger.alarms.state import AlarmState, Phase, Transition, Why
from logger.delivery.compose import Composer, Notification, rules_of
from logger.live.pour_now import PourNowReader
from logger.pour import Stage
from logger.settings import Messages, Settings
from logger.store import alarms, outbox, people, pours, readings, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from tests.messages_as_sent import as_sent
from web.security.access import COOKIE
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service

TESTS = Path(__file__).resolve().parents[1]
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PHONE = {"width": 390, "height": 844}
#: Readings where nothing is wrong with them, °C.
USUAL = {"core": 30.0, "surface": 27.0, "underside": 26.0, "room": 21.0}
#: Kind → reason, value, limit, and what the probes read beside the usual. In the words of logger/alarms/conditions.
RAISED: dict[str, tuple[str, float | None, float | None, dict[str, float | None]]] = {
    "core-will-overheat": (
        "The core will probably pass {60 °C}: chance 93 %, peak about {67 °C} ({62 °C} to {73 °C}), in about 2.4 h.",
        0.93,
        0.9,
        {"core": 48.0},
    ),
    "core-hot": (
        "The core reads {63.6 °C}: it is over the resin's limit of {60.0 °C}. It is rising by {108 K} an hour.",
        63.6,
        60.0,
        {"core": 63.6, "surface": 44.0},
    ),
    "hotter-than-predicted": (
        "The core reads {46.0 °C}, 5.0 h after pouring; {38.0 °C} was predicted, and up to {43.0 °C} would be in the "
        "band.",
        46.0,
        43.0,
        {"core": 46.0},
    ),
    "spread-too-wide": (
        "The core reads {50.0 °C}, the surface {28.0 °C}: {22.0 K} apart, limit {20.0 K}.",
        22.0,
        20.0,
        {"core": 50.0, "surface": 28.0},
    ),
    "surface-heated": (
        "The surface reads {36.0 °C}, {6.0 K} above both core and room: sun, a lamp or a heater.",
        6.0,
        3.0,
        {"surface": 36.0},
    ),
    "cure-behind": ("It will be hard about 80 h after pouring; 72 h was planned: 8.0 h later.", 8.0, 2.0, {}),
    "fan-not-cooling": ("The fan brings 12 % of the cooling that it should.", 0.12, 0.3, {}),
    "room-cold": (
        "The room is at {12.0 °C}; this resin needs {15.0 °C} at least.",
        12.0,
        15.0,
        {"room": 12.0},
    ),
    "room-hot": ("The room is at {33.0 °C}; this resin bears {30.0 °C} at most.", 33.0, 30.0, {"room": 33.0}),
    "air-damp": ("The air has 82 % humidity; 75 % is the most.", 82.0, 75.0, {}),
    "wet-under-form": ("Wet under the form: contact 1.", None, None, {}),
    "look-due": ("The look that was due 2 min ago has not been made.", 2.0, 2.0, {}),
    "core-unwatched": (
        "No reading from core. Nobody sees how hot the core gets.",
        None,
        None,
        {"core": None},
    ),
    "probe-lost": ("No reading from underside for 95 s.", 95.0, 90.0, {"underside": None}),
    "probe-doubtful": ("The probe at core fails in 31 % of its readings.", None, None, {}),
    "station-silent": ("Nothing heard from bench-7 for 55 s.", 55.0, 50.0, {}),
    "clock-unset": ("bench-7 does not know the time of day.", None, None, {}),
    "clock-wrong": (
        "The clock of bench-7 is 7 min behind the service's; readings are dated by their arrival.",
        420.0,
        300.0,
        {},
    ),
    "power-low": ("The supply of bench-7 is too weak.", None, None, {}),
    "pins-failed": ("Pins of bench-7 do not work: GPIO17 (lamp): busy.", None, None, {}),
    "disk-low": ("The disk of the service has 310 MB free; 500 MB is the least.", 310.0, 500.0, {}),
    "message-undelivered": ("A message has waited for 2 min to be sent.", 2.0, 2.0, {}),
}
LOOK = """
body { font: 15px/1.4 system-ui, sans-serif; margin: 20px; background: #ddd; }
section { display: grid; grid-template-columns: 330px 390px 390px; gap: 24px; align-items: start; padding: 14px 0;
  border-top: 2px solid #333; break-inside: avoid; }
h2 { grid-column: 1 / -1; margin: 0; font-size: 18px; }
.message { background: #fff; border-radius: 14px; padding: 14px; white-space: pre-wrap; overflow-wrap: anywhere; }
img { width: 390px; display: block; }
"""


def pour_with(shop: Any, plan_toml: str, number: int, kind: Kind) -> int:
    """A pour with a station of its own, four minutes old, with the readings of its kind."""
    service, clock = shop.service, shop.clock
    name = f"table-{number}"
    with service.store.write() as tx:
        stations.enrol(tx, name, service.timeline.true_ms())
    pour_id = int(
        shop.plan(plan_toml.replace("River table for a fictional client", f"Table {number}"), "", name)
    )
    shop.go(pour_id, Stage.READY, Stage.POURING)
    stamp = clock.stamp()
    told = USUAL | RAISED[kind.name][3]
    rows = [
        WireReading(
            f"28-{number:06x}0000c{i}",
            place,
            stamp,
            None if celsius is None else round(1000 * celsius),
            "missing" if celsius is None else None,
            "00",
            None,
            None,
            seq=i + 1,
        )
        for i, (place, celsius) in enumerate(told.items())
    ]
    with service.store.write() as tx:
        station = stations.by_name(tx, name)
        readings.save_batch(
            tx, ReadingBatch(station.id, f"spool-{number}", stamp, rows), service.timeline.true_ms()
        )
    return pour_id


def raise_on(service: Service, composer: Composer, pour_id: int, kind: Kind) -> tuple[int, str, str]:
    """The alarm, unless the watch has raised it itself, and its message; gives its number and the message's words."""
    reason, value, limit, _ = RAISED[kind.name]
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        found = [row for row in alarms.open_alarms(tx, pour_id) if row.kind == kind.name]
        subject, activation = str(kind.subject), found[0].activation if found else 1
        if found:
            subject = found[0].subject.partition("/")[2]
        else:
            change = Transition(
                kind.name,
                subject,
                Why.FIRST_TIME,
                reason,
                1,
                1,
                Phase.NORMAL,
                Phase.RAISED,
                now_ms,
                now_ms,
                value,
                limit,
            )
            alarms.save_changes(tx, pour_id, [change], service.timeline.shift_ms)
        state = AlarmState(Phase.RAISED, activation, 1, found[0].reason if found else reason, value, limit)
        message = Message(Recipient.FIRST, NotifyReason.FIRST_TIME)
        title = pours.get_pour(tx, pour_id).title
        due = Notification(f"{kind.name}/{subject}", kind, state, message)
        (number,) = composer.enqueue(tx, pour_id, title, [due], now_ms)
        sent = next(row for row in outbox.newest_messages(tx) if row.id == number)
        assert sent.alarm_id is not None
        return sent.alarm_id, as_sent(sent).title, as_sent(sent).body


def build(folder: Path) -> tuple[Service, list[tuple[Kind, int, int, str, str]], str]:
    """The workshop: gives the service, (kind, pour, alarm, title, body) for each kind, and a sign-in."""
    tools = part_of_tests("sheet_tests", TESTS / "conftest.py")
    web_tools = part_of_tests("sheet_web_tests", TESTS / "web" / "conftest.py")
    clock = tools.HandClock()
    messages = Messages(urls=["json://first.test"], who="Tom")
    service = Service.open(
        Settings(data_dir=str(folder), workshop="A workshop (invented)", messages=messages), clock
    )
    with service.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", service.timeline.now_ms())
        token = people.start_sign_in(tx, person, service.timeline.now_ms(), "sheet")
    shop = web_tools.Shop(service, clock)
    made = [pour_with(shop, tools.PLAN_TOML, i, kind) for i, kind in enumerate(KINDS.values(), 1)]
    service.watch.judge_all()
    composer = Composer(
        rules_of(messages), lambda path: f"http://pi{path}", PourNowReader(service.timeline, service.rhythm)
    )
    rows = [
        (kind, pour_id, *raise_on(service, composer, pour_id, kind))
        for pour_id, kind in zip(made, KINDS.values(), strict=True)
    ]
    return service, rows, token


def main() -> None:
    """Build the workshop, serve it on loopback, and draw the sheet."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--to", type=Path, default=Path(tempfile.gettempdir()) / "alarm-sheet")
    asked.add_argument("--dark", action="store_true")
    given = asked.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch:
        service, rows, token = build(Path(scratch))
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        config = uvicorn.Config(
            make_app(service, unlimited()), log_level="error", lifespan="off", timeout_graceful_shutdown=2
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
                context = browser.new_context(
                    viewport=PHONE, base_url=address, color_scheme="dark" if given.dark else "light"
                )
                context.add_cookies([{"name": COOKIE, "value": token, "url": address}])
                context.add_init_script("localStorage.setItem('pourlog-open', 'off')")
                draw(context, rows, given.to)
                browser.close()
        finally:
            service.news.close()
            server.should_exit = True
            thread.join(10)
            service.close()
    print(given.to / "sheet.html")
    print(given.to / "sheet.png")


def draw(context: Any, rows: list[tuple[Kind, int, int, str, str]], to: Path) -> None:
    """Pictures of each kind, and the sheet that has them side by side."""
    page, parts = context.new_page(), []
    for kind, pour_id, alarm_id, title, body in rows:
        page.goto(f"/alarms/{alarm_id}")
        page.screenshot(path=to / f"{kind.name}-alert.png", full_page=True)
        page.goto("/")
        page.locator(f"#tile-{pour_id}").screenshot(path=to / f"{kind.name}-card.png")
        parts.append(
            f'<section><h2>{kind.name} · {kind.priority}</h2><div class="message"><b>{escape(title)}</b>\n'
            f'{escape(body)}</div><img src="{kind.name}-alert.png" alt=""><img src="{kind.name}-card.png" alt="">'
            "</section>"
        )
    sheet = to / "sheet.html"
    sheet.write_text(
        f'<!doctype html><meta charset="utf-8"><title>Alarms</title><style>{LOOK}</style>{"".join(parts)}',
        encoding="utf-8",
    )
    page.set_viewport_size({"width": 1220, "height": 900})
    page.goto(sheet.as_uri())
    page.screenshot(path=to / "sheet.png", full_page=True)


if __name__ == "__main__":
    main()
