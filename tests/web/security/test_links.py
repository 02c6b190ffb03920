"""Links that show something without a sign-in: only that, read-only, until they are ended."""

from __future__ import annotations

import re
from typing import Any

import pytest

from logger.pour import Stage
from web.security.routes_table import ROUTES


@pytest.fixture
def two(house: Any, shop: Any, plan_toml: str) -> Any:
    """A house with a live pour 1 and a planned pour 2."""
    first, _second = shop.plan(plan_toml), shop.plan(plan_toml)
    shop.go(first, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    return house


def link_of(house: Any, pour: str = "", role: str = "maker") -> str:
    """A new link's path."""
    page = house.browser(role).post("/links", data={"label": "For the wall", "pour": pour})
    found = re.search(r'id="address">[^<]+?(/shared/[^<]+)<', page.text)
    assert found is not None, page.text
    return found[1]


def reach(browser: Any, path_of: Any) -> set[str]:
    """Every listed GET that this browser may open for pour 1."""
    asked = [
        route for route in ROUTES if not route.changes and route.may != "anybody" and route.path != "/live"
    ]
    return {
        route.path
        for route in asked
        if browser.get(path_of(route, name="x" * 64), follow_redirects=False).status_code not in (401, 403)
    }


def test_a_wall_screen_sees_the_board_and_its_alarms_and_nothing_else(two: Any, path_of: Any) -> None:
    """No records, no people, no settings; and it looks like a board, without the way to what it may not see."""
    screen = two.browser()
    assert screen.get(link_of(two)).status_code == 200
    assert reach(screen, path_of) == {"/", "/alarms/{alarm_id}"}
    board = screen.get("/").text
    assert "River table" in board
    assert 'href="/settings"' not in board


def test_a_wall_screen_changes_nothing(two: Any, path_of: Any) -> None:
    """Not even an acknowledgement: nobody knows who stood before it."""
    screen = two.browser()
    screen.get(link_of(two))
    changing = [route for route in ROUTES if route.changes and route.may not in ("anybody",)]
    answers = {screen.request(route.method, path_of(route), json={}).status_code for route in changing}
    assert answers == {401}


def test_a_client_sees_the_record_of_one_pour(two: Any, path_of: Any) -> None:
    """With its curve and its photos; not the other pour's, and not the board."""
    client = two.browser()
    page = client.get(link_of(two, pour="1"))
    assert page.status_code == 200
    assert "Record of the cure" in page.text
    assert reach(client, path_of) == {route.path for route in ROUTES if route.may == "reader"}
    assert client.get("/pours/2/record").status_code == 401
    assert client.get("/api/pours/2/curve").status_code == 401


def test_a_records_cookie_does_not_open_another_record(two: Any) -> None:
    """Renaming the cookie does not help."""
    client = two.browser()
    client.get(link_of(two, pour="1"))
    client.cookies.set("pourlog_record_2", client.cookies["pourlog_record_1"])
    client.cookies.set("pourlog_screen", client.cookies["pourlog_record_1"])
    assert client.get("/pours/2/record").status_code == 401
    assert client.get("/").status_code == 401


@pytest.mark.parametrize("pour", ["", "1"])
def test_an_ended_link_shows_nothing_from_the_next_request_on(two: Any, pour: str) -> None:
    """Neither to a new browser nor to one that had opened it."""
    path = link_of(two, pour)
    browser = two.browser()
    shown = "/pours/1/record" if pour else "/"
    browser.get(path)
    assert browser.get(shown).status_code == 200
    two.browser("maker").post("/links/1/end")
    assert browser.get(shown).status_code == 401
    assert two.browser().get(path).status_code == 404


def test_a_records_link_runs_out_after_a_year(two: Any, clock: Any) -> None:
    """Nobody remembers to end it."""
    path = link_of(two, pour="1")
    clock.move(365 * 24 * 3600)
    assert two.browser().get(path).status_code == 404


def test_the_token_leaves_the_address_and_is_kept_as_a_hash(two: Any) -> None:
    """It is not in what the next page refers to, nor in the database."""
    path = link_of(two)
    answer = two.browser().get(path, follow_redirects=False)
    assert answer.headers["location"] == "/"
    assert "HttpOnly" in answer.headers["set-cookie"]
    token = path.rpartition("/")[2]
    assert len(token) >= 43
    with two.service.store.read() as connection:
        assert token not in str(connection.exec_driver_sql("SELECT * FROM shared_link").all())
        assert token not in str(connection.exec_driver_sql("SELECT * FROM event").all())


def test_guessing_links_is_slowed(guarded: Any) -> None:
    """Twenty at once, then ten a minute; 256 bits would not be guessed anyway."""
    browser = guarded.browser()
    statuses = [browser.get(f"/shared/{number}").status_code for number in range(25)]
    assert statuses == [404] * 20 + [429] * 5


def test_a_link_for_a_pour_that_is_not_there_is_refused(house: Any) -> None:
    """With a word, not with a stack trace."""
    for pour in ("7", "-1", "1e3", "٣", "9" * 30):
        assert house.browser("maker").post("/links", data={"label": "x", "pour": pour}).status_code == 422, (
            pour
        )
