"""Every page answers, and says what matters in words."""

from __future__ import annotations

from typing import Any

from logger.pour import Stage
from tests.web.page_text import words


def test_an_empty_board_shows_the_way_to_the_first_pour(maker: Any) -> None:
    """Nobody needs a manual to start."""
    page = words(maker.get("/"))
    assert "No pour yet" in page
    assert 'href="/pours/new"' in page
    assert 'href="/settings"' in page


def test_pages_ask_a_stranger_to_sign_in(stranger: Any, maker: Any) -> None:
    """Nothing is told to whoever is not known."""
    stranger.cookies.clear()
    for path in ("/", "/pours/new", "/pours/1", "/pours/1/record", "/alarms/1", "/stations", "/settings"):
        answer = stranger.get(path, headers={"accept": "text/html"}, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?then={path}")


def test_a_hot_core_leads_the_board_the_bar_and_the_alert_page(maker: Any, shop: Any, plan_toml: str) -> None:
    """Trouble first, with what to do, and one press to take it."""
    calm, hot = shop.plan(plan_toml.replace("River", "Calm")), shop.plan(plan_toml)
    shop.go(hot, Stage.READY, Stage.POURING)
    shop.feed(0.1, 5, lambda _h: {"core": 66.0, "surface": 50.0, "room": 21.0})
    board = words(maker.get("/"))
    assert "Go to the pour now" in board
    assert "The core is too hot" in board
    assert "66.0" in board
    assert board.index("River table") < board.index("Calm table")
    alarm = maker.get("/api/alarms").json()[0]
    alert = words(maker.get(f"/alarms/{alarm['id']}"))
    assert "Keep clear and look from a distance first." in alert
    assert "I’m on it" in alert
    maker.get(f"/alarms/{alarm['id']}/acknowledge")
    assert "I’m on it" in words(maker.get(f"/alarms/{alarm['id']}")), "a GET acknowledges nothing"
    assert maker.post(f"/alarms/{alarm['id']}/acknowledge").status_code == 200
    assert "Ada is on it" in words(maker.get(f"/alarms/{alarm['id']}"))
    assert maker.get(f"/pours/{calm}").status_code == 200


def test_old_readings_are_never_shown_as_present_ones(
    maker: Any, shop: Any, clock: Any, plan_toml: str
) -> None:
    """Twenty minutes without news: the number is struck out and its age is said."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.4, "room": 21.0})
    assert "23.4<span" in words(maker.get("/"))
    clock.move(20 * 60)
    board = words(maker.get("/"))
    assert "23.4<span" not in board
    assert "<s>23.4 °C</s>" in board
    assert "20 min ago" in board


def test_a_faulty_core_is_named_not_numbered(maker: Any, shop: Any, plan_toml: str) -> None:
    """A probe that woke up without measuring shows no 85 °C."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": "power-on-85", "room": 21.0})
    page = words(maker.get(f"/pours/{pour}"))
    assert "woke up without measuring" in page
    assert "no temperature yet" in page


def test_temperatures_follow_the_units_of_the_device(maker: Any, shop: Any, plan_toml: str) -> None:
    """20 °C is 68 °F (definition)."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 20.0, "room": 20.0})
    choice = {"temperature": "f", "length": "in", "volume": "gal", "mass": "lb"}
    assert maker.post("/settings/units", data=choice).status_code == 200
    assert "68.0 °F" in words(maker.get(f"/pours/{pour}"))


def test_a_token_is_shown_once(maker: Any) -> None:
    """What is kept is its hash; nobody can look it up again."""
    answer = maker.post("/stations", data={"name": "bench-7"}).text
    token = answer.split('id="token">')[1].split("<")[0]
    assert len(token) > 40
    assert token not in words(maker.get("/stations"))
    assert maker.post("/stations", data={"name": "a b"}).status_code == 422


def test_a_described_pour_is_fitted_and_planned(maker: Any) -> None:
    """A name, a depth, a room and a working time are enough to see a prediction."""
    described = {
        "title": "Oak side table",
        "shape": "river",
        "depth": "30",
        "width": "120",
        "length": "900",
        "room": "20,5",
        "resin": "Slow system (invented)",
        "working": "600",
        "mass": "1",
        "deepest": "50",
    }
    answer = maker.post("/pours/new", data=described)
    assert answer.status_code == 200
    (pour,) = maker.get("/api/pours").json()
    assert pour["title"] == "Oak side table"
    assert "depth_mm = 30" in pour["plan_toml"]
    assert "room_c = 20.5" in pour["plan_toml"]
    assert "prediction" not in pour, "a list of pours stays light"
    assert maker.get(f"/api/pours/{pour['id']}").json()["prediction"]["peak_c"] > 20.5
    assert "a working time of 10 h for 1 kg at 25 °C" in words(maker.get("/resins")), "and is on the list now"


def test_a_wrong_field_comes_back_with_what_was_typed(maker: Any) -> None:
    """Nobody types a form twice."""
    described = {"title": "Oak side table", "depth": "thick", "room": "20"}
    answer = maker.post("/pours/new", data=described)
    assert answer.status_code == 422
    assert "Depth: is not a number" in answer.text
    assert 'value="Oak side table"' in answer.text
    assert maker.get("/api/pours").json() == []


def test_a_handed_in_plan_file_is_refused_by_its_key(maker: Any, plan_toml: str) -> None:
    """The place, the value, the range and the remedy."""
    text = plan_toml.replace("depth_mm = 40", "depth_mm = -4")
    answer = maker.post("/pours/new", files={"file": ("plan.toml", text.encode(), "text/plain")})
    assert answer.status_code == 422
    assert "[pour] depth_mm" in answer.text
    assert "-4" in answer.text


def test_the_record_tells_peak_and_gap(maker: Any, shop: Any, clock: Any, plan_toml: str) -> None:
    """What a client is shown two years later."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.5, 60, lambda h: {"core": 21 + 20 * h, "surface": 21 + 10 * h, "room": 20.0})
    clock.move(3600)
    shop.feed(0.1, 60, lambda _h: {"core": 30.0, "surface": "bad-crc", "room": 20.0})
    page = words(maker.get(f"/pours/{pour}/record"))
    assert "31.0 °C, 30 min after pouring" in page
    assert "1 h 01 min" in page
    assert "disturbed by noise" in page


def test_the_cross_section_keeps_its_hottest_cell(maker: Any, shop: Any, plan_toml: str) -> None:
    """The picture's hottest cell at the peak agrees with the predicted peak within the cells' spacing."""
    pour = shop.plan(plan_toml)
    cut = maker.get(f"/pours/{pour}/section").json()
    hottest = (
        max(value for picture in cut["cells"] for row in picture for value in row if value is not None) / 10
    )
    predicted = maker.get(f"/api/pours/{pour}").json()["prediction"]["peak_c"]
    assert abs(hottest - predicted) < 0.3


def test_a_forecast_that_takes_a_moment_is_announced(maker: Any, shop: Any, plan_toml: str) -> None:
    """When the first one is due, and that it is being worked out; not where no core reads."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    shop.feed(0.02, 5, lambda _h: {"core": 23.0, "room": 21.0})
    assert "The first forecast is due" in words(maker.get(f"/pours/{pour}"))
    shop.feed(0.1, 5, lambda _h: {"core": 23.0, "room": 21.0})
    assert "A first forecast is being worked out" in words(maker.get(f"/pours/{pour}"))
    shop.feed(0.01, 5, lambda _h: {"core": "bad-crc", "room": 21.0})
    assert "being worked out" not in words(maker.get(f"/pours/{pour}"))
