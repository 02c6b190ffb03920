"""Readings as evidence: gathered in pieces, with how far a probe may be off and for how long it stays off.

Readings every few minutes repeat each other's error, so they are not independent: beside its noise each probe has
an offset of its own, and the model is off by a part of the rise for hours at a time. All three are in the
covariance of the pieces (Kennedy & O'Hagan 2001, J. R. Statist. Soc. B 63:425: offset and model discrepancy as
Gaussian processes).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from logger.arrays import Floats

#: Noise of one reading, K: a step of 1/16 K (DS18B20, 12 bits; its data sheet as public drivers quote it) and ±0.05 K
#: (common practice).
NOISE_C = (0.05**2 + 0.0625**2 / 12.0) ** 0.5
#: Offset of a probe: the data sheet's ±0.5 K limit taken as two spreads, K.
OFFSET_C = 0.25
#: Model error: a floor, and a part of the rise over the room, by what the probe's name begins with.
FLOOR_C = 0.05
PART_OF_RISE = {"core": 0.008, "surface": 0.015, "underside": 0.015}
#: A second probe in a place is not quite in it.
SECOND_PROBE = 2.0
MOST_PIECES = 30
#: A reading further from its neighbours' median than this (and six of their median distances) is a spike, K.
SPIKE_C = 1.0


#: Near a sudden change the model is off by this much more, K, for about so long, h.
EDGE_C, EDGE_H = 1.0, 0.15


class Readings(Protocol):
    """One place's readings: hours since pouring (N,) rising and °C (N,), NaN for a fault."""

    @property
    def hours(self) -> Floats: ...
    @property
    def celsius(self) -> Floats: ...


@dataclass(frozen=True)
class ProbeLikelihood:
    """One probe's evidence. times (N,) are its readings'; gather (n, N) makes pieces of them; celsius (n,) are the
    pieces; white (n, n) whitens a piece's residual; error_c (n,) the model error's spread.
    peak_c, peak_at_h: the highest that it has read."""

    name: str
    kind: str
    times: Floats
    gather: Floats
    hours: Floats
    celsius: Floats
    white: Floats
    error_c: Floats
    memory_h: float
    peak_c: float
    peak_at_h: float


def likelihoods_of(
    history: Mapping[str, Readings],
    at_h: float,
    memory_h: float,
    room_c: float,
    edges_h: Sequence[float] = (),
) -> tuple[ProbeLikelihood, ...]:
    """Return the evidence of every probe of the pour (not the room's) up to at_h. memory_h: how long an error lasts.

    edges_h: when something began or ended suddenly; the readings just then are believed less.
    """
    probes = []
    for name in sorted(history):
        kind = name.split("-")[0]
        if kind not in PART_OF_RISE:
            continue
        hours, celsius = good_readings(history[name], at_h)
        if not len(hours):
            continue
        edges = at_h * np.linspace(0.0, 1.0, MOST_PIECES + 1) ** 1.3
        label = np.clip(np.searchsorted(edges, hours, side="right") - 1, 0, MOST_PIECES - 1)
        highest = int(np.argmax(celsius))
        peak = float(celsius[highest]), float(hours[highest])
        # No more readings are looked at than a piece can use.
        picks = _thin(label, 6)
        hours, celsius, label = hours[picks], celsius[picks], label[picks]
        _, index = np.unique(label, return_inverse=True)
        gather = np.zeros((index.max() + 1, len(hours)))
        gather[index, np.arange(len(hours))] = 1.0
        number = gather.sum(axis=1)
        gather /= number[:, None]
        middle, mean = gather @ hours, gather @ celsius
        second = SECOND_PROBE if "-" in name else 1.0
        error = second * (FLOOR_C + PART_OF_RISE[kind] * np.abs(mean - room_c))
        for edge in edges_h:
            error = error + EDGE_C * ((middle > edge - EDGE_H) & (middle < edge + 2.0 * EDGE_H))
        gap = np.abs(middle[:, None] - middle[None, :])
        cov = OFFSET_C**2 + np.outer(error, error) * np.exp(-gap / memory_h) + np.diag(NOISE_C**2 / number)
        white = np.linalg.inv(np.linalg.cholesky(cov))
        probes.append(ProbeLikelihood(name, kind, hours, gather, middle, mean, white, error, memory_h, *peak))
    return tuple(probes)


def good_readings(place: Readings, at_h: float) -> tuple[Floats, Floats]:
    """Return readings from pouring to at_h that are temperatures and no spikes."""
    hours, celsius = np.asarray(place.hours, dtype=float), np.asarray(place.celsius, dtype=float)
    valid = np.isfinite(celsius) & (hours >= 0.0) & (hours <= at_h)
    hours, celsius = hours[valid], celsius[valid]
    if len(hours) < 7:
        return hours, celsius
    around = np.lib.stride_tricks.sliding_window_view(np.pad(celsius, 3, mode="reflect"), 7)
    middle = np.median(around, axis=1)
    usual = np.median(np.abs(around - middle[:, None]), axis=1)
    calm = np.abs(celsius - middle) <= np.maximum(SPIKE_C, 6.0 * usual)
    return hours[calm], celsius[calm]


def _thin(label: NDArray[np.intp], most: int) -> NDArray[np.intp]:
    """Return the indices of at most `most` evenly spread readings of each label."""
    chosen = []
    for one in np.unique(label):
        where = np.flatnonzero(label == one)
        if len(where) > most:
            where = where[np.unique(np.linspace(0, len(where) - 1, most).round().astype(int))]
        chosen.append(where)
    return np.concatenate(chosen)
