"""The cure of one spot along a temperature that is already known: a probe's, a predicted curve's, a room's.

No heat is exchanged here, the temperatures have been through that. Used for thin films (gel and cure times of a
datasheet), for the surface of a layer, and for the days after a prediction's end.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from logger.arrays import Floats
from logger.cure.model.kinetics import arrhenius_factor, rate_per_s
from logger.errors import DidNotConverge, OutOfRange
from logger.facts import fact
from logger.plan.file import Diffusion, Rate
from logger.units import SECONDS_PER_HOUR, ZERO_CELSIUS_K

#: Longest step in u = −ln(1 − α): with it 1e-6 of conversion is kept against closed forms (test_history.py).
_STEP = 0.04
#: Nor does a step add more to a young cure than this and a tenth of its conversion: autocatalysis is waking up.
_FIRST_STEP = 0.001
_NEARLY_ONE = 1.0 - 1e-12
#: A time longer than this is told as "never", h: 60 days.
LONGEST_H = 60 * 24.0


def conversion_along(
    hours: Floats,
    celsius: Floats,
    rate: Rate,
    diffusion: Diffusion | None = None,
    start: Floats | float = 0.0,
) -> Floats:
    """Conversion (places, N) along temperatures celsius (places, N) at hours (N,), rising; start is at hours[0].

    Temperatures are joined by straight lines. Raises OutOfRange when hours do not rise, DidNotConverge when a
    temperature is not a number.
    """
    hours = np.asarray(hours, dtype=float)
    celsius = np.atleast_2d(np.asarray(celsius, dtype=float))
    if np.any(np.diff(hours) <= 0):
        raise OutOfRange("hours", fact("do-not-rise"), remedy=fact("sort-readings"))
    if not np.all(np.isfinite(celsius)):
        raise DidNotConverge(fact("temperature-missing"))
    kelvin = celsius + ZERO_CELSIUS_K
    conversion = np.empty_like(kelvin)
    conversion[:, 0] = start
    u = -np.log1p(-np.minimum(conversion[:, 0], _NEARLY_ONE))
    longest = _STEP if diffusion is None else min(_STEP, 0.4 / max(diffusion.c, 1e-9))
    for i in range(1, len(hours)):
        span_s = (hours[i] - hours[i - 1]) * SECONDS_PER_HOUR
        cold, warm = kelvin[:, i - 1], kelvin[:, i]
        hottest = np.maximum(cold, warm)
        done = 0.0
        while done < span_s:
            step = np.minimum(longest, _FIRST_STEP - 0.1 * np.expm1(-u))
            speed = np.maximum(
                _speed(u, hottest, rate, diffusion), _speed(u + step, hottest, rate, diffusion)
            )
            dt = min(span_s - done, float(np.min(step / np.maximum(speed, 1e-300))))
            if span_s - done - dt < 1e-9 * span_s:
                dt = span_s - done
            u = _runge_kutta(u, (cold, (warm - cold) / span_s, done), dt, rate, diffusion)
            done += dt
        conversion[:, i] = -np.expm1(-u)
    return conversion


def time_to(
    conversion: float, celsius: float, rate: Rate, diffusion: Diffusion | None = None, start: float = 0.0
) -> float | None:
    """Hours at one temperature from conversion `start` to `conversion`; None beyond 60 days.

    The exact integral of dα over the rate, by Gauss–Legendre in a variable that spreads the slow start.
    """
    if conversion <= start:
        return 0.0
    if conversion >= 1.0:
        return None
    seconds = float(_seconds_between(start, np.array([conversion]), celsius, rate, diffusion)[0])
    hours = seconds / SECONDS_PER_HOUR
    return hours if np.isfinite(hours) and hours <= LONGEST_H else None


def cooled_to_room(
    hours: Floats, conversion: Floats, room_c: float, rate: Rate, diffusion: Diffusion | None
) -> tuple[Floats, Floats]:
    """Hours and conversion (places, N) carried on at room_c from the end of a course up to 60 days.

    What is still warm at the end is taken to be at the room's temperature: later, never earlier.
    """
    last = float(hours[-1])
    if last >= LONGEST_H:
        return hours, conversion
    later = np.geomspace(max(last, 1.0), LONGEST_H, 60)[1:]
    later = later[later > last]
    times = np.concatenate([[last], later])
    temperatures = np.full((len(conversion), len(times)), room_c)
    after = conversion_along(times, temperatures, rate, diffusion, conversion[:, -1])
    return np.concatenate([hours, later]), np.concatenate([conversion, after[:, 1:]], axis=1)


def _speed(u: Floats, t_k: Floats, rate: Rate, diffusion: Diffusion | None) -> Floats:
    """du/dt, 1/s, where u = −ln(1 − α). From n = 1 on it is bounded at the end of the cure, so nothing there is stiff;
    below, the cure ends at a moment, where u would run off: there it rests.
    """
    alpha = -np.expm1(-u)
    spent = alpha >= _NEARLY_ONE
    speed = rate_per_s(np.minimum(alpha, _NEARLY_ONE), t_k, rate, diffusion) / np.maximum(
        1.0 - alpha, 1.0 - _NEARLY_ONE
    )
    return np.where(spent, 0.0, speed)


def _runge_kutta(
    u: Floats, warming: tuple[Floats, Floats, float], dt: float, rate: Rate, diffusion: Diffusion | None
) -> Floats:
    """Return u after one classic fourth-order step of dt s; warming: K at the start of the span, K/s, and s since."""
    cold, slope, done = warming
    begin, middle, end = (cold + slope * (done + part * dt) for part in (0.0, 0.5, 1.0))
    one = _speed(u, begin, rate, diffusion)
    two = _speed(u + 0.5 * dt * one, middle, rate, diffusion)
    three = _speed(u + 0.5 * dt * two, middle, rate, diffusion)
    four = _speed(u + dt * three, end, rate, diffusion)
    return u + dt / 6.0 * (one + 2.0 * two + 2.0 * three + four)


@cache
def _gauss_legendre() -> tuple[Floats, Floats]:
    return np.polynomial.legendre.leggauss(64)


def _seconds_between(
    start: float, ends: Floats, celsius: float, rate: Rate, diffusion: Diffusion | None
) -> Floats:
    """∫ dα / rate from start to each of ends (E,), s."""
    t_k = celsius + ZERO_CELSIUS_K
    k1 = rate.k1_per_s * float(arrhenius_factor(t_k, rate.e1_j_mol))
    k2 = rate.k2_per_s * float(arrhenius_factor(t_k, rate.e2_j_mol))
    nodes, weights = _gauss_legendre()
    # α = start + (end − start) w³: the integrand's steep start (k1 against k2 α^m) is spread out.
    w, dw = 0.5 * (nodes + 1.0), 0.5 * weights
    span = ends[:, None] - start
    alpha = start + span * w**3
    with np.errstate(divide="ignore", over="ignore"):
        speed = (k1 + k2 * alpha**rate.m) * (1.0 - alpha) ** rate.n
        inverse = 1.0 / speed
        if diffusion is not None:
            critical = diffusion.ac0 + diffusion.ac_t_per_k * t_k
            inverse = inverse * (1.0 + np.exp(np.minimum(diffusion.c * (alpha - critical), 700.0)))
    return np.asarray((inverse * span * 3.0 * w**2 * dw).sum(axis=1))
