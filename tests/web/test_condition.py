"""One judgement on every screen: the scene in which a hot core, tapped once, was shown as a calm card."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.pour import Stage
from logger.settings import Messages
from logger.store import alarms, forecasts, outbox
from logger.words.reader import METRIC
from tests.messages_as_sent import as_sent
from web.commands.watched import pours_command


@pytest.fixture
def messages() -> Messages:
    """One phone."""
    return Messages(urls=["json://first.test"])


#: Invented: a forecast that lists nothing that would help.
FORECAST: dict[str, Any] = {
    "at_h": 0.2,
    "time_left_h": None,
    "core_peak_c": {"p05": 70.0, "p50": 80.0, "p95": 99.0},
    "core_peak_at_h": {"p05": 0.5, "p50": 0.7, "p95": 1.0},
    "chance_core_over_limit": 0.99,
    "causes": [],
    "crosses_limit_at_h": None,
    "bands": {"hours": [0.2, 0.7], "core_c": {"p05": [62.0, 70.0], "p50": [63.0, 80.0], "p95": [64.0, 99.0]}},
}


@pytest.fixture
def hot(shop: Any, plan_toml: str) -> int:
    """A pour twelve minutes old: its core at 63.6 °C, limit 60, rising by 108 °C an hour; two looks were due."""
    pour_id = int(shop.plan(plan_toml))
    shop.go(pour_id, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(
        0.2,
        30,
        lambda h: {"core": 42.0 + 108 * h, "surface": 35 + 40 * h, "underside": 33 + 40 * h, "room": 21.0},
    )
    return pour_id


def number_of(service: Any, kind: str) -> int:
    """The open alarm of that kind."""
    with service.store.read() as connection:
        return int(next(row.id for row in alarms.open_alarms(connection) if row.kind == kind))


def shown(maker: TestClient, path: str) -> str:
    """A page's own text below the bar of all alarms, with its entities and line breaks resolved."""
    page = maker.get(path).text.partition("<main")[2]
    return " ".join(html.unescape(page).replace("\u00a0", " ").split())


def test_every_screen_leads_with_the_hot_core_after_it_was_tapped(
    service: Any, maker: TestClient, hot: int
) -> None:
    """Board, pour, the alert page of the due look, and the API: over its limit, and who is on it since when."""
    maker.post(f"/alarms/{number_of(service, 'core-hot')}/acknowledge", data={})
    headline = "Core at 63.6 °C, over its limit of 60 °C"
    look = number_of(service, "look-due")
    for path in ("/", f"/pours/{hot}", f"/alarms/{look}"):
        page = shown(maker, path)
        assert headline in page, path
        assert "Ada is on it since" in page, path
        assert page.index(headline) < page.index("A check of the form is due"), path
    standing = maker.get(f"/api/pours/{hot}").json()["standing"]
    assert standing["severity"] == "danger"
    assert standing["because"] == headline
    assert standing["by"] == "Ada"
    assert look in standing["others"]


def test_a_poured_plan_is_headed_by_what_came_of_it(maker: TestClient, hot: int) -> None:
    """Not by the verdict that was given before."""
    page = shown(maker, f"/pours/{hot}/plan")
    assert "Core at 63.6 °C, over its limit of 60 °C" in page
    assert "should work" not in page
    assert "It may work" not in page


def test_the_command_line_says_what_the_board_says(
    service: Any, maker: TestClient, hot: int, tmp_path: Any, clock: Any, capsys: Any
) -> None:
    """`pourlog pours`, from the service's own database."""
    settings = tmp_path / "service.toml"
    settings.write_text(f'data_dir = "{service.settings.data_dir}"\n')
    if service.settings.database_url:
        settings.write_text(settings.read_text() + f'database_url = "{service.settings.database_url}"\n')
    pours_command(SimpleNamespace(obj=lambda: clock), settings, as_json=True)  # type: ignore[arg-type]
    standing = maker.get(f"/api/pours/{hot}").json()["standing"]
    (said,) = json.loads(capsys.readouterr().out)["pours"]
    assert said["severity"] == "danger"
    assert said["because"] == standing["because"]


def test_a_message_about_a_lesser_alarm_leads_with_what_is_graver(service: Any, hot: int) -> None:
    """Whoever gets only that one must not take the pour for calm."""
    look = number_of(service, "look-due")
    with service.store.read() as connection:
        row = next(row for row in outbox.newest_messages(connection) if row.alarm_id == look)
    about_look = as_sent(row, replace(METRIC, now_ms=service.timeline.true_ms()))
    assert about_look.title.startswith("URGENT: Over its limit at 08:")
    assert "Also: A check of the form is due" in about_look.title
    assert re.search(r"The pour at 08:\d\d: Go to the pour now\. Core at ", about_look.body)


def test_the_plans_cool_peak_is_not_offered_beside_a_hot_core(maker: TestClient, hot: int) -> None:
    """The plan predicted far less than what is measured: it is said so."""
    for path in ("/", f"/pours/{hot}"):
        page = shown(maker, path)
        assert "below its limit of" not in page
        assert "Do not rely on that plan" in page


def test_a_hot_pour_is_never_told_that_nothing_needs_to_be_done(
    service: Any, maker: TestClient, hot: int
) -> None:
    """A forecast without a list of what would help is no word that all is well."""
    with service.store.write() as tx:
        forecasts.add_forecast(tx, hot, 0.2, service.timeline.true_ms(), FORECAST)
    page = shown(maker, f"/pours/{hot}")
    assert "Do what stands at the top" in page
    assert "Nothing needs to be done" not in page


def test_a_message_goes_out_whatever_fails_in_judging_the_pour_for_it(
    service: Any, shop: Any, plan_toml: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What only accompanies an alarm must not silence it."""

    def fails(*_asked: Any) -> None:
        raise RuntimeError("not foreseen")

    monkeypatch.setattr("logger.live.pour_now.judge", fails)
    pour_id = int(shop.plan(plan_toml))
    shop.go(pour_id, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.1, 30, lambda _h: {"core": 66.0, "surface": 50.0, "room": 21.0})
    with service.store.read() as connection:
        titles = [as_sent(row).title for row in outbox.newest_messages(connection)]
    assert any("The core is too hot" in title for title in titles)


def test_a_pour_whose_watch_has_ended_shows_nothing_of_what_its_probes_read_in_the_next(
    shop: Any, maker: TestClient, plan_toml: str
) -> None:
    """The same station watches another, over its limit: the first was 24 °C at its hottest, and stays so."""
    first, second = int(shop.plan(plan_toml)), int(shop.plan(plan_toml))
    shop.go(first, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.1, 30, lambda _h: {"core": 24.0, "room": 21.0})
    shop.go(first, Stage.SPOILED)
    shop.go(second, Stage.READY, Stage.POURING)
    shop.feed(0.1, 30, lambda _h: {"core": 66.5, "room": 21.0})
    page = shown(maker, f"/pours/{first}")
    assert "24.0 °C" in page
    assert "66.5 °C" not in page
    assert "66.5 °C" in shown(maker, f"/pours/{second}")
