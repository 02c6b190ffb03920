"""Reminders before a look is due, answered without signing in; a look answers its own alarm; a late one is taken."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.alarms.first_hour import Reminding, Rhythm, remind_at_ms
from logger.pour import Stage
from logger.settings import Messages
from logger.store import events, outbox
from logger.words.reader import METRIC
from logger.words.render import say
from tests.messages_as_sent import as_sent
from web.server.app import make_app


@pytest.fixture
def messages() -> Messages:
    """One address, of somebody with a name."""
    return Messages(urls=["json://first.test"], who="Cleo")


@pytest.fixture
def phone(service: Any, maker: Any) -> Any:
    """A browser that is not signed in, of a service that has its owner."""
    with TestClient(make_app(service)) as client:
        yield client


@pytest.fixture
def pour(maker: Any, shop: Any, plan_toml: str) -> int:
    """A pour whose first hour has begun; its first look is due after five minutes."""
    made = int(shop.plan(plan_toml))
    shop.go(made, Stage.READY, Stage.POURING, Stage.WATCHED)
    return made


def wait(shop: Any, minutes: float) -> None:
    """Minutes in which nothing happens, read every quarter of a minute."""
    shop.feed(minutes / 60, 15, lambda _h: {"core": 22.0, "room": 21.0})


def reminders(shop: Any) -> list[Any]:
    """The reminders that went out, oldest first."""
    with shop.service.store.read() as connection:
        rows = [row for row in outbox.newest_messages(connection, 200) if row.why == "look-asked"]
    return rows[::-1]


def link(row: Any) -> str:
    """The link in a message, as a path."""
    return "/look/" + str(as_sent(row).body.rpartition("/look/")[2].split()[0])


def of_kind(shop: Any, pour: int, kind: str) -> list[Any]:
    """A pour's events of one kind."""
    with shop.service.store.read() as connection:
        return events.of_kind(connection, pour, kind)


def alarms(maker: Any) -> dict[str, str]:
    """Open alarms: kind → phase."""
    return {alarm["kind"]: alarm["phase"] for alarm in maker.get("/api/alarms").json()}


def test_a_quiet_message_comes_before_a_look_is_due_and_dry_answers_it_without_signing_in(
    maker: Any, shop: Any, pour: int, phone: Any
) -> None:
    """Once for each look, two minutes before; no alarm comes when it is answered; opening it does nothing."""
    wait(shop, 2.5)
    assert reminders(shop) == []
    wait(shop, 1)
    (row,) = reminders(shop)
    assert as_sent(row).title.startswith("Check the form in 2 min - ")
    assert row.alarm_id is None, "its own kind of message, no alarm"
    page = phone.get(link(row))
    assert page.status_code == 200
    assert [f'value="{answer}"' in page.text for answer in ("dry", "wet", "later")] == [True] * 3
    assert of_kind(shop, pour, "look") == []
    assert phone.get(link(row).replace("/look/", "/a/")).status_code == 410, "its purpose is its own"
    assert phone.post(link(row), data={"answer": "dry"}).status_code == 200
    (look,) = of_kind(shop, pour, "look")
    assert (say(look.by, METRIC), look.data["finding"]) == ("Cleo (by link)", "dry")
    assert phone.post(link(row), data={"answer": "dry"}).status_code == 410, "it works once"
    wait(shop, 4)
    assert "look-due" not in alarms(maker)
    assert len(of_kind(shop, pour, "look")) == 1
    wait(shop, 1)
    assert len(reminders(shop)) == 2, "for the look after it"


def test_wet_by_link_raises_the_leak(maker: Any, shop: Any, pour: int, phone: Any) -> None:
    """And says what to do at once."""
    wait(shop, 3.5)
    answer = phone.post(link(reminders(shop)[0]), data={"answer": "wet"})
    assert "Catch what comes out" in answer.text
    wait(shop, 0.5)
    assert alarms(maker)["wet-under-form"] == "raised"


def test_later_asks_again_and_never_keeps_the_alarm_away(
    maker: Any, shop: Any, pour: int, phone: Any
) -> None:
    """At most a minute after the look is due; a double tap is one; the alarm comes at its time."""
    wait(shop, 3.5)
    first = link(reminders(shop)[0])
    for _ in range(2):
        assert "You are asked again at" in phone.post(first, data={"answer": "later"}).text
    assert len(of_kind(shop, pour, "look-later")) == 1
    wait(shop, 2.25)
    assert len(reminders(shop)) == 1
    wait(shop, 0.5)
    assert len(reminders(shop)) == 2
    assert 'value="later"' not in phone.get(link(reminders(shop)[1])).text, "it cannot wait any longer"
    assert phone.post(first, data={"answer": "later"}).status_code == 409
    assert "look-due" not in alarms(maker)
    wait(shop, 1)
    assert alarms(maker)["look-due"] == "raised"
    assert phone.post(first, data={"answer": "dry"}).status_code == 200, (
        "the first message's link still answers"
    )


