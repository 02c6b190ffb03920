"""The chart and the cross-section are read in Chromium: ranges, names, gaps, marks, by finger and by keys."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.pour import Stage
from logger.store import forecasts
from web.actions import pours as pour_actions

pytestmark = pytest.mark.browser
#: What a forecast says (invented): a core that passes 60 °C.
FORECAST: dict[str, Any] = {
    "at_h": 0.5,
    "core_peak_c": {"p05": 58.0, "p50": 66.0, "p95": 78.0},
    "core_peak_at_h": {"p05": 10.0, "p50": 12.0, "p95": 15.0},
    "chance_core_over_limit": 0.8,
    "causes": [],
    "time_left_h": 9.0,
    "bands": {
        "hours": [0.5, 6.0, 12.0, 24.0],
        "core_c": {
            "p05": [22.0, 34.0, 58.0, 30.0],
            "p50": [22.5, 38.0, 66.0, 34.0],
            "p95": [23.0, 43.0, 78.0, 40.0],
        },
    },
}
#: Every name on the chart: (text, left, top, right, bottom), px from the picture's corner.
NAMES = """() => {
  const field = document.querySelector('.curve-field').getBoundingClientRect();
  return [...document.querySelectorAll('.curve-label')].map((one) => {
    const box = one.getBoundingClientRect();
    return [one.textContent, box.left - field.left, box.top - field.top, box.right - field.left,
      box.bottom - field.top, field.width, field.height];
  });
}"""
#: What has moved by itself since the page began, and how far, as browsers count it.
SHIFTS = """() => new Promise((done) => {
  const moved = [];
  new PerformanceObserver((list) => {
    for (const one of list.getEntries()) if (!one.hadRecentInput) moved.push([one.value, one.sources.map((source) =>
      `${source.node?.nodeName} ${source.node?.id || source.node?.className || source.node?.textContent} `
      + `${source.previousRect.y} -> ${source.currentRect.y}`)]);
  }).observe({type: 'layout-shift', buffered: true});
  setTimeout(() => done(moved), 300);
})"""


def poured(shop: Any, plan_toml: str, hours: float, step_s: float = 60, **celsius: float) -> int:
    """A pour whose probes have read the same for some hours."""
    pour = int(shop.plan(plan_toml))
    shop.go(pour, Stage.READY, Stage.POURING)
    at = celsius or {"core": 30.0, "surface": 29.9, "underside": 29.8, "room": 21.0}
    shop.feed(hours, step_s, lambda _h: at)
    return pour


def opened(browse: Any, pour: int, size: str = "phone", path: str = "", **how: Any) -> Any:
    """The pour's page with its chart drawn from what was read."""
    page = browse(size, **how)
    page.goto(f"/pours/{pour}{path}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4")
    return page


@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_a_chart_opens_with_the_hours_of_its_stage_and_keeps_anothers_choice(
    browse: Any, shop: Any, plan_toml: str, size: str
) -> None:
    """Half an hour after pouring it fills a third of the width and more, out of three days."""
    pour = poured(shop, plan_toml, 0.5)
    page = opened(browse, pour, size)
    expect(page.locator("#curve")).to_have_attribute("data-range", "first-hour")
    until = page.evaluate("document.getElementById('curve').layout.xaxis.range[1]")
    assert 0.5 / until > 0.33
    every = page.get_by_role("button", name="All", exact=True)
    assert every.get_attribute("aria-pressed") == "false"
    if size == "phone":
        assert every.bounding_box()["height"] >= 48
    every.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#curve")).to_have_attribute("data-range", "all")
    assert every.get_attribute("aria-pressed") == "true"
    page.reload()
    expect(page.locator("#curve")).to_have_attribute("data-range", "all")


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("range_", ["First hour", "All"])
def test_names_at_the_lines_ends_never_cover_each_other(
    browse: Any, shop: Any, plan_toml: str, width: int, range_: str
) -> None:
    """Three probes within a fifth of a degree, the plan beside them, and the limit: each can be read, whole."""
    pour = poured(shop, plan_toml, 0.9)
    page = opened(browse, pour, "desktop", width=width)
    page.get_by_role("button", name=range_, exact=True).click()
    names = page.evaluate(NAMES)
    texts = [name[0] for name in names]
    assert {"core 30.0°", "surface 29.9°", "underside 29.8°", "core as planned"} < set(texts)
    assert any(text.startswith("limit") for text in texts)
    for text, left, top, right, bottom, wide, high in names:
        assert 0 <= left < right <= wide + 1, f"{text!r} is cut off"
        assert 0 <= top < bottom <= high, f"{text!r} is cut off"
    for one, other in itertools.combinations(names, 2):
        apart = one[3] <= other[1] or other[3] <= one[1] or one[4] <= other[2] + 1 or other[4] <= one[2] + 1
        assert apart, f"{one[0]!r} covers {other[0]!r}"


