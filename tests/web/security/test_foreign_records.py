"""A record from elsewhere is read, proven, compared and deleted, and nothing else is ever done with it.

Bundles are forged (tests/forged.py): every hash fits, whatever they say.
"""

from __future__ import annotations

import copy
import hashlib
import io
import random
import sqlite3
import zipfile
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from bundles import verify_bundle
from fastapi.testclient import TestClient
from forged import KEPT, Forged, kept
from PIL import Image
from sqlalchemy.exc import OperationalError

from logger.errors import BadInput, LoggerError, NotAllowed
from logger.pour import LIVE, Stage
from logger.record import refit_offers
from logger.record.import_log import Imports
from logger.record.verify import verify
from logger.store import (
    alarms,
    arriving,
    events,
    page_queries,
    photos,
    pours,
    readings,
    shop_events,
    stations,
)
from logger.store.hash_chain import canonical
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.store.transfer import COLUMNS, begin, put_rows, recorded_station
from logger.wire import WireReading
from tests.web.page_text import words
from web.actions import pours as pour_actions
from web.security import access
from web.security.routes_table import ROUTES
from web.service.service import Service

#: The seals of the bundles that an earlier program exported (tests/references/records), as it printed them.
SEALS = {
    "poured": "9aa6616ca2fcebf3d16d772c97fb7fb92780c296cddab6f73b5e30a5dc47da55",
    "past-log": "a3fb97e030fcec0bd94f80ff7689c190122f8ece1b20502cc4f8ad8cffb7e6c7",
    "never-poured": "dcb2be4ddf86b1110b071101b694eb8f99078fbe6696de11ee6fcddc55cb39a6",
    "brought-in": "9aa6616ca2fcebf3d16d772c97fb7fb92780c296cddab6f73b5e30a5dc47da55",
}
#: Pages that list pours, or count them.
LISTS = (
    "/",
    "/compare",
    "/api/compare",
    "/shop",
    "/api/shop",
    "/api/pours",
    "/resins",
    "/pours/new",
    "/shop/import",
    "/links",
    "/stations",
    "/api/stations",
    "/alarms/rates",
    "/api/alarms/rates",
    "/api/alarms",
    "/messages",
    "/wiring",
    "/api/health",
)
#: What is asked of one record.
OF_ONE = (
    "/pours/{}/record",
    "/pours/{}/record/paper",
    "/api/pours/{}",
    "/api/pours/{}/record",
    "/api/pours/{}/everything",
    "/api/pours/{}/bundle",
    "/api/pours/{}/verify",
    "/api/pours/{}/alarms",
    *(f"/api/pours/{{}}/tables/{name}" for name in COLUMNS),
)


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    """What an import does in a process of its own is done here: a start for each of hundreds would take minutes."""

    def away(
        _self: Any, function: Callable[..., Any], file: Path, folder: Path, where: str, *more: Any
    ) -> Any:
        return function(file, folder, where, *more)

    monkeypatch.setattr(Imports, "_away", away)
    monkeypatch.setattr(Imports, "_rest", lambda _self: lambda: True)


def bring_in(service: Service, raw: bytes, folder: Path) -> int:
    """A bundle, as the maker Ben brings it in."""
    (folder / "sent.zip").write_bytes(raw)
    return service.imports.record(folder / "sent.zip", "sent.zip", "Ben").pour_id


def unchecked(service: Service, forged: Forged) -> int:
    """Puts a record into the database as an earlier program did, without a look at what it says, and as the upgrade
    leaves it: closed. Gives its number.
    """
    forged.seal()
    for name, raw in forged.files.items():
        if name.startswith("photos/"):
            photos.put(raw, Path(service.settings.data_dir) / "photos", name.removeprefix("photos/"))
    with service.store.write() as tx:
        of = {
            "station": recorded_station(tx, str(forged.pour["station"])[:60], 1),
            "service": recorded_station(tx, "x", 1),
        }
        boots = [tuple(row[column] for column in COLUMNS["boots"]) for row in forged.tables["boots"]]
        origin = {"workshop": forged.workshop, "by": "Ben", "at_ms": 1, "seal_sha256": "x"}
        begun = begin(tx, forged.pour, canonical(forged.record), boots, of, origin=origin, stage="closed")
        for name in ("events", "alarms", "forecasts", "readings"):
            put_rows(tx, begun, name, [tuple(row[c] for c in COLUMNS[name]) for row in forged.tables[name]])
    return begun.pour_id


