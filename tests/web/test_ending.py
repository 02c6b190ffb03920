"""Nothing ends by accident: not by three taps, a late or a double one, the API or giving up; ten minutes take it back.

And the screens of a core that runs away stay red.
"""

from __future__ import annotations

import re
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


def confirm_of(maker: Any, pour: int, to: str) -> str:
    """What the page that asks once more gives to confirm a step."""
    asked = maker.get(f"/pours/{pour}/step?to={to}")
    assert asked.status_code == 200, asked.text
    return re.search(r'name="confirm" value="([^"]+)"', asked.text)[1]


def step(maker: Any, pour: int, to: str, text: str = "") -> Any:
    """A step as a keyboard takes it: asked for, then confirmed."""
    data = {"to": to, "text": text, "confirm": confirm_of(maker, pour, to)}
    return post(maker, f"/pours/{pour}/stage", data)


def call(maker: Any, pour: int, to: str, text: str = "") -> Any:
    """The same as a program takes it."""
    confirm = maker.get(f"/api/pours/{pour}/ending?to={to}").json()["confirm"]
    return maker.post(f"/api/pours/{pour}/stage", json={"to": to, "text": text, "confirm": confirm})


def sign(maker: Any, pour: int, to: str) -> Any:
    """Ben answers for a step."""
    body = {"person": "Ben", "reason": "Cold to the hand on all sides.", "to": to}
    return maker.post(f"/api/pours/{pour}/ending/exception", json=body)


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
    assert "since 08:" in board
    assert board.index("The core is too hot") < board.index("</h2>")
    page = text(maker.get(f"/pours/{hot}"))
    assert '<p class="state stop">' in page
    assert "Ada is on it since 08:" in page
    assert page.index("The core is too hot") < page.index("The check of the form is")
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
    page = text(maker.get(f"/pours/{hot}"))
    assert "The first hour is over</button>" not in page, "no button that only refuses"
    assert "The first hour is over: not now" in page
    for to in ("curing", "released", "closed"):
        confirm = shop.confirmation(hot, Stage(to))
        for data in ({"to": to}, {"to": to, "confirm": confirm}):
            assert post(maker, f"/pours/{hot}/stage", data).status_code == 409
    assert stage_of(maker, hot) == "watched"
    refused = sign(maker, hot, "curing")
    assert (refused.status_code, refused.json()["error"]["signable"]) == (409, False)
    with shop.service.store.write() as tx:
        # It ran away later, when nobody sat by it any more.
        pours.move_on(tx, hot, Stage.CURING, "Ada", shop.service.timeline)
    out = post(
        maker, f"/pours/{hot}/stage", {"to": "released", "confirm": shop.confirmation(hot, Stage.RELEASED)}
    )
    assert out.status_code == 409
    assert "over its limit of 60 °C, and rises by 1" in text(out)
    for data in ({"to": "spoiled", "text": "it smokes"}, {"to": "closed"}):
        confirm = shop.confirmation(hot, Stage(data["to"]))
        assert post(maker, f"/pours/{hot}/stage", data | {"confirm": confirm}).status_code == 409
    for to, why in (("released", ""), ("spoiled", "it smokes")):
        answer = call(maker, hot, to, why)
        assert answer.status_code == 409
        error = answer.json()["error"]
        assert (error["kind"], error["signable"]) == ("may-not-end", False)
        assert "over its limit of 60 °C" in error["obstacles"][0]
    signed = post(maker, f"/pours/{hot}/ending", {"person": "Ada", "reason": "I am sure that it is well"})
    assert signed.status_code == 409, "nobody signs for a core that is seen to rise"
    assert stage_of(maker, hot) == "curing"
    assert not {"released", "spoiled", "closed", "end-exception"} & set(kinds(shop, hot))
    page = text(maker.get(f"/pours/{hot}"))
    assert "Demoulded: stop watching</button>" not in page, "no button that only refuses"
    assert "Demoulded: stop watching: not now" in page
    before = len(maker.get(f"/api/pours/{hot}/alarms").json())
    shop.feed(0.2, 60, lambda h: {"core": 64 + 200 * h, "room": 21.0})
    assert maker.get("/api/alarms").json()[0]["phase"] == "raised", "it is still watched: worse is told again"
    assert len(maker.get(f"/api/pours/{hot}/alarms").json()) >= before


