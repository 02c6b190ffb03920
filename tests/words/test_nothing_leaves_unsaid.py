"""No page, no answer and no command gives a fact's own JSON, or a sentence with a place left open.

Every route that answers is asked about a shop with everything in it: a pour that is too hot, a plan, a sealed record,
a resin, links; as a person with metric units sees it, and as one who reads German, °F, inches and pounds.
"""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from fastapi.testclient import TestClient
from sqlalchemy import text as sql
from typer.testing import CliRunner

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.pour import Stage
from logger.settings import Messages
from logger.store import forecasts, resins, shared_links
from logger.words.reader import METRIC
from tests.web.test_records import FORECAST, FULL, STAGES, follow
from web.actions import pours
from web.command import app as command
from web.security.routes_table import ROUTES
from web.views.datasheet_form import FormFields, sheet_toml
from web.views.reader_units import COOKIE as UNITS
from web.views.reader_units import LANGUAGE_COOKIE

#: A datasheet (invented).
SHEET = {
    "resin": "Slow system (invented)",
    "working": "600",
    "mass": "1",
    "deepest": "50",
    "hard": "72",
    "max_core": "60",
    "ratio": "100:45",
}
#: How a fact of JSON text begins, with the quotes as they are written in HTML, JSON and CSV taken back.
FACT = re.compile(r'\{"say": ?"')
#: A place that nothing was put in.
PLACE = re.compile(r"\{[a-z_]+\}")
#: What is none of our sentences: a script, a style, and the address of a route in the API's own description.
CODE = re.compile(r"<(script|style)\b.*?</\1>|<code>.*?</code>|<pre\b.*?</pre>", re.DOTALL)
#: A stream, a library, the API's own description; and a record's files: they hold the facts themselves, as they were
#: sealed, so that they can be proven and read in any language (logger/record/SCHEMA.md).
SKIPPED = {
    "/live",
    "/api/openapi.json",
    *(f"/api/pours/{{pour_id}}/{name}" for name in ("bundle", "everything", "record", "tables/{name}")),
}


@pytest.fixture
def messages() -> Messages:
    """Somebody is called first, and somebody after them."""
    return Messages(urls=["json://first.test"], second_urls=["json://second.test"], who="Cleo")


def leaks(text: str) -> list[str]:
    """What of facts is left in a text, whoever has escaped it; programs read the fact beside an error's words."""
    if text.startswith(("{", "[")):
        with suppress(ValueError):  # no JSON after all
            text = "\n".join(strings(json.loads(text)))
    bare = html.unescape(text).replace("\\", "").replace('""', '"')
    places = PLACE.findall(CODE.sub("", bare))
    return [bare[found.start() : found.start() + 120] for found in FACT.finditer(bare)] + places


def strings(value: Any) -> Iterator[str]:
    """Every text in a JSON value, but of what holds a fact for programs."""
    if isinstance(value, str):
        yield value
    for one in value.items() if isinstance(value, dict) else ():
        if one[0] != "fact":
            yield from (one[0], *strings(one[1]))
    for each in value if isinstance(value, list) else ():
        yield from strings(each)


