"""What the plan's findings and points come to: one headline, one list, one count, for every page, command and program.

A stop is one thing that must change: a finding at stop, or a point at stop that no such finding explains. Nothing else
counts stops, so that no head can say more or fewer than its list.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from logger.facts import fact, in_a_row
from logger.planning.finding import Finding, Light
from logger.planning.readiness import SigningPoint


@dataclass(frozen=True, slots=True)
class Item:
    """One thing of the plan at its light: a finding, or a point that no finding explains; and the points it is in."""

    light: Light
    sentence: str
    change: str
    points: tuple[str, ...]
    finding: Finding | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the item as plain JSON types."""
        return {
            "light": self.light.value,
            "key": self.finding.key if self.finding else self.points[0],
            "sentence": self.sentence,
            "change": self.change,
            "points": list(self.points),
        }


@dataclass(frozen=True, slots=True)
class PlanVerdict:
    """The verdict on a plan: what must change, what was let pass by name and reason, what to look at first."""

    stops: tuple[Item, ...]
    passed: tuple[Item, ...]
    watches: tuple[Item, ...]

    @property
    def light(self) -> Light:
        """stop while anything must change; watch while anything was let pass or is to be looked at; else ok."""
        if self.stops:
            return Light.STOP
        return Light.WATCH if self.passed or self.watches else Light.OK

    @property
    def headline(self) -> str:
        """The verdict in a sentence or two, with the number of things in the list below it."""
        if self.stops:
            return fact("plan-must-change", n=len(self.stops))
        said = []
        if self.passed:
            said.append(fact("plan-let-pass", n=len(self.passed)))
        if self.watches:
            said.append(fact("plan-look-first", n=len(self.watches)))
        return in_a_row(said) or fact("plan-works")

    def to_json(self) -> dict[str, Any]:
        """Return the verdict as plain JSON types."""
        return {
            "headline": self.headline,
            "stops": [item.to_json() for item in self.stops],
            "let_pass": [item.to_json() for item in self.passed],
            "watches": [item.to_json() for item in self.watches],
        }


def verdict_of(
    findings: Sequence[Finding], points: Sequence[SigningPoint], passed: Collection[str] = ()
) -> PlanVerdict:
    """Return the verdict. passed: names of the points that somebody let pass by name and reason."""
    stops = list(_items(findings, points, Light.STOP))
    let_pass = [item for item in stops if item.points and all(name in passed for name in item.points)]
    return PlanVerdict(
        tuple(item for item in stops if item not in let_pass),
        tuple(let_pass),
        tuple(_items(findings, points, Light.WATCH)),
    )


def _items(findings: Sequence[Finding], points: Sequence[SigningPoint], light: Light) -> Iterable[Item]:
    at_light = [finding for finding in findings if finding.light is light]
    for finding in at_light:
        within = tuple(point.id for point in points if finding in point.because)
        yield Item(light, finding.sentence, finding.change, within, finding)
    for point in points:
        if point.light is light and not any(finding in point.because for finding in at_light):
            yield Item(light, point.question, point.why, (point.id,))