def test_the_refusal_speaks_the_units_of_whoever_asks(maker: Any, hot: int) -> None:
    """60 °C is 140 °F, 108 K an hour 194 °F an hour."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    out = text(maker.get(f"/pours/{hot}/step?to=spoiled"))
    assert "over its limit of 140 °F, and rises by 19" in out
    assert "°C" not in out


def test_once_it_has_cooled_and_is_hard_the_watch_ends_without_a_signature(
    maker: Any, shop: Any, hot: int
) -> None:
    """Well below the limit for long enough, falling, all looks made, and as hard as the plan asks."""
    shop.feed(1.0, 60, lambda h: {"core": 64 - 20 * h, "room": 21.0})
    assert [o["why"] for o in maker.get(f"/api/pours/{hot}/ending?to=curing").json()["obstacles"]] == [
        "looks"
    ]
    maker.post(f"/api/pours/{hot}/looks", json={"finding": "dry"})
    assert step(maker, hot, "curing").status_code == 303
    assert [o["why"] for o in maker.get(f"/api/pours/{hot}/ending").json()["obstacles"]] == ["uncured"]
    with shop.service.store.read() as connection:
        hard_h = pours.get_pour(connection, hot).prediction["release_at_h"]
    shop.clock.move(3600 * hard_h)
    shop.feed(0.5, 60, lambda _h: {"core": 22.0, "room": 21.0})
    found = maker.get(f"/api/pours/{hot}/ending").json()
    assert (found["may_end"], found["obstacles"], found["exception"]) == (True, [], None)
    for to in ("released", "closed"):
        assert step(maker, hot, to).status_code == 303
    assert stage_of(maker, hot) == "closed"


def test_the_first_hour_is_not_over_while_it_leaks_or_looks_are_asked_for(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """The whole book counts, not the core alone; acknowledged or not. Somebody may answer for it."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.05, 30, lambda _h: {"core": 22.0, "room": 21.0})
    maker.post(f"/api/pours/{pour}/looks", json={"finding": "leaking"})
    shop.feed(0.05, 30, lambda _h: {"core": 22.0, "room": 21.0})
    (alarm,) = [a for a in maker.get("/api/alarms").json() if a["kind"] == "wet-under-form"]
    for _ in range(2):
        found = maker.get(f"/api/pours/{pour}/ending?to=curing").json()
        assert [(o["why"], o["signable"]) for o in found["obstacles"]] == [("alarm", True), ("looks", True)]
        assert call(maker, pour, "curing").status_code == 409
        maker.post(f"/api/alarms/{alarm['id']}/acknowledge", json={})
    assert sign(maker, pour, "curing").json()["may_end"] is True
    assert maker.get(f"/api/pours/{pour}/ending").json()["may_end"] is False, "signed for one step alone"
    assert call(maker, pour, "curing").status_code == 200


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
    out = maker.get(f"/pours/{blind}/step?to=released")
    assert "nobody knows how hot it is now" in text(out)
    assert call(maker, blind, "released").status_code == 409
    page = text(maker.get(f"/pours/{blind}"))
    assert "Demoulded: stop watching</button>" not in page
    assert "Sign an exception" in page
    for person, reason in (("", "cold to the hand, all over"), ("Ben", ""), ("Ben", "cold")):
        assert post(maker, f"/pours/{blind}/ending", {"person": person, "reason": reason}).status_code == 422
    signed = post(
        maker, f"/pours/{blind}/ending", {"person": "Ben", "reason": "Cold to the hand on all sides."}
    )
    assert signed.status_code == 303
    assert stage_of(maker, blind) == "curing", "signing ends nothing by itself"
    assert "Demoulded: stop watching</button>" in text(maker.get(f"/pours/{blind}"))
    for to in ("released", "closed"):
        assert step(maker, blind, to).status_code == 303
    record = maker.get(f"/api/pours/{blind}/record").json()
    row = [row for row in record["events"] if row["kind"] == "end-exception"][-1]
    assert (row["by"], row["data"]["person"], row["data"]["whys"]) == ("Ada", "Ben", ["unknown", "uncured"])
    assert "Cold to the hand on all sides." in row["text"]
    assert maker.get(f"/api/pours/{blind}/verify").json()["ok"]


def test_an_exception_runs_out_and_does_not_cover_what_comes_after_it(
    maker: Any, shop: Any, blind: int
) -> None:
    """Half an hour; and a probe that reads again, and rises, takes it back."""
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).json()["may_end"] is True
    shop.clock.move(31 * 60)
    assert call(maker, blind, "released").status_code == 409
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 200
    shop.feed(0.2, 30, lambda h: {"core": 45.0 + 40 * h, "room": 21.0})
    answer = call(maker, blind, "spoiled", "given up")
    assert answer.status_code == 409
    assert answer.json()["error"]["signable"] is False
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 409


def test_nothing_is_signed_where_nothing_is_in_the_way(maker: Any, shop: Any, plan_toml: str) -> None:
    """A pour that was never poured is given up with a word, and sealed."""
    pour = int(shop.plan(plan_toml))
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{pour}/ending/exception", json=body).status_code == 409
    for to in ("spoiled", "closed"):
        assert call(maker, pour, to, "the client left").status_code == 200


def test_a_record_that_ended_while_it_was_hot_is_not_sealed_for_a_day(
    maker: Any, shop: Any, hot: int
) -> None:
    """Ended by the program before this one: the rule holds for the seal as well, until time has told."""
    with shop.service.store.write() as tx:
        for stage in (Stage.CURING, Stage.RELEASED):
            pours.move_on(tx, hot, stage, "Ada", shop.service.timeline)
    assert call(maker, hot, "closed").status_code == 409
    shop.clock.move(24 * 3600)
    assert call(maker, hot, "closed").status_code == 200


def test_a_stored_pour_that_cannot_be_read_is_not_taken_for_cool(maker: Any, shop: Any, blind: int) -> None:
    """Nor does it lock anybody in: the same exception, by name and reason."""
    with shop.service.store.write() as tx:
        tx.exec_driver_sql(
            f"""UPDATE pour SET watchbook = '{{"book": {{"version": 9}}, "told": {{}}}}' WHERE id = {blind}"""
        )
    refused = call(maker, blind, "released")
    assert "cannot be read" in refused.json()["error"]["obstacles"][0]
    assert maker.get(f"/pours/{blind}").status_code == 200
    body = {"person": "Ben", "reason": "Cold to the hand on all sides."}
    assert maker.post(f"/api/pours/{blind}/ending/exception", json=body).status_code == 200
    assert call(maker, blind, "released").status_code == 200
