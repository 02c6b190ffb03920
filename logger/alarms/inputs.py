"""What alarms are judged by: readings, limits, the forecast's answers, and facts about station and service.

All times are milliseconds on the service's steady timeline; hours count from the start of pouring.
None always means "not known", and what is not known raises nothing and clears nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.facts import Fact, fact

if TYPE_CHECKING:  # a start does not wait for plans
    from logger.plan.file import Plan


@dataclass(frozen=True, slots=True)
class LiveReading:
    """One look at a probe: a temperature, or the fault that names why there is none.

    `place` is core, surface, underside, room, or one of them with a number (core-2). `late`: caught up after the
    station was out of touch. `note`: what the station doubts about it.
    """

    place: str
    probe: str
    at_ms: int
    celsius: float | None
    fault: str | None = None
    late: bool = False
    station: str = ""
    note: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmLimits:
    """The limits of one pour."""

    max_core_c: float = 60.0
    min_room_c: float = 17.0
    max_room_c: float = 29.0
    max_spread_c: float = 20.0
    max_humidity_pct: float = 75.0
    min_dew_margin_c: float = 3.0
    planned_release_h: float | None = None


def limits_of(plan: Plan, planned_release_h: float | None = None) -> AlarmLimits:
    """Return the limits in a plan."""
    resin = plan.resin.limits
    return AlarmLimits(
        resin.max_core_c, resin.min_room_c, resin.max_room_c, planned_release_h=planned_release_h
    )


@dataclass(frozen=True, slots=True)
class Quantiles:
    """5, 50 and 95 % points; of an hour, None where it does not come within within_h hours of pouring."""

    p05: float | None
    p50: float | None
    p95: float | None
    within_h: float | None = None


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something that would help: its name in a forecast, and what it would come to ("fans now: 78 → 57 °C")."""

    name: str
    words: str

    @property
    def short(self) -> Fact:
        """What would be done, without what it would come to."""
        return fact(f"helps-{self.name.replace(' ', '-')}")


@dataclass(frozen=True, slots=True)
class ForecastAnswer:
    """What the forecast answered, and when. A part that it could not answer is None."""

    made_at_ms: int
    chance_over_limit: float
    core_peak_c: Quantiles
    peak_at_h: Quantiles | None = None
    crossing_h: Quantiles | None = None
    release_h: Quantiles | None = None
    #: Named causes with their size: "the resin cures 30 % faster than its datasheet".
    causes: tuple[str, ...] = ()
    #: What would help, best first.
    would_help: tuple[Remedy, ...] = ()
    #: Part of the cooling that the running fan should bring and does: 1 as it should, 0 like still air.
    fan_cooling: float | None = None
    #: The chance over the limit if the running fan were switched off now.
    chance_without_fan: float | None = None
    #: Heat that the top face takes up from outside, W/m².
    surface_heating_w_m2: float | None = None


@dataclass(frozen=True, slots=True)
class StationFacts:
    """What the service knows about a station."""

    station: str
    last_seen_ms: int | None = None  #: last sign of life, empty batches included
    clock_set: bool | None = None
    power_low: bool | None = None
    disk_free_mb: float | None = None
    clock_off_ms: int | None = None  #: how far its clock is ahead of the service's; None: not known
    refused: str | None = None  #: why its readings cannot be stored now; None: they can
    pin_faults: str | None = None  #: what is wrong with its pins; empty: nothing


@dataclass(frozen=True, slots=True)
class ServiceFacts:
    """What the service knows about itself."""

    disk_free_mb: float | None = None
    oldest_unsent_ms: int | None = None  #: when the oldest waiting message was written; None: nothing waits
    failed_for_good: int = 0  #: messages whose channels have all given up and that nobody has seen


@dataclass(frozen=True, slots=True)
class WetContact:
    """A wet contact under the form. `wet` None: not known."""

    name: str
    wet: bool | None
    at_ms: int


@dataclass(frozen=True, slots=True)
class FanState:
    """The fan as commanded, and as its proof contact tells (None: it has none)."""

    commanded: bool
    turning: bool | None = None


@dataclass(frozen=True, slots=True)
class RoomAir:
    """Humidity of the room, and the coldest surface if it is known."""

    humidity_pct: float
    at_ms: int
    coldest_surface_c: float | None = None


@dataclass(frozen=True, slots=True)
class LooksSummary:
    """The looks of the first hour as far as the alarms need them (see first_hour.py)."""

    overdue_since_ms: int | None  #: when the oldest look that nobody made was due
    leaking: bool | None = None  #: by the last look that said anything about it
    finding: str = ""  #: a fact, or what somebody noted
    by: str = ""
    over: bool = False  #: the first hour is over: nothing is due any more


@dataclass(frozen=True, slots=True)
class WatchFacts:
    """Everything but the readings. None: that part is not watched here."""

    stations: tuple[StationFacts, ...] = ()
    service: ServiceFacts | None = None
    forecast: ForecastAnswer | None = None
    contacts: tuple[WetContact, ...] = ()
    looks: LooksSummary | None = None
    fan: FanState | None = None
    air: RoomAir | None = None
