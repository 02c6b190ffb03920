"""The components of every page look as they were drawn: their page is compared with pictures of it.

After a change that is meant: `POURLOG_NEW_PICTURES=1 python -m pytest tests/web/browser/test_screen_elements.py`,
and look at what it wrote before committing it.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image, ImageChops, ImageStat

from web.views.render import STATIC

pytestmark = pytest.mark.browser
PICTURES = Path(__file__).with_name("pictures")
#: Of 255: what another version of the browser may draw differently, on the whole and in one spot of 8 by 8 points.
ALIKE, SPOT = 2.0, 60


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_every_component_looks_as_it_was_drawn(browse: Callable[..., Any], size: str, dark: bool) -> None:
    page = browse(size, dark=dark)
    page.emulate_media(reduced_motion="reduce")
    # A slow machine has the font only from the second visit on.
    for _visit in range(2):
        page.goto("/screen-elements")
        page.evaluate("document.fonts.ready")
    # The mark of waiting turns: it stands still for its picture.
    page.evaluate("document.getAnimations().forEach((each) => { each.currentTime = 0; each.pause(); })")
    seen = Image.open(io.BytesIO(page.locator("main").screenshot())).convert("RGB")
    path = PICTURES / f"elements-{size}-{'dark' if dark else 'light'}.png"
    if os.environ.get("POURLOG_NEW_PICTURES"):
        PICTURES.mkdir(exist_ok=True)
        seen.quantize(64).save(path, optimize=True)
    drawn = Image.open(path).convert("RGB")
    assert abs(seen.height - drawn.height) <= 0.01 * drawn.height, (
        f"{path.name}: {drawn.height} px, now {seen.height}"
    )
    small = (drawn.width // 8, drawn.height // 8)
    apart = ImageChops.difference(
        seen.resize(small, Image.Resampling.BOX), drawn.resize(small, Image.Resampling.BOX)
    )
    worst = max(high for _low, high in apart.getextrema())
    mean = max(ImageStat.Stat(apart).mean)
    assert mean <= ALIKE, f"{path.name}: {mean:.1f} apart on the whole, {worst} in one spot"
    assert worst <= SPOT, f"{path.name}: {worst} apart in one spot"


def test_figures_of_the_bundled_font_are_equally_wide(browse: Callable[..., Any]) -> None:
    page = browse("desktop")
    page.goto("/screen-elements")
    widths = page.evaluate(
        """async () => {
          await Promise.all([document.fonts.load('400 40px "Pour"'), document.fonts.load('600 40px "Pour"')]);
          const pen = document.createElement("canvas").getContext("2d");
          return ["400", "600"].map((weight) => {
            pen.font = `${weight} 40px "Pour", monospace`;
            return [..."0123456789"].map((figure) => Math.round(pen.measureText(figure).width * 100));
          });
        }"""
    )
    assert [len(set(of_one_weight)) for of_one_weight in widths] == [1, 1]
    assert widths[0][0] != widths[1][0], "both weights are one file, or neither was loaded"


def test_the_bundled_font_is_kept_by_browsers_for_as_long_as_it_stays_the_same() -> None:
    """A font whose address kept an old digest would stay the old one on every phone."""
    asked = re.findall(
        r'url\("(font-\d+\.woff2)\?v=([0-9a-f]+)"\)', (STATIC / "look.css").read_text(encoding="utf-8")
    )
    assert len(asked) == 2
    for name, digest in asked:
        assert hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:12] == digest, name