def rows_of(service: Service) -> dict[str, list[Any]]:
    """Every row of every table that a record has a part in."""
    with service.store.read() as connection:
        return {
            name: connection.exec_driver_sql(f'SELECT * FROM "{name}" ORDER BY 1').all()
            for name in (
                "pour",
                "reading",
                "event",
                "alarm",
                "forecast",
                "boot",
                "station",
                "sealed_record",
                "pour_probe",
                "shared_link",
                "outbox",
                "probe",
            )
        }


@pytest.mark.parametrize("name", sorted(SEALS))
def test_a_record_that_an_earlier_program_exported_still_stands_and_comes_in(
    here: None, house: Any, tmp_path: Path, name: str
) -> None:
    """With its additions and photos, to the seal that was printed then; and goes out again as it was."""
    assert {path.stem for path in KEPT.iterdir()} == set(SEALS)
    assert verify_bundle(io.BytesIO(kept(name)), printed=SEALS[name][:16]).ok
    pour_id = bring_in(house.service, kept(name), tmp_path)
    browser = house.browser("viewer")
    told = browser.get(f"/api/pours/{pour_id}/verify?seal={SEALS[name]}").json()
    assert (told["ok"], told["seal_sha256"]) == (True, SEALS[name]), told
    for path in OF_ONE:
        assert browser.get(path.format(pour_id)).status_code == 200, path
    if find_spec("weasyprint") is not None:
        assert browser.get(f"/pours/{pour_id}/record.pdf").content.startswith(b"%PDF")
    out = browser.get(f"/api/pours/{pour_id}/bundle").content
    assert verify_bundle(io.BytesIO(out), printed=SEALS[name]).ok
    with zipfile.ZipFile(io.BytesIO(out)) as new, zipfile.ZipFile(io.BytesIO(kept(name))) as old:
        same = [one for one in old.namelist() if one not in ("manifest.json", "SCHEMA.md", "events.csv")]
        assert [one for one in same if new.read(one) != old.read(one)] == []


@pytest.fixture
def foreign(here: None, house: Any, tmp_path: Path) -> int:
    """A record from elsewhere, with an alarm that nobody had answered there."""
    return bring_in(house.service, Forged().packed(), tmp_path)


def test_nothing_is_done_to_a_record_from_elsewhere_by_anybody_on_any_route(house: Any, foreign: int) -> None:
    """Every route that is about a pour, by its owner: refused in words, and not one row is another afterwards."""
    before, browser, let_in = rows_of(house.service), house.browser("owner", follow_redirects=False), {}
    about = [route for route in ROUTES if "{pour_id}" in route.path and route.path not in access.FOREIGN_MAY]
    assert len(about) > 40
    ids = {"pour_id": foreign, "section": "form"} | dict.fromkeys(("name", "rom", "key", "where"), "x")
    for route in about:
        answer = browser.request(route.method, route.path.format(**ids))
        if answer.status_code != 409 or "a record from The workshop" not in answer.text:
            let_in[f"{route.method} {route.path}"] = (answer.status_code, answer.text[:200])
    assert let_in == {}
    assert browser.get(f"/pours/{foreign}").headers["location"] == f"/pours/{foreign}/record"
    assert browser.post("/links", data={"label": "a client", "pour": str(foreign)}).status_code == 409
    assert rows_of(house.service) == before


def test_nothing_is_done_to_it_below_the_pages_either(house: Any, foreign: int, timeline: Any) -> None:
    """Whatever route there may be one day."""
    service = house.service
    before = rows_of(service)
    tries: list[Callable[[Any], Any]] = [
        lambda tx: events.add_event(tx, foreign, 1, "note", "Ada", "x"),
        lambda tx: pours.move_on(tx, foreign, Stage.CURING, "Ada", service.timeline),
        lambda tx: pours.change_plan(tx, foreign, "x", "x", "Ada", 1),
        lambda tx: pours.freeze_prediction(tx, foreign, {}, "x"),
    ]
    for one in tries:
        with pytest.raises(NotAllowed), service.store.write() as tx:
            one(tx)
    for kind in ("note", "photo", "outcome", "look"):
        entry = pour_actions.Entry("x", kind, {"about": "x"}, "because")
        with pytest.raises(NotAllowed):
            pour_actions.add_entry(service, foreign, "Ada", entry)
    assert rows_of(service) == before


