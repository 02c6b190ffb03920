"""The peak to come, out of a stored forecast or a frozen prediction (JSON). Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.alarms.inputs import Remedy
from logger.condition.evidence import ExpectedPeak
from logger.cure.forecast.decision import NOW

#: A remedy that brings the peak down by less than this is not worth a maker's way, K.
WORTH_DOING_C = 2.0


def forecast_peak(body: Mapping[str, Any]) -> ExpectedPeak:
    """Return what a forecast says of the peak. Raises KeyError or TypeError for what is no forecast."""
    peak, when, crossing = body["core_peak_c"], body["core_peak_at_h"], body["crosses_limit_at_h"]
    return ExpectedPeak(
        peak["p05"],
        peak["p50"],
        peak["p95"],
        body["chance_core_over_limit"],
        when["p50"],
        when["p95"],
        body.get("clear_at_h"),
        None if crossing is None else crossing["p50"],
        next(iter(remedies(body.get("what_if", {}))), None),
        body["at_h"],
    )


def planned_peak(prediction: Mapping[str, Any] | None) -> ExpectedPeak | None:
    """Return the peak of a prediction that was frozen with a pour; None where there is none."""
    if not prediction or "peak_c" not in prediction:
        return None
    peak_c, at_h = prediction["peak_c"], prediction["peak_at_h"]
    return ExpectedPeak(peak_c, peak_c, peak_c, 0.0, at_h, at_h)


def open_from_h(body: Mapping[str, Any] | None, prediction: Mapping[str, Any] | None) -> float | None:
    """Return from when the form may be opened, h: as forecast, else as planned; None where neither knows."""
    if body is not None:
        release = body.get("release_at_h")
        return None if release is None else release["p50"]
    return (prediction or {}).get("release_at_h")


def remedies(answers: Mapping[str, Any]) -> tuple[Remedy, ...]:
    """Return the what-if answers that help, the best first."""
    if NOW not in answers:
        return ()
    as_it_is_c = answers[NOW]["core_peak_c"]["p50"]
    gains = [
        (as_it_is_c - answer["core_peak_c"]["p50"], answer["words"], name) for name, answer in answers.items()
    ]
    return tuple(
        Remedy(name, words) for gain, words, name in sorted(gains, reverse=True) if gain >= WORTH_DOING_C
    )
