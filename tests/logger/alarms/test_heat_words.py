"""What an alarm says of a core that will overheat, while that is more or less sure. Invented numbers."""

from __future__ import annotations

from logger.alarms.conditions.heat import core_will_overheat
from logger.alarms.inputs import AlarmLimits, ForecastAnswer, Quantiles, Remedy
from logger.words.reader import METRIC
from logger.words.render import say

HOUR_MS = 3_600_000


def reason(low: float, middle: float, high: float, chance: float) -> str:
    """The reason, seen seven hours after pouring, an hour before the limit is expected to be passed."""
    answer = ForecastAnswer(
        7 * HOUR_MS,
        chance,
        Quantiles(low, middle, high),
        peak_at_h=Quantiles(8.0, 9.0, 10.0),
        crossing_h=Quantiles(7.5, 8.0, 8.5),
        would_help=(Remedy("fans", "fans now: {78 °C} → {57 °C}"),),
    )
    return say(core_will_overheat(answer, AlarmLimits(), 0).reason, METRIC).replace("\u00a0", " ")


def test_no_single_peak_is_given_while_the_limit_lies_in_the_band() -> None:
    """72 °C (35 to 171 °C) is no answer, nor is what the middle would come to with fans."""
    said = reason(35.0, 72.0, 171.0, 0.8)
    assert said.startswith(
        "The core more likely than not passes 60 °C: chance 80 %, peak anywhere from 35 °C to "
    )
    assert "72 °C" not in said
    assert "What would help: fans now." in said
    assert "57 °C" not in said


def test_a_peak_that_is_known_is_given_with_what_would_help() -> None:
    """Both ends of the band are over the limit."""
    said = reason(66.0, 72.0, 80.0, 1.0)
    assert "will probably pass 60 °C: chance above 99 %, peak about 72 °C (66 °C to 80 °C)" in said
    assert "fans now: 78 °C → 57 °C" in said
