"""Makes the pictures of the tour in README.md anew: an invented workshop, its pages in Chromium. Run by hand:

    python tests/bench/tour.py [--to web/static/tour]

Two tables of the demo's scenarios are poured on a clock moved by hand, with the real store, watch, forecasts and pages:
one that went well and is sealed, one that runs too hot. Everything in them is invented. Takes about two minutes.
"""

from __future__ import annotations

import argparse
import importlib.util
import io
import math
import socket
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomli_w
import uvicorn
from PIL import Image
from playwright.sync_api import sync_playwright

from logger.alarms.first_hour import LookResult
from logger.cure.solver.prediction import predict
from logger.live.forecaster import Forecaster
from logger.plan.file import plan_from_table
from logger.planning.examples import EXAMPLES
from logger.pour import Stage
from logger.settings import Settings
from logger.store import alarms, people, resins
from logger.words.reader import Reader
from web.actions import pours
from web.actions.resins import fitted
from web.demo.scenarios import SCENARIOS, WORKSHOP
from web.security.access import COOKIE
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service
from web.views.datasheet_form import FormFields

TESTS = Path(__file__).resolve().parents[1]
PHONE, DESKTOP = {"width": 390, "height": 844}, {"width": 1280, "height": 860}
#: Name, page, size, how far down the page, dark.
PICTURES: list[tuple[str, str, dict[str, int], str, bool]] = [
    ("plan", "/pours/{mistaken}/plan", DESKTOP, "", False),
    ("ready", "/pours/{good}/ready", PHONE, "", False),
    ("pour", "/pours/{hot}", DESKTOP, "", False),
    ("alert", "/alarms/{alarm}", PHONE, "", False),
    ("record", "/pours/{sealed}/record", DESKTOP, "", False),
]
#: A datasheet (invented), as the form of the resins page takes it.
SHEET = {
    "resin": "Slow casting system (invented)",
    "note": "Datasheet, issue 3 (invented)",
    "working": "600",
    "mass": "1",
    "hard": "72",
    "deepest": "50",
    "ratio": "100:45",
    "density_a": "1.15",
    "density_b": "0.98",
}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
#: Colours of a picture: few are needed for paper and ink, and the files stay small.
COLOURS = 128


def part_of_tests(name: str, path: Path) -> Any:
    """A module of the tests, by its file: several are called conftest."""
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def truth_of(name: str) -> Callable[[float], dict[str, float]]:
    """What the probes of a scenario feel at an hour, with a little noise."""
    truth = plan_from_table(SCENARIOS[name].truth)
    curve, room = predict(truth).curve, truth.room_schedule()
    hours = curve.hours.tolist()

    def at(hour: float) -> dict[str, float]:
        wobble = 0.03 * math.sin(997.0 * hour)
        room_c = _between([h for h, _ in room], [c for _, c in room], hour)
        columns = {"core": curve.core_c, "surface": curve.surface_c, "underside": curve.underside_c}
        return {
            place: _between(hours, column.tolist(), hour) + wobble for place, column in columns.items()
        } | {"room": room_c + wobble}

    return at


def _between(hours: list[float], values: list[float], hour: float) -> float:
    after = next((i for i, h in enumerate(hours) if h >= hour), len(hours) - 1)
    if after == 0 or hours[after] == hours[after - 1]:
        return values[after]
    part = min(1.0, (hour - hours[after - 1]) / (hours[after] - hours[after - 1]))
    return values[after - 1] + part * (values[after] - values[after - 1])


