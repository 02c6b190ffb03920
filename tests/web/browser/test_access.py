"""Pages for everybody: WCAG 2.2 AA by axe-core, 7:1 on alert pages, 320 px, light and dark, states without colour."""

from __future__ import annotations

from typing import Any

import pytest

from logger.delivery import signed_links
from logger.pour import Stage
from logger.store import events, resins, shared_links, stations

pytestmark = pytest.mark.browser
#: Tags of axe-core's rules that stand for WCAG 2.2 at levels A and AA.
AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


#: What lies beside the alarms' own pages and is none.
LISTS = ("/alarms/rates", "/alarms/table")
#: A resin as the list keeps it (invented), with one statement fitted.
RESIN = {
    "name": "Slow casting system (invented)",
    "note": "",
    "sheet_toml": None,
    "mix": {},
    "source": {"kind": "datasheet"},
    "table": {
        "name": "Slow casting system (invented)",
        "heat_of_cure_j_g": 330.0,
        "rate": {"k1_per_s": 5e-7, "k2_per_s": 1.4e-5},
    },
    "fit": {
        "resin": {
            "heat_of_cure_j_g": 330.0,
            "rate": {"k1_per_s": 5e-7, "k2_per_s": 1.4e-5, "e1_j_mol": 58_000.0},
        },
        "points": [
            {
                "statement": "a working time of 600 min for 1 kg at 25 °C",
                "quantity": "working time",
                "unit": "h",
                "stated": 10.0,
                "fitted": 9.7,
                "tolerance_pct": 21.0,
                "off": -0.1,
                "bound": False,
            }
        ],
        "curves": [
            {
                "statement": "a working time of 600 min for 1 kg at 25 °C",
                "hours": [0.0, 5.0, 10.0, 20.0],
                "core_c": [25.0, 27.0, 34.0, 60.0],
                "mean_conversion": [0.0, 0.1, 0.25, 0.7],
            }
        ],
        "ranges_90pct": {
            "k1_per_s": [2e-7, 1e-6],
            "k2_per_s": [1e-5, 2e-5],
            "e_j_mol": [45_000.0, 71_000.0],
            "heat_of_cure_j_g": [280.0, 390.0],
        },
        "assumptions": ["a cup"],
        "warnings": ["every statement is at one temperature"],
    },
}


@pytest.fixture
def pages(shop: Any, clock: Any, plan_toml: str) -> list[str]:
    """Every page, with a planned pour, a hot one with its alarm, and one that went silent."""
    with shop.service.store.write() as tx:
        stations.enrol(tx, "bench-2", shop.service.timeline.true_ms())
    silent, hot, planned = shop.plan(plan_toml, station="bench-2"), shop.plan(plan_toml), shop.plan(plan_toml)
    shop.go(silent, Stage.READY, Stage.POURING)
    clock.move(600)
    shop.go(hot, Stage.READY, Stage.POURING)
    shop.feed(0.03, 5, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 30.0, "room": 21.0})
    with shop.service.store.read() as connection:
        row = connection.exec_driver_sql("SELECT id FROM alarm WHERE kind = 'core-hot'").first()
    with shop.service.store.write() as tx:
        key = resins.put(tx, 0, "Ada", RESIN)
        now_ms = shop.service.timeline.now_ms()
        card = shared_links.publish_card(tx, hot, "A river table", "Ada", now_ms)
        one_tap = "/a/" + signed_links.new_token(
            tx, signed_links.Purpose.ACKNOWLEDGE, "first", row[0], now_ms
        )
    return [
        "/",
        f"/alarms/{row[0]}",
        f"/pours/{hot}",
        f"/pours/{hot}/first-hour",
        f"/pours/{hot}/record",
        f"/pours/{hot}/label",
        f"/pours/{hot}/sheet",
        f"/pours/{hot}/annex",
        f"/card/{card}",
        f"/pours/{planned}",
        f"/pours/{planned}/plan",
        f"/pours/{planned}/ready",
        f"/pours/{planned}/mix",
        "/pours/new",
        "/stations",
        "/settings",
        "/help",
        "/help/plan-file",
        "/resins",
        "/resins/new",
        f"/resins/{key}/cup-test",
        "/nowhere",
        "/shop",
        "/shop/import",
        "/compare",
        "/messages",
        "/phone",
        "/phone?kind=mail",
        "/offline",
        "/people",
        "/links",
        "/wall",
        "/me",
        "/alarms/rates",
        "/alarms/table",
        "/glossary",
        one_tap,
        "/placing",
        "/wiring",
        "/stations/bench-1/hand",
        "/stations/bench-1/probes/28-0000000000c1",
        "/stations/bench-1/probes/28-0000000000c1/ice",
        "/stations/bench-1/probes/28-0000000000c1/dip",
    ]