def test_the_alarms_own_link_has_the_three_answers_and_a_look_acknowledges_it(
    maker: Any, shop: Any, pour: int, phone: Any
) -> None:
    """Otherwise every pour begins with "alarm cleared, not confirmed"."""
    wait(shop, 7.5)
    (alarm,) = [alarm for alarm in maker.get("/api/alarms").json() if alarm["kind"] == "look-due"]
    with shop.service.store.read() as connection:
        row = outbox.messages_of(connection, alarm["id"])[-1]
    assert "/a/" not in as_sent(row).body
    assert 'value="dry"' in phone.get(link(row)).text
    assert phone.post(link(row), data={"answer": "later"}).status_code == 200
    assert alarms(maker)["look-due"] == "acknowledged"
    assert phone.post(link(row), data={"answer": "dry"}).status_code == 200
    wait(shop, 0.5)
    assert "look-due" not in alarms(maker), "over, and answered"


def test_a_look_by_a_person_who_is_signed_in_acknowledges_the_alarm_in_their_name(
    maker: Any, shop: Any, pour: int
) -> None:
    """By the page's button as well as by the API."""
    wait(shop, 7.5)
    alarm = next(alarm for alarm in maker.get("/api/alarms").json() if alarm["kind"] == "look-due")
    assert (
        maker.post(f"/pours/{pour}/looks", data={"finding": "dry"}, follow_redirects=False).status_code == 303
    )
    wait(shop, 0.5)
    assert "look-due" not in alarms(maker)
    assert "Ada" in maker.get(f"/alarms/{alarm['id']}").text


@pytest.mark.parametrize(
    "messages", [Messages(urls=["json://first.test"], quiet_from="00:00", quiet_until="23:59")]
)
def test_no_reminder_comes_in_quiet_hours(maker: Any, shop: Any, pour: int) -> None:
    """The lowest of all priorities; the alarm that a look is late comes on its page all the same."""
    wait(shop, 8)
    assert reminders(shop) == []
    assert alarms(maker)["look-due"] == "raised"


def test_no_reminder_comes_once_the_first_hour_was_called_over(maker: Any, shop: Any, pour: int) -> None:
    """And no alarm for a look that nobody asks for any more."""
    shop.go(pour, Stage.CURING)
    wait(shop, 8)
    assert reminders(shop) == []
    assert "look-due" not in alarms(maker)


def test_a_look_that_a_phone_kept_is_taken_with_its_time_once(maker: Any, shop: Any, pour: int) -> None:
    """Not in the future, not before pouring; marked as sent late; the look that was due then was made."""
    wait(shop, 9)
    now_ms = shop.service.timeline.true_ms()
    body = {"finding": "dry", "made_ms": now_ms - 240_000}
    sent = [
        maker.post(f"/api/pours/{pour}/looks", json=body, headers={"Idempotency-Key": '"phone-1"'})
        for _ in range(2)
    ]
    assert [answer.status_code for answer in sent] == [201, 201]
    (look,) = of_kind(shop, pour, "look")
    assert look.data["sent_ms"] - look.at_ms == 240_000
    assert "saved on a phone" in say(look.text, METRIC)
    for made_ms, why in (
        (now_ms + 3_600_000, "is in the future"),
        (now_ms - 3_600_000, "is before the pour"),
    ):
        refused = maker.post(f"/api/pours/{pour}/looks", json={"finding": "dry", "made_ms": made_ms})
        assert refused.status_code == 422
        assert why in refused.json()["error"]["message"]
    assert maker.get(f"/api/pours/{pour}/verify").json()["ok"]


def test_a_reminder_moves_by_five_minutes_and_never_past_a_minute_after_the_look_is_due() -> None:
    """Pure: the first two minutes before, "later" at most twice, once sent not again."""
    minute, rhythm = 60_000, Rhythm(every_min=10, then_every_min=10)
    due = 100 * minute
    assert remind_at_ms(due, rhythm, Reminding()) == due - 2 * minute
    assert remind_at_ms(due, rhythm, Reminding([due - 2 * minute])) is None
    later = Reminding([due - 2 * minute], [due - 2 * minute])
    assert remind_at_ms(due, rhythm, later) == due + minute
    early = Reminding([due - 9 * minute], [due - 8 * minute])
    assert remind_at_ms(due, rhythm, early) == due - 2 * minute
    assert remind_at_ms(due, rhythm, Reminding([due + minute], [due - minute, due])) is None