def test_its_alarms_and_pours_are_counted_nowhere(house: Any, foreign: int) -> None:
    """Neither on the board nor in rates, lessons, shelf, fits, live pours or the stations that could be chosen."""
    service, browser = house.service, house.browser("owner")
    with service.store.read() as connection:
        theirs = alarms.alarms_of(connection, foreign)
        assert {"raised", "returned"} <= {row.phase for row in theirs}
        assert page_queries.pressing(connection) == []
        assert alarms.open_alarms(connection) == []
        assert alarms.spans(connection) == []
        assert alarms.history_from_ms(connection) is None
        assert pours.live_pours(connection) == pours.all_pours(connection) == []
        assert shop_events.sealed_records(connection) == shop_events.sealed_ids(connection) == []
        assert shop_events.events_of_all_pours(connection, "lot", "addition") == []
        assert refit_offers.due(connection) == {}
        assert [row.name for row in stations.all_stations(connection)] == ["bench-1"]
    told = browser.get("/api/shop").json()
    assert (told["records"], told["states"], told["stock"], told["alarms"]) == (0, {}, [], {})
    assert browser.get("/api/compare").json()["errors"]["pours"] == 0
    assert [one["workshop"] for one in browser.get("/api/compare").json()["pours"]] == ["The workshop"]
    assert [one["workshop"] for one in browser.get("/api/pours").json()] == ["The workshop"]
    for path in (f"/alarms/{theirs[0].id}", f"/api/alarms/{theirs[0].id}/acknowledge"):
        method = "POST" if path.startswith("/api") else "GET"
        assert browser.request(method, path, json={}).status_code == 404, path
    page = browser.get("/").text
    assert "Wharf Lane" not in page
    assert "from The workshop" in words(browser.get("/shop"))


def test_what_it_says_of_boots_and_stations_is_never_ours(
    house: Any, here: None, tmp_path: Path, clock: Any
) -> None:
    """It names our station, our service's present boot and our station's spool; then our station sends as ever."""
    service = house.service
    forged = Forged().say(station="bench-1")
    for row in forged.tables["boots"]:
        row["boot_id"], row["offset_ms"] = clock.boot_id, 5
    forged.pour["poured_boot_id"] = clock.boot_id
    forged.record["pour"]["poured_ms"] = forged.pour["poured_boot_ms"] + 5
    for row in forged.tables["readings"]:
        row["boot_id"], row["spool"] = clock.boot_id, "spool-1"
    now_ms = service.timeline.true_ms()
    foreign = bring_in(service, forged.packed(), tmp_path)
    again = Service.open(service.settings, clock)
    assert again.timeline.true_ms() == service.timeline.true_ms() == now_ms
    again.close()
    row = WireReading("28-0000000000c1", "core", clock.stamp(), 21_000, None, "00", None, seq=1)
    with service.store.write() as tx:
        saved = readings.save_batch(
            tx, ReadingBatch(stations.by_name(tx, "bench-1").id, "spool-1", clock.stamp(), [row]), now_ms
        )
        assert (saved.stored, saved.pours) == (1, frozenset())
        enrolled, _token = stations.enrol(tx, "bench-1", now_ms)
        assert enrolled == stations.by_name(tx, "bench-1").id
    with service.store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM probe").scalar_one() == 1
        assert verify(connection, foreign).ok


