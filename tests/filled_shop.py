"""An invented workshop with something on every page, in four states: what pictures and measures of pages are made of.

calm: a table cures as planned, another is in its first hour. hot: the first passes its resin's limit, and nobody is on
it. lost: its core probe is dead and its station silent. empty: a fresh installation with an owner; unowned: without.
The clock stands still in each. Everything in them is invented; store, watch and forecasts are the real ones.
"""

from __future__ import annotations

import importlib.util
import io
import json
import math
import shutil
import socket
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from copy import copy
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import tomli_w
import uvicorn
from PIL import Image, ImageDraw

from logger.alarms.first_hour import LookResult
from logger.alarms.notify_policy import Recipient
from logger.cure.solver.prediction import predict
from logger.delivery import signed_links
from logger.live.forecaster import Forecaster
from logger.plan.file import plan_from_table
from logger.planning.examples import EXAMPLES
from logger.pour import Stage
from logger.record.shop_history import check_lot
from logger.settings import Settings
from logger.store import alarms, people, readings, resins, shared_links, stations
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from logger.words.reader import Reader
from web.actions import cup_test, photos, pours
from web.actions.resins import fitted
from web.demo.scenarios import SCENARIOS, WORKSHOP
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service
from web.views.datasheet_form import FormFields

TESTS = Path(__file__).resolve().parent
STATES = ("calm", "hot", "lost", "empty", "unowned")
#: What stands for the hash of a password with which nobody signs in.
NO_HASH = "not a hash"
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
#: Hours after pouring at which the table that cures is looked at: before its peak; where it is over its limit.
SEEN_H = {"calm": 9.0, "hot": 10.6}
#: So long it has been silent in `lost`, and its core probe dead before that, s.
SILENT_S, DEAD_S = 240.0, 600.0
#: What a cup with a kilogram reads that was mixed just now, and its room, °C.
CUP = {"core": 21.5, "room": 21.0}
#: Age of the table in its first hour, min.
YOUNG_MIN = 17


#: States in which something cures.
LIVE = ("calm", "hot", "lost")


def part_of_tests(name: str, path: Path) -> Any:
    """Return a module of the tests, by its file: several are called conftest."""
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


_TOOLS = part_of_tests("filled_shop_tests", TESTS / "conftest.py")
_WEB_TOOLS = part_of_tests("filled_shop_web_tests", TESTS / "web" / "conftest.py")

#: An hour after pouring → place → °C; None: that probe does not answer.
Feel = Callable[[float], Mapping[str, float | None]]


@dataclass
class FilledShop:
    """A workshop in one state, and what its pages are about.

    `ids`: a name → what an address puts in its place; several names for several pours.
    """

    state: str
    service: Service
    ids: dict[str, str]

    @property
    def token(self) -> str:
        """What signs the owner in; empty where there is none."""
        return self.ids.get("sign-in", "")

    @contextmanager
    def served(self) -> Iterator[str]:
        """Answer on a loopback port; give the address."""
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        app = make_app(self.service, unlimited())
        config = uvicorn.Config(app, log_level="error", lifespan="off", timeout_graceful_shutdown=2)
        server = uvicorn.Server(config)
        thread = threading.Thread(
            target=server.run, kwargs={"sockets": [listening]}, name=f"{self.state} shop"
        )
        thread.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            self.service.news.close()
            server.should_exit = True
            thread.join(10)
            listening.close()


@dataclass(frozen=True)
class Bench:
    """A station of the workshop, and what it sends."""

    service: Service
    clock: Any
    name: str
    number: int

    def rom(self, place: str) -> str:
        """Return the number of the probe at a place."""
        return f"28-00000000{self.number:02x}c{['core', 'surface', 'underside', 'room'].index(place) + 1}"

    def sweep(self, felt: Mapping[str, float | None]) -> None:
        """Send one sweep that was made now; None: that probe does not answer."""
        stamp = self.clock.stamp()
        rows = [
            WireReading(
                self.rom(place),
                place,
                stamp,
                None if celsius is None else round(1000 * celsius),
                "missing" if celsius is None else None,
                "00",
                None,
                None,
                seq=stamp.boot_ms + place_number,
            )
            for place_number, (place, celsius) in enumerate(felt.items())
        ]
        with self.service.store.write() as tx:
            station = stations.by_name(tx, self.name)
            batch = ReadingBatch(station.id, f"spool-{self.name}", stamp, rows)
            readings.save_batch(tx, batch, self.service.timeline.true_ms())