@pytest.fixture
def busy(shop: Any, maker: TestClient, plan_toml: str) -> dict[str, list[str]]:
    """A shop with everything in it; the values that a route's path can have."""
    service = shop.service
    sealed = int(shop.plan(FULL))
    pours.note(
        service,
        sealed,
        "too damp to wait",
        "Ben",
        "override",
        {"point": "air", "person": "Ben"} | {"reason": "x"},
    )
    shop.go(sealed, *STAGES)
    shop.humidity_pct = 47.5
    shop.feed(1.0, 300, follow(FULL))
    forecast = FORECAST | {"crosses_limit_at_h": None, "release_at_h": None}
    with service.store.write() as tx:
        forecasts.add_forecast(tx, sealed, 1.0, service.timeline.true_ms(), forecast)
    shop.go(sealed, Stage.RELEASED)
    told = {
        "state": "flawed",
        "defect": ["crack"],
        "where-crack": "left edge",
        "hours": "3.5",
        "text": "a hair crack",
    }
    assert maker.post(f"/pours/{sealed}/record/outcome", data=told, follow_redirects=False).status_code == 303
    shop.go(sealed, Stage.CLOSED)
    sheet = sheet_toml(FormFields(SHEET, METRIC))
    fitted = fit_datasheet(datasheet_from_text(sheet))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("web.actions.resins.fit_datasheet", lambda _sheet: fitted)
        assert maker.post("/resins", data=SHEET).status_code == 200
    planned = int(shop.plan(plan_toml.replace("depth_mm = 40", "depth_mm = 90")))
    hot = int(shop.plan(plan_toml + '[mix]\nratio_parts = [2, 1]\nratio_by = "weight"\n'))
    shop.go(hot, Stage.READY, Stage.POURING, Stage.WATCHED)
    assert maker.post(f"/pours/{hot}/mix", data={"part_a": "2000", "part_b": "700"}).status_code == 200
    assert maker.post(f"/pours/{hot}/measured", data={"poured": "12", "level": "0"}).status_code == 200
    assert (
        maker.post(f"/pours/{hot}/looks", data={"finding": "leaking", "text": "at the end"}).status_code
        == 200
    )
    shop.feed(0.2, 30, lambda h: {"core": 42.0 + 130 * h, "surface": "open-wire", "room": 21.0})
    shop.send()
    alarms = [row["id"] for row in maker.get("/api/alarms").json()]
    assert alarms
    maker.post(f"/api/alarms/{alarms[0]}/acknowledge", json={})
    with service.store.write() as tx:
        now_ms = service.timeline.now_ms()
        links = [shared_links.share(tx, None, "the calendar", "Ada", now_ms)[1]]
        links += [shared_links.share(tx, sealed, "the client", "Ada", now_ms)[1]]
        bodies = tx.execute(sql("SELECT body FROM outbox")).scalars().all()
    tokens = re.findall(r"/(?:a|look)/([\w.~-]+)", " ".join(bodies))
    return {
        "pour_id": [str(pour) for pour in (hot, planned, sealed)],
        "alarm_id": [str(alarm) for alarm in alarms],
        "key": [resins.resin_key(SHEET["resin"])],
        "name": ["bench-1", "readings", "events", "alarms", "forecasts", "plan-file", "commands"],
        "rom": list(shop.PROBES.values()),
        "token": [*links, *tokens],
        "person_id": ["1"],
    }


def addresses(path: str, values: dict[str, list[str]]) -> Iterator[str]:
    """Every address that a route's path can have."""
    place = re.search(r"\{(\w+)(?::\w+)?\}", path)
    if place is None:
        yield path
        return
    for value in values.get(place[1], []):
        yield from addresses(path.replace(place[0], value), values)


def asked(client: TestClient, values: dict[str, list[str]]) -> Iterator[tuple[str, str]]:
    """Address and text of everything that answers."""
    for route in ROUTES:
        if route.method != "GET" or route.path in SKIPPED:
            continue
        more = [f"{route.path}?to={step}" for step in ("curing", "released", "spoiled")]
        for path in more if route.path.endswith("/step") else [route.path]:
            for address in addresses(path, values):
                answer = client.get(address, headers={"accept": "text/html, application/json"})
                if answer.status_code < 500 and answer.headers.get("content-type", "").startswith(
                    ("text/", "application/json")
                ):
                    yield address, answer.text


READERS = {"metric": {}, "us": {UNITS: "f.in.gal.lb", LANGUAGE_COOKIE: "de"}}


@pytest.mark.parametrize("reader", READERS)
def test_no_route_leaves_a_fact_unsaid(maker: TestClient, busy: dict[str, list[str]], reader: str) -> None:
    """Neither a page nor an answer."""
    maker.cookies.update(READERS[reader])
    seen, found = 0, []
    for address, text in asked(maker, busy):
        seen += 1
        found += [f"{address}: {leak}" for leak in leaks(text)]
    assert seen > 80
    assert found == []