@pytest.mark.parametrize("hours", [11, 18])
def test_no_line_runs_through_its_own_name(browse: Any, shop: Any, plan_toml: str, hours: int) -> None:
    """A plan that is not poured: its course falls at the edge under its name, and the limit is the top of the chart."""
    hot = plan_toml.replace("room_c = 21", "room_c = 27").replace("depth_mm = 40", "depth_mm = 50")
    pour = int(shop.plan(f"{hot}[run]\nhours = {hours}\n"))
    page = browse("phone")
    page.goto(f"/pours/{pour}")
    page.get_by_role("button", name="All", exact=True).click()
    expect(page.locator(".curve-label.limit")).to_be_visible()
    crossed = page.evaluate(
        """(limit) => {
          const chart = document.getElementById("curve"), { xaxis, yaxis } = chart._fullLayout;
          const field = document.querySelector(".curve-field").getBoundingClientRect();
          const course = chart.data.reduce((a, b) => (b.x.length > a.x.length ? b : a));
          const points = course.x.map((x, i) => [xaxis._offset + xaxis.l2p(x), yaxis._offset + yaxis.l2p(course.y[i])]);
          const level = yaxis._offset + yaxis.l2p(limit);
          return [...document.querySelectorAll(".curve-label")].filter((one) => {
            const box = one.getBoundingClientRect(), left = box.left - field.left, top = box.top - field.top;
            const within = (y) => y > top + 2 && y < top + box.height - 2;
            return one.classList.contains("limit") ? within(level)
              : points.some(([x, y]) => x >= left && x <= left + box.width && within(y));
          }).map((one) => one.textContent);
        }""",
        60.0,
    )
    assert crossed == []


def test_at_most_four_lines_are_drawn_until_all_are_asked_for(browse: Any, shop: Any, plan_toml: str) -> None:
    """And none is lost: the read-out has every probe."""
    pour = poured(shop, plan_toml, 0.3)
    page = opened(browse, pour)
    lines = "document.getElementById('curve').data.filter((t) => t.line && t.line.width).map((t) => t.name)"
    assert sorted(page.evaluate(lines)) == ["core", "core as planned", "surface", "underside"]
    page.get_by_role("button", name="All lines").click()
    assert "room" in page.evaluate(lines)
    page.locator(".curve-hand").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#curve-read")).to_contain_text("room 21.0 °C")


def test_the_arrow_keys_read_the_curve_in_words(browse: Any, shop: Any, plan_toml: str) -> None:
    """Clock, span and values; a gap is said as one; Escape lets go."""
    pour = poured(shop, plan_toml, 0.25)
    shop.clock.move(0.4 * 3600)
    shop.feed(0.25, 60, lambda _h: {"core": 31.5, "surface": 29.9, "underside": 29.8, "room": 21.0})
    page = opened(browse, pour)
    hand, read = page.locator(".curve-hand"), page.locator("#curve-read")
    assert read.get_attribute("aria-live") == "polite"
    hand.focus()
    page.keyboard.press("ArrowLeft")
    expect(read).to_contain_text(
        "after pouring: core 31.5 °C, surface 29.9 °C, underside 29.8 °C, room 21.0 °C"
    )
    expect(read).to_contain_text("0 h 54 min after pouring")
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("PageUp")
    expect(read).to_contain_text("no reading")
    assert "after pouring" in read.inner_text()
    assert hand.get_attribute("aria-valuetext")
    page.keyboard.press("Escape")
    expect(read).to_contain_text("Point at the curve")


def test_the_curve_is_read_in_the_readers_units_and_language(
    browse: Any, shop: Any, plan_toml: str, address: str
) -> None:
    """°F for who reads °F, and a decimal comma in German."""
    pour = poured(shop, plan_toml, 0.3)
    page = browse("phone")
    page.context.add_cookies(
        [
            {"name": "pourlog_units", "value": "f.in.gal.lb", "url": address},
            {"name": "pourlog_language", "value": "de", "url": address},
        ]
    )
    page.goto(f"/pours/{pour}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4")
    page.locator(".curve-hand").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#curve-read")).to_contain_text("86,0 °F")
    assert any("86,0°" in name[0] for name in page.evaluate(NAMES))