@dataclass
class Maker:
    """Fills one workshop: its service on a clock moved by hand."""

    service: Service
    clock: Any
    ids: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.shop = _WEB_TOOLS.Shop.__new__(_WEB_TOOLS.Shop)
        self.shop.service, self.shop.clock = self.service, self.clock
        self.forecaster = Forecaster(
            self.service.store, self.service.timeline, lambda call, *given: call(*given)
        )

    def bench(self, number: int) -> Bench:
        """Return the station of that number."""
        return Bench(self.service, self.clock, f"bench-{number}", number)

    def passed(self, minutes: float, step_s: float, *felt: tuple[Bench, Feel, float]) -> None:
        """Let time pass with sweeps of each bench; each with its pour's course and age in hours when it begins."""
        steps = round(minutes * 60 / step_s)
        for step in range(1, steps + 1):
            self.clock.move(step_s)
            for bench, feel, from_h in felt:
                bench.sweep(feel(from_h + step * step_s / 3600))
            self.service.watch.judge_all()

    def pour(self, scenario: str, bench: Bench) -> int:
        """Plan a table of the demo and pour it now; its form is full."""
        plan = plan_from_table(SCENARIOS[scenario].plan).model_dump(exclude_none=True, mode="json")
        pour_id = int(self.shop.plan(tomli_w.dumps(plan), SCENARIOS[scenario].client, bench.name))
        self.shop.go(pour_id, Stage.READY, Stage.POURING, Stage.WATCHED)
        return pour_id

    def cure(self, scenario: str, bench: Bench, until_h: float, step_s: float) -> int:
        """Pour a table, look after it for an hour, and let it cure until an hour after pouring."""
        feel = truth_of(scenario)
        bench.sweep(feel(0.0))
        pour_id = self.pour(scenario, bench)
        for begin in range(0, 60, 10):
            self.passed(10, 300, (bench, feel, begin / 60))
            pours.look(self.service, pour_id, pours.MadeLook(LookResult.DRY), "Ada")
        self.shop.go(pour_id, Stage.CURING)
        self.passed(60 * (until_h - 1), step_s, (bench, feel, 1.0))
        return pour_id


@cache
def truth_of(scenario: str) -> Feel:
    """Return what the probes of a scenario feel at an hour, with a little noise."""
    truth = plan_from_table(SCENARIOS[scenario].truth)
    curve, room = predict(truth).curve, truth.room_schedule()
    hours = curve.hours.tolist()
    columns = {
        "core": curve.core_c.tolist(),
        "surface": curve.surface_c.tolist(),
        "underside": curve.underside_c.tolist(),
    }

    def at(hour: float) -> Mapping[str, float | None]:
        wobble = 0.03 * math.sin(997.0 * hour)
        felt = {place: _between(hours, column, hour) + wobble for place, column in columns.items()}
        return felt | {"room": _between([h for h, _ in room], [c for _, c in room], hour) + wobble}

    return at


def _between(hours: list[float], values: list[float], hour: float) -> float:
    after = next((i for i, h in enumerate(hours) if h >= hour), len(hours) - 1)
    if after == 0 or hours[after] == hours[after - 1]:
        return values[after]
    part = min(1.0, (hour - hours[after - 1]) / (hours[after] - hours[after - 1]))
    return values[after - 1] + part * (values[after] - values[after - 1])


def photo() -> bytes:
    """Return a drawn photo: two slabs and a river."""
    picture = Image.new("RGB", (1200, 800), "burlywood")
    ImageDraw.Draw(picture).polygon(
        [(420, 0), (700, 0), (640, 400), (760, 800), (500, 800)], fill="steelblue"
    )
    kept = io.BytesIO()
    picture.save(kept, "JPEG")
    return kept.getvalue()


