"""What planning answers with: a finding, its light, its figures, its constants and their sources. In facts."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from logger.errors import OutOfRange
from logger.facts import KINDS, NOTHING, Fact, fact
from logger.quantities import length, quantity
from logger.units import plain as plain

COMMON_PRACTICE = fact("source.common-practice")
FROM_MEMORY = fact("source.from-memory")
PROJECT_CHOICE = fact("source.project-choice")
PLAN = fact("source.plan")
DATASHEET = fact("source.datasheet")
CURE_MODEL = fact("source.cure-model")


class Light(StrEnum):
    """Said in words, so that no state hangs on a colour."""

    OK = "ok"
    WATCH = "watch"
    STOP = "stop"


_RANK = {Light.OK: 0, Light.WATCH: 1, Light.STOP: 2}


def worst(lights: Iterable[Light]) -> Light:
    """Return the most serious of some lights; ok when there is none."""
    return max(lights, key=_RANK.__getitem__, default=Light.OK)


def _measured(value: float, unit: str) -> Fact | str:
    """Return a number with its unit, which is a symbol, or a fact where it is a word."""
    if isinstance(unit, Fact):
        return fact("measured", number=quantity(value, "", None), unit=unit)
    return quantity(value, unit, None)


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with what it is and its unit: a symbol, or a fact where it is a word."""

    name: Fact
    value: float
    unit: str

    @property
    def said(self) -> Fact:
        """What it is, and how much."""
        return fact("figure", name=self.name, value=_measured(self.value, self.unit))


@dataclass(frozen=True, slots=True)
class Constant:
    """A number that an answer rests on, and where it comes from: a fact, or the title of a published work."""

    name: Fact
    value: float
    unit: str
    source: str

    @property
    def said(self) -> Fact:
        """What it is, how much, and where it comes from."""
        return fact("constant", name=self.name, value=_measured(self.value, self.unit), source=self.source)

    def __str__(self) -> str:
        return self.said


@dataclass(frozen=True, slots=True)
class Finding:
    """One answer about the plan.

    `key` names it for programs, `change` says what to do about it (NOTHING when nothing need be done); about: the
    slab or the void that it is about.
    """

    topic: str
    key: str
    light: Light
    sentence: Fact
    figures: tuple[Figure, ...] = ()
    constants: tuple[Constant, ...] = ()
    change: str = NOTHING
    about: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the finding as plain JSON types; its facts are put into words at the rim."""
        return {
            "topic": self.topic,
            "key": self.key,
            "light": self.light.value,
            "sentence": self.sentence,
            "figures": [{"name": f.name, "value": f.value, "unit": f.unit} for f in self.figures],
            "constants": [
                {"name": c.name, "value": c.value, "unit": c.unit, "source": c.source} for c in self.constants
            ],
            "change": self.change,
        }


def followed(sentence: Fact, *more: Fact) -> Fact:
    """Return a sentence with those that follow it."""
    for one in more:
        sentence = fact("in-a-row", first=sentence, rest=one)
    return sentence


def within(name: str, value: float, low: float, high: float, unit: str, remedy: Fact) -> float:
    """Return the value, if it lies in [low, high]. Raises OutOfRange with value, range, unit and remedy.

    name: a fact, or a key of the plan file, which has its unit in its name: its values stay in that unit.
    """
    if not (math.isfinite(value) and low <= value <= high):
        raise OutOfRange(
            name,
            fact("outside-where-this-holds"),
            value=_given(name, value, unit),
            allowed=fact(
                "range",
                low=_limit(name, low, unit if unit == "m" or unit in KINDS else ""),
                high=_limit(name, high, unit),
            ),
            remedy=remedy,
        )
    return value


def above(name: str, value: float, low: float, unit: str, remedy: Fact) -> float:
    """Return the value, if it is finite and above `low`. Raises OutOfRange with value, range, unit and remedy."""
    if not (math.isfinite(value) and value > low):
        allowed = fact("above", least=_limit(name, low, unit))
        raise _unusable(name, value, unit, allowed, remedy)
    return value


def not_negative(name: str, value: float, unit: str, remedy: Fact) -> float:
    """Return the value, if it is finite and not below 0. Raises OutOfRange with value, range, unit and remedy."""
    if not (math.isfinite(value) and value >= 0):
        raise _unusable(name, value, unit, fact("or-more", least=_limit(name, 0.0, unit)), remedy)
    return value


def _unusable(name: str, value: float, unit: str, allowed: Fact, remedy: Fact) -> OutOfRange:
    given = _given(name, value, unit)
    return OutOfRange(name, fact("cannot-be-used"), value=given, allowed=allowed, remedy=remedy)


def _given(name: str, value: float, unit: str) -> object:
    """Return a refused value as it is said: quoted where it is no number, or a key's."""
    return _limit(name, value, unit) if isinstance(name, Fact) and math.isfinite(value) else value


def _limit(name: str, value: float, unit: str) -> str:
    if not isinstance(name, Fact):
        return f"{plain(value)} {unit}".rstrip()
    return length(1000 * value, None) if unit == "m" else _measured(value, unit)
