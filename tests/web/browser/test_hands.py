"""The pages of the hands on a phone: the answer first, controls for gloves, nothing too wide, clean to axe."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.delivery.signed_links import new_token
from logger.planning import examples
from logger.pour import Stage
from logger.store import resins
from logger.store.message_links import Purpose
from tests.web.browser.test_access import AA, RESIN

pytestmark = pytest.mark.browser
#: What stands lower is not on the first screen of a phone.
FOLD = 844
#: Controls that are urgent or irreversible and less than 60 px high, or have another control within 16 px.
TIGHT = """() => {
  const urgent = document.querySelector('.top') ? '.press, .grave, .hold, .answers button' : 'button';
  const all = [...document.querySelectorAll('main :is(a, button, summary, input, select, textarea)')]
    .filter((e) => e.checkVisibility() && e.type !== 'hidden').map((e) => [e, e.getBoundingClientRect()]);
  const name = (e) => e.textContent.trim() || e.name, wrong = [];
  for (const [e, r] of all.filter(([e]) => e.matches(urgent))) {
    if (r.height < 60) wrong.push(`${name(e)}: ${r.height} px high`);
    for (const [other, o] of all.filter(([other]) => other !== e)) {
      const across = Math.max(o.left - r.right, r.left - o.right), down = Math.max(o.top - r.bottom, r.top - o.bottom);
      if (Math.max(across, down) < 16) wrong.push(`${name(e)}: ${name(other)} is near`);
    }
  }
  return wrong;
}"""
#: Texts that are smaller than 12 px.
TINY = """() => [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility()
  && [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())
  && parseFloat(getComputedStyle(e).fontSize) < 12).map((e) => e.textContent.trim())"""


@pytest.fixture
def watched(shop: Any, plan_toml: str) -> int:
    """A pour in its first hour."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    shop.feed(0.03, 15, lambda _h: {"core": 22.0, "surface": 22.0, "room": 21.0})
    return pour


@pytest.fixture
def bench(shop: Any) -> str:
    """The mixing page of a pour of the invented workshop: 9861 g A and 4412 g B to weigh."""
    plan = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    return f"/pours/{shop.plan(plan)}/mix"


@pytest.fixture
def sound(axe: str) -> Callable[[Any], None]:
    """Whether the open page is fit for a gloved hand and for everybody's eyes."""

    def check(page: Any) -> None:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, page.url
        assert page.evaluate(TIGHT) == [], page.url
        assert page.evaluate(TINY) == [], page.url
        page.evaluate(axe)
        rules = {"runOnly": {"type": "tag", "values": AA}}
        found = page.evaluate("(rules) => axe.run(rules)", rules)["violations"]
        assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == [], page.url

    return check


def top(page: Any, selector: str) -> float:
    """Where something begins, px from the top of the page."""
    return float(page.locator(selector).first.bounding_box()["y"])


def low(page: Any, selector: str) -> float:
    """Where something ends."""
    box = page.locator(selector).first.bounding_box()
    return float(box["y"] + box["height"])


def weigh(page: Any, part_a: str, part_b: str) -> None:
    """Type both weights in and have them checked."""
    page.fill("[name=part_a]", part_a)
    page.fill("[name=part_b]", part_b)
    page.click("text=Check it")
    page.wait_for_selector("#verdict")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_bench_says_what_to_weigh_then_whether_it_is_right_then_the_rest(
    browse: Any, bench: str, sound: Any, dark: bool
) -> None:
    """Targets and fields on the first screen; the verdict above the numbers it is about and what to do about it."""
    page = browse("phone", dark=dark)
    page.goto(bench)
    assert low(page, "[name=part_b]") < FOLD
    assert top(page, "#targets .huge") < top(page, "[name=part_a]") < top(page, "#weighed")
    assert (
        page.evaluate("parseFloat(getComputedStyle(document.querySelector('[name=part_a]')).fontSize)") >= 32
    )
    sound(page)
    weigh(page, "4412", "9861")
    expect(page.locator("#verdict")).to_contain_text("parts swapped")
    assert top(page, "#verdict") < top(page, "#check .stat-value") < top(page, "text=Weigh it again") < FOLD
    sound(page)
    page.click("text=Weigh it again")
    weigh(page, "9861", "4412")
    assert top(page, "#verdict") < FOLD / 2
    assert low(page, "text=Mixing starts") < FOLD
    sound(page)
    page.click("text=Mixing starts")
    page.wait_for_selector("#clocks .gauge")
    assert low(page, "#clocks .huge") < FOLD / 2
    assert page.locator("#clocks .gauge").count() == 2, "mixing and working time"
    sound(page)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_first_hour_counts_down_and_its_answers_are_on_the_first_screen(
    browse: Any, shop: Any, watched: int, sound: Any, dark: bool
) -> None:
    """How it was, when the next check is due, what to look at, three answers: in this order, on one screen."""
    page = browse("phone", dark=dark)
    page.goto(f"/pours/{watched}/first-hour")
    expect(page.locator("#due .huge")).to_have_text(re.compile(r"^[0-9]:[0-9]{2}$"))
    expect(page.locator("#due")).to_contain_text("at 08:05")
    sound(page)
    shop.feed(0.06, 15, lambda _h: {"core": 22.0, "surface": 22.0, "room": 21.0})
    page.reload()
    answers = [page.get_by_role("button", name=name) for name in ("Dry, level", "It is leaking", "Later")]
    tops = [answer.bounding_box()["y"] for answer in answers]
    places = [top(page, "#check-now"), top(page, "#points"), *tops]
    assert places == sorted(places)
    assert all(answer.bounding_box()["height"] >= 60 for answer in answers)
    assert tops[-1] + answers[-1].bounding_box()["height"] < FOLD
    sound(page)
    page.get_by_text("Something else wrong?").click()
    sound(page)
    answers[1].click()
    expect(page.locator("#due .verdict.stop")).to_contain_text("Catch what comes out")
    assert top(page, "#due .verdict.stop") < FOLD / 2
    expect(page.get_by_text("gloves and eye protection")).to_be_visible()
    sound(page)


