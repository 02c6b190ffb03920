"""What a resin's datasheet states, read from a TOML file, and the pour that each statement speaks of.

A number on a datasheet means something only with its mass, its container and its temperature (ASTM D2471 and
ISO 10364 say so of gel time and pot life). Where the datasheet leaves one out, the assumption is named here and
printed with the fit. `pourlog fit datasheet.toml` turns the statements into the [resin] table of a plan.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError, model_validator

from logger.cure.model.off_ratio import heat_from_equivalents
from logger.errors import BadInput
from logger.facts import NOTHING, Fact, Quantity, fact
from logger.input_errors import input_problem, most_telling
from logger.plan.file import Glass, Limits, Plan, plan_from_table
from logger.plan.planning_tables import Positive
from logger.plan.toml_bounds import read_text, table_from_text
from logger.quantities import grams, hours, hours_alone, length, mass, minutes, quantity, temperature
from logger.toml_table import Table

Tolerance = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=-10, le=80, allow_inf_nan=False)]
Mass = Annotated[float, Field(gt=0.001, le=200, allow_inf_nan=False)]
Depth = Annotated[float, Field(gt=0.05, le=500, allow_inf_nan=False)]
#: The usual classes of system, in the trade's words.
System = Literal["slow", "medium", "quick"]

#: A film this thin stays at the room's temperature, mm. Common practice, no source.
THIN_MM = 3.0
#: Heat of cure where nothing is stated, J/g, and its uncertainty: DGEBA with room-temperature amines holds 400 to
#: 560 J/g, diluted slow casting systems 350 to 430 (inferred from 98–110 kJ/eq and the usual weights).
HEAT_J_G, HEAT_PART = 410.0, 0.15
#: Heat per epoxide equivalent, kJ, and its uncertainty: 98 to 118 is reported (Rozenberg 1986, from memory).
HEAT_KJ_EQ, HEAT_EQ_PART = 103.0, 0.07


def _in_order(value: float | tuple[float, float]) -> float | tuple[float, float]:
    if isinstance(value, tuple) and not 0 < value[0] < value[1]:
        low, high = (quantity(end, "", None) for end in value)
        raise ValueError(fact("range-lower-end-first", low=low, high=high))
    return value


#: A number, or the two ends of the range that a datasheet states: 50, or [40, 60].
Span = Annotated[
    Positive | tuple[Positive, Positive],
    BeforeValidator(lambda value: tuple(value) if isinstance(value, list) else value),
    AfterValidator(_in_order),
]


def ends(value: float | tuple[float, float]) -> tuple[float, float]:
    """Return both ends of a stated number: the same twice where it is no range."""
    return value if isinstance(value, tuple) else (value, value)


def stated(value: float | tuple[float, float], of: Callable[[float], Quantity]) -> Quantity | Fact:
    """Return a stated number, or the range that it is: "50 mm", "40 mm to 60 mm"."""
    if not isinstance(value, tuple):
        return of(value)
    return fact("range", low=of(value[0]), high=of(value[1]))


def _degrees(celsius: float) -> Quantity:
    return temperature(celsius, None)


def _span(in_minutes: float) -> Quantity:
    whole = in_minutes < 120 or in_minutes % 60 == 0
    return minutes(in_minutes) if whole else hours(in_minutes / 60.0)


def _millimetres(mm: float) -> Quantity:
    return length(mm, None)


class Statement(Table):
    """One statement of the datasheet; at_c is the temperature it holds at, mix and room alike.

    at_plus_minus_k: half of the range of temperatures, where one is stated.
    """

    at_c: Celsius
    at_plus_minus_k: float = Field(default=0.0, ge=0, le=20, allow_inf_nan=False)
    tolerance_pct: Tolerance | None = None

    def describe(self) -> Fact:
        """Return the statement as it is named in tables and contradictions."""
        raise NotImplementedError


class WorkingTime(Statement):
    """How long a stated mass in a cup stays workable."""

    mass_kg: Mass
    time_min: Span

    def describe(self) -> Fact:
        """Return the statement as it is named."""
        time = stated(self.time_min, _span)
        return fact("says-working-time", time=time, mass=_mass(self.mass_kg), at=_degrees(self.at_c))


class GelTime(Statement):
    """When a stated mass in a cup, or a film of stated thickness, gels."""

    time_min: Span
    mass_kg: Mass | None = None
    film_mm: Annotated[float, Field(gt=0, le=THIN_MM, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _one_specimen(self) -> GelTime:
        if (self.mass_kg is None) == (self.film_mm is None):
            raise ValueError(fact("gel-time-needs-specimen"))
        return self

    def describe(self) -> Fact:
        """Return the statement as it is named."""
        time, at = stated(self.time_min, _span), _degrees(self.at_c)
        if self.mass_kg is not None:
            return fact("says-gel-time", time=time, mass=_mass(self.mass_kg), at=at)
        return fact("says-gel-time-of-film", time=time, film=length(self.film_mm or 0.0, None), at=at)


def _below_350(value: float | tuple[float, float]) -> float | tuple[float, float]:
    if ends(value)[1] > 350:
        most = temperature(350.0, 0)
        raise ValueError(fact("peak-beyond-epoxy", peak=_degrees(ends(value)[1]), most=most))
    return value


class Peak(Statement):
    """Peak temperature, and its time, of a stated mass in a cup or of a stated depth in a round container.

    loss_w_m2k: what that cup gives to the room over its whole surface, measured with hot water (water_cup.py).
    """

    peak_c: Annotated[Span, AfterValidator(_below_350)]
    time_min: Span | None = None
    mass_kg: Mass | None = None
    depth_mm: Depth | None = None
    diameter_mm: Positive | None = None
    loss_w_m2k: Annotated[float, Field(ge=1, le=60, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _one_specimen(self) -> Peak:
        if (self.mass_kg is None) == (self.depth_mm is None):
            raise ValueError(fact("peak-needs-specimen"))
        if ends(self.peak_c)[0] <= self.at_c:
            peak = stated(self.peak_c, _degrees)
            raise ValueError(fact("peak-not-above-room", peak=peak, at=_degrees(self.at_c)))
        return self

    def describe(self) -> Fact:
        """Return the statement as it is named."""
        what = _mass(self.mass_kg) if self.mass_kg is not None else _millimetres(self.depth_mm or 0.0)
        peak, at = stated(self.peak_c, _degrees), _degrees(self.at_c)
        if self.time_min is None:
            return fact("says-peak", peak=peak, what=what, at=at)
        return fact("says-peak-and-time", peak=peak, time=stated(self.time_min, _span), what=what, at=at)


class CureTime(Statement):
    """When a casting is hard enough to leave the form, or fully cured. Without depth_mm: a thin one."""

    time_h: Span
    to: Literal["hard", "full"] = "hard"
    depth_mm: Depth | None = None

    def describe(self) -> Fact:
        """Return the statement as it is named."""
        code = "says-hard" if self.to == "hard" else "says-fully-cured"
        depth = NOTHING
        if self.depth_mm is not None:
            depth = fact("says-for-depth", depth=_millimetres(self.depth_mm))
        return fact(code, time=stated(self.time_h, hours_alone), at=_degrees(self.at_c), depth=depth)


#: Depths that a statement may name, mm: above the first, at most the second.
DEPTHS_MM = (0.05, 500.0)


def _a_depth(value: float | tuple[float, float]) -> float | tuple[float, float]:
    least, most = DEPTHS_MM
    if not least < ends(value)[0] <= ends(value)[1] <= most:
        low, high = length(least, None), length(most, None)
        raise ValueError(fact("depth-outside", depth=stated(value, _millimetres), low=low, high=high))
    return value


class DeepestPour(Statement):
    """The deepest single pour that stays under a temperature; with width_mm a river between slabs, else wide.

    Its maker chose it with some margin: a pour of that depth stays under the limit, and gets warm. chosen = false: it
    is allowed in this room too, and nothing says that a deeper one is not.
    """

    depth_mm: Annotated[Span, AfterValidator(_a_depth)]
    stays_below_c: Annotated[float, Field(gt=20, le=200, allow_inf_nan=False)] = 60.0
    width_mm: Positive | None = None
    chosen: bool = True

    def describe(self) -> Fact:
        """Return the statement as it is named."""
        return fact(
            "says-deepest-pour",
            depth=stated(self.depth_mm, _millimetres),
            at=_degrees(self.at_c),
            below=_degrees(self.stays_below_c),
        )


#: The room of a statement that names none, °C: the laboratory's standard one (ISO 291, 23/50); and how far the
#: room may have been from it in which a deepest pour was tried, K.
LABORATORY_C, ROOM_WITHIN_K = 23.0, 2.0


def deepest_pours(depth_mm: float | tuple[float, float], limits: Limits) -> list[DeepestPour]:
    """Return a datasheet's deepest single pour as statements of the cure, in the rooms that its limits state.

    Its maker tried it in one that is not told: in the middle of those that are named, how far apart they are is left
    open. It is allowed in the warmest too. Where no room is stated, it is the laboratory's.
    """
    stated = limits.model_fields_set
    at_c, within = LABORATORY_C, ROOM_WITHIN_K
    if {"min_room_c", "max_room_c"} <= stated:
        at_c = round((limits.min_room_c + limits.max_room_c) / 2, 3)
        within = round(abs(limits.max_room_c - limits.min_room_c) / 2, 3)
    below_c = limits.max_core_c
    pours = [DeepestPour(depth_mm=depth_mm, at_c=at_c, at_plus_minus_k=within, stays_below_c=below_c)]
    if "max_room_c" in stated and limits.max_room_c > at_c:
        pours.append(
            DeepestPour(depth_mm=depth_mm, at_c=limits.max_room_c, chosen=False, stays_below_c=below_c)
        )
    return pours


class DscPeak(Table):
    """Temperature of the peak in a scanning calorimeter, for each heating rate (ISO 11357-5)."""

    heating_k_min: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
    peak_c: Annotated[float, Field(gt=0, le=350, allow_inf_nan=False)]


class Mixture(Table):
    """What the datasheet says of the mix itself; anything left out has a default or is fitted."""

    density_kg_m3: float = Field(default=1100.0, gt=100, lt=5000, allow_inf_nan=False)
    specific_heat_j_kgk: float = Field(default=1900.0, gt=100, lt=10_000, allow_inf_nan=False)
    conductivity_w_mk: float = Field(default=0.20, gt=0.01, lt=10, allow_inf_nan=False)
    heat_of_cure_j_g: float | None = Field(default=None, gt=50, le=1500, allow_inf_nan=False)
    eew_g_eq: float | None = Field(default=None, ge=100, le=5000, allow_inf_nan=False)
    ahew_g_eq: float | None = Field(default=None, ge=10, le=2000, allow_inf_nan=False)
    #: Exponents are not fitted: a datasheet cannot tell them apart. About 1 and 2 for room-temperature amines
    #: (Horie's third-order form, as González et al. 2003 call it; m + n = 2.5–3 in Barral et al. 1995).
    m: float = Field(default=1.0, ge=0, le=4, allow_inf_nan=False)
    n: float = Field(default=2.0, ge=0, le=6, allow_inf_nan=False)

    def heat_prior(self, usual: tuple[float, float] = (HEAT_J_G, HEAT_PART)) -> tuple[float, float, Fact]:
        """Heat of cure before any statement: J/g, relative uncertainty, where it comes from. usual: of its class."""
        if self.heat_of_cure_j_g is not None:
            return self.heat_of_cure_j_g, 0.03, fact("heat-stated")
        if self.eew_g_eq is not None and self.ahew_g_eq is not None:
            heat = heat_from_equivalents(HEAT_KJ_EQ, self.eew_g_eq, self.ahew_g_eq)
            return heat, HEAT_EQ_PART, fact("heat-from-equivalents")
        return *usual, fact("heat-usual")


class Datasheet(Table):
    """A datasheet: the mix, its limits, and what is stated of its cure."""

    name: str = Field(min_length=1, max_length=200)
    note: str = Field(default="", max_length=2000)
    system: System | None = None
    mixture: Mixture = Mixture()
    limits: Limits = Limits()
    glass: Glass = Glass()
    working_time: list[WorkingTime] = Field(default=[], max_length=20)
    gel_time: list[GelTime] = Field(default=[], max_length=20)
    peak: list[Peak] = Field(default=[], max_length=20)
    cure_time: list[CureTime] = Field(default=[], max_length=20)
    deepest_pour: list[DeepestPour] = Field(default=[], max_length=20)
    dsc_peak: list[DscPeak] = Field(default=[], max_length=20)

    @model_validator(mode="after")
    def _says_when(self) -> Datasheet:
        timed = self.working_time or self.gel_time or self.cure_time or any(p.time_min for p in self.peak)
        if not (timed or self.deepest_pour or self.limits.max_depth_mm or self.system):
            raise ValueError(fact("nothing-says-how-fast"))
        return self

    def statements(self) -> list[Statement]:
        """Every statement about the cure, in the order in which they are shown."""
        return [*self.working_time, *self.gel_time, *self.peak, *self.cure_time, *self.deepest_pour]


def datasheet_from_text(text: str, where: str = "datasheet.toml") -> Datasheet:
    """Return the datasheet in a TOML text. Raises BadInput naming the key, the value and the remedy."""
    try:
        sheet = Datasheet.model_validate(table_from_text(text, where))
        if sheet.deepest_pour or sheet.limits.max_depth_mm is None:
            return sheet
        # A limit of the depth is a statement of the cure as well, whichever way it came here.
        deepest = deepest_pours(sheet.limits.max_depth_mm, sheet.limits)
        return sheet.model_copy(update={"deepest_pour": deepest})
    except ValidationError as error:
        first = most_telling(error.errors())
        mistake = input_problem(first, Datasheet)
        value = first["input"] if isinstance(first["input"], (int, float, str)) else None
        raise BadInput(
            f"{where}: {'.'.join(mistake.path)}" if mistake.path else where,
            mistake.problem,
            value=value,
            allowed=mistake.allowed,
            remedy=mistake.remedy,
        ) from error


def read_datasheet(path: Path) -> Datasheet:
    """Return the datasheet in a file. Raises BadInput when it is missing, unreadable or wrong."""
    return datasheet_from_text(read_text(path), str(path))


#: What each container is taken to be; printed with every fit.
CUP = fact("assumed-cup")
WIDE = fact("assumed-wide", panel=length(19.0, 0))


def specimen_plan(statement: Statement, resin: dict[str, Any], hours: float) -> Plan | None:
    """Return the pour that a statement speaks of, as a plan with this [resin] table; None for a thin film.

    hours: how far to predict.
    """
    pour: dict[str, Any]
    form: dict[str, Any] = {"underside": "open"}
    air: dict[str, Any] = {"room_c": statement.at_c}
    if isinstance(statement, (WorkingTime, GelTime, Peak)) and statement.mass_kg is not None:
        across = cup_mm(statement.mass_kg, float(resin["density_kg_m3"]))
        pour = {"shape": "round", "depth_mm": across, "width_mm": across}
        form = _THIN_CUP
        if isinstance(statement, Peak) and statement.loss_w_m2k is not None:
            # What was measured is from the content to the room: the wall is in it.
            form = _NO_WALL
            air |= {f"{face}_w_m2k": statement.loss_w_m2k for face in ("top", "bottom", "side")}
    elif isinstance(statement, Peak) and statement.depth_mm is not None:
        pour = {"shape": "sheet", "depth_mm": statement.depth_mm}
        form = _THIN_CUP
        if statement.diameter_mm is not None:
            pour |= {"shape": "round", "width_mm": statement.diameter_mm}
    elif isinstance(statement, DeepestPour):
        pour = {"shape": "sheet", "depth_mm": math.sqrt(math.prod(ends(statement.depth_mm)))}
        if statement.width_mm is not None:
            pour |= {"shape": "river", "width_mm": statement.width_mm}
    elif isinstance(statement, CureTime) and statement.depth_mm is not None and statement.depth_mm > THIN_MM:
        pour = {"shape": "sheet", "depth_mm": statement.depth_mm}
    else:
        return None
    return plan_from_table(
        {
            "title": type(statement).__name__,
            "resin": resin,
            "pour": pour,
            "form": form,
            "air": air,
            "run": {"hours": hours},
        }
    )


def cup_mm(mass_kg: float, density_kg_m3: float) -> float:
    """Width and depth (mm) of a cup in which the mix is as deep as it is wide: V = π d³/4."""
    return 1000.0 * math.cbrt(4.0 * mass_kg / density_kg_m3 / math.pi)


#: 1 mm of polypropylene, k 0.2 W/(m·K), 900 kg/m³ (EN ISO 10456: 0.22, 910), 1900 J/(kg·K) (from memory).
_PLASTIC = {
    "thickness_mm": 1.0,
    "conductivity_w_mk": 0.2,
    "density_kg_m3": 900.0,
    "specific_heat_j_kgk": 1900.0,
}
_NO_WALL = {name: {**_PLASTIC, "thickness_mm": 0.0} for name in ("bottom", "side")}
_THIN_CUP = {"bottom": _PLASTIC, "side": _PLASTIC, "underside": "closed"}


def _mass(mass_kg: float) -> Quantity:
    return grams(1000.0 * mass_kg, None) if mass_kg < 1 else mass(mass_kg, None)