def test_an_owner_deletes_it_and_nobody_else_and_nothing_of_it_is_left(house: Any, foreign: int) -> None:
    """By page and by program, when they say that they are sure; the shop's own are kept."""
    service = house.service
    pictures = Path(service.settings.data_dir) / "photos"
    assert len(list(pictures.iterdir())) == 3
    path = f"/pours/{foreign}/remove"
    for role in ("viewer", "maker"):
        assert house.browser(role).post(path, data={"sure": "yes"}).status_code == 403
        assert house.browser(role).post(f"/api{path}", json={"sure": True}).status_code == 403
    owner = house.browser("owner", follow_redirects=False)
    assert owner.post(path).status_code == owner.post(f"/api{path}", json={"sure": False}).status_code == 422
    assert 'action="/pours/' in owner.get(f"/pours/{foreign}/record").text
    assert f'action="{path}"' not in house.browser("maker").get(f"/pours/{foreign}/record").text
    before = rows_of(service)
    assert owner.post(f"/api{path}", json={"sure": True}).status_code == 204
    after = rows_of(service)
    mine = {"pour", "reading", "alarm", "forecast", "sealed_record"}
    assert {name for name in mine if after[name]} == set()
    assert [row.recorded_as for row in after["station"]] == [None]
    assert [row.station_id for row in after["boot"]] == [None], "the service's own"
    told = after["event"][-1]
    assert (told.kind, told.by, told.pour_id) == ("record-deleted", "Ada", None)
    assert len(after["event"]) == 2 + sum(row.pour_id is None for row in before["event"]) - 1
    assert list(pictures.iterdir()) == []
    assert owner.post(f"/api{path}", json={"sure": True}).status_code == 404
    with service.store.write() as tx:
        own = pours.add_pour(
            tx, PlannedPour(title="x", client="", plan_toml="", station_id=None), by="Ada", now_ms=1
        )
    refused = owner.post(f"/api/pours/{own}/remove", json={"sure": True})
    assert refused.status_code == 409
    assert "the shop's own" in refused.text


def test_a_photo_that_another_pour_has_stays(here: None, house: Any, tmp_path: Path) -> None:
    """The same picture came with two records."""
    other = Forged().say(title="The same table again")
    first = bring_in(house.service, kept(), tmp_path)
    second = bring_in(house.service, other.packed(), tmp_path)
    house.service.imports.delete(first, "Ada")
    told = house.browser("viewer").get(f"/api/pours/{second}/verify").json()
    assert told["ok"], told


def drawn(kind: str, size: tuple[int, int] = (30, 20)) -> bytes:
    """A picture of one colour."""
    made = io.BytesIO()
    Image.new("RGB", size, "peru").save(made, kind)
    return made.getvalue()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"<html><script>alert(1)</script></html>", "is no JPEG picture"),
        (b"", "is no JPEG picture"),
        (drawn("PNG"), "is no JPEG picture"),
        (drawn("GIF"), "is no JPEG picture"),
        (drawn("JPEG")[:60], "is no JPEG picture"),
        (drawn("JPEG", (12_000, 12_000)), "has too many pixels"),
    ],
)
def test_a_photo_that_is_no_picture_comes_in_with_no_record(
    here: None, house: Any, tmp_path: Path, raw: bytes, said: str
) -> None:
    """Its hash fits; its bytes would be served to browsers, and drawn on paper."""
    forged, name = Forged(), hashlib.sha256(raw).hexdigest()
    old = forged.record["photos"][0]["sha256"]
    forged.files[f"photos/{name}.jpg"] = raw
    del forged.files[f"photos/{old}.jpg"]
    forged.record["photos"][0]["sha256"] = name
    forged.event("photo")["data"]["sha256"] = name
    with pytest.raises(BadInput, match=said):
        bring_in(house.service, forged.packed(zipfile.ZIP_STORED), tmp_path)
    assert rows_of(house.service)["pour"] == []
    assert not (Path(house.service.settings.data_dir) / "photos").exists()


#: What a stranger might say instead, by what a field holds.
NASTY_TEXT = [
    "",
    "x" * 5000,
    "../../settings",
    "\u202eevil",
    "a\nb",
    "<script>alert(1)</script>",
    "{{7*7}}",
    "\x00",
    "curing",
    "=1+1",
    "{1e400 °C|99}",
    "{-1 K/h|-5}",
    "{ °C}",
    "{nan mm}",
    "{" * 3000,
    "{1 °C|1}" * 500,
    "\ud800",
    "nan",
    "%s%n",
]
NASTY_NUMBER = [
    -1,
    0,
    2**31,
    2**63 - 1,
    2**70,
    -(2**70),
    10**400,
    1e300,
    -1e300,
    float("inf"),
    float("nan"),
    1.5,
]
NASTY = [None, True, [], {}, [[[[]]]], {"a": {"b": []}}, "x", *NASTY_TEXT, *NASTY_NUMBER]


