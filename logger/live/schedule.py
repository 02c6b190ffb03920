"""How the work of a service fits into its time: other than usual in a simulation at high speed."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pace:
    """How forecasts, and what threads take, fit into the time of the service; a simulation at high speed has its own.

    speed: seconds of the service's time in a real one.
    idle_s: real seconds between looks for what is due. apart_h: hours between forecasts at least, and before the
    first, but for the second one that makes an alarm. hold: entered while one is made of a pour whose peak is still to
    come, while it is not told yet whether that is too hot. calm_h: hours between forecasts at least after that.
    ready: whether the worker is started before the first is due. help_late: what would help, which takes longer than
    the forecast itself, is worked out only once a forecast has called.
    """

    idle_s: float = 1.0
    apart_h: float = 0.0
    calm_h: float = 0.0
    hold: Callable[[], AbstractContextManager[object]] = nullcontext
    ready: bool = False
    help_late: bool = False
    speed: float = 1.0
