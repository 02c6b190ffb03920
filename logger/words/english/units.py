"""Quantities that are given in words."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "over": "over {limit}",
}
#: Short forms that numbers are written with, translated by their English.
PHRASES = (
    "over {limit}",
    "below 1 %",
    "above 99 %",
    "{s} s",
    "{m} min",
    "{h} h",
    "{h} h {m} min",
    "{d} d {h} h",
    "°C an hour",
    "°F an hour",
    "in",
    "lb",
    "oz",
    "US gal",
    "US fl oz",
    "litres",
    "US gallons",
)