def _open(folder: Path, clock: Any) -> Service:
    return Service.open(Settings(data_dir=str(folder), workshop=WORKSHOP), clock)


def _maker(folder: Path, clock: Any, ids: dict[str, str]) -> Maker:
    return Maker(_open(folder, clock), clock, ids)


#: State → the one that it begins with, where it is not an empty folder.
BEFORE = {"calm": "common", "hot": "common", "lost": "calm"}


def make_shops(folder: Path, *states: str) -> None:
    """Make the workshops of these states in a folder: open each with `open_shop`."""
    makers: dict[str, Maker] = {}
    fill = {"common": _common, "calm": _cure_as_planned, "hot": _cure_too_hot, "lost": _lose, "empty": _own}

    def make(state: str) -> Maker:
        if state in makers:
            return makers[state]
        if state in BEFORE:
            before = make(BEFORE[state])
            # The reserve of a full disk is laid anew; 16 MB.
            ignored = shutil.ignore_patterns("reserve.bin")
            shutil.copytree(folder / BEFORE[state], folder / state, ignore=ignored)
            maker = _maker(folder / state, copy(before.clock), dict(before.ids))
        else:
            maker = _maker(folder / state, _TOOLS.HandClock(), {})
        if state in fill:
            fill[state](maker)
        maker.service.close()
        kept = {"ids": maker.ids, "clock": asdict(maker.clock)}
        (folder / f"{state}.json").write_text(json.dumps(kept), encoding="utf-8")
        return makers.setdefault(state, maker)

    for state in states:
        make(state)


def open_shop(folder: Path, state: str) -> FilledShop:
    """Open a workshop that was made in a folder, on its clock: close its service."""
    kept = json.loads((folder / f"{state}.json").read_text(encoding="utf-8"))
    service = _open(folder / state, _TOOLS.HandClock(**kept["clock"]))
    return FilledShop(state, service, kept["ids"])


def _own(maker: Maker) -> None:
    """Make the owner, and sign her in."""
    now_ms = maker.service.timeline.now_ms()
    with maker.service.store.write() as tx:
        owner = people.add_person(tx, "Ada", people.Role.OWNER, NO_HASH, now_ms)
        maker.ids["sign-in"] = people.start_sign_in(tx, owner, now_ms, "a browser")


def _common(maker: Maker) -> None:
    """Fill in what the states have in common: people, resins, a sealed pour, planned ones."""
    service = maker.service
    _own(maker)
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        other = people.add_person(tx, "Ben", people.Role.MAKER, NO_HASH, now_ms)
        people.add_person(tx, "Client", people.Role.VIEWER, NO_HASH, now_ms)
        people.invite(tx, "Cleo", people.Role.MAKER, NO_HASH, "Ada", now_ms)
        for number in (1, 2, 3):
            stations.enrol(tx, f"bench-{number}", service.timeline.true_ms())
    resin = fitted(FormFields(SHEET, Reader()))
    with service.store.write() as tx:
        key = resins.put(tx, service.timeline.true_ms(), "Ada", resin)
    sealed = maker.cure("calm", maker.bench(1), 71.0, 1200)
    maker.forecaster.make(sealed)
    pours.note(service, sealed, "two bubbles at the left end, popped", "Ada")
    picture = photos.keep_photo(
        service, sealed, photo(), "Ada", photos.Caption("the table before it was oiled")
    )
    lot = {"product": "Slow casting system (invented)", "part": "resin", "lot": "A-117", "kg": 12.5}
    pours.note(service, sealed, "", "Ada", "lot", check_lot(lot))
    maker.shop.go(sealed, Stage.RELEASED, Stage.CLOSED)
    maker.clock.move(12 * 3600)
    good, mistaken = (
        maker.shop.plan((EXAMPLES / f"wharf-lane{which}.toml").read_text(encoding="utf-8"), station="bench-2")
        for which in ("-ready", "-not-ready")
    )
    ready = maker.shop.plan(
        (EXAMPLES / "wharf-lane-ready.toml").read_text(encoding="utf-8"), station="bench-2"
    )
    maker.shop.go(ready, Stage.READY)
    maker.ids |= {
        "sealed": str(sealed),
        "planned": str(good),
        "mistaken": str(mistaken),
        "ready": str(ready),
        "key": key,
        "person_id": str(other),
        "photo": picture,
    }