def test_no_page_breaks_a_rule_of_wcag_aa_on_the_narrowest_phone(
    browse: Any, axe: str, pages: list[str]
) -> None:
    """The alert page's text reaches 7:1. None scrolls sideways; buttons and the frame's links are at least 44 px high,
    the acknowledgement 64. Wider screens: test_every_page.py.
    """
    page = browse("desktop", dark=True, width=320)
    _stay(page)
    broken = []
    for path in pages:
        page.goto(path)
        assert crowded(page, path) == []
        page.evaluate(axe)
        rules = {"runOnly": {"type": "tag", "values": AA}}
        found = page.evaluate("(rules) => axe.run(rules)", rules)["violations"]
        if path.startswith(("/alarms/", "/a/")) and path not in LISTS:
            seven = {"runOnly": {"type": "rule", "values": ["color-contrast-enhanced"]}}
            found += page.evaluate("(rules) => axe.run(rules)", seven)["violations"]
        broken += [(path, rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found]
    assert broken == []


#: Whatever is wider than its own box, in which it could be swept sideways.
SWEPT = """() => {
  document.querySelectorAll("main details").forEach(one => { one.open = true; });
  return [...document.querySelectorAll("main *")]
    .filter(one => one.querySelector("table") && one.scrollWidth > one.clientWidth + 1
      && ["auto", "scroll"].includes(getComputedStyle(one).overflowX))
    .map(one => one.getAttribute("aria-label") || one.className);
}"""


def test_on_a_phone_a_desks_tables_are_rows_of_facts(browse: Any, shop: Any, pages: list[str]) -> None:
    """None is swept sideways: shelf, messages, statistics, resins, comparison, probes, all unfolded."""
    lot = {"product": RESIN["name"], "part": "A", "lot": "A-17", "kg": 20.0, "expires_on": "2027-04-30"}
    with shop.service.store.write() as tx:
        events.add_event(
            tx, None, shop.service.timeline.true_ms(), "stock", "Ada", "", lot | {"what": "received"}
        )
    page = browse("phone")
    _stay(page)
    desk = [path for path in pages if not path.startswith(("/pours/", "/a/", "/help/"))]
    swept = []
    for path in desk:
        page.goto(path)
        swept += [(path, one) for one in page.evaluate(SWEPT)]
        assert page.evaluate("document.documentElement.scrollWidth") == 390, path
    assert swept == []


@pytest.mark.parametrize("rise_k", [30.0, 120.0], ids=["calm", "dangerously hot"])
@pytest.mark.parametrize(("width", "dark"), [(320, True), (1440, False)])
def test_a_running_cup_breaks_no_rule_calm_or_red(
    browse: Any, axe: str, shop: Any, clock: Any, width: int, dark: bool, rise_k: float
) -> None:
    """What a page that turned red says must still be read; nothing scrolls sideways."""
    with shop.service.store.write() as tx:
        key = resins.put(tx, 0, "Ada", RESIN)
    shop.sweep(core=21.0, room=21.0)
    page = browse("desktop", dark=dark, width=width)
    _stay(page)
    page.goto(f"/resins/{key}/cup-test")
    page.click("text=Mixed now")
    for minute in range(0, 60, 2):
        clock.move(120)
        shop.sweep(core=21.0 + rise_k * minute / 58, room=21.0)
    page.reload()
    assert (page.locator("body.alert").count() == 1) is (rise_k > 100)
    page.evaluate(axe)
    rules = {"runOnly": {"type": "tag", "values": AA}}
    found = page.evaluate("(rules) => axe.run(rules)", rules)["violations"]
    assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == []
    if width == 320:
        assert crowded(page, "/resins/cup-test") == []


def test_the_doors_break_no_rule_either(browse: Any, axe: str) -> None:
    """What somebody sees who is not known yet."""
    page = browse("phone", signed_in=False, width=320)
    for path in ("/sign-in", "/join"):
        page.goto(path)
        page.evaluate(axe)
        found = page.evaluate("(rules) => axe.run(rules)", {"runOnly": {"type": "tag", "values": AA}})[
            "violations"
        ]
        assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path


def crowded(page: Any, path: str) -> list[str]:
    """What is wrong with a page's room: it scrolls sideways, or has targets that a glove misses."""
    lowest = 64 if path.startswith("/alarms/") and path not in LISTS else 44
    found = page.evaluate(
        "(lowest) => [...document.querySelectorAll('button, .button, summary, .top a, .trouble a, select, '"
        "+ 'input:not([type=hidden])')]"
        ".filter((e) => e.offsetParent && !e.closest('label.tick')"
        "&& e.getBoundingClientRect().height < lowest).map((e) => e.outerHTML.slice(0, 90))",
        lowest,
    )
    width = page.evaluate("document.documentElement.scrollWidth")
    return [f"{path}: {low}" for low in found] + ([f"{path}: {width} px wide"] if width > 320 else [])


def test_states_differ_in_word_and_shape(browse: Any, pages: list[str]) -> None:
    """Somebody who sees no colours tells the tiles apart."""
    page = browse("desktop")
    _stay(page)
    page.goto("/")
    told = page.evaluate(
        "[...document.querySelectorAll('.tile .state')]"
        ".map((e) => [e.textContent.trim(), e.querySelector('use').getAttribute('href')])"
    )
    assert len(told) == 2
    assert len({word for word, _ in told}) == 2
    assert len({shape for _, shape in told}) == 2


def _stay(page: Any) -> None:
    """The board is looked at here: it must not open the alarm by itself."""
    page.add_init_script("localStorage.setItem('pourlog-open', 'off')")
