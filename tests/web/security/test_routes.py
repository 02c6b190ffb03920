"""Every route is in the table, asks whom the table says, and leaves behind what the table says."""

from __future__ import annotations

import dataclasses
import io
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute
from PIL import Image
from starlette.routing import Mount

from logger.pour import Stage
from logger.settings import Messages, Settings
from logger.store import channels, people
from logger.store.events import EVENT
from logger.store.people import Role
from web.security import access
from web.security.routes_table import NO_PERSON as STATIONS_OWN
from web.security.routes_table import OWN_DEVICE, ROUTES, Route
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service

DOORS = {
    getattr(access, name): name
    for name in ("viewer", "person", "maker", "owner", "onlooker", "wall", "reader", "station", "operator")
}
CHANGING = [route for route in ROUTES if route.changes]
BY_PEOPLE = [route for route in CHANGING if route.may in ("person", "maker", "owner")]


def routes_of(routes: Any, prefix: str = "") -> Iterator[tuple[str, APIRoute]]:
    """(path, route) of all that an app answers, included routers opened."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if isinstance(route, APIRoute):
            yield prefix + route.path, route
        elif inner is not None:
            yield from routes_of(inner.routes, prefix + getattr(route.include_context, "prefix", ""))
        else:
            assert isinstance(route, Mount), f"what is {route!r}?"
            assert route.path == "/static", f"{route.path} is served, and no table says to whom"


def calls_of(dependant: Any) -> Iterator[Any]:
    """Every function that a route depends on."""
    for inner in dependant.dependencies:
        yield inner.call
        yield from calls_of(inner)


def named(route: Route) -> str:
    """A test's name."""
    return f"{route.method} {route.path}"


def test_the_table_and_the_app_name_the_same_routes(house: Any) -> None:
    """A route that nobody thought about fails here."""
    there = {
        (method, path) for path, route in routes_of(house.app.routes) for method in route.methods - {"HEAD"}
    }
    listed = [(route.method, route.path) for route in ROUTES]
    assert there - set(listed) == set(), "routes that web/security/routes_table.py does not list"
    assert set(listed) - there == set(), "routes in web/security/routes_table.py that are gone"
    assert len(listed) == len(set(listed))


def test_each_route_depends_on_whom_the_table_says(house: Any) -> None:
    """Read from the app itself, not from its behaviour."""
    table = {(route.method, route.path): route for route in ROUTES}
    wrong = []
    for path, route in routes_of(house.app.routes):
        calls = list(calls_of(route.dependant))
        doors = {DOORS[call] for call in calls if call in DOORS} or {"anybody"}
        for method in route.methods - {"HEAD"}:
            listed = table[method, path]
            if doors != {listed.may}:
                wrong.append(f"{method} {path}: asks for {doors}, the table says {listed.may}")
            # A token in the path is proof by itself: a foreign page cannot know it.
            proven = "{token}" in path or access.own_page in calls
            if listed.changes and listed.may == "anybody" and not proven:
                wrong.append(f"{method} {path}: open to anybody, and not held to our own pages")
    assert wrong == []


def test_nothing_is_changed_by_a_get() -> None:
    """Mail programs follow links by themselves (ASVS 5.0, 3.5.3)."""
    assert {route.method for route in CHANGING} <= {"POST", "PUT", "PATCH", "DELETE"}
    assert all(route.leaves for route in CHANGING)
    assert not any(route.leaves for route in ROUTES if not route.changes)


def path_of(route: Route, ids: dict[str, Any]) -> str:
    """The route's path with rows that exist."""
    return route.path.format(**ids)


IDS = {
    "where": "desk",
    "pour_id": 1,
    "alarm_id": 1,
    "name": "bench-1",
    "section": "form",
    "invitation_id": 1,
    "person_id": 2,
    "sign_in_id": 1,
    "link_id": 1,
    "channel_id": 1,
    "token": "x",
    "version": "x",
    "rom": "28-0000000000c1",
    "key": 12 * "0",
}


