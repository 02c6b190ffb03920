"""A message's link on a phone that is not signed in: looks do nothing, one press acknowledges, once."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, message_links, outbox
from logger.words.reader import METRIC
from logger.words.render import say
from tests.messages_as_sent import as_sent
from web.actions import pours, watching
from web.server.app import make_app
from web.service.service import Service


@pytest.fixture
def messages() -> Messages:
    """Two groups of addresses."""
    return Messages(urls=["json://first.test"], second_urls=["json://second.test"])


@pytest.fixture
def phone(service: Service, maker: Any) -> Any:
    """A browser that is not signed in, of a service that has its owner."""
    with TestClient(make_app(service)) as client:
        yield client


@pytest.fixture
def hot(shop: Any, plan_toml: str) -> Callable[[], tuple[int, str]]:
    """Makes a pour too hot; gives the alarm's id and the token in its message."""

    def make() -> tuple[int, str]:
        pour = shop.plan(plan_toml)
        shop.go(pour, Stage.READY, Stage.POURING)
        for core in (59.0, 59.5, 60.0, 60.5):
            shop.clock.move(5)
            shop.sweep(core=core, room=21.0)
        with shop.service.store.read() as connection:
            row = next(row for row in alarms.alarms_of(connection, pour) if row.kind == "core-hot")
        return row.id, token_of(shop.service, row.id)

    return make


def token_of(service: Service, alarm_id: int) -> str:
    """The token in the newest message about an alarm."""
    with service.store.read() as connection:
        body = as_sent(outbox.messages_of(connection, alarm_id)[-1]).body
    return str(body.rpartition("/a/")[2].split()[0])


def phase(service: Service, alarm_id: int) -> str:
    """Where the alarm is in its life."""
    with service.store.read() as connection:
        return str(alarms.get_alarm(connection, alarm_id).phase)


def test_one_press_acknowledges_without_a_sign_in_and_only_once(phone: Any, hot: Any, service: Any) -> None:
    """Open, press, done; the copy of the link does nothing."""
    alarm, token = hot()
    page = phone.get(f"/a/{token}")
    assert page.status_code == 200
    assert page.text.count("<button") == 1
    assert "The core is too hot" in page.text
    pressed = phone.post(f"/a/{token}")
    assert pressed.status_code == 200
    assert phase(service, alarm) == "acknowledged"
    with service.store.read() as connection:
        assert (
            say(alarms.get_alarm(connection, alarm).acknowledged_by or "", METRIC) == "The first person told"
        )
    again = phone.post(f"/a/{token}")
    assert again.status_code == 410
    assert "works once" in again.text


@pytest.mark.parametrize(("days", "old"), [(6.9, False), (7.1, True)])
def test_before_a_pour_a_test_that_was_confirmed_long_ago_is_said(
    phone: Any, maker: Any, shop: Any, service: Any, plan_toml: str, days: float, old: bool
) -> None:
    """Seven days after somebody tapped the link in a test message it is asked for again; not before."""
    pour = shop.plan(plan_toml)
    assert "Nobody has ever confirmed a test message" in maker.get(f"/pours/{pour}/ready").text
    watching.send_trial(service, "Ada")
    with service.store.read() as connection:
        body = next(
            as_sent(row).body for row in outbox.newest_messages(connection) if row.why == outbox.TRIAL
        )
    assert phone.post(f"/a/{body.rpartition('/a/')[2].split()[0]}").status_code == 200
    shop.clock.move(days * 86_400)
    page = maker.get(f"/pours/{pour}/ready").text
    assert ("was confirmed 7 days ago" in page) is old
    assert ("Send a test message now" in page) is old


def test_a_link_carries_the_name_of_those_it_was_sent_to(
    shop: Any, hot: Any, service: Any, monkeypatch: Any
) -> None:
    """Where the settings name them; the record says that it was by a link."""
    named = service.settings.model_copy(
        update={"messages": service.settings.messages.model_copy(update={"who": "Ada Lind"})}
    )
    monkeypatch.setattr(service.addresses, "settings", named.messages)
    alarm, token = hot()
    watching.tap(service, token)
    with service.store.read() as connection:
        assert say(alarms.get_alarm(connection, alarm).acknowledged_by or "", METRIC) == "Ada Lind (by link)"


def test_who_comes_late_is_told_who_has_it(phone: Any, hot: Any, service: Any) -> None:
    """Somebody else's tap or sign-in was quicker: the page says whose, and asks for nothing."""
    alarm, token = hot()
    pours.acknowledge(service, alarm, "Ada")
    opened = phone.get(f"/a/{token}")
    assert "Ada is on it" in " ".join(opened.text.replace("<strong>", "").split())
    assert "<button" not in opened.text
    with service.store.write() as tx:
        message_links.use_link(tx, _link_of(tx, alarm), service.timeline.now_ms())
    late = phone.post(f"/a/{token}")
    assert late.status_code == 410
    assert "Ada is on it" in late.text
    assert "You need not do anything" in late.text


def _link_of(tx: Any, alarm: int) -> str:
    return str(
        tx.exec_driver_sql("SELECT token FROM ack_link WHERE alarm_id = ?", (alarm,)).scalars().first()
    )


def test_nothing_but_a_post_acknowledges(phone: Any, hot: Any, service: Any) -> None:
    """Mail programs, previews and browsers fetch links by themselves."""
    alarm, token = hot()
    for method in ("GET", "HEAD", "OPTIONS", "PUT", "PATCH", "DELETE", "TRACE"):
        phone.request(method, f"/a/{token}", headers={"Purpose": "prefetch", "Sec-Purpose": "prefetch"})
        assert phase(service, alarm) == "raised", method
    assert phone.post(f"/a/{token}").status_code == 200


