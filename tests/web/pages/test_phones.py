"""Phones are set up on a page: a test goes out at once to a real server on loopback, and the person confirms it."""

from __future__ import annotations

import base64
import json
import logging
import re
from collections.abc import Iterator
from gettext import NullTranslations
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from phone_receivers import MailServer, WebServer, certificate, free_port, mail_server, web_server

from logger.alarms.notify_policy import Rules
from logger.delivery.sender import Sender
from logger.diagnosis import look
from logger.pour import Stage
from logger.settings import Messages
from logger.store import channels, people
from logger.store.people import Role
from logger.words.catalogues import Words
from web.actions import watching
from web.security.access import COOKIE


@pytest.fixture
def mail() -> Iterator[MailServer]:
    """A mail server."""
    with mail_server() as made:
        yield made


@pytest.fixture
def web() -> Iterator[WebServer]:
    """An HTTP server."""
    with web_server() as made:
        yield made


@pytest.fixture
def messages() -> Messages:
    """Nobody in the settings file; servers that do not answer cost a test little."""
    return Messages(timeout_s=0.5)


def mail_form(mail: MailServer, **other: str) -> dict[str, str]:
    """What somebody types for a mail."""
    return {
        "kind": "mail",
        "to": "ada@shop.test",
        "server": "127.0.0.1",
        "port": str(mail.port),
        "user": mail.user,
        "password": mail.password,
        "encryption": "none",
        "turn": "first",
    } | other


def hook_form(web: WebServer, **other: str) -> dict[str, str]:
    """What somebody types for a web hook."""
    return {"kind": "hook", "address": f"http://127.0.0.1:{web.port}/hooks/x?key=k1", "turn": "first"} | other


def said(answer: Any) -> str:
    """What a page says, without its marks."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", answer.text)).split())


def rows(service: Any, name: str = "Ada") -> list[Any]:
    """Somebody's ways."""
    with service.store.read() as connection:
        return channels.of_person(connection, people.person_by_name(connection, name).id)


def test_a_mail_is_set_up_tried_and_confirmed_by_its_link(
    service: Any, maker: TestClient, mail: MailServer
) -> None:
    """Fields, one press, the link in the mail, one press: from then on alarms go there."""
    assert "No phone is set up" in said(maker.get("/"))
    page = maker.post("/phone", data=mail_form(mail))
    assert "Has it arrived on the phone?" in said(page)
    ((to, title, text),) = mail.mails
    assert (to, title) == ("ada@shop.test", "Test message: please confirm")
    service.addresses.read_from(service.store)
    assert service.addresses.groups() == {}, "nobody has confirmed it"
    path = re.search(r"http://\S+(/a/\S+)", text)[1]  # type: ignore[index]
    opened = maker.get(path)
    service.addresses.read_from(service.store)
    assert service.addresses.groups() == {}, "a mail program that opens links confirms nothing"
    assert opened.status_code == 200
    maker.post(path)
    assert list(service.addresses.groups()) == ["first"]
    assert "Alarms reach you" in said(maker.get("/phone"))
    assert "No phone is set up" not in said(maker.get("/"))


class Quoted(NullTranslations):
    """A language that quotes every text."""

    def gettext(self, message: str) -> str:
        """In quotation marks."""
        return f"»{message}«"


