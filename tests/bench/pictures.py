"""Makes pictures of every page, at each width, light and dark, in each state, and one sheet of them. Run by hand:

    python tests/bench/pictures.py [--to FOLDER] [--shops FOLDER] [--against FOLDER]
        [--pages REGEX] [--states calm hot] [--widths 390] [--schemes light]

The pages are those of the routes table; the workshop is invented, and its clock stands still, so that two runs compare:
with --against the sheet marks what looks other than in the pictures of an earlier run. With --shops the workshops are
kept in that folder, and used again if they are there. Writes index.html and pictures into the first folder, and prints
what did not go well: a page that refuses, a script's error, sideways scroll.
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
import time
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Error, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.every_page import NOT_FOUND, Page, pages_of
from tests.filled_shop import STATES, FilledShop, make_shops, open_shop
from web.security.access import COOKIE

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--force-color-profile=srgb"]
#: Width → height of the screen, px. The narrowest is a phone: touched, not pointed at.
SCREENS = {390: 844, 1440: 900, 1920: 1080}
PHONE = 390
SCHEMES = ("light", "dark")
#: A page is waited for no longer, and what it draws itself, ms: also on a machine that has other work.
PAGE_MS, DRAWN_MS = 60_000, 15_000
#: What a page draws by script, and whether all of it is there.
BY_SCRIPT = "#curve, #cut"
ALL_DRAWN = """() => document.fonts.status === "loaded" && [...document.querySelectorAll("#curve, #cut")]
  .every((box) => box.dataset.drawn !== undefined)"""
LOOK = """
:root { color-scheme: light dark; font: 15px/1.4 system-ui, sans-serif; }
body { margin: 20px; }
nav { position: sticky; top: 0; background: Canvas; padding: 8px 0; z-index: 1; }
nav a { margin-right: 12px; }
section { border-top: 1px solid GrayText; padding: 12px 0; }
h2 { font-size: 16px; margin: 0 0 8px; }
.row { display: grid; gap: 12px; align-items: start; margin-bottom: 12px; }
figure { margin: 0; }
figcaption { font-size: 12px; }
figure.other figcaption::before { content: "looks other "; font-weight: 700; color: #c00; }
.frame { display: block; height: 420px; overflow: hidden; border: 1px solid GrayText; }
img { width: 100%; display: block; }
"""


@dataclass
class Sheet:
    """Where pictures go, and what is on them: (state, page) → width → scheme → file. `wrong`: what did not go well."""

    folder: Path
    against: Path | None
    pages: dict[tuple[str, Page], dict[int, dict[str, str]]] = field(default_factory=dict)
    other: set[str] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)

    def add(self, state: str, page: Page, width: int, scheme: str, picture: bytes) -> None:
        """Keep a picture."""
        name = f"{state}-{page.name}-{width}-{scheme}.png"
        (self.folder / "pictures" / name).write_bytes(picture)
        self.pages.setdefault((state, page), {}).setdefault(width, {})[scheme] = name
        before = None if self.against is None else self.against / "pictures" / name
        if before is not None and (not before.exists() or before.read_bytes() != picture):
            self.other.add(name)

    def write(self, widths: Sequence[int]) -> Path:
        """Write the sheet."""
        states = list(dict.fromkeys(state for state, _ in self.pages))
        parts = [
            f'<nav>{"".join(f"""<a href="#{state}">{state}</a>""" for state in states)}'
            f'{"".join(f"""<a href="only-{state}.html">only {state}</a>""" for state in states)}'
            '<a href="index.html">all</a></nav>'
        ]
        for state in states:
            body = [f'<h1 id="{state}">{state}</h1>']
            body += [
                self._of_page(page, shown, widths)
                for (of_state, page), shown in self.pages.items()
                if of_state == state
            ]
            (self.folder / f"only-{state}.html").write_text(_document(parts[0], *body), encoding="utf-8")
            parts += body
        index = self.folder / "index.html"
        index.write_text(_document(*parts), encoding="utf-8")
        return index

    def _of_page(self, page: Page, shown: dict[int, dict[str, str]], widths: Sequence[int]) -> str:
        columns = [width for width in widths if width in shown]
        grid = " ".join(f"{1 if width < 1000 else 2}fr" for width in columns)
        rows = []
        for scheme in SCHEMES:
            cells = [
                f"<figure{' class=other' if name in self.other else ''}><figcaption>{width} {scheme}</figcaption>"
                f'<a class="frame" href="pictures/{name}"><img loading="lazy" src="pictures/{name}" '
                f'alt="{escape(page.name)}, {width} px, {scheme}"></a></figure>'
                for width in columns
                if (name := shown[width].get(scheme, ""))
            ]
            if cells:
                rows.append(f'<div class="row" style="grid-template-columns: {grid}">{"".join(cells)}</div>')
        head = f"<h2>{escape(page.name)} <small>{escape(page.route)}</small></h2>"
        return f"<section>{head}{''.join(rows)}</section>"


def _document(*parts: str) -> str:
    return (
        f'<!doctype html><meta charset="utf-8"><title>Every page</title><style>{LOOK}</style>{"".join(parts)}'
    )


def context_of(browser: Browser, shop: FilledShop, address: str, width: int) -> BrowserContext:
    """Return a phone's or a desktop's browser with the owner signed in, if there is one; nothing in it moves."""
    phone = width == PHONE
    context = browser.new_context(
        viewport={"width": width, "height": SCREENS[width]},
        base_url=address,
        has_touch=phone,
        is_mobile=phone,
        reduced_motion="reduce",
        locale="en-GB",
        timezone_id="UTC",
        service_workers="block",
    )
    # Ages are counted by this clock: they stand still as well.
    context.add_init_script("performance.now = () => 0; localStorage.setItem('pourlog-open', 'off')")
    if shop.token:
        context.add_cookies([{"name": COOKIE, "value": shop.token, "url": address}])
    context.set_default_timeout(PAGE_MS)
    return context


def try_to_draw(tab: Any, page: Page, given: argparse.Namespace, sheet: Sheet, state: str) -> None:
    """Keep pictures of a page; one that cannot be drawn is noted, and does not keep the others from it."""
    phone = tab.viewport_size["width"] == PHONE
    try:
        draw(tab, page, [w for w in given.widths if (w == PHONE) is phone], given.schemes, sheet, state)
    except Error as error:
        sheet.wrong.append(f"{state} {page.name}: {error.message.splitlines()[0]}")


def draw(
    tab: Any, page: Page, widths: Sequence[int], schemes: Sequence[str], sheet: Sheet, state: str
) -> None:
    """Keep pictures of a page at widths of one kind of device; note what did not go well."""
    answer = tab.goto(page.address)
    if answer.status >= 400 and page.route != NOT_FOUND:
        sheet.wrong.append(f"{state} {page.name}: {page.address} answers {answer.status}")
    by_script = tab.locator(BY_SCRIPT).count() > 0
    for width in widths:
        tab.set_viewport_size({"width": width, "height": SCREENS[width]})
        for scheme in schemes:
            tab.emulate_media(color_scheme=scheme)
            where = f"{state} {page.name} {width} {scheme}"
            # What a script has drawn has the size and the colours of the moment: it is drawn anew.
            if by_script:
                tab.reload()
            try:
                tab.wait_for_function(ALL_DRAWN, timeout=DRAWN_MS)
            except Error:
                sheet.wrong.append(f"{where}: something is not drawn")
            wide = tab.evaluate("document.documentElement.scrollWidth - innerWidth")
            if wide > 0:
                sheet.wrong.append(f"{where}: {wide} px wider than the screen")
            sheet.add(state, page, width, scheme, tab.screenshot(full_page=True, animations="disabled"))


def draw_all(
    browser: Browser, sheet: Sheet, shop: FilledShop, address: str, given: argparse.Namespace
) -> None:
    """Draw every page of a workshop that was asked for."""
    pages = [page for page in pages_of(shop) if re.search(given.pages, f"{page.route} {page.name}")]
    phones, desktops = {PHONE} & {*given.widths}, {*given.widths} - {PHONE}
    for width in [min(widths) for widths in (phones, desktops) if widths]:
        known = context_of(browser, shop, address, width)
        tab = known.new_page()
        tab.on("pageerror", lambda error, tab=tab: sheet.wrong.append(f"{shop.state} {tab.url}: {error}"))
        if pages:
            tab.goto(pages[0].address)  # the fonts are there from the second visit on
        for page in pages:
            if not page.stranger:
                try_to_draw(tab, page, given, sheet, shop.state)
                continue
            # A link of a wall screen signs the browser in as one: each stranger comes with a browser of their own.
            context = context_of(browser, shop, address, width)
            context.clear_cookies()
            try_to_draw(context.new_page(), page, given, sheet, shop.state)
            context.close()
        known.close()


def main() -> None:
    """Make the workshops, serve them on loopback, and draw the sheet."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--to", type=Path, default=Path(tempfile.gettempdir()) / "pictures-of-pages")
    asked.add_argument("--shops", type=Path, help="where the workshops are kept")
    asked.add_argument("--against", type=Path, help="the folder of an earlier run")
    asked.add_argument("--pages", default="", help="a regular expression that route or name must match")
    asked.add_argument("--states", nargs="+", choices=STATES, default=list(STATES))
    asked.add_argument("--widths", nargs="+", type=int, choices=SCREENS, default=list(SCREENS))
    asked.add_argument("--schemes", nargs="+", choices=SCHEMES, default=list(SCHEMES))
    given = asked.parse_args()
    (given.to / "pictures").mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    sheet = Sheet(given.to, given.against)
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch, ExitStack() as held:
        made = given.shops or Path(scratch)
        if not (made / f"{STATES[-1]}.json").exists():
            make_shops(made, *(STATES if given.shops else given.states))
        shops = {state: open_shop(made, state) for state in given.states}
        for shop in shops.values():
            held.callback(shop.service.close)
        made_s = time.monotonic() - began
        addresses = {state: held.enter_context(shop.served()) for state, shop in shops.items()}
        browser = held.enter_context(sync_playwright()).chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS
        )
        for state, shop in shops.items():
            draw_all(browser, sheet, shop, addresses[state], given)
        browser.close()
    count = sum(len(by_scheme) for shown in sheet.pages.values() for by_scheme in shown.values())
    print(*sorted(set(sheet.wrong)), sep="\n")
    print(f"{count} pictures in {time.monotonic() - began:.0f} s, of which {made_s:.0f} s made the workshops")
    if given.against is not None:
        print(f"{len(sheet.other)} look other than in {given.against}")
    print(sheet.write(given.widths))


if __name__ == "__main__":
    main()
