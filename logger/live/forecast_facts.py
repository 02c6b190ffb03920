"""What the alarms need of a stored forecast. Reads it; nothing here computes one."""

from __future__ import annotations

from logger.alarms.conditions.heat import LEAST_COOLING
from logger.alarms.inputs import ForecastAnswer, Quantiles
from logger.condition.peaks import remedies
from logger.facts import sentence
from logger.store.rows import Json

#: A fan is taken to cool poorly only once it cannot well bring more than this part of its cooling.
FAN_CERTAIN = 0.75


def answer_of(body: Json, started_ms: int) -> ForecastAnswer:
    """Return what the alarms need of a forecast. `started_ms`: when pouring started, on the steady timeline."""

    def band(name: str) -> Quantiles | None:
        part = body.get(name)
        return (
            None if part is None else Quantiles(part["p05"], part["p50"], part["p95"], part.get("within_h"))
        )

    peak = band("core_peak_c")
    assert peak is not None
    causes = {cause["name"]: cause for cause in body["causes"]}
    sun = causes.get("sun_w_m2")
    return ForecastAnswer(
        made_at_ms=started_ms + round(body["at_h"] * 3.6e6),
        chance_over_limit=body["chance_core_over_limit"],
        core_peak_c=peak,
        peak_at_h=band("core_peak_at_h"),
        crossing_h=band("crosses_limit_at_h"),
        release_h=band("release_at_h"),
        # Of a core that will overheat only what heats it is a cause; older forecasts do not say which does.
        causes=tuple(sentence(cause["words"]) for cause in body["causes"] if cause.get("warmer", True)),
        would_help=remedies(body.get("what_if", {})),
        fan_cooling=_fan_cooling(band("fan_cooling")),
        chance_without_fan=body.get("chance_without_fan"),
        surface_heating_w_m2=None if sun is None else sun["size"],
    )


def _fan_cooling(part: Quantiles | None) -> float | None:
    """Return the median of what a fan brings; None while readings cannot tell a still one from a running one."""
    if part is None or part.p50 is None or part.p95 is None:
        return None
    return part.p50 if part.p50 >= LEAST_COOLING or part.p95 < FAN_CERTAIN else None
