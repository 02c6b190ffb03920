"""Two shops on one service: whoever is of the one finds nothing of the other, on any route, and can change nothing."""

from __future__ import annotations

import asyncio
import dataclasses
import importlib.util
import re
from collections import defaultdict
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from fastapi.testclient import TestClient
from forged import kept

from logger.delivery.channels import Outcome
from logger.delivery.sender import Sender
from logger.errors import NotAllowed
from logger.pour import Stage
from logger.store import channels, people, pours, shared_links, shops, stations
from logger.store.database import Store
from logger.store.people import Role
from logger.store.shops import sees
from web.security.access import COOKIE, SCREEN_COOKIE
from web.security.routes_table import ROUTES
from web.security.tenancy import open_to_anybody

#: What is the first shop's, word for word.
SECRETS = (
    "Walnut for the north",
    "north-bench",
    "Ada",
    "Ben",
    "Cleo",
    "Dora of the north",
    "Screen of the north",
    "A client of the north",
    "28-0000000000c1",
)
#: The way to a phone of its maker.
NORTHS = "json://127.0.0.1:9/north"
#: Tables whose rows are a shop's.
TABLES = (
    "pour",
    "event",
    "alarm",
    "reading",
    "station",
    "probe",
    "person",
    "person_channel",
    "sign_in",
    "invitation",
    "shared_link",
    "outbox",
    "pour_probe",
    "forecast",
)


@pytest.fixture
def database() -> str:
    """Several shops need a server."""
    return "postgresql"


def nothing() -> dict[str, Any]:
    """An empty form."""
    return {"data": {}}


def routes_tests() -> ModuleType:
    """The tests of all routes: what each is sent when somebody means it."""
    spec = importlib.util.spec_from_file_location("routes_tests", Path(__file__).with_name("test_routes.py"))
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


