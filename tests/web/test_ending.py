"""No way ends the watch of a core that runs away: not three taps, not the API, not giving up; the screens stay red."""

from __future__ import annotations

from typing import Any

import pytest

from logger.pour import Stage
from logger.store import events, pours


@pytest.fixture
def hot(maker: Any, shop: Any, plan_toml: str) -> int:
    """A pour whose core is at 63.6 °C, limit 60, rising by 108 °C an hour; acknowledged; a look is due."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.2, 30, lambda h: {"core": 42.0 + 108 * h, "room": 21.0})
    for alarm in (alarm for alarm in maker.get("/api/alarms").json() if alarm["priority"] == "high"):
        assert maker.post(f"/api/alarms/{alarm['id']}/acknowledge", json={}).status_code == 200
    return pour


def post(maker: Any, path: str, data: dict[str, str]) -> Any:
    """A form, sent by a browser that wants a page."""
    return maker.post(path, data=data, headers={"accept": "text/html"}, follow_redirects=False)


def stage_of(maker: Any, pour: int) -> str:
    """Where a pour is in its life."""
    return str(maker.get(f"/api/pours/{pour}").json()["stage"])


def kinds(shop: Any, pour: int) -> list[str]:
    """The kinds of a pour's events."""
    with shop.service.store.read() as connection:
        return [row.kind for row in events.events_of(connection, pour)]


def text(answer: Any) -> str:
    """A page's text, its unbreakable blanks as blanks."""
    return str(answer.text).replace("\u00a0", " ")


# ---- the screens stay red -------------------------------------------------------------------------


def test_an_acknowledged_runaway_leads_every_screen_until_it_is_over(maker: Any, shop: Any, hot: int) -> None:
    """A look that is due is no reason to paint the board cream while the core is over its limit."""
    found = maker.get("/api/alarms").json()
    assert {(a["kind"], a["phase"]) for a in found} >= {("core-hot", "acknowledged"), ("look-due", "raised")}
    assert found[0]["kind"] == "core-hot", "the gravest that is true comes first"
    board = text(maker.get("/"))
    assert 'class="tile stop"' in board
    assert "Ada is on it" in board
    assert "since Wed 25 Nov" in board
    assert board.index("The core is too hot") < board.index("</h2>")
    page = text(maker.get(f"/pours/{hot}"))
    assert '<p class="state stop">' in page
    assert "Ada is on it since Wed 25 Nov" in page
    assert page.index("The core is too hot") < page.index("The look that was due")
    alert = text(maker.get(f"/alarms/{found[0]['id']}"))
    assert '<body class="alert high"' in alert, "red, not the calm colour of an answered one"
    assert "Ada is on it</strong> since" in alert
    for path in ("/shop", "/stations"):
        bar = text(maker.get(path)).partition('id="trouble"')[2].partition("</ul>")[0]
        first, _, rest = bar.partition("</li>")
        assert "(Ada is on it)" in first, "it leads the bar of every page"
        assert "data-alarm" not in first, "and is not sounded any more"
        assert "<li" not in rest or " hidden" in rest, "nothing lower stands beside it"
    bar = alert.partition('id="trouble"')[2].partition("</ul>")[0]
    assert bar.count('<li class="low"') + bar.count('<li class="medium"') == bar.count(" hidden")
    stands = maker.get(f"/api/pours/{hot}").json()["standing"]
    assert (stands["tone"], stands["by"], stands["alarm"]) == ("stop", "Ada", found[0]["id"])
    assert stands["since_ms"] == found[0]["acknowledged_ms"]


def test_a_pour_that_nobody_is_on_comes_before_one_that_somebody_is_on(
    maker: Any, shop: Any, hot: int, plan_toml: str
) -> None:
    """Both are red: the one that waits leads."""
    with shop.service.store.write() as tx:
        # The second pour takes another probe of the same station.
        pours.choose_probes(tx, hot, pours.get_pour(tx, hot).station_id, [shop.PROBES["core"]])
    other = int(shop.plan(plan_toml.replace("River", "Second")))
    with shop.service.store.write() as tx:
        pours.choose_probes(tx, other, pours.get_pour(tx, hot).station_id, ["28-0000000000c9"])
    shop.PROBES["core-2"] = "28-0000000000c9"
    try:
        shop.go(other, Stage.READY, Stage.POURING)
        shop.feed(0.01, 5, lambda _h: {"core": 64.0, "core-2": 70.0})
    finally:
        del shop.PROBES["core-2"]
    board = text(maker.get("/"))
    assert board.count('class="tile stop"') == 2
    assert board.index("Second table") < board.index("River table")


