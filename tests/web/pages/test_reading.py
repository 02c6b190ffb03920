"""Who reads what: the workshop's, a person's and a device's units and language, before sign-in and on copies."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.store import people
from logger.store.shop_events import Reading, reading_of
from tests.web.page_text import words
from web.security.access import COOKIE
from web.security.setup_code import new_setup_code
from web.server.app import make_app
from web.views.reader_units import wished_language, wished_units

AMERICAN = {"temperature": "f", "length": "in", "volume": "gal", "mass": "lb"}
METRIC = {"temperature": "c", "length": "mm", "volume": "l", "mass": "kg"}


@pytest.fixture(name="device")
def _device(service: Any) -> Callable[[str, people.Role], TestClient]:
    """Signs somebody in on one more device."""
    ids: dict[str, int] = {}
    app = make_app(service)

    def signed_in(name: str, role: people.Role = people.Role.MAKER) -> TestClient:
        now_ms = service.timeline.now_ms()
        with service.store.write() as tx:
            if name not in ids:
                ids[name] = people.add_person(tx, name, role, "not a hash", now_ms)
            token = people.start_sign_in(tx, ids[name], now_ms, "test")
        client = TestClient(app)
        client.cookies.set(COOKIE, token)
        return client

    return signed_in


def unit_of_depth(client: TestClient) -> str:
    """In which unit this device asks for a depth."""
    found = re.search(r"Depth \((\w+)\)", client.get("/pours/new").text)
    assert found is not None
    return found[1]


def test_a_choice_goes_with_its_person_to_every_device(device: Any) -> None:
    """What Ben chose on the phone holds on the desktop; Ada's is her own."""
    ada, phone, desktop = device("Ada", people.Role.OWNER), device("Ben"), device("Ben")
    assert unit_of_depth(desktop) == "mm"
    assert phone.post("/settings/reading", data=AMERICAN).status_code == 200
    assert [unit_of_depth(client) for client in (phone, desktop, ada)] == ["in", "in", "mm"]
    # The bench's tablet alone may differ, until Ben chooses there for all of his devices.
    desktop.post("/settings/units", data=METRIC)
    assert [unit_of_depth(client) for client in (phone, desktop)] == ["in", "mm"]
    assert "This device has a choice of its own." in words(desktop.get("/settings"))
    desktop.post("/settings/reading", data=AMERICAN)
    assert unit_of_depth(desktop) == "in"


def test_whoever_has_chosen_nothing_reads_as_the_workshop_does(device: Any, service: Any) -> None:
    """The owner changes it for everybody; a maker may not. "As the workshop reads" gives one's own choice up."""
    ada, ben = device("Ada", people.Role.OWNER), device("Ben")
    unit_of_depth(ben)
    assert ben.post("/settings/workshop", data=AMERICAN).status_code == 403
    ben.post("/settings/reading", data=METRIC)
    assert ada.post("/settings/workshop", data=AMERICAN | {"language": "en"}).status_code == 200
    assert (unit_of_depth(ada), unit_of_depth(ben)) == ("in", "mm")
    ben.post("/settings/reading", data=METRIC | {"as_workshop": "yes"})
    assert unit_of_depth(ben) == "in"
    with service.store.read() as connection:
        assert reading_of(connection) == Reading("f.in.gal.lb", "en")


def test_a_language_that_we_do_not_have_is_refused(device: Any) -> None:
    """Nothing is kept of it."""
    _, ben = device("Ada", people.Role.OWNER), device("Ben")
    assert ben.post("/settings/reading", data=METRIC | {"language": "xx"}).status_code == 422
    assert 'value="en" lang="en" selected' in ben.get("/settings").text


def test_a_language_is_the_persons_the_workshops_or_the_browsers(device: Any) -> None:
    """In this order, once somebody is signed in; a decimal comma shows it."""
    ada, ben = device("Ada", people.Role.OWNER), device("Ben")
    ben.headers["accept-language"] = "fr-CA,fr;q=0.9,en;q=0.5"
    assert 'value="fr" lang="fr" selected' in ben.get("/settings").text
    ada.post("/settings/workshop", data=METRIC | {"language": "de"})
    assert 'value="de" lang="de" selected' in ben.get("/settings").text
    ben.post("/settings/reading", data=METRIC | {"language": "es"})
    assert 'value="es" lang="es" selected' in ben.get("/settings").text
    # An address may ask for another, for a copy.
    assert 'value="de" lang="de" selected' in ben.get("/settings?language=de").text


def test_the_first_set_up_asks_for_what_the_browser_wishes(service: Any, stranger: Any) -> None:
    """An American browser is offered inches; what is chosen is the workshop's."""
    stranger.headers["accept-language"] = "es-US,es;q=0.8"
    page = stranger.get("/set-up").text
    assert 'value="f" checked' in page
    assert 'value="es" lang="es" selected' in page
    asked = {
        "code": new_setup_code(service),
        "name": "Ada",
        "password": "three plain words",
        "language": "es",
    }
    assert stranger.post("/set-up", data=asked | AMERICAN).status_code == 200
    with service.store.read() as connection:
        assert reading_of(connection) == Reading("f.in.gal.lb", "es")


@pytest.mark.parametrize(
    ("wish", "language", "units"),
    [
        # RFC 9110, section 12.5.4: weights, and an order of no meaning.
        ("de-AT,de;q=0.9", "de", "c.mm.l.kg"),
        ("fr;q=0.3, en-US;q=0.8", "en", "c.mm.l.kg"),
        ("en-US,en;q=0.5", "en", "f.in.gal.lb"),
        ("pt-BR", None, "c.mm.l.kg"),
        ("de;q=0, es", "es", "c.mm.l.kg"),
        ("de;q=x, es;q=0.1", "es", "c.mm.l.kg"),
        ("", None, "c.mm.l.kg"),
    ],
)
def test_a_browsers_wish_is_understood(wish: str, language: str | None, units: str) -> None:
    """What makes no sense is no wish."""
    from starlette.requests import Request

    request = Request({"type": "http", "headers": [(b"accept-language", wish.encode())]})
    assert wished_language(request) == language
    assert wished_units(request) == units


def test_a_link_brings_its_reader_the_units_and_language_that_it_was_made_with(
    device: Any, service: Any, shop: Any, plan_toml: str
) -> None:
    """A client abroad opens the record in inches, and every page of it after that."""
    pour = shop.plan(plan_toml)
    ada = device("Ada", people.Role.OWNER)
    made = words(
        ada.post("/links", data={"label": "Client", "pour": str(pour), "units": "us", "language": "de"})
    )
    address = re.search(r"/shared/[\w-]+\?units=us&(?:amp;)?language=de", made)
    assert address is not None
    client = TestClient(make_app(service))
    page = client.get(address[0].replace("&amp;", "&")).text.replace("\u00a0", " ")
    assert client.cookies["pourlog_language"] == "de"
    assert re.search(r"<dd>\d[\d /]* in</dd>", page), page
    # A maker's own copy: the address alone says so.
    here = ada.get(f"/pours/{pour}/record?units=us").text.replace("\u00a0", " ")
    assert re.search(r"<dd>\d[\d /]* in</dd>", here)
