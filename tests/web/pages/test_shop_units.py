"""A shop that measures in °F and inches reads °F and inches wherever it reads: in messages, on pages, in its record."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import update

from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, events, forecasts, outbox
from logger.store.alarms import ALARM
from tests.messages_as_sent import as_sent
from web.actions import watching
from web.server.app import make_app

#: A number with a metric unit behind it, or a mark that nobody has shown.
METRIC = re.compile(r"\d[\s\u00a0]*(°C|K|mm|L|kg|g)(?![\w/·²³])|°C|\{[+-]?\d+(\.\d+)? [^}]*\}")
BAND = {"p05": 60.0, "p50": 72.0, "p95": 90.0}
#: A forecast as the program before this one wrote it: its words have no marks.
FORECAST = {
    "at_h": 0.4,
    "members": 60,
    "effective_members": 30.0,
    "core_peak_c": BAND,
    "hottest_peak_c": BAND,
    "core_peak_at_h": {"p05": 2.0, "p50": 2.5, "p95": 3.0},
    "crosses_limit_at_h": {"p05": 0.45, "p50": 0.5, "p95": 0.7},
    "time_left_h": 0.1,
    "release_at_h": {"p05": 60.0, "p50": 66.0, "p95": 70.0},
    "chance_core_over_limit": 0.97,
    "chance_needed": 0.6,
    "causes": [
        {
            "name": "start_offset_c",
            "words": "the mix was poured warmer than planned (+1.5 °C)",
            "size": 1.5,
            "unit": "°C",
            "sure": 0.9,
        }
    ],
    "probes": [],
    "what_if": {
        name: {
            "words": f"{name} now: 72 → {peak:.0f} °C",
            "core_peak_c": BAND | {"p50": peak},
            "hottest_peak_c": BAND,
            "chance_core_over_limit": 0.5,
        }
        for name, peak in (("as it is", 72.0), ("fans", 60.0), ("cooler room", 65.0))
    },
    "bands": {"hours": [0.4, 1.0], "core_c": {"p05": [24.0, 30.0], "p50": [25.0, 33.0], "p95": [26.0, 36.0]}},
}


@pytest.fixture
def messages() -> Messages:
    """Somebody to send messages to."""
    return Messages(urls=["json://first.test"], second_urls=["json://second.test"])


@pytest.fixture
def american(shop: Any, maker: Any) -> Any:
    """A workshop that chose °F, inches, US gallons and pounds at its first set-up."""
    with shop.service.store.write() as tx:
        events.add_event(tx, None, 0, "units-chosen", "Ada", data={"units": "f.in.gal.lb"})
    return shop


@pytest.fixture
def trouble(american: Any, plan_toml: str) -> int:
    """A pour with all sorts of trouble."""
    shop, service = american, american.service
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.humidity_pct = 96.0
    watching.poured(service, pour, 5.0, "Ada")
    for mm in (3.0, -9.0):
        watching.level(service, pour, mm, "Ada")
    shop.feed(0.4, 60, lambda h: {"core": 24.0 + 8 * h, "surface": 23.5, "underside": 22.0, "room": 35.0})
    for at_h in (0.38, 0.39, 0.4):
        with service.store.write() as tx:
            now_ms = service.timeline.true_ms()
            forecasts.add_forecast(tx, pour, at_h, now_ms, FORECAST | {"at_h": at_h})
        shop.feed(1 / 360, 5, lambda _h: {"core": 27.0, "surface": 23.0, "underside": 22.0, "room": 35.0})
    shop.feed(0.3, 20, lambda h: {"core": 27.0 + 130 * h, "surface": 23.0, "underside": 22.0, "room": 35.0})
    return pour


def texts(shop: Any, maker: Any, pour: int) -> Iterator[tuple[str, str]]:
    """(where, what is read there) of all that this shop reads of its pour."""
    with shop.service.store.read() as connection:
        found = alarms.alarms_of(connection, pour)
        told = outbox.newest_messages(connection, 500)
    shop.service.addresses.read_from(shop.service.store)
    reader = shop.service.addresses.reader_of("json://127.0.0.1:9/")
    sent = [as_sent(row, reader) for row in told]
    for message in sent:
        yield f"message {message.title}", re.sub(r"http\S+", "", f"{message.title}\n{message.body}")
    token = next(one.body.rpartition("/a/")[2].split()[0] for one in sent if "/a/" in one.body)
    with TestClient(make_app(shop.service)) as phone:
        yield "one tap", phone.get(f"/a/{token}").text
    for path in (
        "/",
        f"/pours/{pour}",
        f"/pours/{pour}/first-hour",
        f"/pours/{pour}/record",
        "/alarms/table",
        f"/pours/{pour}/record/paper",
        *(f"/alarms/{row.id}" for row in found),
    ):
        answer = maker.get(path)
        assert answer.status_code == 200, path
        yield path, re.sub(r"<style.*?</style>|<pre.*?</pre>", "", answer.text, flags=re.S)


def test_nothing_metric_reaches_a_customary_shop(american: Any, maker: Any, trouble: int) -> None:
    """Above all not in the emergency: the message on the lock screen, the alert page, the one-tap page."""
    kinds = {row["kind"] for row in maker.get(f"/api/pours/{trouble}/alarms").json()}
    assert {
        "core-hot",
        "core-will-overheat",
        "room-hot",
        "air-damp",
        "wet-under-form",
        "spread-too-wide",
    } <= kinds
    left = [
        f"{where}: …{text[max(0, found.start() - 60) : found.end() + 20]}…"
        for where, text in texts(american, maker, trouble)
        for found in METRIC.finditer(text)
    ]
    assert not left, "\n".join(left)


def test_the_numbers_are_the_same_quantities(american: Any, maker: Any, trouble: int) -> None:
    """60 °C is 140 °F, 20 K are 36 °F (°F = 1.8 °C + 32, exact: NIST SP 811, 2008, B.8); rates go by 1.8."""
    (hot,) = [a for a in maker.get(f"/api/pours/{trouble}/alarms").json() if a["kind"] == "core-hot"]
    (apart,) = [a for a in maker.get(f"/api/pours/{trouble}/alarms").json() if a["kind"] == "spread-too-wide"]
    assert "limit of 60.0 °C" in hot["reason"], "programs read SI"
    page = maker.get(f"/alarms/{hot['id']}").text.replace("\u00a0", " ")
    assert "limit of 140.0 °F" in page
    per_hour = re.search(r"rising by ([\d.]+) °C an hour", hot["reason"])
    assert per_hour is not None
    assert f"rising by {float(per_hour[1]) * 1.8:.0f}" in re.sub(r"(rising by \d+)\.\d", r"\1", page)
    page = maker.get(f"/alarms/{apart['id']}").text.replace("\u00a0", " ")
    assert "limit 36.0 °F" in page
    assert "limit 68.0 °F" not in page, "a difference is no temperature"


def test_a_device_with_its_own_units_keeps_them(american: Any, maker: Any, trouble: int) -> None:
    """The wall screen may show °C in a shop that chose °F; messages stay the shop's."""
    maker.cookies.set("pourlog_units", "c.mm.l.kg")
    for alarm in maker.get(f"/api/pours/{trouble}/alarms").json():
        assert "°F" not in maker.get(f"/alarms/{alarm['id']}").text
    assert "°F" not in maker.get(f"/pours/{trouble}/record").text


def test_an_alarm_from_before_quantities_were_marked_still_reads_right(
    american: Any, maker: Any, trouble: int
) -> None:
    """The record keeps its old sentence; the page says it in this shop's units."""
    old = "The core reads 63.6 °C: it is over the resin's limit of 60.0 °C. It is rising by 108.0 °C an hour."
    (hot,) = [a for a in maker.get(f"/api/pours/{trouble}/alarms").json() if a["kind"] == "core-hot"]
    with american.service.store.write() as tx:
        tx.execute(update(ALARM).where(ALARM.c.id == hot["id"]).values(reason=old))
        events.add_event(tx, trouble, 0, "alarm", "the watch", old, {"alarm": hot["id"], "kind": "core-hot"})
    new = "The core reads 146.5 °F: it is over the resin&#39;s limit of 140.0 °F. It is rising by 194.4 °F an hour."
    for path in (f"/alarms/{hot['id']}", f"/pours/{trouble}", f"/pours/{trouble}/record"):
        assert new in maker.get(path).text, path