# ---- nothing ends its watch -----------------------------------------------------------------------


def test_three_taps_do_not_end_the_watch_of_a_pour_that_runs_away(maker: Any, shop: Any, hot: int) -> None:
    """As it was tried, with a glove: first hour over, out of the form, sealed; and given up."""
    assert post(maker, f"/pours/{hot}/stage", {"to": "curing"}).status_code == 303
    out = post(maker, f"/pours/{hot}/stage", {"to": "released"})
    assert out.status_code == 409
    assert "over its limit of 60 °C, and rises by 1" in text(out)
    for data in ({"to": "spoiled", "text": "it smokes"}, {"to": "closed"}):
        assert post(maker, f"/pours/{hot}/stage", data).status_code == 409
    for body in ({"to": "released"}, {"to": "spoiled", "text": "it smokes"}):
        answer = maker.post(f"/api/pours/{hot}/stage", json=body)
        assert answer.status_code == 409
        error = answer.json()["error"]
        assert (error["kind"], error["signable"]) == ("may-not-end", False)
        assert "over its limit of 60 °C" in error["obstacles"][0]
    signed = post(maker, f"/pours/{hot}/ending", {"person": "Ada", "reason": "I am sure that it is well"})
    assert signed.status_code == 409, "nobody signs for a core that is seen to rise"
    assert stage_of(maker, hot) == "curing"
    assert not {"released", "spoiled", "closed", "end-exception"} & set(kinds(shop, hot))
    page = text(maker.get(f"/pours/{hot}"))
    assert "It is out of the form</button>" not in page, "no button that only refuses"
    assert "It is out of the form: not now" in page
    before = len(maker.get(f"/api/pours/{hot}/alarms").json())
    shop.feed(0.2, 60, lambda h: {"core": 64 + 200 * h, "room": 21.0})
    assert maker.get("/api/alarms").json()[0]["phase"] == "raised", "it is still watched: worse is told again"
    assert len(maker.get(f"/api/pours/{hot}/alarms").json()) >= before


def test_the_refusal_speaks_the_units_of_whoever_asks(maker: Any, hot: int) -> None:
    """60 °C is 140 °F, 108 K an hour 194 °F an hour."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    out = text(post(maker, f"/pours/{hot}/stage", {"to": "spoiled", "text": "it smokes"}))
    assert "over its limit of 140 °F, and rises by 19" in out
    assert "°C" not in out


def test_once_it_has_cooled_the_watch_ends_by_one_press(maker: Any, shop: Any, hot: int) -> None:
    """Well below the limit for long enough, and falling."""
    shop.feed(1.0, 60, lambda h: {"core": 64 - 20 * h, "room": 21.0})
    assert maker.get(f"/api/pours/{hot}/ending").json() == {
        "may_end": True,
        "obstacles": [],
        "exception": None,
    }
    for to in ("curing", "released", "closed"):
        assert post(maker, f"/pours/{hot}/stage", {"to": to}).status_code == 303
    assert stage_of(maker, hot) == "closed"


# ---- what nobody knows ----------------------------------------------------------------------------


@pytest.fixture
def blind(maker: Any, shop: Any, plan_toml: str) -> int:
    """A pour whose core probe died two hours ago at 30 °C, on its way up."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.2, 60, lambda h: {"core": 22.0 + 2 * h, "room": 21.0})
    shop.feed(2.0, 300, lambda _h: {"core": "open-wire", "room": 21.0})
    return pour