def test_the_first_hour_without_its_script_says_the_due_time(
    browse: Any, chromium: Any, address: str, watched: int
) -> None:
    """And its answers are plain forms."""
    cookies = browse("phone").context.cookies()
    context = chromium.new_context(base_url=address, java_script_enabled=False)
    context.add_cookies(cookies)
    page = context.new_page()
    page.goto(f"/pours/{watched}/first-hour")
    assert page.inner_text("#due .huge") == "08:05"
    page.get_by_role("button", name="It is leaking").click()
    assert "Catch what comes out" in page.inner_text("#due")
    page.get_by_role("button", name="Dry, level").click()
    assert "Dry, level" in page.inner_text("#due .verdict")
    context.close()


def test_a_cup_and_a_probe_in_the_hand_are_answered_first(
    browse: Any, shop: Any, clock: Any, sound: Any
) -> None:
    """How hot the cup is; which probe is held, its place in the cut, and one thing to press."""
    with shop.service.store.write() as tx:
        key = resins.put(tx, 0, "Ada", RESIN)
    page = browse("phone")
    for step in range(10):
        clock.move(10)
        shop.sweep(core=20.0 + max(0, step - 3), surface=20.0, underside=20.0, room=20.0)
    page.goto("/stations/bench-1/hand")
    expect(page.locator("#hand .verdict")).to_contain_text("Core")
    assert page.locator("#hand .held").count() == 1
    assert low(page, "text=Yes, that is where it will sit") < FOLD
    sound(page)
    page.goto(f"/resins/{key}/cup-test")
    assert low(page, ".stat-value") < FOLD / 2
    sound(page)
    page.click("text=Mixed now")
    for _ in range(5):
        clock.move(120)
        shop.sweep(core=23.0, room=20.0)
    page.reload()
    assert low(page, "#cup .huge") < FOLD
    sound(page)
    for celsius in (90.0, 120.0, 140.0, 140.0, 140.0):
        clock.move(120)
        shop.sweep(core=celsius, room=20.0)
    page.wait_for_selector("body.alert.high")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    red, green, blue = (int(part) for part in re.findall(r"\d+", ground)[:3])
    assert red > 3 * max(green, blue), f"a page that is open turns red: {ground}"
    sound(page)


def test_a_messages_page_asks_in_big_answers_that_stand_apart(
    browse: Any, shop: Any, watched: int, sound: Any
) -> None:
    """On a phone that is not signed in; it asks for no font and no script."""
    with shop.service.store.write() as tx:
        due_ms = shop.service.timeline.true_ms() + 120_000
        token = new_token(tx, Purpose.LOOK, "first", None, shop.service.timeline.now_ms(), (watched, due_ms))
    asked: list[str] = []
    for dark in (False, True):
        page = browse("phone", dark=dark, signed_in=False)
        page.on("request", lambda request: asked.append(request.resource_type))
        page.goto(f"/look/{token}")
        sound(page)
    assert set(asked) == {"document", "stylesheet"}
    page.get_by_role("button", name="Wet").click()
    sound(page)


def test_the_doors_stand_in_the_middle_of_a_wide_screen(browse: Any) -> None:
    """One narrow column, on a phone as on a wall's screen; the way in is a thumb's width."""
    for width in (390, 1440, 1920):
        page = browse("desktop", width=width, signed_in=False)
        page.goto("/sign-in")
        box = page.locator("form").bounding_box()
        assert box["width"] <= 26 * 16
        assert abs(box["x"] + box["width"] / 2 - width / 2) <= 8
        assert page.get_by_role("button", name="Sign in").bounding_box()["height"] >= 60