def test_a_stranger_is_told_to_sign_in_everywhere(house: Any) -> None:
    """Before anything else is looked at, and without a word of what is there."""
    browser = house.browser()
    asked = [route for route in ROUTES if route.may != "anybody"]
    told = {
        named(route): browser.request(route.method, path_of(route, IDS), json={}).status_code
        for route in asked
    }
    assert {name: status for name, status in told.items() if status != 401} == {}


def test_a_foreign_page_changes_nothing(house: Any) -> None:
    """Not even with the owner's cookie: the browser says whose page asked."""
    browser = house.browser("owner")
    before = count(house)
    foreign = [
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ]
    let_by = [
        (named(route), headers)
        for route in BY_PEOPLE
        for headers in foreign
        if browser.request(route.method, path_of(route, IDS), headers=headers, json={}).status_code != 403
    ]
    assert let_by == []
    assert count(house) == before


def test_a_lower_role_changes_nothing(house: Any) -> None:
    """A viewer changes nothing; a maker decides nothing about people and stations."""
    before = count(house)
    let_by = []
    for role, above in (("viewer", ("maker", "owner")), ("maker", ("owner",))):
        browser = house.browser(role)
        let_by += [
            (named(route), role)
            for route in ROUTES
            if route.may in above
            and browser.request(route.method, path_of(route, IDS), json={}).status_code != 403
        ]
    assert let_by == []
    assert count(house) == before


def count(house: Any) -> int:
    """How many events there are."""
    with house.service.store.read() as connection:
        return len(connection.execute(EVENT.select()).all())


@pytest.fixture
def busy(house: Any, shop: Any, plan_toml: str) -> Any:
    """A house with a planned pour 1, a hot pour with an alarm, an invitation, a link."""
    shop.sign_all(shop.plan(plan_toml))
    hot = shop.plan(plan_toml)
    shop.go(hot, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    with house.service.store.write() as tx:
        people.invite(tx, "Dora", Role.VIEWER, "x", "Ada", house.service.timeline.now_ms())
    house.browser("owner").post("/links", data={"label": "A screen"})
    return dataclasses.replace(house, hot=hot)


def _photo() -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (20, 20)).save(made, "PNG")
    return made.getvalue()


