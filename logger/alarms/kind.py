"""One kind of alarm: everything that must be thought through before an alarm may exist.

The columns are those that alarm management asks for (ISA-18.2 / IEC 62682, quoted at second hand): limit, priority,
causes, consequence of doing nothing, what to do, time to respond, deadband, delays, latching, shelving.
The life of an alarm follows OPC 10000-9 (UA Part 9), sections 4.8 and 5.8.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from logger.errors import NotFound
from logger.facts import NOTHING, Fact, Quantity, fact
from logger.quantities import quantity


class Priority(StrEnum):
    """How soon somebody must look. High is never held back by quiet hours and never silenced for good."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


def urgency(priority: str) -> int:
    """Return a priority's place in the order: 0 is the most urgent."""
    return list(Priority).index(Priority(priority))


class Harm(StrEnum):
    """What is at stake when nobody does anything."""

    SEVERE = "severe"  #: smoke, fire, people hurt, the whole pour lost
    COSTLY = "costly"  #: the table is spoiled or needs much work, or nobody watches it any more
    SMALL = "small"  #: extra work, or a risk that is not yet a loss


#: Priority = harm × time to respond: (minutes up to and including, SEVERE, COSTLY, SMALL).
#: The method is ISA-18.2's (from memory); the marks are the project's choice.
MATRIX: tuple[tuple[float, Priority, Priority, Priority], ...] = (
    (15, Priority.HIGH, Priority.HIGH, Priority.MEDIUM),
    (60, Priority.HIGH, Priority.MEDIUM, Priority.LOW),
    (float("inf"), Priority.MEDIUM, Priority.LOW, Priority.LOW),
)


def priority_of(harm: Harm, respond_within_min: float) -> Priority:
    """Return the priority that the matrix gives."""
    for until_min, severe, costly, small in MATRIX:
        if respond_within_min <= until_min:
            return {Harm.SEVERE: severe, Harm.COSTLY: costly, Harm.SMALL: small}[harm]
    raise NotFound(fact("no-priority-row", minutes=str(respond_within_min)))


class Subject(StrEnum):
    """What an alarm of this kind is about: one alarm for each."""

    POUR = "pour"
    PROBE = "probe"
    STATION = "station"
    SERVICE = "service"


#: Of an alarm of high rank: what keeps people whole. Of a core: how to cool it.
KEEP_CLEAR = tuple(fact(f"keep-clear.{n}") for n in (1, 2, 3))
COOL_NOW = tuple(fact(f"cool-now.{n}") for n in (1, 2, 3))


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of alarm. Durations carry their unit in the name; its texts are codes that begin with its name.

    `unit` is that of value and limit: °C of a temperature, K of a difference; `deadband` is a difference in it.
    """

    name: str
    harm: Harm
    subject: Subject
    unit: str
    deadband: float  #: how far back inside the limit the value must be before the alarm may return
    on_delay_s: float  #: time over the limit before it is raised; time spent back inside is taken off again
    off_delay_s: float  #: time back inside, without a break, before it returns
    n_of_m: tuple[int, int]  #: it takes n of the last m readings to raise it, or to call it worse
    likely: int  #: how many likely causes are listed
    steps: tuple[
        int | Fact, ...
    ]  #: what to do, in order: a step of its own by number, or one that others share
    respond_within_min: float
    repeat_min: float  #: told again this often until somebody acknowledges
    realarm_min: float  #: raised again when still true this long after it was acknowledged
    shelve_max_h: float
    #: Longest time out of service before it must be looked at again. None: until somebody puts it back.
    out_of_service_max_h: float | None = None
    latching: bool = False  #: stays up until a person has acknowledged it after the return
    figures: Mapping[str, Quantity] = field(
        default_factory=dict, hash=False
    )  #: what the texts of limit and source name

    @property
    def title(self) -> Fact:
        """What is wrong, as a title."""
        return fact(f"{self.name}.title")

    @property
    def short(self) -> Fact:
        """The title in the fewest words, for a lock screen."""
        return fact(f"{self.name}.title.short")

    @property
    def limit(self) -> Fact:
        """When it is raised."""
        return fact(f"{self.name}.limit", **self.figures)

    @property
    def limit_source(self) -> Fact:
        """Where the limit comes from."""
        return fact(f"{self.name}.source", **self.figures)

    @property
    def consequence(self) -> Fact:
        """What happens if nobody does anything."""
        return fact(f"{self.name}.consequence")

    @property
    def causes(self) -> tuple[Fact, ...]:
        """What probably brings it about."""
        return tuple(fact(f"{self.name}.cause.{n}") for n in range(1, self.likely + 1))

    @property
    def what_to_do(self) -> tuple[Fact, ...]:
        """What to do, in order."""
        return tuple(
            step if isinstance(step, Fact) else fact(f"{self.name}.do.{step}") for step in self.steps
        )

    @property
    def deadband_shown(self) -> str:
        """The deadband with its unit; nothing where there is none."""
        if self.deadband == 0:
            return NOTHING
        if self.unit in ("chance", "part"):
            return quantity(100 * self.deadband, "%", 0)
        return quantity(self.deadband, "K" if self.unit == "°C" else self.unit, None)

    @property
    def priority(self) -> Priority:
        """Harm × time to respond."""
        return priority_of(self.harm, self.respond_within_min)


def in_unit(value: float, unit: str) -> Quantity:
    """Return a value of a kind's unit: a temperature, a difference, a chance, or what else it is judged by."""
    if unit in ("chance", "part"):
        return quantity(100 * value, "%", 0)
    return quantity(value, unit)
