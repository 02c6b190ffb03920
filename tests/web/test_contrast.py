"""The colours of look.css against each other, light and dark, by the formula of WCAG 2.2 (relative luminance).

The formula itself is checked against contrasts that W3C and common practice give: black on white 21, #767676 on
white 4.54 (the lightest grey that passes AA; WebAIM's and W3C's usual example).
"""

from __future__ import annotations

import re

import pytest

from web.views.render import STATIC

#: Text, at least 4.5 to 1 (WCAG 2.2, 1.4.3), and numbers, at least 7 (1.4.6).
TEXT, NUMBERS = 4.5, 7.0
#: Lines and signs, at least 3 (1.4.11).
LINES = 3.0
GROUNDS = ("paper", "card")
#: What is written in a colour of its own, and on which grounds.
WRITTEN = {
    "soft": (*GROUNDS, "deep", "field"),
    "accent": (*GROUNDS, "accent-wash"),
    "calm": (*GROUNDS, "calm-wash"),
    "watch": (*GROUNDS, "watch-wash"),
    "stop": (*GROUNDS, "stop-wash"),
    "hand": (*GROUNDS, "hand-wash"),
    "lost": GROUNDS,
    "on-accent": ("accent",),
    "on-danger": ("danger",),
    "limit": ("card",),
    "surface": ("card",),
    "underside": ("card",),
    "room": ("card",),
}
NUMBERED = {"ink": ("paper", "card", "deep", "field", "calm-wash", "watch-wash", "stop-wash", "accent-wash")}
DRAWN = ("core", "surface", "underside", "room", "planned", "forecast", "limit")


def tokens(dark: bool) -> dict[str, str]:
    """Return the colours by name: those of the dark are put over those of the light."""
    text = (STATIC / "look.css").read_text(encoding="utf-8")
    light, night = re.findall(r":root \{(.*?)\n\s*\}", text, re.DOTALL)[:2]
    colours = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light))
    return colours | (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", night)) if dark else {})


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb (WCAG 2.2)."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_formula_is_the_standards() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_colours_are_far_enough_apart_to_be_read(dark: bool) -> None:
    """Text in every colour on every ground it stands on, numbers, and the lines of the chart."""
    colours = tokens(dark)
    faint = [
        f"{name} on {ground}: {contrast(colours[name], colours[ground]):.2f}, least {least}"
        for table, least in ((WRITTEN, TEXT), (NUMBERED, NUMBERS), (dict.fromkeys(DRAWN, ("card",)), LINES))
        for name, grounds in table.items()
        for ground in grounds
        if contrast(colours[name], colours[ground]) < least
    ]
    assert faint == []