def good_requests(plan_toml: str, house: Any) -> dict[str, Callable[[], dict[str, Any]]]:
    """What each changing route is sent when somebody means it."""
    other = plan_toml.replace("depth_mm = 40", "depth_mm = 39")
    secret = {"present": "three plain words"}
    point = {"point": "ratio", "person": "Ben"}
    cool = {"person": "Ben", "reason": "cold to the hand on all sides"}
    hot = {"pour_id": house.hot}
    with house.service.store.read() as connection:
        alarm = {"alarm_id": connection.exec_driver_sql("SELECT min(id) FROM alarm").scalar_one()}
    lot = {"product": "Resin (invented)", "part": "A", "lot": "17", "kg": "2.5"}
    hook = {"kind": "hook", "turn": "first"}

    def phone() -> dict[str, Any]:
        """A way to the maker's phone by which a test has gone out."""
        now_ms = house.service.timeline.now_ms()
        with house.service.store.write() as tx:
            url = f"json://127.0.0.1:9/{count(house)}"
            way = channels.add(tx, house.ids["maker"], "other", {"url": url}, url, "first", now_ms)
            channels.note_try(tx, way, None, now_ms)
        return {"channel_id": way}

    log = {
        "plan_toml": plan_toml,
        "time": "t",
        "time_as": "s",
        "zone": "UTC",
        "start": "2026-01-05T09:00",
        "heading-0": "c",
        "place-0": "core",
        "unit-0": "c",
        "act": "take",
    }
    away = {"reason": "the probe is being changed", "hours": 1}
    shelved = ("/api/alarms/{alarm_id}/shelve".format(**alarm), {"hours": 1})
    taken_out = ("/api/alarms/{alarm_id}/out-of-service".format(**alarm), away)
    return {
        "POST /api/stations": lambda: {"json": {"name": "bench-2"}},
        "POST /stations": lambda: {"data": {"name": "bench-3"}},
        "POST /stations/{name}/checks": lambda: {"data": {"what": "hand"}},
        "POST /stations/{name}/hand": lambda: {"data": {"rom": "28-0000000000c1"}},
        "POST /people/invitations": lambda: {"data": {"name": "Emil", "role": "maker"}},
        "POST /people/{person_id}/role": lambda: {"data": {"role": "viewer"}},
        "POST /me/password": lambda: {"data": secret | {"password": "plane shavings on tuesday"}},
        "POST /me/leave": lambda: {"data": secret},
        "POST /me/sign-ins/end-others": lambda: {"data": secret},
        "POST /sign-ins/{sign_in_id}/end": lambda: {"data": secret},
        "POST /phone": lambda: {"data": hook | {"address": "http://127.0.0.1:9/mine"}},
        "POST /people/{person_id}/phone": lambda: {"data": hook | {"address": "http://127.0.0.1:9/x"}},
        "POST /phone/channels/{channel_id}/test": lambda: {"ids": phone()},
        "POST /phone/channels/{channel_id}/arrived": lambda: {"ids": phone()},
        "POST /phone/channels/{channel_id}/turn": lambda: {"data": {"turn": "second"}, "ids": phone()},
        "POST /phone/channels/{channel_id}/remove": lambda: {"ids": phone()},
        "POST /links": lambda: {"data": {"label": "Another screen"}},
        "POST /links/wall": lambda: {"data": {"label": "The wall"}},
        "POST /api/pours": lambda: {"json": {"plan_toml": plan_toml}},
        "PUT /api/pours/{pour_id}/plan": lambda: {"json": {"plan_toml": other}},
        "POST /api/pours/{pour_id}/stage": lambda: {"json": {"to": "ready"}},
        "POST /api/pours/{pour_id}/ending/exception": lambda: {"json": cool, "ids": hot},
        "POST /pours/{pour_id}/ending": lambda: {"data": cool, "ids": hot},
        "POST /api/pours/{pour_id}/notes": lambda: {"json": {"text": "a note"}},
        "POST /api/pours/{pour_id}/ready/sign": lambda: {"json": point},
        "POST /api/pours/{pour_id}/ready/unsign": lambda: {"json": point},
        "POST /api/pours/{pour_id}/ready/override": lambda: {"json": point | {"reason": "because"}},
        "POST /api/pours/{pour_id}/outcome": lambda: {"json": {"state": "good"}, "ids": hot},
        "POST /api/pours/{pour_id}/tests": lambda: {"json": {"what": "hardness", "value": "1"}, "ids": hot},
        "POST /api/pours/{pour_id}/lots": lambda: {"json": lot | {"kg": 2.5}, "ids": hot},
        "POST /api/pours/{pour_id}/layers": lambda: {"json": {"number": 2}, "ids": hot},
        "POST /api/pours/{pour_id}/photos": lambda: {"files": {"photo": ("p.png", _photo())}},
        "POST /api/alarms/{alarm_id}/acknowledge": lambda: {"json": {}, "ids": alarm},
        "POST /alarms/{alarm_id}/acknowledge": lambda: {"data": {}, "ids": alarm},
        "POST /alarms/{alarm_id}/quiet": lambda: {"data": {"act": "shelve", "hours": "1"}, "ids": alarm},
        "POST /api/alarms/{alarm_id}/shelve": lambda: {"json": {"hours": 1}, "ids": alarm},
        "POST /api/alarms/{alarm_id}/unshelve": lambda: {"json": {}, "ids": alarm, "after": shelved},
        "POST /api/alarms/{alarm_id}/out-of-service": lambda: {"json": away, "ids": alarm},
        "POST /api/alarms/{alarm_id}/return-to-service": lambda: {
            "json": {},
            "ids": alarm,
            "after": taken_out,
        },
        "POST /api/pours/{pour_id}/looks": lambda: {"json": {"finding": "dry"}, "ids": hot},
        "POST /api/pours/{pour_id}/poured": lambda: {"json": {"litres": 9}, "ids": hot},
        "POST /api/pours/{pour_id}/level": lambda: {"json": {"level_mm": 0}, "ids": hot},
        "POST /pours/{pour_id}/measured": lambda: {"data": {"poured": "9"}, "ids": hot},
        "POST /api/stations/{name}/fan": lambda: {"json": {"on": True}},
        "POST /stations/{name}/fan": lambda: {"data": {"on": "on"}},
        "POST /pours/new": lambda: {"data": {"plan_toml": plan_toml}},
        "POST /pours/{pour_id}/stage": lambda: {"data": {"to": "ready"}},
        "POST /pours/{pour_id}/station": lambda: {"data": {"station": "bench-1"}},
        "POST /pours/{pour_id}/notes": lambda: {"data": {"text": "a note"}},
        "POST /pours/{pour_id}/plan": lambda: {"data": {"plan_toml": other}},
        "POST /pours/{pour_id}/plan/numbers": lambda: {"data": {"depth": "38", "room": "20"}},
        "POST /pours/{pour_id}/plan/sections/{section}": lambda: {"data": {"form.underside": "open"}},
        "POST /settings/logo": lambda: {"files": {"photo": ("logo.png", _photo())}},
        "POST /pours/{pour_id}/label": lambda: {"data": {"title": "A river table"}},
        "POST /shop/usual": lambda: {"data": {"air.room_c": "21"}},
        "POST /pours/{pour_id}/ready/sign": lambda: {"data": point},
        "POST /pours/{pour_id}/ready/unsign": lambda: {"data": point},
        "POST /pours/{pour_id}/ready/override": lambda: {"data": point | {"reason": "because"}},
        "POST /pours/{pour_id}/ready/photo": lambda: {"data": point, "files": {"photo": ("p.png", _photo())}},
        "POST /pours/{pour_id}/ready/place/{where}": lambda: {
            "data": {"person": "Ada"},
            "ids": {"where": "desk"},
        },
        "POST /pours/{pour_id}/looks": lambda: {"data": {"finding": "dry"}, "ids": hot},
        "POST /pours/{pour_id}/photos": lambda: {"files": {"photo": ("p.png", _photo())}},
        "POST /pours/{pour_id}/mix/clock": lambda: {"data": {"batch": "1", "what": "started"}, "ids": hot},
        "POST /pours/{pour_id}/record/outcome": lambda: {"data": {"state": "good"}, "ids": hot},
        "POST /pours/{pour_id}/record/test": lambda: {"data": {"what": "hardness", "value": "1"}, "ids": hot},
        "POST /pours/{pour_id}/record/lot": lambda: {"data": lot, "ids": hot},
        "POST /pours/{pour_id}/record/layer": lambda: {"data": {"number": "2"}, "ids": hot},
        "POST /pours/{pour_id}/record/addition": lambda: {"data": {"text": "a note"}, "ids": hot},
        "POST /pours/{pour_id}/remove": lambda: {"data": {"sure": "yes"}},
        "POST /api/pours/{pour_id}/remove": lambda: {"json": {"sure": True}},
        "POST /shop/stock": lambda: {"data": lot},
        "POST /shop/import": lambda: {"data": log, "files": {"file": ("old.csv", b"t,c\n0,21\n60,22\n")}},
    }


