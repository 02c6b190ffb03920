"""Makes the pictures of the tour in README.md anew: an invented workshop, its pages in Chromium. Run by hand:

    python tests/bench/tour.py [--to web/static/tour]

The workshop is that of `tests/filled_shop.py` while one of its tables runs too hot; everything in it is invented. Takes
about a minute.
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.bench.pictures import ALL_DRAWN, FLAGS, context_of
from tests.filled_shop import make_shops, open_shop

#: Name, page, width of the screen.
PICTURES = (
    ("plan", "/pours/{mistaken}/plan", 1440),
    ("ready", "/pours/{planned}/ready", 390),
    ("pour", "/pours/{live}", 1440),
    ("alert", "/alarms/{alarm_id}", 390),
    ("record", "/pours/{sealed}/record", 1440),
)
#: Colours of a picture: few are needed for paper and ink, and the files stay small.
COLOURS = 128


def main() -> None:
    """Make the workshop, serve it on loopback, and keep the pictures."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--to", type=Path, default=Path(__file__).parents[2] / "web" / "static" / "tour")
    given = asked.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="pourlog-") as scratch, sync_playwright() as playwright:
        make_shops(Path(scratch), "hot")
        shop = open_shop(Path(scratch), "hot")
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        with shop.served() as address:
            for name, path, width in PICTURES:
                context = context_of(browser, shop, address, width)
                page = context.new_page()
                page.goto(path.format(**shop.ids))
                page.reload()  # the fonts are there from the second visit on
                page.wait_for_function(ALL_DRAWN)
                keep(page.screenshot(animations="disabled"), given.to / f"{name}.png")
                context.close()
        browser.close()
        shop.service.close()
    print(f"{sum(path.stat().st_size for path in given.to.glob('*.png')) / 1e6:.2f} MB in {given.to}")


def keep(raw: bytes, path: Path) -> None:
    """Write a screenshot with few colours."""
    picture = Image.open(io.BytesIO(raw)).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