@pytest.fixture
def north(house: Any, shop: Any, plan_toml: str) -> Any:
    """The first shop: a planned pour 1, a hot pour 2 with an alarm, people, a screen, an invitation."""
    service = house.service
    with service.store.write() as tx:
        tx.exec_driver_sql("UPDATE station SET name = 'north-bench'")
    plan = plan_toml.replace("River table for a fictional client", SECRETS[0])
    shop.plan(plan, "A client of the north", "north-bench")
    hot = shop.plan(plan, "A client of the north", "north-bench")
    with service.store.write() as tx:
        tx.exec_driver_sql("UPDATE station SET name = 'bench-1'")
    shop.go(hot, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        tx.exec_driver_sql("UPDATE station SET name = 'north-bench'")
        people.invite(tx, "Dora of the north", Role.VIEWER, "x", "Ada", now_ms)
        shared_links.share(tx, None, "Screen of the north", "Ada", now_ms)
        people.start_sign_in(tx, house.ids["maker"], now_ms, "Ben's browser")
        way = channels.add(tx, house.ids["maker"], "other", {"url": NORTHS}, NORTHS, "first", now_ms)
        channels.confirm(tx, way, now_ms)
    service.addresses.read_from(service.store)
    return dataclasses.replace(house, hot=hot)


@pytest.fixture
def south(north: Any) -> TestClient:
    """A browser in which the owner of a second shop is signed in; the shop has a station of its own."""
    service = north.service
    now_ms = service.timeline.now_ms()
    made = shops.add_shop(service.store, "The south", now_ms)
    with sees(made), service.store.write() as tx:
        stations.enrol(tx, "bench-1", now_ms)
        person = people.add_person(tx, "Sol", Role.OWNER, "x", now_ms)
        token = people.start_sign_in(tx, person, now_ms, "Sol's browser")
    browser = TestClient(north.app, follow_redirects=False)
    browser.cookies.set(COOKIE, token, domain="testserver.local")
    return browser


def of_the_north(north: Any) -> dict[str, list[Any]]:
    """Every row that is the first shop's."""
    with sees(shops.FIRST), north.service.store.read() as connection:
        return {name: connection.exec_driver_sql(f"SELECT * FROM {name} ORDER BY 1").all() for name in TABLES}


def ids_of(north: Any) -> dict[str, Any]:
    """Numbers and names of the first shop's rows, as they stand in paths."""
    with sees(shops.FIRST), north.service.store.read() as connection:

        def one(question: str) -> Any:
            return connection.exec_driver_sql(question).scalar_one()

        known = {
            "pour_id": north.hot,
            "alarm_id": one("SELECT min(id) FROM alarm"),
            "name": "north-bench",
            "invitation_id": one("SELECT min(id) FROM invitation"),
            "person_id": north.ids["maker"],
            "sign_in_id": one("SELECT min(id) FROM sign_in"),
            "link_id": one("SELECT min(id) FROM shared_link"),
            "channel_id": one("SELECT min(id) FROM person_channel"),
            "rom": "28-0000000000c1",
            "key": "0123456789ab",
        }
    return defaultdict(lambda: "x", known)


def test_every_route_that_names_something_of_another_shop_finds_nothing_there(
    north: Any, south: Any, plan_toml: str
) -> None:
    """With the requests that would work at home: not found, or not theirs; and not one row of that shop changes."""
    before, ids = of_the_north(north), ids_of(north)
    good = routes_tests().good_requests(plan_toml, north)
    # The north's own phone is asked about, not a new one.
    good = {name: make for name, make in good.items() if "channel_id" not in name}
    good["POST /phone/channels/{channel_id}/turn"] = lambda: {"data": {"turn": "second"}}
    good["POST /pours/{pour_id}/mix"] = lambda: {"data": {"part_a": "100", "part_b": "50"}}
    ratio = {"point": "ratio", "person": "Ada"}
    good["POST /stations/{name}/probes/{rom}/place"] = lambda: {"data": {"place": "core"}}
    good["POST /pours/{pour_id}/ready/again"] = lambda: {
        "data": ratio,
        "files": {"photo": ("p.png", routes_tests()._photo())},
    }
    good["POST /pours/{pour_id}/ready/place/{where}/again"] = lambda: {
        "data": {"person": "Ada"},
        "files": {"photo": ("p.png", routes_tests()._photo())},
        "ids": {"where": "bench"},
    }
    good["POST /api/pours/{pour_id}/ready/again"] = lambda: {"json": ratio}
    good["POST /pours/{pour_id}/undo"] = lambda: {"data": {"mark": "1"}}
    good["POST /api/pours/{pour_id}/undo"] = lambda: {"json": {"mark": 1}}
    good["POST /pours/{pour_id}/mix/clock"] = lambda: {"data": {"batch": "1", "what": "started"}}
    wrong = {}
    named = [
        route for route in ROUTES if "{" in route.path and route.may not in ("anybody", "station", "operator")
    ]
    assert len(named) > 60
    for route in named:
        asked = {"params": {"to": "released"}} if route.path.endswith("/step") else {}
        sent = asked if route.method == "GET" else good.get(f"{route.method} {route.path}", nothing)()
        here = dict(ids) | sent.pop("ids", {})
        sent.pop("after", None)
        if "tables/{name}" in route.path:
            here["name"] = "readings"
        elif "photos/{name}" in route.path:
            here["name"] = "a" * 64
        answer = south.request(route.method, route.path.format_map(defaultdict(lambda: "x", here)), **sent)
        # A resin's key is a digest of its name, the same in every shop: what is kept under it is each shop's own.
        if answer.status_code not in ((403, 404, 422) if route.path == "/resins/{key}/take" else (403, 404)):
            wrong[f"{route.method} {route.path}"] = (answer.status_code, answer.text[:150])
    assert wrong == {}, "\n".join(f"{name}: {answer}" for name, answer in wrong.items())
    assert of_the_north(north) == before


def test_every_list_leaves_out_what_another_shop_has(north: Any, south: Any) -> None:
    """The board, pours, people, links, messages, the shop's account: none of the other's words."""
    told = {}
    for route in ROUTES:
        if (
            route.method != "GET"
            or "{" in route.path
            or route.may in ("anybody", "station", "operator")
            or route.path == "/live"
        ):
            continue
        answer = south.get(route.path)
        assert answer.status_code == 200, f"{route.path}: {answer.status_code}"
        found = [word for word in SECRETS if re.search(rf"\b{re.escape(word)}\b", answer.text)]
        if found:
            told[route.path] = found
    assert told == {}


def test_what_is_sent_cannot_name_another_shops_things(north: Any, south: Any, plan_toml: str) -> None:
    """A link to their pour, a pour at their station, a probe at their bench."""
    before = of_the_north(north)
    sent = [
        south.post("/links", data={"label": "Mine", "pour": str(north.hot)}),
        south.post("/api/pours", json={"plan_toml": plan_toml, "station": "north-bench"}),
    ]
    assert [answer.status_code for answer in sent] == [422, 404]
    assert of_the_north(north) == before


def test_an_alarm_calls_the_people_of_its_own_shop_alone(north: Any, south: Any) -> None:
    """Whoever sets up a phone in the south hears nothing of the north's pour, and takes nobody of it off the list."""
    service = north.service
    service.channel = lambda _url, _title, _body: Outcome(True)
    page = south.post("/phone", data={"kind": "hook", "address": "http://127.0.0.1:9/south", "turn": "first"})
    assert page.status_code == 303
    with service.store.read() as connection:
        mine = connection.exec_driver_sql("SELECT max(id) FROM person_channel").scalar_one()
    south.post(f"/phone/channels/{mine}/arrived")
    assert len(service.addresses.every()) == 2, "the south's page has read every shop's"
    sent: list[str] = []

    def take(url: str, _title: str, _body: str) -> Outcome:
        sent.append(url)
        return Outcome(True)

    messages = service.settings.messages
    sender = Sender(service.store, service.timeline, messages, take, addresses=service.addresses)
    sender.shop_of_pour = service.shop_of_pour
    service.watch.judge_all()
    sender.send_due()
    assert set(sent) == {NORTHS}


def test_both_shops_may_call_a_station_the_same_and_a_token_stays_with_its_own(
    north: Any, south: Any
) -> None:
    """A new token for the south's north-bench is not one for the north's."""
    answer = south.post("/api/stations", json={"name": "north-bench"})
    assert answer.status_code == 201
    with north.service.store.read() as connection:
        mine = stations.by_token(connection, answer.json()["token"])
        named = [row for row in stations.all_stations(connection) if row.name == "north-bench"]
    assert [row.shop_id for row in named] == [shops.FIRST, mine.shop_id]
    assert named[0].token_hash != mine.token_hash


def test_what_a_station_does_is_noted_in_its_own_shop_and_names_no_other(
    north: Any, south: Any, clock: Any
) -> None:
    """The south has a clone of the north's thermometer, and a spool that contradicts itself: no news for the north."""
    with north.service.store.read() as connection:
        rom = connection.exec_driver_sql("SELECT min(rom) FROM probe WHERE rom LIKE '28-%%'").scalar_one()
    before = of_the_north(north)
    token = south.post("/api/stations", json={"name": "south-bench"}).json()["token"]
    now = clock.stamp()
    stamp = {"wall_ms": now.wall_ms, "boot_id": "of the south", "boot_ms": now.boot_ms, "clock_set": True}

    def send(milli_c: int) -> int:
        row = {
            "seq": 1,
            "probe": rom,
            "place": "core",
            "stamp": stamp,
            "milli_c": milli_c,
            "fault": None,
            "raw": "57014b467fff0c10ab",
            "note": None,
        }
        sent = {"station": "south-bench", "spool": "spool-1", "sent": stamp, "rows": [row]}
        bearer = {"Authorization": f"Bearer {token}"}
        return int(north.browser().post("/api/batches", json=sent, headers=bearer).status_code)

    assert (send(21_000), send(99_000)) == (200, 409)
    assert of_the_north(north) == before
    shop_id = north.service.known_stations[stations.token_hash(token)].shop_id
    with sees(shop_id), north.service.store.read() as connection:
        kinds = connection.exec_driver_sql("SELECT kind, text FROM event WHERE pour_id IS NULL").all()
    assert [kind for kind, _text in kinds if kind in ("probe-elsewhere", "conflicting-rows")] == [
        "conflicting-rows"
    ]


def test_an_invitation_of_one_shop_does_not_open_another_shops_person(
    north: Any, south: Any, kept_password: str
) -> None:
    """Sol asks somebody in by the name of the north's maker: whoever follows gets neither person nor password."""
    page = south.post("/people/invitations", data={"name": "Ben", "role": "owner"})
    (code,) = re.findall(r"\d+-[0-9A-Z]{4}-[0-9A-Z]{4}", page.text)
    answer = north.browser().post("/join", data={"code": code, "password": "planks of the other side"})
    assert answer.status_code == 422
    assert "another shop" in answer.text
    with north.service.store.read() as connection:
        ben = people.person_by_name(connection, "Ben")
    assert (ben.password_hash, ben.role, ben.shop_id) == (kept_password, "maker", shops.FIRST)


def test_whoever_joins_is_in_the_shop_that_asked(north: Any, south: Any) -> None:
    """And what they plan is that shop's."""
    page = south.post("/people/invitations", data={"name": "Sam", "role": "maker"})
    (code,) = re.findall(r"\d+-[0-9A-Z]{4}-[0-9A-Z]{4}", page.text)
    sam = north.browser()
    assert sam.post("/join", data={"code": code, "password": "planks of the other side"}).status_code == 200
    assert sam.get("/api/pours").json() == []
    assert sam.get(f"/pours/{north.hot}").status_code == 404
    assert "Sam" in south.get("/people").text


def test_a_screen_of_one_shop_shows_that_shops_board(north: Any, south: Any) -> None:
    """The link says whose it is."""
    page = south.post("/links", data={"label": "South screen"})
    (token,) = re.findall(r"/shared/([\w-]+)", page.text)
    screen = TestClient(north.app)
    screen.get(f"/shared/{token}")
    assert screen.cookies.get(SCREEN_COOKIE)
    board = screen.get("/")
    assert board.status_code == 200
    assert SECRETS[0] not in board.text
    assert screen.get(f"/alarms/{ids_of(north)['alarm_id']}").status_code == 404


def test_a_path_that_asks_for_a_sign_in_is_never_taken_for_one_that_does_not() -> None:
    """What is open to anybody is asked without a shop: nothing else may be."""
    closed = [route.path for route in ROUTES if route.may != "anybody"]
    assert [path for path in closed if open_to_anybody(path.replace("{", "").replace("}", ""))] == []


def test_a_superuser_is_refused_a_second_shop(cluster: Any, on_server: str) -> None:
    """The server hides nothing from a superuser."""
    store = Store(on_server.replace("pourlog@", "postgres@"))
    try:
        with pytest.raises(NotAllowed, match="superuser"):
            shops.add_shop(store, "The south", 0)
    finally:
        store.close()


def test_the_watch_sees_every_shop(north: Any, south: Any) -> None:
    """It names none."""
    with north.service.store.read() as connection:
        assert pours.live_pours(connection)


def test_an_open_page_hears_only_of_its_own_shops_pours(north: Any, south: Any) -> None:
    """Not even that something happened at a number of the other shop's."""
    news = north.service.news
    heard: dict[int, list[str]] = {1: [], 2: []}

    async def page(shop_id: int) -> None:
        async for text in news.listen(shop_id):
            heard[shop_id].append(text)

    async def both() -> None:
        pages = [asyncio.create_task(page(shop_id)) for shop_id in heard]
        while news.listeners < 2:
            await asyncio.sleep(0)
        news.publish("readings", pour=north.hot)
        await asyncio.sleep(0)
        news.close()
        await asyncio.gather(*pages)

    # On a thread: browser tests that ran before in this process leave a loop running in the main one.
    with ThreadPoolExecutor(1) as beside:
        beside.submit(asyncio.run, both()).result(30)
    assert any("readings" in text for text in heard[1])
    assert not any("readings" in text for text in heard[2])


def test_a_record_from_elsewhere_is_the_shops_that_brought_it_in(north: Any, south: Any) -> None:
    """The other shop sees nothing of it, may bring the same in for itself, and deletes only its own."""
    before = of_the_north(north)
    sent = {"file": ("record.zip", kept(), "application/zip")}
    answer = south.post("/shop/import", data={"act": "take"}, files=sent)
    assert answer.status_code == 303, answer.text
    theirs = int(answer.headers["location"].split("/")[2])
    assert south.get(f"/api/pours/{theirs}/verify").json()["ok"]
    assert of_the_north(north) == before
    ada = north.browser("owner", follow_redirects=False)
    assert ada.get(f"/api/pours/{theirs}/record").status_code == 404
    assert ada.post(f"/api/pours/{theirs}/remove", json={"sure": True}).status_code == 404
    assert "Records from other workshops" not in ada.get("/shop").text
    mine = int(ada.post("/shop/import", data={"act": "take"}, files=sent).headers["location"].split("/")[2])
    assert mine != theirs
    assert south.post(f"/api/pours/{theirs}/remove", json={"sure": True}).status_code == 204
    told = ada.get(f"/api/pours/{mine}/verify").json()
    assert told["ok"], told