#: Routes whose way there is longer than one request: tests of their own pages say that they leave their event.
ELSEWHERE = {
    "POST /pours/{pour_id}/plan/undo",
    "POST /pours/{pour_id}/ready",
    "POST /pours/{pour_id}/mix",
    "POST /pours/{pour_id}/ready/again",
    "POST /pours/{pour_id}/ready/place/{where}/again",
    "POST /api/pours/{pour_id}/ready/again",
    "POST /set-up",
    "POST /sign-in",
    "POST /join",
    "POST /resins",
    "POST /resins/{key}/take",
    "POST /resins/{key}/datasheet",
    "POST /resins/{key}/drop",
    "POST /resins/{key}/put-back",
    "POST /resins/{key}/cup-test",
    "POST /resins/{key}/cup-test/add",
    "POST /resins/{key}/cup-test/stop",
    "POST /resins/{key}/cup-test/water",
    "POST /resins/{key}/cup-test/water/keep",
    "POST /pours/{pour_id}/undo",
    "POST /api/pours/{pour_id}/undo",
    "POST /pours/{pour_id}/ending",
    "POST /api/pours/{pour_id}/ending/exception",
    "POST /stations/{name}/probes/{rom}/ice",
    "POST /stations/{name}/probes/{rom}/dip",
    "POST /stations/{name}/probes/{rom}/place",
    "POST /pours/{pour_id}/remove",
    "POST /api/pours/{pour_id}/remove",
}


