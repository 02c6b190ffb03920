"""Pours beside each other: what was predicted, what came, and which of them are alike. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from logger.facts import fact
from logger.record.json_values import JsonObject, JsonView
from logger.record.plots import MANY, Line, plot
from logger.words.reader import METRIC, Reader

#: Pours that can be distinguished on one sheet.
MOST = len(MANY)


@dataclass(frozen=True)
class Compared:
    """One pour: its resin, depth, mean room, predicted and real peak of the core, and its core over hours."""

    pour: int
    title: str
    resin: str
    depth_mm: float
    layers: int
    room_c: float | None
    predicted_c: float | None
    predicted_at_h: float | None
    peak_c: float | None
    peak_at_h: float | None
    hours: Sequence[float]
    core_c: Sequence[float | None]
    #: The workshop that its record is from; None: our own.
    workshop: str | None = None
    #: It is still watched: its peak may be yet to come.
    unfinished: bool = False

    @property
    def error_k(self) -> float | None:
        """Real less predicted peak, K; None where there is either none, or not yet."""
        if self.peak_c is None or self.predicted_c is None or self.unfinished:
            return None
        return self.peak_c - self.predicted_c

    def to_json(self) -> JsonObject:
        """Return plain values."""
        fields = {name: getattr(self, name) for name in self.__dataclass_fields__}
        fields = {
            name: round(value, 3) if isinstance(value, float) else value for name, value in fields.items()
        }
        return fields | {"error_k": None if self.error_k is None else round(self.error_k, 3)}


def compared(
    pour_id: int,
    plan: JsonView,
    prediction: JsonView | None,
    curves: Iterable[JsonView],
    workshop: str | None = None,
    *,
    unfinished: bool = False,
) -> Compared:
    """Return one pour from its plan (JSON), its frozen prediction and its measured curves (hours from pouring, °C).

    `workshop`: where its record is from; None: our own. `unfinished`: it is still watched.
    """
    cores, rooms = [], []
    for curve in curves:
        hours = np.array(curve["hours"], dtype=float)
        celsius = np.array([np.nan if v is None else v for v in curve["celsius"]], dtype=float)
        after = hours >= 0
        kind = curve["place"].partition("-")[0]
        if not np.isfinite(celsius[after]).any():
            continue
        if kind == "core":
            cores.append((hours[after], celsius[after]))
        elif kind == "room":
            rooms.append(float(np.nanmean(celsius[after])))
    predicted_c = predicted_at_h = peak_c = peak_at_h = None
    hours_out: list[float] = []
    core_out: list[float | None] = []
    if cores:
        hours, celsius = max(cores, key=lambda core: float(np.nanmax(core[1])))
        at = int(np.nanargmax(celsius))
        peak_c, peak_at_h = float(celsius[at]), float(hours[at])
        hours_out = hours.tolist()
        core_out = [None if value != value else value for value in celsius.tolist()]
    curve_of = (prediction or {}).get("curve") or {}
    if curve_of.get("core_c"):
        # Like with like: the core as predicted, not the hottest point of the casting.
        at = int(np.argmax(curve_of["core_c"]))
        predicted_c, predicted_at_h = float(curve_of["core_c"][at]), float(curve_of["hours"][at])
    return Compared(
        pour_id,
        plan["title"],
        plan["resin"]["name"],
        plan["pour"]["depth_mm"],
        1 + len(plan.get("layer", ())),
        float(np.mean(rooms)) if rooms else None,
        predicted_c,
        predicted_at_h,
        peak_c,
        peak_at_h,
        hours_out,
        core_out,
        workshop,
        unfinished,
    )


def chosen(
    pours: Iterable[Compared],
    *,
    resin: str = "",
    depth_mm: tuple[float, float] | None = None,
    room_c: tuple[float, float] | None = None,
) -> list[Compared]:
    """Return those of a resin, a range of depths and a range of rooms; one without a measured room is in no range."""
    return [
        pour
        for pour in pours
        if (not resin or pour.resin == resin)
        and (depth_mm is None or depth_mm[0] <= pour.depth_mm <= depth_mm[1])
        and (room_c is None or (pour.room_c is not None and room_c[0] <= pour.room_c <= room_c[1]))
    ]


def overlay(pours: Sequence[Compared], reader: Reader = METRIC) -> str:
    """Return the cores of pours laid over one another from the moment of pouring, as SVG."""
    lines = [
        Line(
            fact("plot-pour", pour=pour.pour, title=pour.title),
            pour.hours,
            [None if v is None else reader.degrees(v) for v in pour.core_c],
            colour,
            dash,
            1.8,
        )
        for pour, (colour, dash) in zip(pours, MANY, strict=False)
    ]
    size = (680.0, 340.0 + 14 * (len(lines) // 4))
    return plot(lines, title=fact("plot-cores"), unit=reader.degree, reader=reader, size=size)


def errors(pours: Iterable[Compared]) -> dict[str, float | int | None]:
    """Return how far predicted peaks were from real ones, over our own pours: how many, mean and largest error, K."""
    off: list[float] = [pour.error_k for pour in pours if pour.error_k is not None and pour.workshop is None]
    return {
        "pours": len(off),
        "mean_k": round(float(np.mean(off)), 3) if off else None,
        "mean_size_k": round(float(np.mean(np.abs(off))), 3) if off else None,
        "largest_k": round(_largest(off), 3) if off else None,
    }


def _largest(errors_k: Sequence[float]) -> float:
    return max(errors_k, key=lambda error_k: abs(error_k))