def test_a_dead_core_probe_needs_a_person_who_answers_for_it_and_a_second_step(
    maker: Any, shop: Any, blind: int
) -> None:
    """Never one tap; and never locked in for ever."""
    out = post(maker, f"/pours/{blind}/stage", {"to": "released"})
    assert out.status_code == 409
    assert "nobody knows how hot it is now" in text(out)
    page = text(maker.get(f"/pours/{blind}"))
    assert "It is out of the form</button>" not in page
    assert "Sign an exception" in page
    for person, reason in (("", "cold to the hand, all over"), ("Ben", ""), ("Ben", "cold")):
        assert post(maker, f"/pours/{blind}/ending", {"person": person, "reason": reason}).status_code == 422
    signed = post(
        maker, f"/pours/{blind}/ending", {"person": "Ben", "reason": "Cold to the hand on all sides."}
    )
    assert signed.status_code == 303
    assert stage_of(maker, blind) == "curing", "signing ends nothing by itself"
    assert "It is out of the form</button>" in text(maker.get(f"/pours/{blind}"))
    for to in ("released", "closed"):
        assert post(maker, f"/pours/{blind}/stage", {"to": to}).status_code == 303
    record = maker.get(f"/api/pours/{blind}/record").json()
    (row,) = [row for row in record["events"] if row["kind"] == "end-exception"]
    assert (row["by"], row["data"]["person"], row["data"]["whys"]) == ("Ada", "Ben", ["unknown"])
    assert "Cold to the hand on all sides." in row["text"]
    assert maker.get(f"/api/pours/{blind}/verify").json()["ok"]


def test_an_exception_runs_out_and_does_not_cover_what_comes_after_it(
    maker: Any, shop: Any, blind: int
) -> None:
    """Half an hour; and a probe that reads again, and rises, takes it back."""
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).json()["may_end"] is True
    shop.clock.move(31 * 60)
    assert maker.post(f"/api/pours/{blind}/stage", json={"to": "released"}).status_code == 409
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 200
    shop.feed(0.2, 30, lambda h: {"core": 45.0 + 40 * h, "room": 21.0})
    answer = maker.post(f"/api/pours/{blind}/stage", json={"to": "spoiled", "text": "given up"})
    assert answer.status_code == 409
    assert answer.json()["error"]["signable"] is False
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 409


def test_nothing_is_signed_where_nothing_is_in_the_way(maker: Any, shop: Any, plan_toml: str) -> None:
    """A pour that was never poured is given up with a word, and sealed."""
    pour = int(shop.plan(plan_toml))
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{pour}/ending/exception", json=body).status_code == 409
    for to in ("spoiled", "closed"):
        step = {"to": to, "text": "the client left"}
        assert maker.post(f"/api/pours/{pour}/stage", json=step).status_code == 200


def test_a_record_that_ended_while_it_was_hot_is_not_sealed_for_a_day(
    maker: Any, shop: Any, hot: int
) -> None:
    """Ended by the program before this one: the rule holds for the seal as well, until time has told."""
    with shop.service.store.write() as tx:
        for stage in (Stage.CURING, Stage.RELEASED):
            pours.move_on(tx, hot, stage, "Ada", shop.service.timeline)
    assert maker.post(f"/api/pours/{hot}/stage", json={"to": "closed"}).status_code == 409
    shop.clock.move(24 * 3600)
    assert maker.post(f"/api/pours/{hot}/stage", json={"to": "closed"}).status_code == 200


def test_a_stored_pour_that_cannot_be_read_is_not_taken_for_cool(maker: Any, shop: Any, blind: int) -> None:
    """Nor does it lock anybody in: the same exception, by name and reason."""
    with shop.service.store.write() as tx:
        tx.exec_driver_sql(
            f"""UPDATE pour SET watchbook = '{{"book": {{"version": 9}}, "told": {{}}}}' WHERE id = {blind}"""
        )
    refused = maker.post(f"/api/pours/{blind}/stage", json={"to": "released"})
    assert "cannot be read" in refused.json()["error"]["obstacles"][0]
    assert maker.get(f"/pours/{blind}").status_code == 200
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 200
    assert maker.post(f"/api/pours/{blind}/stage", json={"to": "released"}).status_code == 200