def test_a_change_says_who_when_and_what(busy: Any, plan_toml: str, clock: Any, tmp_path: Path) -> None:
    """The newest events name the person, the moment and the kind that the table promises."""
    silent: dict[str, Any] = {}
    audited = [route for route in BY_PEOPLE if route.leaves != OWN_DEVICE and named(route) not in ELSEWHERE]
    opened: list[Service] = []
    house: Any = None
    for route in audited:
        # On what the routes before left behind; where that stands in the way, on a fresh copy.
        if house is not None and not _unsaid(house, route, plan_toml):
            continue
        folder = tmp_path / f"copy-{len(opened)}"
        folder.mkdir()
        with (
            closing(sqlite3.connect(str(busy.service.store.url.database))) as there,
            closing(sqlite3.connect(folder / "pourlog.sqlite3")) as copy,
        ):
            there.backup(copy)
        messages = Messages(urls=["json://127.0.0.1:9/"])
        opened.append(Service.open(Settings(data_dir=str(folder), messages=messages), clock))
        house = dataclasses.replace(busy, service=opened[-1], app=make_app(opened[-1], unlimited()))
        silent |= _unsaid(house, route, plan_toml)
    for service in opened:
        service.close()
    assert silent == {}, "\n".join(f"{name}: {why}" for name, why in silent.items())


def _unsaid(house: Any, route: Route, plan_toml: str) -> dict[str, Any]:
    """What is wrong with a change's audit, by the route's name; empty when nothing is."""
    sent = good_requests(plan_toml, house).get(named(route), lambda: {"data": {}})()
    ids = IDS | sent.pop("ids", {})
    role = "owner" if route.may == "owner" else "maker"
    browser = house.browser(role, follow_redirects=False)
    if "sign_in_id" in route.path:
        ids["sign_in_id"] = _newest_sign_in(house)
    if "after" in sent:
        path, body = sent.pop("after")
        browser.post(path, json=body)
    before = count(house)
    answer = browser.request(route.method, path_of(route, ids), **sent)
    with house.service.store.read() as connection:
        new = connection.execute(EVENT.select().order_by(EVENT.c.id)).all()[before:]
    name, now_ms = {"owner": "Ada", "maker": "Ben"}[role], house.service.timeline.true_ms()
    if any((row.kind, row.by, row.at_ms) == (route.leaves, name, now_ms) for row in new):
        return {}
    return {named(route): (answer.status_code, answer.text[:200], [(row.kind, row.by) for row in new])}


def _newest_sign_in(house: Any) -> int:
    with house.service.store.read() as connection:
        return int(connection.exec_driver_sql("SELECT max(id) FROM sign_in").scalar_one())


def test_only_stations_leave_no_event_of_their_own() -> None:
    """And what a device keeps for itself; every other change is audited."""
    without = {named(route) for route in CHANGING if " " in route.leaves}
    assert without == {"POST /api/batches", "POST /settings/units"}
    assert {route.leaves for route in CHANGING if " " in route.leaves} == {STATIONS_OWN, OWN_DEVICE}


def test_the_static_files_hold_no_secret() -> None:
    """They are open to anybody: looks, scripts, signs, the font, licences and the pictures of the tour, alone."""
    folder = Path(access.__file__).parents[1] / "static"
    there = {path.suffix for path in folder.rglob("*") if path.is_file() and path.parent.name != "tour"}
    assert there == {".css", ".js", ".svg", ".png", ".woff2", ".txt"}
    assert {path.name for path in folder.rglob("*.txt")} == {"font-licence.txt", "plotly-basic.LICENSE.txt"}
    icons = {path.name for path in folder.glob("*.png")}
    assert icons == {"icon-192.png", "icon-512.png", "icon-maskable.png"}
    assert {path.suffix for path in (folder / "tour").iterdir()} == {".png"}
