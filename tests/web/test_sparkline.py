"""A sparkline shows what was read, and no more: gaps, band, limit, and nothing outside its frame."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from markupsafe import Markup

from web.views.sparkline import HEIGHT, WIDTH, Band, Course, sparkline

AHEAD = Band([2.0, 3.0, 4.0], [33.0, 40.0, 42.0], [34.0, 46.0, 50.0], [36.0, 52.0, 58.0])


def paths(picture: Markup) -> dict[str, list[list[tuple[float, float]]]]:
    """Class → the corners of each of its paths, in the picture's units."""
    shown: dict[str, list[list[tuple[float, float]]]] = {}
    for path in ElementTree.fromstring(str(picture)).iter("path"):
        corners = re.findall(r"[ML]([-\d.]+) ([-\d.]+)", path.attrib["d"])
        shown.setdefault(path.attrib["class"], []).append([(float(x), float(y)) for x, y in corners])
    return shown


def test_a_gap_stays_a_gap() -> None:
    """Three readings, a fault, two readings: two lines, and none of them goes through the fault's hour."""
    shown = paths(sparkline(Course([0.0, 1.0, 2.0, 3.0, 4.0, 5.0], [20, 21, 22, None, 30, 31], 5.0)))
    assert [[x for x, _ in line] for line in shown["core"]] == [[0.0, 80.0, 160.0], [320.0, 400.0]]


def test_a_lone_reading_is_a_dot_and_no_line() -> None:
    """A path of no length with round ends; nothing leads to it from across the gap."""
    picture = sparkline(Course([0.0, 1.0, 2.0], [None, 25.0, None], 2.0))
    assert re.search(r'class="core" d="M200\.0 [\d.]+h0"', picture)


def test_limit_band_and_hot_readings_are_inside_the_frame() -> None:
    """However far apart they lie."""
    course = Course([0.0, 1.0, 2.0], [-5.0, 20.0, 140.0], 2.0, 60.0, AHEAD)
    shown = paths(sparkline(course))
    assert {"core", "band", "forecast"} <= set(shown)
    for lines in shown.values():
        for x, y in (corner for line in lines for corner in line):
            assert 0 <= x <= WIDTH
            assert 0 <= y <= HEIGHT
    level = re.search(r'class="limit" d="M0 ([\d.]+)H400"', sparkline(course))
    assert level is not None
    coldest, _, hottest = (y for _, y in shown["core"][0])
    assert float(level[1]) == pytest.approx(coldest - (60 + 5) / 145 * (coldest - hottest), abs=0.1)


def test_a_band_far_above_what_was_read_is_inside_the_frame() -> None:
    """A cold core whose forecast is hot; no limit is known that would stretch the picture."""
    for low, high in ((33.0, 90.0), (-20.0, 36.0)):
        ahead = Band([2.0, 3.0], [low, low], [34.0, 35.0], [high, high])
        shown = paths(sparkline(Course([0.0, 2.0], [34.0, 34.0], 2.0, None, ahead)))
        assert all(0 <= y <= HEIGHT for lines in shown.values() for line in lines for _, y in line)


def test_the_band_holds_its_middle_and_ends_where_it_is_told_to() -> None:
    """From now on: the hours that the forecast begins with are measured by now."""
    shown = paths(sparkline(Course([0.0, 2.4], [20.0, 40.0], 2.4, 60.0, AHEAD, until_h=3.2)))
    (middle,), (band,) = shown["forecast"], shown["band"]
    assert [x for x, _ in middle] == pytest.approx([400 * 2.0 / 3.2, 400 * 3.0 / 3.2], abs=0.1)
    for x, y in middle:
        high, low = (height for at, height in sorted(band, key=lambda corner: corner[1]) if at == x)
        assert high < y < low


def test_a_pour_without_a_reading_shows_its_limit_alone() -> None:
    """And breaks nothing: a pour that began a moment ago."""
    shown = paths(sparkline(Course([], [], 0.0, 60.0)))
    assert "core" not in shown
    assert "limit" in shown


def test_noise_is_not_drawn_as_a_course() -> None:
    """A tenth of a degree up and down stays within a tenth of the height."""
    (line,) = paths(sparkline(Course([0.0, 1.0, 2.0], [20.0, 20.1, 20.0], 2.0)))["core"]
    heights = [y for _, y in line]
    assert max(heights) - min(heights) < HEIGHT / 10


def test_words_in_its_label_cannot_break_out() -> None:
    """They may hold a pour's title."""
    picture = sparkline(Course([], [], 0.0), 'Table "A" <b>')
    assert ElementTree.fromstring(str(picture)).findtext("title") == 'Table "A" <b>'