def mutated(dice: random.Random) -> Forged:
    """A record with one to three fields changed into something else, and all hashes made anew."""
    forged = Forged()
    for _ in range(dice.randint(1, 3)):
        where = dice.choice(["record", "record", "record", "pour", "pour", "table", "table", "both"])
        if where == "table":
            name = dice.choice([name for name in COLUMNS if forged.tables[name]])
            row = dice.choice(forged.tables[name])
            column = dice.choice([column for column in COLUMNS[name] if column != "link"])
            row[column] = _other(row[column], dice)
        elif where == "both":
            name = dice.choice(
                [
                    "title",
                    "client",
                    "stage",
                    "station",
                    "created_ms",
                    "released_ms",
                    "closed_ms",
                    "prediction",
                ]
            )
            forged.say(**{name: _other(forged.pour[name], dice)})
        else:
            _change(forged.record if where == "record" else forged.pour, dice)
    return forged


def _other(value: Any, dice: random.Random) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return (
            dice.choice([*NASTY_NUMBER, None])
            if isinstance(value, float)
            else dice.choice([one for one in NASTY_NUMBER if isinstance(one, int)] + [None])
        )
    if isinstance(value, dict):
        changed = copy.deepcopy(value)
        _change(changed, dice)
        return changed
    return dice.choice([*NASTY_TEXT, None])


def _change(tree: Any, dice: random.Random) -> None:
    """Changes something somewhere in a tree of dicts and lists."""
    while True:
        keys = list(tree) if isinstance(tree, dict) else list(range(len(tree)))
        if not keys:
            return
        key = dice.choice(keys)
        if isinstance(tree[key], dict | list) and tree[key] and dice.random() < 0.8:
            tree = tree[key]
            continue
        what = dice.random()
        if what < 0.15 and isinstance(tree, dict):
            del tree[key]
        elif what < 0.25 and isinstance(tree, dict):
            tree["unheard-of"] = dice.choice(NASTY)
        else:
            tree[key] = dice.choice(NASTY)
        return


def packed_or_none(forged: Forged) -> bytes | None:
    """The file; None where not even a forger can write this."""
    try:
        return forged.packed()
    except (ValueError, TypeError, AttributeError, KeyError, OverflowError):
        return None


def standing(browser: TestClient, paths: tuple[str, ...]) -> dict[str, int]:
    """Pages that are not what they should be."""
    told = {path: browser.get(path).status_code for path in paths}
    return {path: status for path, status in told.items() if status != 200}


def test_a_mutated_record_is_refused_in_words_or_shown_like_any_other(
    here: None, house: Any, tmp_path: Path
) -> None:
    """120 of them: nothing between the two, and every list of pours stands."""
    service, dice = house.service, random.Random(12)
    browser = house.browser("owner", raise_server_exceptions=False)
    refused: list[str] = []
    shown_too = 0
    for number in range(120):
        raw = packed_or_none(mutated(dice))
        if raw is None:
            continue
        try:
            pour_id = bring_in(service, raw, tmp_path)
        except LoggerError as error:
            refused.append(str(error))
            continue
        shown_too += 1
        with service.store.read() as connection:
            pour = pours.get_pour(connection, pour_id)
            assert (pour.stage, pour.origin is None) == ("closed", False)
            assert pours.live_pours(connection) == []
        assert standing(browser, tuple(path.format(pour_id) for path in OF_ONE) + LISTS[:6]) == {}, number
        service.imports.delete(pour_id, "Ada")
    assert len(refused) > 60
    assert max(map(len, refused)) < 1500
    assert shown_too > 8
    with service.store.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM reading").scalar_one() == 0


