"""Board and wall view in Chromium: they fill their screens, are read from five metres, and never show old as new."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import expect

from logger.store import shared_links
from logger.store.shared_links import LinkKind
from tests.many_pours import pour_many

pytestmark = pytest.mark.browser
PHONE, DESK, LARGE = (390, 844), (1440, 900), (1920, 1080)
#: What runs over: the page sideways; a tile beyond the screen; words beyond their tile, which would be cut.
RUNS_OVER = """() => {
  const root = document.documentElement, wrong = [];
  if (root.scrollWidth > innerWidth) wrong.push(`sideways: ${root.scrollWidth}`);
  for (const tile of document.querySelectorAll('.tile')) {
    const box = tile.getBoundingClientRect();
    if (box.right > innerWidth + 1 || box.left < -1) wrong.push(`${tile.id} is beside the screen`);
    const body = tile.querySelector('.tile-body'), room = body.getBoundingClientRect();
    for (const part of body.children) {
      const its = part.getBoundingClientRect();
      if (its.height && its.bottom > room.bottom + 1) wrong.push(`${tile.id}: ${part.className} is cut`);
    }
  }
  return wrong;
}"""
#: The smallest size of any visible text, px.
SMALLEST = """() => {
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  let smallest = Infinity;
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    if (!node.textContent.trim() || !node.parentElement.checkVisibility()) continue;
    if (node.parentElement.closest('template, .away, script')) continue;
    smallest = Math.min(smallest, parseFloat(getComputedStyle(node.parentElement).fontSize));
  }
  return smallest;
}"""
#: Place and size of each tile, px.
BOXES = """() => [...document.querySelectorAll('.tile')].map((tile) => {
  const box = tile.getBoundingClientRect();
  return [box.x, box.y, box.width, box.height];
})"""
#: How high the figures of the first tile are drawn, px.
FIGURES = """() => {
  const huge = document.querySelector('.tile:first-child .huge'), style = getComputedStyle(huge);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return pen.measureText('0').actualBoundingBoxAscent;
}"""


@pytest.fixture
def on_wall(service: Any, address: str, owner: str, chromium: Any) -> Any:
    """Opens the wall view by a link, in a browser where nobody is signed in."""
    contexts = []

    def opened(
        size: tuple[int, int] = LARGE, script: str = "", *, clients: bool = False, **options: Any
    ) -> Any:
        with service.store.write() as tx:
            now_ms = service.timeline.now_ms()
            _row, token = shared_links.share(tx, None, "wall", "Ada", now_ms, LinkKind.WALL, clients=clients)
        view = {"width": size[0], "height": size[1]}
        context = chromium.new_context(viewport=view, base_url=address, **options)
        context.set_default_timeout(20_000)
        contexts.append(context)
        page = context.new_page()
        if script:
            page.add_init_script(script)
        page.clock.install()
        page.goto(f"/shared/{token}")
        return page

    yield opened
    for context in contexts:
        context.close()


@pytest.mark.parametrize("count", [1, 2, 4, 12])
def test_every_number_of_pours_fills_the_screen_and_nothing_runs_over(
    browse: Any, service: Any, clock: Any, plan_toml: str, count: int
) -> None:
    """Calm: on a large screen nothing has to be scrolled; on a phone one and two pours are on the first screen."""
    pour_many(service, clock, plan_toml, count)
    page = browse("desktop")
    for path in ("/", "/wall"):
        for width, height in (PHONE, DESK, LARGE):
            page.set_viewport_size({"width": width, "height": height})
            page.goto(path)
            assert page.evaluate(RUNS_OVER) == [], (path, width)
            tall = page.evaluate("document.documentElement.scrollHeight")
            if (
                (width, height) == LARGE
                or (path == "/wall" and width > PHONE[0])
                or (width > PHONE[0] and count < 12)
            ):
                assert tall <= height, (path, width)
            lowest = max(y + high for _, y, _, high in page.evaluate(BOXES))
            if width > PHONE[0]:
                assert lowest > 0.8 * height, "the screen is filled"
            elif count <= 2:
                assert lowest <= height, "each answer is on a phone's first screen"


def test_trouble_leads_and_is_the_largest_tile(browse: Any, service: Any, clock: Any, plan_toml: str) -> None:
    """On the board of a phone it is on the first screen; on a wall nothing of it is cut."""
    made = pour_many(service, clock, plan_toml, 12, hours=18.0, hot=[4, 9], lost=[7])
    page = browse("desktop")
    page.add_init_script("localStorage.setItem('pourlog-open', 'off')")
    for path in ("/", "/wall"):
        for width, height in (PHONE, DESK, LARGE):
            page.set_viewport_size({"width": width, "height": height})
            page.goto(path)
            assert page.evaluate(RUNS_OVER) == [], (path, width)
            first = page.locator(".tile").first.get_attribute("id")
            assert first in (f"tile-{made[4]}", f"tile-{made[9]}")
            boxes = page.evaluate(BOXES)
            areas = [wide * high for _, _, wide, high in boxes]
            assert min(areas[:3]) > max(areas[3:]) or width == PHONE[0] or path == "/wall", (
                "trouble is larger"
            )
            assert areas[0] > max(areas[3:])
            assert boxes[0][1] + boxes[0][3] <= height


@pytest.mark.parametrize("count", [1, 4, 12])
def test_the_wall_is_read_from_five_metres(
    on_wall: Any, service: Any, clock: Any, plan_toml: str, count: int
) -> None:
    """The figures of the gravest are an eighth of the screen high; no text is smaller than 24 px."""
    pour_many(service, clock, plan_toml, count, hours=18.0, hot=[0])
    page = on_wall()
    expect(page.locator(".tile")).to_have_count(count)
    assert page.evaluate(FIGURES) >= LARGE[1] / 8
    assert page.evaluate(SMALLEST) >= 24


def test_the_sign_of_life_stops_with_contact_and_words_take_the_whole_screen(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """The network is cut: the mark stands still, then nothing old is to be seen; it comes back by itself."""
    pour_many(service, clock, plan_toml, 1)
    page = on_wall()
    life, lost = page.locator("#wall-life"), page.locator("#wall-lost")
    seen = []
    for _second in range(4):
        seen.append(life.get_attribute("data-beat"))
        page.clock.run_for(1000)
    assert len(set(seen)) == 4, "another bar each second"
    expect(page.locator("#wall-life-words")).to_have_text("Live")
    shown = page.locator(".wall-clock").inner_text()
    page.context.set_offline(True)
    page.clock.run_for(16_000)
    expect(life).to_have_attribute("data-beat", "")
    expect(lost).to_be_hidden()
    page.clock.run_for(16_000)
    expect(lost).to_contain_text(f"No contact since {shown}")
    box = lost.bounding_box()
    assert (box["width"], box["height"]) == LARGE
    assert page.evaluate("document.elementFromPoint(960, 540).closest('#wall-lost') !== null")
    assert (
        page.evaluate("parseFloat(getComputedStyle(document.querySelector('.wall-lost-state')).fontSize)")
        > 100
    )
    page.context.set_offline(False)
    page.clock.run_for(6000)
    expect(lost).to_be_hidden()
    expect(page.locator("#wall-life-words")).to_have_text("Live")


def test_a_service_that_answers_with_an_error_is_no_contact(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """What it last said stays for half a minute, and no longer."""
    pour_many(service, clock, plan_toml, 1)
    page = on_wall()
    page.route("**/wall", lambda route: route.fulfill(status=503, body="no"))
    page.clock.run_for(36_000)
    expect(page.locator("#wall-lost")).to_be_visible()


def test_sound_is_asked_for_by_keyboard_and_ends_when_somebody_takes_the_alarm(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """Silent until it is asked for; then again and again; what it does is seen on the button."""
    pour_many(service, clock, plan_toml, 1, hours=18.0, hot=[0])
    page = on_wall()
    page.clock.run_for(9000)
    assert page.evaluate("document.body.dataset.sounded") is None
    page.keyboard.press("Tab")
    expect(page.locator("#wall-sound")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#wall-sound")).to_have_text("Sound is on")
    expect(page.locator("#wall-sound")).to_have_attribute("aria-pressed", "true")
    first = int(page.evaluate("document.body.dataset.sounded"))
    page.clock.run_for(8500)
    again = int(page.evaluate("document.body.dataset.sounded"))
    assert again >= first + 4, "two tones every four seconds"
    with service.store.write() as tx:
        tx.exec_driver_sql(
            "UPDATE alarm SET phase = 'acknowledged', acknowledged_by = 'Ada' WHERE phase = 'raised'"
        )
    with page.expect_response("**/wall"):
        page.clock.run_for(5500)
    expect(page.locator("#wall-live")).to_have_attribute("data-loud", "0")
    taken = page.evaluate("document.body.dataset.sounded")
    page.clock.run_for(9000)
    assert page.evaluate("document.body.dataset.sounded") == taken
    expect(page.locator(".tile").first).to_contain_text("Ada is on it")


WAKING = """
window.held = 0;
Object.defineProperty(navigator, 'wakeLock', { value: { request: async () => {
  const lock = new EventTarget();
  window.held += 1;
  lock.release = async () => { window.held -= 1; lock.dispatchEvent(new Event('release')); };
  return lock;
} } });
"""
ASLEEP = "Object.defineProperty(navigator, 'wakeLock', { value: undefined });"


def test_the_screen_is_kept_awake_where_the_browser_can_and_says_so_where_it_cannot(on_wall: Any) -> None:
    """By keyboard. Over plain HTTP no browser lends itself to it: what it takes is said."""
    page = on_wall(script=WAKING)
    button = page.locator("#wall-awake")
    button.focus()
    page.keyboard.press("Enter")
    expect(button).to_have_text("The screen stays awake")
    assert page.evaluate("held") == 1
    page.keyboard.press("Space")
    expect(button).to_have_text("Keep the screen awake")
    assert page.evaluate("held") == 0
    without = on_wall(script=ASLEEP)
    without.locator("#wall-awake").press("Enter")
    expect(without.locator("#wall-note")).to_contain_text("only over HTTPS")
    expect(without.locator("#wall-awake")).to_have_attribute("aria-pressed", "false")
    assert without.evaluate(SMALLEST) >= 24


def test_the_wall_is_dark_unless_its_screen_is_asked_for_light(on_wall: Any) -> None:
    """Whatever its system prefers; the choice outlives a reload."""
    page = on_wall(color_scheme="light")
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(13, 19, 18)"
    page.locator("#wall-light").press("Enter")
    assert page.evaluate(ground) == "rgb(238, 241, 240)"
    page.reload()
    assert page.evaluate(ground) == "rgb(238, 241, 240)"


def test_everything_on_the_wall_moves_each_minute(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """By a few pixels, so that nothing burns in; nine places, all on the screen."""
    pour_many(service, clock, plan_toml, 2)
    page = on_wall()
    places = set()
    for _minute in range(9):
        box = page.locator("#wall-live").bounding_box()
        places.add((box["x"], box["y"]))
        assert page.evaluate(RUNS_OVER) == []
        clock.move(60)
        with page.expect_response("**/wall"):
            page.clock.run_for(5500)
        page.wait_for_function("!document.querySelector('#wall-live').dataset.was")
    xs, ys = ([place[i] for place in places] for i in (0, 1))
    assert len(places) >= 8
    assert 0 < max(xs) - min(xs) <= 8
    assert 0 < max(ys) - min(ys) <= 8


def test_without_scripts_the_wall_shows_its_state_and_comes_anew(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """No button that does nothing, no sign of life that would never stop."""
    pour_many(service, clock, plan_toml, 2)
    page = on_wall(java_script_enabled=False)
    expect(page.locator(".tile")).to_have_count(2)
    expect(page.locator("#wall-foot")).to_be_hidden()
    assert re.search(r'<meta http-equiv="refresh" content="10">', page.content())


def test_an_ended_link_is_said_on_the_open_wall(
    on_wall: Any, service: Any, clock: Any, plan_toml: str
) -> None:
    """Within seconds, and without a form for a password."""
    pour_many(service, clock, plan_toml, 1)
    page = on_wall()
    expect(page.locator(".tile")).to_have_count(1)
    with service.store.write() as tx:
        shared_links.end(tx, 1, service.timeline.now_ms())
    page.clock.run_for(6000)
    expect(page.locator("body")).to_contain_text("The link of this screen was ended")
    expect(page.locator("input")).to_have_count(0)
    expect(page.locator(".tile")).to_have_count(0)