def test_a_value_that_is_old_is_not_written_as_of_now(browse: Any, shop: Any, plan_toml: str) -> None:
    """The station is silent for ten minutes: the line ends there, with its name alone."""
    pour = poured(shop, plan_toml, 0.3)
    shop.clock.move(600)
    page = opened(browse, pour)
    texts = [name[0] for name in page.evaluate(NAMES)]
    assert "core" in texts
    assert not any("30.0" in text for text in texts)


def test_alarms_and_deeds_are_marks_that_say_what_they_are(browse: Any, shop: Any, plan_toml: str) -> None:
    """By keyboard and by a tap."""
    pour = poured(shop, plan_toml, 0.3)
    pour_actions.add_entry(shop.service, pour, "Ada", pour_actions.Entry("Tape pressed on"))
    shop.feed(0.3, 60, lambda _h: {"core": 66.5, "surface": 50.0, "underside": 40.0, "room": 21.0})
    page = opened(browse, pour, "desktop")
    marks, read = page.locator(".curve-mark"), page.locator("#curve-read")
    names = [mark.get_attribute("aria-label") for mark in marks.all()]
    assert any("Pouring began" in name for name in names)
    assert any("Alarm: The core is too hot" in name for name in names)
    page.locator(".curve-mark.high").first.focus()
    expect(read).to_contain_text("The core is too hot")
    assert read.locator("a").first.get_attribute("href").startswith("/alarms/")
    noted = next(mark for mark in marks.all() if "Tape pressed on" in mark.get_attribute("aria-label"))
    noted.click()
    expect(read).to_contain_text("Note: Tape pressed on")


def test_a_finger_reads_the_curve_and_the_page_still_scrolls(browse: Any, shop: Any, plan_toml: str) -> None:
    """Along it for the cursor; up and down belongs to the page."""
    pour = poured(shop, plan_toml, 0.5)
    page = opened(browse, pour)
    hand = page.locator(".curve-hand")
    hand.scroll_into_view_if_needed()
    box = hand.bounding_box()
    page.mouse.move(box["x"] + 0.2 * box["width"], box["y"] + 40)
    expect(page.locator("#curve-read")).to_contain_text("core 30.0 °C")
    assert hand.evaluate("one => getComputedStyle(one).touchAction") == "pan-y"


def test_hours_drawn_across_with_the_mouse_are_shown_alone(browse: Any, shop: Any, plan_toml: str) -> None:
    """A double press shows all of the range again."""
    pour = poured(shop, plan_toml, 0.5)
    page = opened(browse, pour, "desktop")
    hand = page.locator(".curve-hand")
    hand.scroll_into_view_if_needed()
    box, shown = hand.bounding_box(), "document.getElementById('curve').layout.xaxis.range"
    before = page.evaluate(shown)
    page.mouse.move(box["x"] + 100, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 300, box["y"] + 40, steps=4)
    page.mouse.up()
    low, high = page.evaluate(shown)
    assert before[0] < low < high < before[1]
    hand.dblclick()
    assert page.evaluate(shown) == before


def test_a_new_forecast_is_drawn_without_a_reload(browse: Any, shop: Any, plan_toml: str) -> None:
    """Its line, its band and what it says under the cursor; the chart leads to its peak."""
    pour = poured(shop, plan_toml, 1.2, core=30.0, surface=29.0, underside=28.0, room=21.0)
    page = opened(browse, pour)
    expect(page.locator("#curve")).to_have_attribute("data-lines", "core core-planned surface underside")
    with shop.service.store.write() as tx:
        forecasts.add_forecast(tx, pour, 0.5, shop.service.timeline.true_ms(), FORECAST)
    shop.service.news.publish("forecast", pour=pour)
    expect(page.locator("#curve")).to_have_attribute("data-lines", "core forecast surface underside")
    names = page.evaluate("document.getElementById('curve').data.map((t) => t.name)")
    assert "90 % range" in names
    page.locator(".curve-hand").focus()
    page.keyboard.press("Home")
    for _ in range(4):
        page.keyboard.press("PageUp")
    expect(page.locator("#curve-read")).to_contain_text("forecast ")
    expect(page.locator("#curve-read")).to_contain_text("90 % range")


