"""The wall view is dark whatever its system prefers: its colours are set again, and are those of every page."""

from __future__ import annotations

import re

from web.views.render import STATIC


def colours(css: str, begins: str) -> dict[str, str]:
    """The colours that a style sets in the block that begins so."""
    block = css.partition(begins)[2].partition("}")[0]
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6}|rgba\([^)]*\));", block))


def test_the_wall_has_the_colours_of_every_page_dark_and_light() -> None:
    """A colour that is changed in one place alone would make a wall that looks like another program."""
    look, wall = ((STATIC / name).read_text(encoding="utf-8") for name in ("look.css", "wall.css"))
    light = colours(look, ":root {")
    dark = light | colours(look, "(prefers-color-scheme: dark) {\n  :root {")
    assert len(light) > 20
    assert colours(wall, ":root:has(body.wall) {") == dark
    assert dark | colours(wall, ":root.wall-light:has(body.wall) {") == light