def pour(shop: Any, forecaster: Forecaster, name: str, until_h: float, step_s: float) -> int:
    """Pours a scenario's table until an hour, forecasts and all."""
    scenario, feel = SCENARIOS[name], truth_of(name)
    plan = plan_from_table(scenario.plan).model_dump(exclude_none=True, mode="json")
    pour_id: int = shop.plan(tomli_w.dumps(plan), scenario.client)
    shop.go(pour_id, Stage.READY, Stage.POURING, Stage.WATCHED)
    for minutes in range(5, 60, 5):
        shop.feed(5 / 60, 60, lambda h, begin=minutes - 5: feel(begin / 60 + h))
        pours.look(shop.service, pour_id, pours.MadeLook(shop.dry), "Ada")
    shop.go(pour_id, Stage.CURING)
    hour, steps = 55 / 60, 0
    while hour < until_h:
        shop.clock.move(step_s)
        hour += step_s / 3600
        shop.sweep(**feel(hour))
        steps += 1
        if steps % 20 == 0:
            forecaster.make_due()
    return pour_id


def build(folder: Path) -> tuple[Service, dict[str, Any], str]:
    """The workshop with its pours; gives the service, the numbers that addresses need, and a sign-in."""
    tools = part_of_tests("tour_tests", TESTS / "conftest.py")
    web_tools = part_of_tests("tour_web_tests", TESTS / "web" / "conftest.py")
    clock = tools.HandClock()
    service = Service.open(Settings(data_dir=str(folder), workshop=WORKSHOP), clock)
    with service.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", service.timeline.now_ms())
        token = people.start_sign_in(tx, person, service.timeline.now_ms(), "tour")
    shop = web_tools.Shop(service, clock)
    shop.dry = LookResult.DRY
    forecaster = Forecaster(service.store, service.timeline, lambda call, *given: call(*given))
    fit = fitted(FormFields(SHEET, Reader()))
    with service.store.write() as tx:
        resins.put(tx, service.timeline.true_ms(), "Ada", fit)
    sealed = pour(shop, forecaster, "calm", 71.9, 600)
    shop.go(sealed, Stage.RELEASED, Stage.CLOSED)
    clock.move(12 * 3600)
    good, mistaken = (
        shop.plan((EXAMPLES / f"wharf-lane{which}.toml").read_text(encoding="utf-8"))
        for which in ("-ready", "-not-ready")
    )
    hot = pour(shop, forecaster, "hot", 10.6, 60)
    forecaster.make_due()
    with service.store.read() as connection:
        mine = alarms.alarms_of(connection, hot)
    alarm = max(mine, key=lambda row: (row.priority == "high", row.id)).id
    return service, {"sealed": sealed, "good": good, "mistaken": mistaken, "hot": hot, "alarm": alarm}, token


def main() -> None:
    """Builds the workshop, serves it on loopback, and keeps the pictures."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--to", type=Path, default=TESTS.parent / "web" / "static" / "tour")
    given = asked.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch:
        service, ids, token = build(Path(scratch))
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        app = make_app(service, unlimited())
        server = uvicorn.Server(
            uvicorn.Config(app, log_level="error", lifespan="off", timeout_graceful_shutdown=2)
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
                for name, path, size, down, dark in PICTURES:
                    context = browser.new_context(
                        viewport=size, base_url=address, color_scheme="dark" if dark else "light"
                    )
                    context.add_cookies([{"name": COOKIE, "value": token, "url": address}])
                    context.add_init_script("localStorage.setItem('pourlog-open', 'off')")
                    page = context.new_page()
                    page.goto(path.format(**ids))
                    for chart in page.locator("#curve").all():
                        chart.page.wait_for_selector("#curve[data-drawn]")
                    for cut in page.locator("#cut").all():
                        cut.page.wait_for_selector("#cut[data-drawn]")
                    page.wait_for_timeout(800)
                    if down:
                        page.locator(down).evaluate("e => e.closest('section').scrollIntoView()")
                    keep(page.screenshot(), given.to / f"{name}.png")
                    context.close()
                browser.close()
        finally:
            service.news.close()
            server.should_exit = True
            thread.join(10)
            service.close()
    print(f"{sum(path.stat().st_size for path in given.to.glob('*.png')) / 1e6:.2f} MB in {given.to}")


def keep(raw: bytes, path: Path) -> None:
    """A screenshot with few colours."""
    picture = Image.open(io.BytesIO(raw)).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
