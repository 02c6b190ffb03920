"""What two sheets of paper have room for: how many lines of each list, and where the plots of the air go. Pure.

The sheets are cut off where they end, so nothing may be longer than it is reckoned here: the template cuts every text
to the lines that its row is given. Heights in mm, as WeasyPrint sets template record-pdf.html.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

SHEET = 265.0
#: A heading; a table's heading row; a line of small print.
HEADING, COLUMNS, SMALL = 8.2, 4.6, 4.6
#: The plots of the air side by side; a strip of photos; each with its heading.
BESIDE, STRIP = 46.0, 42.0
#: The first sheet without its lists: head with the code, facts, the course and its note, the resin; and what it is
#: higher by where somebody told how the pour ended.
FIRST, OUTCOME = 30.0 + 45.0 + (HEADING + 67.0 + SMALL) + (HEADING + 5.0), 9.0
#: The second sheet without its lists: the proof; the forecasts' plot, and their table for each forecast.
PROOF, FORECAST_PLOT = 28.0, HEADING + 43.0
#: List → most lines of it on paper, and how high each is; a point that was let pass has its reason on a second line.
LISTS_FIRST = {"lots": (4, 4.7), "slabs": (4, 4.7), "batches": (6, 4.7)}
LISTS_SECOND = {
    "alarms": (7, 4.7), "points": (12, 4.7), "looks": (4, 5.1), "tests": (4, 5.1), "additions": (5, 8.9),
}  # fmt: skip
#: What stands above the lines of a list, and under one that was cut; beside a heading that costs nothing.
_ABOVE = dict.fromkeys(LISTS_FIRST, COLUMNS) | {
    "alarms": HEADING + COLUMNS,
    "points": HEADING + COLUMNS,
    "looks": HEADING,
    "tests": HEADING,
    "additions": HEADING,
}
_CUT = dict.fromkeys(LISTS_FIRST, SMALL) | dict.fromkeys(LISTS_SECOND, 0.0)
PASSED = 3.9
#: So few lines of a list are worth a plot's place.
FEW = 3


@dataclass(frozen=True, slots=True)
class PageSpace:
    """How many lines of each list there is room for; whether the plots of the air stand on the first sheet; what the
    first sheet has left, mm.
    """

    lines: Mapping[str, int]
    air_first: bool
    left: float


@dataclass(frozen=True, slots=True)
class PaperContents:
    """What a record has to put on the sheets.

    lengths: list → its lines; forecasts: lines of their table; passed: how many points, the first ones, were let pass;
    the others: whether there is any of it.
    """

    lengths: Mapping[str, int]
    forecasts: int
    forecast_plot: bool
    air: bool
    photos: bool
    outcome: bool
    passed: int


def room(contents: PaperContents) -> PageSpace:
    """Share out the two sheets."""
    lengths, passed, air = contents.lengths, contents.passed, contents.air
    first = SHEET - FIRST - (OUTCOME if contents.outcome else 0.0)
    few = {name: min(lengths[name], FEW) for name in LISTS_FIRST}
    air_first = air and _height(few, lengths, LISTS_FIRST) <= first - BESIDE
    second = SHEET - PROOF
    second -= (FORECAST_PLOT if contents.forecast_plot else 0.0) + (STRIP if contents.photos else 0.0)
    second -= HEADING + COLUMNS + contents.forecasts * 4.7 if contents.forecasts else 0.0
    if air and not air_first:
        second -= BESIDE
    first -= BESIDE if air_first else 0.0
    lines = _shared(lengths, LISTS_FIRST, first)
    left = max(first - _height(lines, lengths, LISTS_FIRST), 0.0)
    return PageSpace(lines | _shared(lengths, LISTS_SECOND, second, passed), air_first, left)


def _shared(
    lengths: Mapping[str, int], lists: Mapping[str, tuple[int, float]], height: float, passed: int = 0
) -> dict[str, int]:
    """Give a line to each list in turn, as long as there is room."""
    given = dict.fromkeys(lists, 0)
    growing: Sequence[str] = [name for name in lists if lengths[name]]
    while growing:
        going_on = []
        for name in growing:
            more = given | {name: given[name] + 1}
            fits = _height(more, lengths, lists, passed) <= height
            if given[name] < min(lengths[name], lists[name][0]) and fits:
                given = more
                going_on.append(name)
        growing = going_on
    return given


def _height(
    given: Mapping[str, int],
    lengths: Mapping[str, int],
    lists: Mapping[str, tuple[int, float]],
    passed: int = 0,
) -> float:
    """How high lists with so many lines are; one that is cut has a line that says so."""
    return PASSED * min(given.get("points", 0), passed) + sum(
        _ABOVE[name] + given[name] * high + (_CUT[name] if given[name] < lengths[name] else 0.0)
        for name, (_most, high) in lists.items()
        if lengths[name]
    )
