"""How often a service forecasts, and how long it waits; a simulation at high speed has values of its own."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pace:
    """The pace of a service's work, beside its clock.

    speed: seconds of the service's time in a real one. idle_s: real seconds between looks for what is due. apart_h:
    hours between forecasts at least, and before the first, but for the second one that raises an alarm. hold: entered
    while a pour is forecast whose peak is still to come and not yet known to be too hot or not. calm_h: hours between
    forecasts at least after that. ready: whether the worker is started before the first forecast is due. help_late:
    whether what would help, which takes longer than the forecast itself, waits until a forecast has called.
    """

    idle_s: float = 1.0
    apart_h: float = 0.0
    calm_h: float = 0.0
    hold: Callable[[], AbstractContextManager[object]] = nullcontext
    ready: bool = False
    help_late: bool = False
    speed: float = 1.0
