"""A station's token opens one door: its own batches."""

from __future__ import annotations

from typing import Any

from logger.pour import Stage
from logger.store import stations
from logger.store.events import EVENT
from logger.words.reader import METRIC
from logger.words.render import say
from web.security.routes_table import ROUTES


def batch(
    clock: Any, station: str, probe: str = "28-0000000000c1", milli_c: int = 21_000, seq: int = 1
) -> Any:
    """One row, as a station sends it."""
    now = clock.stamp()
    stamp = {"wall_ms": now.wall_ms, "boot_id": f"{station}-boot", "boot_ms": now.boot_ms, "clock_set": True}
    row = {
        "seq": seq,
        "probe": probe,
        "place": "core",
        "stamp": stamp,
        "milli_c": milli_c,
        "fault": None,
        "raw": "00",
        "note": None,
    }
    return {"station": station, "spool": f"spool of {station}", "sent": stamp, "rows": [row]}


def post(house: Any, token: str, body: Any) -> Any:
    """Sends it."""
    return house.browser().post("/api/batches", json=body, headers={"Authorization": f"Bearer {token}"})


def enrol(house: Any, name: str) -> str:
    """Another station's token."""
    return str(house.browser("owner").post("/api/stations", json={"name": name}).json()["token"])


def test_a_token_opens_nothing_but_batches(house: Any, path_of: Any) -> None:
    """Not one page, not one reading."""
    browser = house.browser()
    browser.headers["Authorization"] = f"Bearer {house.station_token}"
    others = [route for route in ROUTES if route.may not in ("station", "anybody")]
    assert {browser.request(r.method, path_of(r), json={}).status_code for r in others} == {401}


def test_a_token_speaks_for_its_own_station_only(house: Any, clock: Any) -> None:
    """A stolen card does not fake the other bench."""
    enrol(house, "bench-2")
    assert post(house, house.station_token, batch(clock, "bench-2")).status_code == 403


def test_another_stations_probe_never_reaches_its_pour_and_is_noted(
    house: Any, clock: Any, shop: Any, plan_toml: str
) -> None:
    """A thermometer that was replugged still counts, at the station that has it now; the pour next door is safe."""
    token = enrol(house, "bench-1")
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    post(house, token, batch(clock, "bench-1"))
    other = enrol(house, "bench-2")
    for seq in (1, 2):
        assert post(house, other, batch(clock, "bench-2", milli_c=99_000, seq=seq)).status_code == 200
    with house.service.store.read() as connection:
        mine = (
            connection.exec_driver_sql(f"SELECT milli_c FROM reading WHERE pour_id = {pour}").scalars().all()
        )
        noted = connection.execute(EVENT.select().where(EVENT.c.kind == "probe-elsewhere")).all()
    assert mine == [21_000]
    assert [(row.by, say(row.text, METRIC)) for row in noted] == [
        ("bench-2", "28-0000000000c1 was reported by bench-1 before")
    ]


def test_a_probe_that_many_stations_have_is_noted_with_five_of_their_names(house: Any, clock: Any) -> None:
    """Clones may share a serial number: at a school's hundred stations the sentence must still fit, and be read."""
    for number in range(1, 9):
        assert (
            post(house, enrol(house, f"bench-{number}"), batch(clock, f"bench-{number}")).status_code == 200
        )
    with house.service.store.read() as connection:
        noted = connection.execute(EVENT.select().where(EVENT.c.kind == "probe-elsewhere")).all()
    assert noted[-1].by == "bench-8"
    assert say(noted[-1].text, METRIC).endswith(
        "reported by bench-1, bench-2, bench-3, bench-4, bench-5 and 2 more before"
    )


def test_contacts_of_the_same_name_at_two_stations_are_no_news(house: Any, clock: Any) -> None:
    """Every station may have a contact called leak-1."""
    other = enrol(house, "bench-2")
    post(house, house.station_token, batch(clock, "bench-1", probe="leak-1"))
    post(house, other, batch(clock, "bench-2", probe="leak-1"))
    with house.service.store.read() as connection:
        assert not connection.execute(EVENT.select().where(EVENT.c.kind == "probe-elsewhere")).all()


def test_a_withdrawn_token_stores_nothing_more(house: Any, clock: Any) -> None:
    """By page and by API; what was sent before stays; enrolled anew, the station goes on."""
    owner = house.browser("owner")
    post(house, house.station_token, batch(clock, "bench-1"))
    assert owner.post("/stations/bench-1/revoke", follow_redirects=False).status_code == 303
    assert post(house, house.station_token, batch(clock, "bench-1", seq=2)).status_code == 401
    assert "Access revoked" in owner.get("/stations").text
    again = enrol(house, "bench-1")
    assert post(house, again, batch(clock, "bench-1", seq=2)).json()["stored"] == 1
    assert owner.post("/api/stations/bench-1/revoke").status_code == 204
    assert post(house, again, batch(clock, "bench-1", seq=3)).status_code == 401
    assert owner.post("/api/stations/nobody/revoke").status_code == 404


def test_tokens_are_long_and_kept_as_hashes(house: Any) -> None:
    """256 random bits."""
    assert len(house.station_token) >= 43
    with house.service.store.read() as connection:
        row = stations.by_name(connection, "bench-1")
        assert house.station_token not in str(connection.exec_driver_sql("SELECT * FROM station").all())
        assert house.station_token not in str(connection.execute(EVENT.select()).all())
    assert row.token_hash == stations.token_hash(house.station_token)


def test_guessing_tokens_is_slowed_and_stations_are_not(guarded: Any, clock: Any) -> None:
    """A rude client with made-up tokens is refused before its batch is read; a station is never slowed."""
    for seq in range(1, 200):
        assert post(guarded, guarded.station_token, batch(clock, "bench-1", seq=seq)).status_code == 200
    statuses = [post(guarded, "made-up", batch(clock, "bench-1")).status_code for _ in range(70)]
    assert statuses == [401] * 60 + [429] * 10
