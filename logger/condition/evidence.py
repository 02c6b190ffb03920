"""What a pour is judged by: readings, alarms, forecast, plan, and whether anybody watches it.

Times are true, in ms; hours count from the start of pouring. None always means "not known".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.alarms.inputs import Remedy
from logger.alarms.kind import Priority
from logger.alarms.state import UP, Phase
from logger.pour import LIVE, Stage

#: Places that hold thermometers, in the order in which they are read out; others are contacts.
PLACES = ("core", "surface", "underside", "room")
#: Readings older than this are not present ones: in the first hour (one every 5 s), later (one every 30 s), ms.
OLD_EARLY_MS, OLD_LATER_MS = 60_000, 150_000


@dataclass(frozen=True, slots=True)
class Thermometer:
    """One probe of a pour, by its last good reading. `fault`: the station's code of what it answered since."""

    place: str
    celsius: float | None
    read_ms: int | None
    fault: str | None = None

    @property
    def kind(self) -> str:
        """The place without its number: "core" of "core-2"."""
        return self.place.partition("-")[0]


@dataclass(frozen=True, slots=True)
class OpenAlarm:
    """An alarm that is true, or over and not confirmed by anybody."""

    id: int
    kind: str
    priority: Priority
    phase: Phase
    reason: str
    raised_ms: int
    by: str | None = None
    acknowledged_ms: int | None = None

    @property
    def true(self) -> bool:
        """Whether what raised it still holds, as far as is known."""
        return self.phase in UP

    @property
    def answered(self) -> bool:
        """Whether somebody has it in hand."""
        return self.phase is Phase.ACKNOWLEDGED


@dataclass(frozen=True, slots=True)
class ExpectedPeak:
    """A peak of the core that is to come, °C: 5, 50 and 95 % points, and the chance (0–1) that it passes the limit.

    at_h, last_at_h: its hour, and the hour by which it is past in 95 of 100 cases. clear_h: by when the readings will
    tell whether it passes the limit. remedy: what would help most. made_h: the hour of the
    pour from which it was seen; None for the plan's.
    """

    low_c: float
    middle_c: float
    high_c: float
    chance: float
    at_h: float
    last_at_h: float
    clear_h: float | None = None
    crossing_h: float | None = None
    remedy: Remedy | None = None
    made_h: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that a condition is judged from, as of one moment.

    limit_c: the core's; None where the plan cannot be read. hottest: what the core has read at its hottest so far
    (°C, hour). planned: the plan's peak, frozen with the pour. forecast: the newest. look_due_ms: when the form is to
    be looked at next. unjudged: why no alarm of it can be relied on; None: it has lately been judged.
    """

    stage: Stage
    started_ms: int | None
    limit_c: float | None
    thermometers: Sequence[Thermometer] = ()
    alarms: Sequence[OpenAlarm] = ()
    hottest: tuple[float, float] | None = None
    planned: ExpectedPeak | None = None
    forecast: ExpectedPeak | None = None
    look_due_ms: int | None = None
    unjudged: str | None = None

    @property
    def live(self) -> bool:
        """Whether it is being watched."""
        return self.stage in LIVE

    @property
    def too_old_ms(self) -> int:
        """From what age on a reading is no present one, ms."""
        return OLD_EARLY_MS if self.stage in (Stage.POURING, Stage.WATCHED) else OLD_LATER_MS

    def present(self, probe: Thermometer, now_ms: int) -> bool:
        """Whether a probe's last good reading stands for its temperature now."""
        return (
            probe.fault is None
            and probe.celsius is not None
            and probe.read_ms is not None
            and now_ms - probe.read_ms <= self.too_old_ms
        )