def test_the_page_is_small_enough_for_a_bad_connection(phone: Any, hot: Any) -> None:
    """With its style sheet at most 10 kB, no script, and nothing from elsewhere."""
    _alarm, token = hot()
    page = phone.get(f"/a/{token}")
    style = phone.get("/static/one-tap.css")
    assert len(page.content) + len(style.content) <= 10_000
    assert "<script" not in page.text
    assert page.headers["referrer-policy"] == "no-referrer", "the address holds the token"


def test_altered_and_made_up_links_are_refused(phone: Any, hot: Any, service: Any) -> None:
    """Every place of the token changed, cut and lengthened."""
    alarm, token = hot()
    dice = random.Random(1)
    tried = [token[:at] + ("A" if token[at] != "A" else "B") + token[at + 1 :] for at in range(len(token))]
    tried += [token[:-1], token + "A", token[1:], "x", "." * 40, token.replace(".", "%2e", 1) + "0"]
    tried += ["".join(dice.sample(token, len(token))) for _ in range(20)]
    for bad in tried:
        if bad != token:
            assert phone.post(f"/a/{bad}").status_code in (404, 410, 422, 429), bad
    assert phase(service, alarm) == "raised"


def test_an_expired_link_is_refused(phone: Any, hot: Any, service: Any, clock: Any) -> None:
    """A day later it is too late."""
    alarm, token = hot()
    clock.move(24 * 3600)
    assert phone.post(f"/a/{token}").status_code == 410
    assert phase(service, alarm) == "raised"


def test_a_link_of_an_earlier_alarm_does_not_acknowledge_the_next_one(
    phone: Any, hot: Any, shop: Any, service: Any
) -> None:
    """It cooled, and is hot again: what was in the first message is not what is true now."""
    alarm, token = hot()
    for _ in range(26):
        shop.clock.move(30)
        shop.sweep(core=56.0, room=21.0)
    for core in (59.0, 59.5, 60.0, 60.5):
        shop.clock.move(5)
        shop.sweep(core=core, room=21.0)
    assert phone.post(f"/a/{token}").status_code == 410
    with service.store.read() as connection:
        newest = alarms.alarms_of(connection, alarms.get_alarm(connection, alarm).pour_id)
        again = [row.id for row in newest if row.kind == "core-hot"][-1]
    assert again != alarm
    assert phase(service, again) == "raised"
    assert phone.post(f"/a/{token_of(service, again)}").status_code == 200
    assert phase(service, again) == "acknowledged"


def test_a_link_works_on_a_machine_whose_clock_jumps(phone: Any, hot: Any, service: Any, clock: Any) -> None:
    """The wall clock goes back a year between the message and the tap."""
    alarm, token = hot()
    clock.wall_ms -= 365 * 86_400_000
    assert phone.post(f"/a/{token}").status_code == 200
    assert phase(service, alarm) == "acknowledged"


def test_a_test_message_is_confirmed_with_a_tap_and_its_age_is_shown(
    maker: Any, phone: Any, service: Any, clock: Any
) -> None:
    """Sent from the page, tapped on the phone, shown on the page."""
    assert "Nobody has ever confirmed" in maker.get("/messages").text
    assert maker.post("/messages/test", follow_redirects=False).status_code == 303
    with service.store.read() as connection:
        body = as_sent(outbox.newest_messages(connection)[0]).body
    token = body.rpartition("/a/")[2].split()[0]
    assert "Test message" in phone.get(f"/a/{token}").text
    with service.store.read() as connection:
        assert message_links.last_confirmed_ms(connection) is None
    assert phone.post(f"/a/{token}").status_code == 200
    clock.move(3 * 3600)
    told = maker.get("/api/messages").json()
    assert told["confirmed_h_ago"] == 3.0
    assert "A test message was confirmed" in maker.get("/messages").text


def test_a_pour_that_is_made_ready_sends_a_test_message(service: Any, shop: Any, plan_toml: str) -> None:
    """Whoever may be called tonight confirms today that they can be."""
    pour = shop.plan(plan_toml)
    with service.store.read() as connection:
        assert outbox.last_trial_ms(connection) is None
    shop.go(pour, Stage.READY)
    with service.store.read() as connection:
        assert [row.to for row in outbox.newest_messages(connection)] == ["second", "first"]


def test_a_link_pressed_while_another_has_it_says_so_and_harms_nothing(
    phone: Any, hot: Any, service: Any
) -> None:
    """Two people press at once: the second press is used up, the name of the first stands."""
    alarm, token = hot()
    service.watch.act(alarm, "Ada", lambda book, key, now_ms: book.acknowledge(key, "Ada", now_ms))
    assert watching.look_at_link(service, token).alarm_id == alarm
    assert phone.post(f"/a/{token}").status_code == 200
    with service.store.read() as connection:
        assert say(alarms.get_alarm(connection, alarm).acknowledged_by or "", METRIC) == "Ada"


def test_an_alarm_that_has_cleared_asks_to_be_confirmed_and_nobody_is_said_to_be_on_it(
    maker: Any, phone: Any, shop: Any, hot: Callable[[], tuple[int, str]]
) -> None:
    """On its page and behind its link: nothing is to be silenced any more, and nobody need go there."""
    alarm_id, token = hot()
    for _ in range(40):
        shop.clock.move(30)
        shop.sweep(core=40.0, room=21.0)
    assert phase(shop.service, alarm_id) == "returned"
    page = maker.get(f"/alarms/{alarm_id}").text
    assert "nobody has confirmed it yet" in page
    assert "I have seen it" in page
    assert "I’m on it" not in page
    assert "Silences the buzzer" not in page
    assert "I have seen it" in phone.get(f"/a/{token}").text
    page = maker.post(f"/alarms/{alarm_id}/acknowledge").text
    assert "is on it</strong>" not in page