def test_whatever_an_earlier_program_took_in_unlooked_at_leaves_every_list_standing(house: Any) -> None:
    """Put into the database as it is; its own page says that it cannot be shown, and an owner deletes it there."""
    service, dice = house.service, random.Random(7)
    browser = house.browser("owner", raise_server_exceptions=False)
    there: list[int] = []
    for _ in range(60):
        try:
            there.append(unchecked(service, mutated(dice)))
        except Exception:  # noqa: BLE001 - what no database takes, none has
            continue
    assert len(there) > 30
    assert standing(browser, LISTS) == {}
    for pour_id in there:
        assert browser.get(f"/pours/{pour_id}/record").status_code == 200
        for path in OF_ONE[1:7]:
            assert browser.get(path.format(pour_id)).status_code < 500, path
    for pour_id in there:
        gone = browser.post(f"/pours/{pour_id}/remove", data={"sure": "yes"}, follow_redirects=False)
        assert gone.status_code == 303
    assert "Records from other workshops" not in browser.get("/shop").text
    assert (
        refit_offers.Learner(
            service.store, service.timeline, lambda function, *given: function(*given)
        ).make_due()
        == 0
    )


def test_a_record_without_a_resin_is_told_on_its_page_with_the_way_to_delete_it(house: Any) -> None:
    """As one that an earlier program took in."""
    forged = Forged()
    forged.record["plan"] = {}
    pour_id = unchecked(house.service, forged)
    page = house.browser("owner").get(f"/pours/{pour_id}/record").text
    assert "It cannot be shown" in page
    assert f'action="/pours/{pour_id}/remove"' in page
    assert house.browser("viewer").get(f"/api/pours/{pour_id}/record").status_code == 422


class Half(RuntimeError):
    """The way in ends here."""