@pytest.mark.parametrize("size", ["phone", "desktop"])
@pytest.mark.parametrize("path", ["", "/plan"])
def test_nothing_moves_while_the_curve_comes_and_it_comes_soon(
    browse: Any, shop: Any, plan_toml: str, size: str, path: str
) -> None:
    """Its height is reserved; the first picture has the readings; it takes the page less than a second's work.

    Counted is the work of the page's own thread: a busy machine takes longer by the clock.
    """
    pour = poured(shop, plan_toml, 0.5)
    page = browse(size)
    devtools = page.context.new_cdp_session(page)
    devtools.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(f"/pours/{pour}{path}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4")
    work = {one["name"]: one["value"] for one in devtools.send("Performance.getMetrics")["metrics"]}
    assert work["TaskDuration"] < 1.0
    # Opened again, so that the font is at hand: whatever moves is the chart's or the cross-section's doing.
    page.reload()
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4")
    moved = page.evaluate(SHIFTS)
    assert sum(value for value, _what in moved) <= 0.02, moved


def test_red_in_the_cross_section_is_above_the_limit_alone(browse: Any, shop: Any, plan_toml: str) -> None:
    """Its scale is one and the same in every picture, in even steps of lightness up to the limit (CIE 1976 L*)."""
    pour = poured(shop, plan_toml, 0.2)
    page = browse("phone")
    page.goto(f"/pours/{pour}")
    expect(page.locator("#cut")).to_have_attribute("data-drawn", "1")
    scale = page.evaluate(
        """() => {
          const cut = document.getElementById('cut'), ratio = devicePixelRatio, pen = cut.getContext('2d');
          const {left, length, top, limit} = JSON.parse(cut.dataset.scale);
          return Array.from({length: Math.floor(length) - 2}, (_, i) =>
            [...pen.getImageData((left + i + 1) * ratio, (top + 9) * ratio, 1, 1).data].slice(0, 3).concat(
              [(left + i + 1 - limit)]));
        }"""
    )
    below = [colour for colour in scale if colour[3] < -4]
    above = [colour for colour in scale if colour[3] > 4]
    assert len(below) > 100
    assert len(above) > 50
    assert not any(red > 1.6 * max(green, blue) for red, green, blue, _ in below), "red below the limit"
    assert all(red > 1.6 * max(green, blue) for red, green, blue, _ in above)
    tenths = [lightness(*below[len(below) * i // 10][:3]) for i in range(10)]
    steps = [b - a for a, b in itertools.pairwise(tenths)]
    assert min(steps) > 0.6 * max(steps), steps
    before = page.locator("#cut").get_attribute("data-scale")
    page.locator("details:has(#cut) > summary").click()
    page.locator("#cut-hour").fill("10")
    assert page.locator("#cut").get_attribute("data-scale") == before, "the scale does not move with the hour"


def lightness(red: int, green: int, blue: int) -> float:
    """CIE 1976 L* of an sRGB colour (IEC 61966-2-1; ISO/CIE 11664-4)."""
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
        for c in (red / 255, green / 255, blue / 255)
    ]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116 * (y ** (1 / 3) if y > (6 / 29) ** 3 else y / (3 * (6 / 29) ** 2) + 4 / 29) - 16


def test_compared_pours_begin_together(browse: Any, shop: Any, plan_toml: str) -> None:
    """Each from its own pouring, a day apart: one axis of hours, a name at each line's end."""
    for title, core in (("Round top (invented)", 26.0), ("Bench seat (invented)", 28.0)):
        pour = poured(shop, plan_toml.replace("River table for a fictional client", title), 0.5, core=core)
        shop.go(pour, Stage.WATCHED, Stage.CURING, Stage.RELEASED)
        shop.clock.move(24 * 3600)
    page = browse("phone")
    page.goto("/compare")
    expect(page.locator("#curve")).to_have_attribute("data-lines", "pour-0 pour-1")
    drawn = page.evaluate(
        "document.getElementById('curve').data.filter((t) => t.line?.width).map((t) => [t.x[0], t.x.at(-1)])"
    )
    assert all(0 <= first < 0.05 and last < 1.0 for first, last in drawn)
    page.locator(".curve-hand").focus()
    page.keyboard.press("Home")
    page.keyboard.press("PageUp")
    read = page.locator("#curve-read")
    expect(read).to_contain_text("Round top (invented) 26.0 °C")
    expect(read).to_contain_text("Bench seat (invented) 28.0 °C")
    assert page.locator(".curve-mark").count() == 0


def test_the_hottest_place_is_never_said_to_be_cooler_than_a_probe(
    browse: Any, shop: Any, plan_toml: str
) -> None:
    """The plan has 21 °C, the core reads 30 °C: the cross stands there, with what is read."""
    pour = poured(shop, plan_toml, 0.3)
    page = browse("desktop")
    page.goto(f"/pours/{pour}")
    expect(page.locator("#curve")).to_have_attribute("data-measured", "4")
    expect(page.locator("#cut")).to_have_attribute("data-hottest", "hottest 30.0°")
