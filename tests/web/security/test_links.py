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


def wall_link_of(house: Any, **asked: str) -> str:
    """A new link's path to the wall view."""
    page = house.browser("owner").post("/links/wall", data={"label": "Above the door"} | asked)
    found = re.search(r'id="address">[^<]+?(/shared/[^<]+)<', page.text)
    assert found is not None, page.text
    assert 'class="scan"' in page.text
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


def test_a_link_to_the_wall_view_shows_the_wall_view_and_nothing_else(two: Any, path_of: Any) -> None:
    """Clients see that screen: no board with what is done, no alarm's page, no record, no calendar."""
    screen = two.browser()
    path = wall_link_of(two)
    answer = screen.get(path)
    assert answer.url.path == "/wall"
    assert "River table" in answer.text
    assert answer.headers["x-robots-tag"] == "noindex"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert not re.search(r"<form|<input|<nav|<a ", answer.text)
    assert reach(screen, path_of) == {"/wall"}
    assert screen.get(path.replace("/shared/", "/calendar/")).status_code == 404


def test_the_wall_view_names_clients_only_where_its_link_says_so(two: Any) -> None:
    """Not even to whoever is signed in and looks at it."""
    silent, naming = two.browser(), two.browser()
    assert "A client" not in silent.get(wall_link_of(two)).text
    assert "A client (invented)" in naming.get(wall_link_of(two, clients="yes")).text
    assert "A client" not in two.browser("owner").get("/wall").text


def test_the_token_of_another_link_does_not_open_the_wall_view(two: Any) -> None:
    """Nor does its own open the board or a record: each link shows what it was made for."""
    wall, screen, client = (
        path.rpartition("/")[2] for path in (wall_link_of(two), link_of(two), link_of(two, "1"))
    )
    for token in (screen, client):
        browser = two.browser()
        browser.cookies.set("pourlog_wall", token)
        assert browser.get("/wall").status_code == 401
    browser = two.browser()
    browser.cookies.set("pourlog_screen", wall)
    browser.cookies.set("pourlog_record_1", wall)
    assert browser.get("/").status_code == 401
    assert browser.get("/pours/1/record").status_code == 401


def test_an_ended_link_leaves_words_on_the_wall_that_say_so(two: Any) -> None:
    """A screen cannot sign in: it says what to do, in place of a form for a password."""
    screen = two.browser()
    screen.get(wall_link_of(two))
    two.browser("maker").post("/links/1/end")
    answer = screen.get("/wall", headers={"accept": "text/html"}, follow_redirects=False)
    assert answer.status_code == 401
    assert "the link of this screen was ended" in answer.text.lower()
    assert "River table" not in answer.text


def test_only_an_owner_makes_a_link_to_the_wall_view(two: Any) -> None:
    """It shows the shop to whoever walks by."""
    assert two.browser("maker").post("/links/wall", data={"label": "Mine"}).status_code == 403
    assert 'action="/links/wall"' not in two.browser("maker").get("/links").text
    assert 'action="/links/wall"' in two.browser("owner").get("/links").text


def test_a_wall_links_last_use_is_shown_while_its_screen_goes_by_it(two: Any, clock: Any) -> None:
    """Whether the screen above the door still shows anything is seen in the list."""
    screen = two.browser()
    screen.get(wall_link_of(two))
    clock.move(3 * 3600)
    assert "Last used <time" in two.browser("owner").get("/links").text
    assert "3 h" in two.browser("owner").get("/links").text
    screen.get("/wall")
    assert "0 s ago" in two.browser("owner").get("/links").text


def test_a_wall_screen_changes_nothing(two: Any, path_of: Any) -> None:
    """Not even an acknowledgement: nobody knows who stood before it."""
    screen = two.browser()
    screen.get(link_of(two))
    screen.get(wall_link_of(two))
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


@pytest.mark.parametrize("shown", ["/", "/pours/1/record", "/wall"])
def test_an_ended_link_shows_nothing_from_the_next_request_on(two: Any, shown: str) -> None:
    """Neither to a new browser nor to one that had opened it."""
    path = wall_link_of(two) if shown == "/wall" else link_of(two, "1" if "pours" in shown else "")
    browser = two.browser()
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


def test_guessing_cards_is_slowed(guarded: Any) -> None:
    """Twenty at once, then ten a minute; 128 bits would not be guessed anyway."""
    browser = guarded.browser()
    assert [browser.get(f"/card/{n}").status_code for n in range(25)] == [404] * 20 + [429] * 5


def test_a_link_for_a_pour_that_is_not_there_is_refused(house: Any) -> None:
    """With a word, not with a stack trace."""
    for pour in ("7", "-1", "1e3", "٣", "9" * 30):
        assert house.browser("maker").post("/links", data={"label": "x", "pour": pour}).status_code == 422, (
            pour
        )