def _cure_as_planned(maker: Maker) -> None:
    _live(maker, "calm", SEEN_H["calm"])


def _cure_too_hot(maker: Maker) -> None:
    _live(maker, "hot", SEEN_H["hot"])


def _live(maker: Maker, scenario: str, seen_h: float) -> None:
    """Bring a workshop to an hour of a table that cures; another is in its first hour, and a cup beside them."""
    service, first, second, third = maker.service, maker.bench(1), maker.bench(3), maker.bench(2)
    ids = maker.ids
    young_h = YOUNG_MIN / 60
    live = maker.cure(scenario, first, seen_h - young_h, 300)
    feel, young_feel = truth_of(scenario), truth_of("calm")
    second.sweep(young_feel(0.0))
    third.sweep(CUP)
    cup_test.begin(service, "Ada", ids["key"], f"bench-2/{third.rom('core')}", "", 1000.0)
    young = maker.pour("calm", second)
    for begin in range(0, YOUNG_MIN, 5):
        minutes = min(5, YOUNG_MIN - begin)
        felt = (first, feel, seen_h - young_h + begin / 60), (second, young_feel, begin / 60)
        maker.passed(minutes, 60, *felt, (third, lambda _hour: CUP, 0.0))
        if minutes == 5:
            pours.look(service, young, pours.MadeLook(LookResult.DRY), "Ada")
    maker.forecaster.make(live)
    service.watch.judge_all()
    ids |= {"live": str(live), "young": str(young), "name": first.name, "rom": first.rom("core")}
    _links(maker)


def _lose(maker: Maker) -> None:
    """Let the core probe of the table that cures die, and its station fall silent."""
    feel, first = truth_of("calm"), maker.bench(1)

    def dead(hour: float) -> Mapping[str, float | None]:
        return {**feel(hour), "core": None}

    young = (maker.bench(3), feel, YOUNG_MIN / 60)
    maker.passed(DEAD_S / 60, 60, (first, dead, SEEN_H["calm"]), young)
    maker.clock.move(SILENT_S)
    maker.service.watch.judge_all()
    _links(maker)


def _links(maker: Maker) -> None:
    """Choose the alarm that is shown, and make the links that open without a sign-in."""
    service, ids = maker.service, maker.ids
    with service.store.read() as connection:
        # Where nothing is wrong, one that is over is shown.
        shown = alarms.open_alarms(connection) or alarms.alarms_of(connection, int(ids["sealed"]))
    alarm_id = max(shown, key=lambda row: (row.priority == "high", row.id)).id
    ids["alarm_id"] = str(alarm_id)
    now_ms = service.timeline.now_ms()
    due_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        ids["screen"] = shared_links.share(tx, None, "the wall", "Ada", now_ms)[1]
        ids["shared"] = shared_links.share(tx, int(ids["sealed"]), "the client", "Ada", now_ms)[1]
        ids["card"] = shared_links.publish_card(tx, int(ids["sealed"]), "River table", "Ada", now_ms)
        ids["phone"] = signed_links.new_token(
            tx, signed_links.Purpose.PHONE, f"person-{ids['person_id']}", None, now_ms
        )
        first = str(Recipient.FIRST)
        ids["one-tap"] = signed_links.new_token(tx, signed_links.Purpose.ACKNOWLEDGE, first, alarm_id, now_ms)
        ids["look"] = signed_links.new_token(
            tx, signed_links.Purpose.LOOK, first, alarm_id, now_ms, look=(int(ids["young"]), due_ms)
        )