#: A folder or a file of the program, or a source that somebody recalled.
OF_PROGRAM = re.compile(
    r"\b(?:logger|web|hardware|tests|systemd)/\w+|\b\w+\.(?:py|js|css|html|toml)\b|from memory|second hand"
)
TAG = re.compile(r"<[^>]*>")


def named(text: str) -> list[str]:
    """What a page shows of the program itself, outside of what is to be typed."""
    body = CODE.sub("", text).partition("<main")[2]
    return OF_PROGRAM.findall(html.unescape(TAG.sub(" ", body)))


def test_no_page_names_a_file_of_the_program_or_a_source_from_memory(
    maker: TestClient, busy: dict[str, list[str]]
) -> None:
    """A maker cannot look into the program; the help on its files may name them."""
    pages = [
        (address, text)
        for address, text in asked(maker, busy)
        if text.startswith("<!doctype html>") and not address.startswith("/help/")
    ]
    assert len(pages) > 30
    assert [(address, found) for address, text in pages if (found := named(text))] == []


def test_an_empty_shop_says_its_first_steps(maker: TestClient, stranger: TestClient) -> None:
    """What comes next on the way to the first pour, on every page that needs no number in its address."""
    found = [f"{address}: {leak}" for address, text in asked(maker, {}) for leak in leaks(text)]
    stranger.cookies.clear()
    found += [f"{address}: {leak}" for address, text in asked(stranger, {}) for leak in leaks(text)]
    assert found == []


@pytest.fixture
def files(shop: Any, plan_toml: str, tmp_path: Path) -> dict[str, str]:
    """A plan, readings, and the settings of a service with a sealed pour and one that is too hot."""
    sealed = int(shop.plan(plan_toml))
    shop.go(sealed, *STAGES)
    shop.feed(0.5, 300, lambda h: {"core": 21.0 + h, "room": 20.0})
    shop.go(sealed, Stage.RELEASED, Stage.CLOSED)
    shop.go(int(shop.plan(plan_toml)), Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.2, 60, lambda h: {"core": 42.0 + 130 * h, "room": 21.0})
    rows = [f"{60 * n},core,{21 + n}\n{60 * n},room,21\n" for n in range(60)]
    given = {
        "plan": plan_toml,
        "readings": "elapsed_s,place,celsius\n" + "".join(rows),
        "settings": tomli_w.dumps({"data_dir": shop.service.settings.data_dir}),
    }
    for name, text in given.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return {name: str(tmp_path / name) for name in given} | {"folder": str(tmp_path), "pour": str(sealed)}


#: What is run, with the names of files in braces.
COMMANDS = (
    "predict {plan}",
    "plan {plan}",
    "replay {plan} {readings} --no-live-forecasts --forecast-at 0.5",
    "pours {settings}",
    "verify {pour} --settings {settings}",
    "export {pour} {folder}/record.zip --settings {settings}",
    "export {pour} {folder}/alarms.csv --table alarms --settings {settings}",
    "verify {folder}/record.zip",
    "backup {settings} {folder}/backups",
    "check --settings {settings}",
    "self-test --settings {settings}",
)


@pytest.mark.parametrize("more", ["", " --json"], ids=["words", "json"])
def test_no_command_leaves_a_fact_unsaid(files: dict[str, str], more: str, tmp_path: Path) -> None:
    """In words, and as JSON."""
    found = []
    for line in COMMANDS:
        done = CliRunner().invoke(command, (line + more).format(**files).split())
        assert done.exception is None or isinstance(done.exception, SystemExit), (line, done.exception)
        assert done.exit_code in (0, 1), (line, done.output)
        assert done.output.strip(), line
        found += [f"{line}: {leak}" for leak in leaks(done.output)]
    assert found == []