@pytest.fixture
def many(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few rows in a transaction, so that there are many."""
    monkeypatch.setattr(arriving, "MANY", 10)


def test_what_is_on_its_way_in_is_seen_nowhere_until_all_of_it_is_there(
    here: None, many: None, house: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looked at between any two transactions; after the last one it is there, whole."""
    service, browser = house.service, house.browser("viewer")
    seen: list[int] = []

    def look() -> bool:
        seen.append(len(browser.get("/api/pours").json()))
        with service.store.read() as connection:
            (there,) = connection.exec_driver_sql("SELECT id FROM pour").scalars()
        assert {browser.get(path.format(there)).status_code for path in OF_ONE} == {404}
        assert "Wharf Lane" not in browser.get("/shop").text
        return True

    monkeypatch.setattr(Imports, "_rest", lambda _self: look)
    pour_id = bring_in(service, kept(), tmp_path)
    assert len(seen) >= 18
    assert set(seen) == {0}
    assert standing(browser, tuple(path.format(pour_id) for path in OF_ONE)) == {}


@pytest.mark.parametrize("after", [0, 1, 5, 12])
def test_what_fails_on_the_way_in_leaves_nothing_behind(
    here: None, many: None, house: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    """Not a row, not a photo, not a file of the parcel; and the same file comes in afterwards."""
    service = house.service
    before, left = rows_of(service), [after]

    def rest() -> bool:
        left[0] -= 1
        if left[0] == 0:
            raise Half
        return left[0] > -1 or after > 0

    monkeypatch.setattr(Imports, "_rest", lambda _self: rest)
    with pytest.raises((Half, arriving.ArrivalStopped)):
        bring_in(service, kept(), tmp_path)
    assert rows_of(service) == before
    data = Path(service.settings.data_dir)
    assert not (data / "arriving").exists()
    assert not (data / "photos").exists() or list((data / "photos").iterdir()) == []
    monkeypatch.setattr(Imports, "_rest", lambda _self: lambda: True)
    assert bring_in(service, kept(), tmp_path)


def test_what_a_killed_process_left_half_brought_in_is_taken_out_later(
    here: None, many: None, house: Any, tmp_path: Path, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not while it may still be growing; nobody sees it meanwhile, and a second import is told to wait."""
    service = house.service
    before = rows_of(service)
    monkeypatch.setattr(arriving, "take_out", lambda *_given: None)
    monkeypatch.setattr(Imports, "_rest", lambda _self: lambda: False)
    with pytest.raises(arriving.ArrivalStopped):
        bring_in(service, kept(), tmp_path)
    monkeypatch.undo()
    assert len(rows_of(service)["pour"]) == 1
    assert service.imports.tidy() == 0
    assert house.browser("viewer").get("/api/pours").json() == []
    clock.move(arriving.LEFT_OVER_MS / 1000 + 1)
    assert service.imports.tidy() == 1
    assert rows_of(service) == before


def test_folders_that_a_killed_process_left_are_cleared_and_none_that_is_in_use(house: Any) -> None:
    """However old they are: who works in one holds its lock, in whichever process."""
    imports = house.service.imports
    scratch = Path(house.service.settings.data_dir) / "arriving"
    (scratch / "left").mkdir(parents=True)
    (scratch / "left" / "in-use").touch()
    (scratch / "left" / "parcel.sqlite3").write_bytes(b"x")
    with imports.laid_down(io.BytesIO(b"sent")) as kept_at:
        imports.tidy()
        assert kept_at.read_bytes() == b"sent"
        assert [path.name for path in scratch.iterdir()] == [kept_at.parent.name]
    assert not scratch.exists()


def test_a_disk_that_takes_no_more_is_told_and_nothing_is_left(
    here: None, many: None, house: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the midst of it: the page says so, and what was there is taken out again."""
    if not house.service.store.is_sqlite:
        pytest.skip("a server's disk is not ours")
    before, real, left = rows_of(house.service), arriving.put_rows, [4]

    def full(*given: Any) -> int:
        left[0] -= 1
        if left[0] == 0:
            raise OperationalError("INSERT", {}, sqlite3.OperationalError("database or disk is full"))
        return real(*given)

    monkeypatch.setattr(arriving, "put_rows", full)
    answer = house.browser("maker").post(
        "/shop/import", data={"act": "take"}, files={"file": ("a.zip", kept())}
    )
    assert answer.status_code == 422
    assert "database or disk is full" in answer.text
    assert rows_of(house.service) == before


def test_a_past_log_that_fails_on_the_way_in_can_be_brought_in_again(
    here: None, many: None, house: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its boots are its own, and gone with it."""
    browser = house.browser("maker", follow_redirects=False)
    log = {
        "time": "t",
        "time_as": "s",
        "zone": "UTC",
        "start": "2026-06-25T08:00",
        "plan_toml": plan_toml,
        "heading-0": "c",
        "place-0": "core",
        "unit-0": "c",
        "act": "take",
    }
    file = {"file": ("old.csv", b"t,c\n" + b"".join(b"%d,21\n" % (60 * n) for n in range(40)))}
    before = rows_of(house.service)
    monkeypatch.setattr(Imports, "_rest", lambda _self: lambda: False)
    assert browser.post("/shop/import", data=log, files=file).status_code == 422
    after = rows_of(house.service)
    assert {name for name in before if before[name] != after[name]} <= {"station"}
    monkeypatch.setattr(Imports, "_rest", lambda _self: lambda: True)
    assert browser.post("/shop/import", data=log, files=file).status_code == 303
    (pour,) = browser.get("/api/pours").json()
    assert (pour["stage"], pour["workshop"], pour["station"]) == ("released", None, "past-logs")
    assert browser.get(f"/api/pours/{pour['id']}/verify").json()["ok"]


def test_two_files_at_once_are_one_after_the_other(here: None, house: Any, tmp_path: Path) -> None:
    """The second is told to wait, and loses nothing."""
    imports = house.service.imports
    with imports._alone(), pytest.raises(NotAllowed, match="another file is being imported"):
        bring_in(house.service, kept(), tmp_path)
    assert bring_in(house.service, kept(), tmp_path)


def test_a_disk_with_too_little_room_for_the_watch_takes_no_record(
    here: None, house: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked before anything is written."""
    monkeypatch.setattr("shutil.disk_usage", lambda _path: type("Usage", (), {"free": 100_000_000})())
    with pytest.raises(NotAllowed, match="too little room on the disk"):
        bring_in(house.service, kept(), tmp_path)
    assert rows_of(house.service)["pour"] == []


def test_no_forged_record_is_ever_live(here: None, house: Any, tmp_path: Path) -> None:
    """Whatever stage it claims, consistently, in all its places."""
    for stage in (*LIVE, Stage.PLANNED, Stage.READY, Stage.RELEASED, Stage.SPOILED):
        with pytest.raises(LoggerError):
            bring_in(house.service, Forged().say(stage=str(stage)).packed(), tmp_path)
    assert rows_of(house.service)["pour"] == []
