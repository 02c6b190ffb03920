"""Events, records and the store's refusals, said to a reader in °F, inches, gallons and pounds: nothing metric is left.

Conversions themselves are checked against NIST SP 811 in test_units_of_a_reader.py; here every code's words are.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from logger import quantities
from logger.alarms.first_hour import LookResult
from logger.facts import Fact, Quantity, fact, parsed
from logger.places import place_name
from logger.pour import FOLLOWS, stage_word
from logger.record import event_views
from logger.words.english import ENGLISH, ROOMS, Plural
from logger.words.reader import METRIC, units_from
from logger.words.render import say
from tests.said_codes import PLACE, places, wordings

MINE = ("events", "records", "store", "probe_checks")
AMERICAN = units_from("f.in.gal.lb")
METRIC_UNIT = re.compile(r"\d\s?(°C|K|mm|mL|L|kg|g)(?![\w/·²³°])")
#: Far beyond any pour, either way, and nothing.
EXTREMES: list[Quantity] = [
    quantities.temperature(-60.0),
    quantities.temperature(1_400.0, 0),
    quantities.difference(-999.94, 2, signed=True),
    quantities.rate(99_999.0),
    quantities.length(-1_000.0, signed=True),
    quantities.length(0.04),
    quantities.volume(10_000.0),
    quantities.volume(0.0),
    quantities.mass(100_000.0),
    quantities.grams(0.01, 2),
    quantities.hours(99_999.0),
    quantities.seconds(0.0),
    quantities.moment(0),
    quantities.count(2_000_000),
    quantities.chance(1.0),
    quantities.quantity(2_000.0, "MB", 0),
]


@pytest.mark.parametrize("code", [code for room in MINE for code in ROOMS[room]])
def test_every_code_is_said_whole_and_in_the_readers_units(code: str) -> None:
    """With any quantity in any place, one, none or many of them, and in each language."""
    for text in wordings(code, EXTREMES):
        assert text.strip(), code
        assert '"say"' not in text
        assert not PLACE.search(text), f"{text!r} has an empty place"
        assert not METRIC_UNIT.search(text), text


@pytest.mark.parametrize("code", [code for room in MINE for code in ROOMS[room]])
def test_a_fact_that_was_stored_says_the_same_when_it_is_read(code: str) -> None:
    """From its column's text, by whoever reads it."""
    given: dict[str, Any] = dict.fromkeys(places(ENGLISH[code]), quantities.temperature(61.0))
    made = Fact(code, given | ({"n": 3} if isinstance(ENGLISH[code], Plural) else {}))
    assert parsed(str(made)) == made
    for reader in (METRIC, AMERICAN):
        assert say(str(made), reader) == say(made, reader)


def test_no_code_has_words_in_two_rooms() -> None:
    """A translation is looked up by the code alone."""
    seen: dict[str, str] = {}
    twice = [code for room, table in ROOMS.items() for code in table if seen.setdefault(code, room) != room]
    assert twice == []


def test_what_is_made_from_a_name_has_its_words() -> None:
    """Codes that are put together at run time: stages, places, defects, outcomes, taps, rows of a record."""
    made = [
        *(stage_word(stage) for stage in FOLLOWS),
        *(place_name(place) for place in ("core", "core-2", "surface", "underside", "room", "by the door")),
        *event_views.DEFECTS.values(),
        *event_views.STATES.values(),
        *event_views.TESTS.values(),
        *(fact(f"batch-{what}", number=1) for what in ("started", "not-started", "emptied", "not-emptied")),
        *(fact(f"event-phone-turn-{turn}", who="Ada") for turn in ("first", "second")),
        *(fact(f"row-{table}", row=1) for table in ("reading", "event", "alarm", "forecast", "photo")),
        *(fact(f"rows-{table}", n=1) for table in ("reading", "event", "alarm", "forecast")),
        *(fact(f"number-{table}", number=1) for table in ("reading", "event")),
    ]
    assert [one for one in made if one.code not in ENGLISH] == []
    assert len(LookResult) == 5


@pytest.mark.parametrize(
    ("event", "metric", "customary"),
    [
        # One inch is 25.4 mm, one US gallon 3.785411784 L, a difference of 1 K is 1.8 °F (NIST SP 811, 2008, B.8).
        (
            fact(
                "poured-as-planned",
                volume=quantities.volume(18.9270589),
                planned=quantities.volume(18.9270589),
            ),
            "18.9 L went in, as planned (18.9 L)",
            "5.00 US gal went in, as planned (5.00 US gal)",
        ),
        (
            fact("level-at-mark", level=quantities.length(-25.4, signed=True)),
            "-25.4 mm at the mark",
            "-1 in at the mark",
        ),
        (
            fact("event-ice", rom="28-0000000000c1", offset=quantities.difference(0.5, 2, signed=True)),
            "28-0000000000c1: add +0.50 °C",
            "28-0000000000c1: add +0.90 °F",
        ),
        (
            fact("look-sent-late", text="a drop, 3 mm", late=quantities.hours(5 / 60)),
            "a drop, 3 mm (saved on a phone, sent 5 min later)",
            "a drop, 3 mm (saved on a phone, sent 5 min later)",
        ),
    ],
)
def test_what_an_event_says_is_converted_and_what_somebody_typed_is_not(
    event: Fact, metric: str, customary: str
) -> None:
    """The same event, read by two people."""
    assert (say(str(event), METRIC), say(str(event), AMERICAN)) == (metric, customary)
