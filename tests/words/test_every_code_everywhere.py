"""Every code's text, in every language, unit system and channel, with extreme quantities in its places."""

from __future__ import annotations

import re

import pytest

from logger.facts import Fact, Value
from logger.quantities import difference, length, mass, rate, temperature, volume
from logger.words.english import ENGLISH, Plural
from logger.words.numbers import LANGUAGES
from logger.words.reader import METRIC, US, Reader
from logger.words.render import Channel, say

#: Values that a place may get: the coldest and hottest that anything reads, nothing at all, and more than any shop has.
EXTREMES = (
    temperature(-40.0),
    temperature(1500.0, 0),
    difference(0.05, 2),
    rate(-999.9),
    length(0.0),
    length(99_999.0, 0),
    volume(123_456.7),
    mass(0.001, 3),
)
PLACE = re.compile(r"\{(\w+)\}")
METRIC_UNITS = re.compile(r"\d[\s\u00a0\u202f]*(?:°C|mm|mL|L|kg|K)(?![\w/·²³°])")
#: A number that no unit follows, where nothing but quantities was given.
BARE = re.compile(r"(?<![\w.,/])[-+]?\d[\d.,/]*(?=$|[)\];:]|[.,](?:\s|$))")


def patterns(code: str) -> str:
    """Return the English of a code, both forms of a plural."""
    text = ENGLISH[code]
    return f"{text.one} {text.many}" if isinstance(text, Plural) else text


def filled(code: str, value: Value) -> Fact:
    """Return the fact of a code with the same value in each place; a plural's number is three."""
    text = ENGLISH[code]
    places: dict[str, Value] = dict.fromkeys(PLACE.findall(patterns(code)), value)
    return Fact(code, places | {text.by: 3} if isinstance(text, Plural) else places)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
def test_every_code_is_said_whole_in_the_readers_units(language: str, units: Reader) -> None:
    """No °C in a text in °F, no place left open, no quantity without its unit."""
    reader = Reader(units.temperature, units.length, units.volume, units.mass, language)
    wrong = []
    for code in ENGLISH:
        own_numbers = bool(re.search(r"\d", PLACE.sub("", patterns(code)))) or isinstance(
            ENGLISH[code], Plural
        )
        for value in EXTREMES:
            said = say(filled(code, value), reader)
            if PLACE.search(said) or "\\u" in said:
                wrong.append(f"{code}: a place is open: {said}")
            if units is US and METRIC_UNITS.search(said) and not METRIC_UNITS.search(patterns(code)):
                wrong.append(f"{code}: metric: {said}")
            if not own_numbers and BARE.search(said):
                wrong.append(f"{code}: a number without unit: {said}")
    assert wrong == []


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("channel", [channel for channel in Channel if channel > 0])
def test_no_code_is_longer_than_its_channel_bears(language: str, channel: Channel) -> None:
    """With a long name in its places, too: a lock screen shows the short form, or the beginning."""
    reader = Reader(*US.cookie.split("."), language=language)
    name = "The long river table of two walnut slabs for the hall by the window"
    assert [code for code in ENGLISH if len(say(filled(code, name), reader, channel)) > channel] == []
