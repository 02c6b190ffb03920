"""Temperature traces that the bench plays: a function of the seconds since the start. No physics of cure here."""

from __future__ import annotations

import csv
from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

from hardware.errors import BadTrace

Trace = Callable[[float], float]
"""Seconds since the start → °C."""


def steady(celsius: float) -> Trace:
    """Return always the same temperature."""
    return lambda _t_s: celsius


def through(points: Sequence[tuple[float, float]]) -> Trace:
    """Straight lines through points (s, °C), held before the first and after the last. Raises BadTrace."""
    if not points:
        raise BadTrace("a trace needs at least one point (seconds, °C)")
    times = [t_s for t_s, _ in points]
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise BadTrace("the times of a trace must increase")

    def play(t_s: float) -> float:
        right = bisect_right(times, t_s)
        if right == 0:
            return points[0][1]
        if right == len(points):
            return points[-1][1]
        (t0, c0), (t1, c1) = points[right - 1], points[right]
        return c0 + (c1 - c0) * (t_s - t0) / (t1 - t0)

    return play


def from_csv(path: Path, column: str) -> Trace:
    """Return a trace from a CSV file with columns `t_s` and `column` (°C). Raises BadTrace with place and remedy."""
    points = []
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = csv.DictReader(file)
            for name in ("t_s", column):
                if name not in (rows.fieldnames or ()):
                    raise BadTrace(f"{path}: no column {name!r}; it has {', '.join(rows.fieldnames or ())}")
            for row in rows:
                try:
                    points.append((float(row["t_s"]), float(row[column])))
                except (TypeError, ValueError):
                    raise BadTrace(f"{path} line {rows.line_num}: t_s and {column} must be numbers") from None
    except OSError as error:
        raise BadTrace(f"{path}: {error.strerror}; give the path of a readable CSV file") from error
    return through(points)


def from_text(text: str, folder: Path) -> Trace:
    """Return the `bench` key of a station file: "21.5" for a steady temperature, or "trace.csv:core" for a CSV's
    column.

    A relative path counts from `folder`. Raises BadTrace.
    """
    try:
        return steady(float(text))
    except ValueError:
        path, separator, column = text.rpartition(":")
        if not separator:
            raise BadTrace(
                f"{text!r} is neither a temperature like 21.5 nor a file and column like trace.csv:core"
            ) from None
        return from_csv(folder / path, column)