def test_a_test_comes_in_the_language_of_whoever_it_is_for(
    service: Any, maker: TestClient, mail: MailServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not in that of whoever sets it up, nor in English."""
    english, quoted = Words(NullTranslations()), Words(Quoted())
    monkeypatch.setattr(
        "logger.words.catalogues.of", lambda language: quoted if language == "de" else english
    )
    with service.store.write() as tx:
        people.choose_reading(tx, people.person_by_name(tx, "Ada").id, None, "de")
    maker.post("/phone", data=mail_form(mail))
    ((_to, title, text),) = mail.mails
    assert title == "»Test message: please confirm«"
    assert text.startswith("»This is a test")


def test_an_alarm_goes_to_a_phone_that_was_set_up_on_the_page(
    service: Any, shop: Any, plan_toml: str, maker: TestClient, web: WebServer
) -> None:
    """No restart and no file between the two; the watch writes it, the sender carries it."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    maker.post("/phone", data=hook_form(web))
    maker.post(f"/phone/channels/{rows(service)[0].id}/arrived")
    assert service.watch._rules == Rules(first=1)
    shop.feed(0.02, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    shop.send()
    path, _headers, _body = web.taken[-1]
    assert path == "/hooks/x?key=k1"
    assert web.titles()[1:] == ["URGENT: The core is too hot - River table for a fictional client"]


def test_the_signing_point_of_calls_is_open_until_a_phone_is_confirmed(
    service: Any, shop: Any, plan_toml: str, maker: TestClient, web: WebServer
) -> None:
    """With a link to the page; then nothing of it is unknown."""
    shop.sweep(core=21.0, surface=21.0, underside=21.0, room=21.0)
    pour = shop.plan(plan_toml)

    def unknown() -> str:
        (point,) = [p for p in maker.get(f"/api/pours/{pour}/ready").json()["points"] if p["id"] == "watch"]
        return " ".join(point["unknown"])

    assert "No phone is set up: nobody is called" in unknown()
    assert '<a href="/phone">Set up my phone</a>' in maker.get(f"/pours/{pour}/ready").text
    maker.post("/phone", data=hook_form(web))
    assert "No phone is set up" in unknown()
    maker.post(f"/phone/channels/{rows(service)[0].id}/arrived")
    assert "phone" not in unknown()


def test_it_arrived_can_be_said_on_the_page_only_once_a_test_is_out(
    service: Any, maker: TestClient, web: WebServer
) -> None:
    """A server that refuses leaves nothing to confirm."""
    web.status = 401
    page = maker.post("/phone", data=hook_form(web))
    assert "Sign-in refused (the server answered 401)" in said(page)
    way = rows(service)[0]
    assert maker.post(f"/phone/channels/{way.id}/arrived").status_code == 409
    assert service.addresses.groups() == {}
    web.status = 200
    maker.post(f"/phone/channels/{way.id}/test")
    maker.post(f"/phone/channels/{way.id}/arrived")
    assert list(service.addresses.groups()) == ["first"]


def test_a_wrong_entry_says_what_is_wrong(maker: TestClient, mail: MailServer, web: WebServer) -> None:
    """In plain words, by what the server itself says, step by step."""
    nobody = free_port()
    mail.refused = {"ben@shop.test"}
    wrong = {
        "Sign-in refused by the mail server": mail_form(mail, password="guess"),
        "refuses mail to ben@shop.test (550)": mail_form(mail, to="ben@shop.test"),
        "offers no encryption": mail_form(mail, encryption="starttls"),
        "nothing answers at port": mail_form(mail, port=str(nobody)),
        "No machine called “smtp.nowhere.invalid” is known": mail_form(mail, server="smtp.nowhere.invalid"),
        "is not a mail address": mail_form(mail, to="ada"),
        "is not a port": mail_form(mail, port="smtp"),
        "has no kind of service in front": {"kind": "other", "url": "ada at home"},
        "not a channel that the message library knows": {"kind": "other", "url": "jsno://shop.test/x"},
        "stays on this machine": {"kind": "other", "url": "syslog://"},
        "names a file of this machine (template)": {
            "kind": "other",
            "url": "json://shop.test/x?template=/etc/pourlog/service.toml",
        },
        "does not speak HTTPS at that port": hook_form(web, address=f"https://127.0.0.1:{web.port}/x"),
    }
    for words, form in wrong.items():
        page = maker.post("/phone", data={"turn": "first"} | form)
        assert words in said(page), said(page)


@pytest.mark.parametrize("encryption", ["starttls", "tls"])
def test_mail_goes_encrypted_to_a_server_whose_certificate_is_trusted(
    maker: TestClient, tmp_path: Path, monkeypatch: Any, encryption: str
) -> None:
    """And to no other: then its certificate is what is wrong."""
    files = certificate(tmp_path)
    with mail_server(encryption, files) as mail:
        page = maker.post("/phone", data=mail_form(mail, encryption=encryption))
        assert "The certificate of 127.0.0.1 is not trusted here" in said(page)
        assert mail.mails == []
        monkeypatch.setenv("SSL_CERT_FILE", str(files[0]))
        page = maker.post("/phone", data=mail_form(mail, encryption=encryption, to="ben@shop.test"))
        assert "Has it arrived on the phone?" in said(page), said(page)
        assert [to for to, _title, _text in mail.mails] == ["ben@shop.test"]


def test_a_push_servers_own_way_of_asking_is_spoken(maker: TestClient, web: WebServer) -> None:
    """By a topic, with a token or a name; and by a token, below a path: as their servers' interfaces are documented."""
    server = f"http://127.0.0.1:{web.port}"
    by_topic = {"kind": "topic", "turn": "first", "server": server, "topic": "shop-17"}
    maker.post("/phone", data=by_topic | {"token": "tk_0123456789abcdef0123456789abc"})
    maker.post("/phone", data=by_topic | {"user": "ada", "password": "p/w"})
    maker.post("/phone", data={"kind": "token", "turn": "first", "server": f"{server}/in", "token": "A" * 15})
    (_path, first, body), (_path, second, _body), (path, third, _body) = web.taken
    assert json.loads(body)["topic"] == "shop-17"
    assert json.loads(body)["title"] == "Test message: please confirm"
    assert first["authorization"] == "Bearer tk_0123456789abcdef0123456789abc"
    assert second["authorization"] == "Basic " + base64.b64encode(b"ada:p/w").decode()
    assert (path, third["x-gotify-key"]) == ("/in/message", "A" * 15)


def test_a_secret_is_never_shown_again_and_stays_when_left_empty(
    service: Any, maker: TestClient, mail: MailServer, caplog: Any
) -> None:
    """One field is corrected without typing the password again; no page, event or log has it."""
    caplog.set_level(logging.DEBUG)
    maker.post("/phone", data=mail_form(mail, server="smtp.nowhere.invalid"))
    way = rows(service)[0]
    form = maker.get(f"/phone?change={way.id}")
    assert 'value="ada@shop.test"' in form.text
    assert "as it was" in form.text
    maker.post("/phone", data=mail_form(mail, password="", change=str(way.id)))
    assert len(mail.mails) == 1
    assert [row.id for row in rows(service)] == [way.id], "corrected, not added"
    seen = [
        maker.get(path).text
        for path in ("/phone", f"/phone?change={way.id}", "/messages", "/people", "/api/messages")
    ]
    with service.store.read() as connection:
        events = str(connection.exec_driver_sql("SELECT * FROM event").all())
    for text in (*seen, events, caplog.text, repr(rows(service))):
        assert mail.password not in unescape(text)


def test_a_changed_way_is_called_only_once_it_is_confirmed(
    service: Any, maker: TestClient, web: WebServer
) -> None:
    """Until then the old one is: nobody is out of reach in between."""
    maker.post("/phone", data=hook_form(web))
    old = rows(service)[0]
    maker.post(f"/phone/channels/{old.id}/arrived")
    maker.post("/phone", data=hook_form(web, address=f"http://127.0.0.1:{web.port}/new", change=str(old.id)))
    assert service.addresses.every() == [old.url]
    new = rows(service)[1]
    maker.post(f"/phone/channels/{new.id}/arrived")
    assert service.addresses.every() == [new.url]
    assert [row.id for row in rows(service)] == [new.id]


def test_what_is_removed_is_forgotten(service: Any, maker: TestClient, web: WebServer) -> None:
    """Its address goes from the database, and no alarm goes there."""
    maker.post("/phone", data=hook_form(web))
    way = rows(service)[0]
    maker.post(f"/phone/channels/{way.id}/arrived")
    maker.post(f"/phone/channels/{way.id}/remove")
    assert service.addresses.groups() == {}
    with service.store.read() as connection:
        assert "key=k1" not in str(connection.exec_driver_sql("SELECT * FROM person_channel").all())
    assert "No phone is set up" in said(maker.get("/phone"))


def test_only_an_owner_or_the_person_changes_a_phone(
    service: Any, stranger: TestClient, web: WebServer
) -> None:
    """Nor is a viewer called: a message's link answers the alarm. Who leaves is called no more."""
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        ids = {
            role: people.add_person(tx, role.title(), Role(role), "x", now_ms)
            for role in ("owner", "maker", "viewer")
        }
        tokens = {role: people.start_sign_in(tx, number, now_ms, "test") for role, number in ids.items()}

    def as_role(role: str) -> TestClient:
        stranger.cookies.clear()
        stranger.cookies.set(COOKIE, tokens[role])
        return stranger

    as_role("owner").post("/phone", data=hook_form(web))
    (owners,) = rows(service, "Owner")
    assert as_role("maker").post(f"/phone/channels/{owners.id}/remove").status_code == 403
    assert as_role("maker").get(f"/people/{ids['owner']}/phone").status_code == 403
    assert as_role("maker").post("/phone", data=hook_form(web, change=str(owners.id))).status_code == 403
    assert as_role("viewer").post("/phone", data=hook_form(web)).status_code == 403
    assert "is not called" in said(
        as_role("owner").post(f"/people/{ids['viewer']}/phone", data=hook_form(web))
    )
    as_role("owner").post(f"/people/{ids['maker']}/phone", data=hook_form(web, turn="second"))
    (makers,) = rows(service, "Maker")
    as_role("owner").post(f"/phone/channels/{makers.id}/arrived")
    assert list(service.addresses.groups()) == ["second"]
    as_role("owner").post(f"/people/{ids['maker']}/role", data={"role": "viewer"})
    service.addresses.read_from(service.store)
    assert service.addresses.groups() == {}


def test_a_code_sets_up_the_phone_that_opens_it_once(
    service: Any, maker: TestClient, web: WebServer, clock: Any
) -> None:
    """Opening does nothing; a refused entry leaves it open; what a server has taken uses it up; it runs out."""
    page = maker.post("/phone/code")
    path = re.search(r"http://testserver(/to-phone/[^<\s\"]+)", page.text)[1]  # type: ignore[index]
    maker.cookies.clear()
    assert "Messages for Ada" in said(maker.get(path))
    assert "Address" in said(maker.get(f"{path}?kind=hook"))
    web.status = 500
    assert "fault of its own" in said(maker.post(path, data=hook_form(web)))
    web.status = 200
    done = maker.post(path, data=hook_form(web, change=str(rows(service)[0].id)))
    confirm = re.search(r'action="(/a/[^"]+)"', done.text)[1]  # type: ignore[index]
    assert maker.get(path).status_code == 410
    assert (
        maker.post(path, data=hook_form(web, address=f"http://127.0.0.1:{web.port}/evil")).status_code == 410
    )
    maker.post(confirm)
    assert len(service.addresses.every()) == 1


def test_a_code_runs_out(service: Any, maker: TestClient, clock: Any) -> None:
    """After a quarter of an hour it opens nothing."""
    page = maker.post("/phone/code")
    path = re.search(r"http://testserver(/to-phone/[^<\s\"]+)", page.text)[1]  # type: ignore[index]
    clock.move(16 * 60)
    answer = maker.get(path)
    assert (answer.status_code, "it held for 15 min" in said(answer)) == (410, True)


def test_every_service_of_the_library_has_its_fields(maker: TestClient) -> None:
    """Built from the library's own list: what one asks for is there, its secrets hidden."""
    page = maker.get("/phone?kind=service")
    names = re.findall(r'<option value="(service-[^"]+)"', page.text)
    assert len(names) > 100
    assert "service-syslog" not in names
    for name in names[::20]:
        form = maker.get(f"/phone?kind={name}")
        assert form.status_code == 200
        assert "Save and send a test" in form.text


def test_the_check_of_the_machine_counts_phones_that_were_set_up_on_a_page(
    service: Any, maker: TestClient, web: WebServer
) -> None:
    """With no address in the settings file it still says who is called, and nothing of their secrets."""
    assert look._messages(service.settings, None, send=False).channels == ()
    maker.post("/phone", data=hook_form(web, turn="second"))
    maker.post(f"/phone/channels/{rows(service)[0].id}/arrived")
    seen = look._messages(service.settings, None, send=True)
    assert ([(one.shown, one.problem) for one in seen.channels], seen.second) == (
        [("json://127.0.0.1", None)],
        True,
    )
    assert len(web.taken) == 2


def test_a_phone_is_told_when_it_is_taken_off_or_replaced(
    service: Any, maker: TestClient, web: WebServer
) -> None:
    """A sign-in that somebody else holds silences nobody unnoticed."""
    maker.post("/phone", data=hook_form(web))
    maker.post(f"/phone/channels/{rows(service)[0].id}/remove")
    assert web.titles() == ["Test message: please confirm"], "it was never called"
    maker.post("/phone", data=hook_form(web))
    old = rows(service)[0]
    maker.post(f"/phone/channels/{old.id}/arrived")
    web.taken.clear()
    maker.post("/phone", data=hook_form(web, address=f"http://127.0.0.1:{web.port}/new", change=str(old.id)))
    new = rows(service)[1]
    maker.post(f"/phone/channels/{new.id}/arrived")
    maker.post(f"/phone/channels/{new.id}/remove")
    assert [(path.partition("?")[0], json.loads(body)["title"]) for path, _headers, body in web.taken] == [
        ("/new", "Test message: please confirm"),
        ("/hooks/x", "Alarms no longer come here"),
        ("/new", "Alarms no longer come here"),
    ]


def test_a_phone_that_nothing_reaches_any_more_is_said_on_its_page(
    service: Any, maker: TestClient, web: WebServer, clock: Any
) -> None:
    """Not calm because it was confirmed once."""
    maker.post("/phone", data=hook_form(web))
    maker.post(f"/phone/channels/{rows(service)[0].id}/arrived")
    web.status = 401
    service.sender = Sender(
        service.store,
        service.timeline,
        service.settings.messages,
        service.message_channels(),
        addresses=service.addresses,
    )
    watching.send_trial(service, "Ada")
    for _ in range(4):
        service.sender.send_due()
        clock.move(400)
    page = said(maker.get("/phone"))
    assert "Nothing gets through to you now." in page
    assert "did not take the message (it answered 401)" in page
    assert "Alarms reach you" not in page


def test_on_the_board_a_pour_in_danger_stands_above_the_word_that_nobody_is_called(
    shop: Any, plan_toml: str, maker: TestClient
) -> None:
    """While all is calm that word leads."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    calm = {"core": 21.0, "surface": 21.0, "underside": 21.0, "room": 21.0}
    shop.feed(0.02, 5, lambda _h: calm)
    page = maker.get("/").text
    assert page.index('id="nobody-reached"') < page.index(f'id="tile-{pour}"')
    shop.feed(0.02, 5, lambda _h: calm | {"core": 66.5})
    page = maker.get("/").text
    assert page.index(f'id="tile-{pour}"') < page.index('id="nobody-reached"')
    assert page.count('id="nobody-reached"') == 1
