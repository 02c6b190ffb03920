"""What a resin's datasheet states, read from a TOML file, and the pour that each statement speaks of.

A number on a datasheet means something only with its mass, its container and its temperature (ASTM D2471 and
ISO 10364 say so of gel time and pot life). Where the datasheet leaves one out, the assumption is named here and
printed with the fit. `pourlog fit datasheet.toml` turns the statements into the [resin] table of a plan.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError, model_validator

from logger.cure.model.off_ratio import heat_from_equivalents
from logger.errors import BadInput
from logger.input_errors import input_problem, most_telling
from logger.plan.file import Glass, Limits, Plan, plan_from_table
from logger.plan.planning_tables import Positive
from logger.plan.toml_bounds import read_text, table_from_text
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
        raise ValueError(f"the range {value[0]:g} to {value[1]:g} needs its lower end first, above 0")
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


def in_words(value: float | tuple[float, float]) -> str:
    """Return a stated number as words: "50", "40 to 60"."""
    return " to ".join(f"{end:g}" for end in value) if isinstance(value, tuple) else f"{value:g}"


class Statement(Table):
    """One statement of the datasheet; at_c is the temperature it holds at, mix and room alike.

    at_plus_minus_k: half of the range of temperatures, where one is stated.
    """

    at_c: Celsius
    at_plus_minus_k: float = Field(default=0.0, ge=0, le=20, allow_inf_nan=False)
    tolerance_pct: Tolerance | None = None

    def describe(self) -> str:
        """Return the statement in words, as it is named in tables and contradictions."""
        raise NotImplementedError


class WorkingTime(Statement):
    """How long a stated mass in a cup stays workable."""

    mass_kg: Mass
    time_min: Span

    def describe(self) -> str:
        """Return the statement in words."""
        return (
            f"a working time of {in_words(self.time_min)} min for {_mass(self.mass_kg)} at {self.at_c:g} °C"
        )


class GelTime(Statement):
    """When a stated mass in a cup, or a film of stated thickness, gels."""

    time_min: Span
    mass_kg: Mass | None = None
    film_mm: Annotated[float, Field(gt=0, le=THIN_MM, allow_inf_nan=False)] | None = None

    @model_validator(mode="after")
    def _one_specimen(self) -> GelTime:
        if (self.mass_kg is None) == (self.film_mm is None):
            raise ValueError(
                "a gel time needs its specimen: give either mass_kg (a cup) or film_mm (a thin film)"
            )
        return self

    def describe(self) -> str:
        """Return the statement in words."""
        what = _mass(self.mass_kg) if self.mass_kg is not None else f"a {self.film_mm:g} mm film"
        return f"a gel time of {in_words(self.time_min)} min for {what} at {self.at_c:g} °C"


def _below_350(value: float | tuple[float, float]) -> float | tuple[float, float]:
    if ends(value)[1] > 350:
        raise ValueError(
            f"a peak of {ends(value)[1]:g} °C is hotter than any epoxy gets; give at most 350 °C"
        )
    return value


class Peak(Statement):
    """Peak temperature, and its time, of a stated mass in a cup or of a stated depth in a round container."""

    peak_c: Annotated[Span, AfterValidator(_below_350)]
    time_min: Span | None = None
    mass_kg: Mass | None = None
    depth_mm: Depth | None = None
    diameter_mm: Positive | None = None

    @model_validator(mode="after")
    def _one_specimen(self) -> Peak:
        if (self.mass_kg is None) == (self.depth_mm is None):
            raise ValueError(
                "a peak needs its specimen: give either mass_kg (a cup) or depth_mm (and diameter_mm)"
            )
        if ends(self.peak_c)[0] <= self.at_c:
            raise ValueError(
                f"peak_c = {in_words(self.peak_c)} °C is not above at_c = {self.at_c} °C; a cure warms the mix"
            )
        return self

    def describe(self) -> str:
        """Return the statement in words."""
        what = _mass(self.mass_kg) if self.mass_kg is not None else f"{self.depth_mm:g} mm"
        when = "" if self.time_min is None else f" after {in_words(self.time_min)} min"
        return f"a peak of {in_words(self.peak_c)} °C{when} in {what} at {self.at_c:g} °C"


class CureTime(Statement):
    """When a casting is hard enough to leave the form, or fully cured. Without depth_mm: a thin one."""

    time_h: Span
    to: Literal["hard", "full"] = "hard"
    depth_mm: Depth | None = None

    def describe(self) -> str:
        """Return the statement in words."""
        depth = "" if self.depth_mm is None else f" for {self.depth_mm:g} mm"
        word = "hard" if self.to == "hard" else "fully cured"
        return f"{word} after {in_words(self.time_h)} h at {self.at_c:g} °C{depth}"


def _a_depth(value: float | tuple[float, float]) -> float | tuple[float, float]:
    if not 0.05 < ends(value)[0] <= ends(value)[1] <= 500:
        raise ValueError(f"a depth of {in_words(value)} mm is outside 0.05 to 500 mm")
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

    def describe(self) -> str:
        """Return the statement in words."""
        return f"a {in_words(self.depth_mm)} mm pour at {self.at_c:g} °C that stays under {self.stays_below_c:g} °C"


#: The room of a statement that names none, °C: the laboratory's standard one (ISO 291, from memory); and how far the
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
    #: (Horie's third-order form, 1970, from memory; m + n = 2.5–3 in Barral et al. 1995).
    m: float = Field(default=1.0, ge=0, le=4, allow_inf_nan=False)
    n: float = Field(default=2.0, ge=0, le=6, allow_inf_nan=False)

    def heat_prior(self, usual: tuple[float, float] = (HEAT_J_G, HEAT_PART)) -> tuple[float, float, str]:
        """Heat of cure before any statement: J/g, relative uncertainty, where it comes from. usual: of its class."""
        if self.heat_of_cure_j_g is not None:
            return self.heat_of_cure_j_g, 0.03, "stated"
        if self.eew_g_eq is not None and self.ahew_g_eq is not None:
            heat = heat_from_equivalents(HEAT_KJ_EQ, self.eew_g_eq, self.ahew_g_eq)
            return heat, HEAT_EQ_PART, "from the equivalent weights"
        return *usual, "usual for room-temperature systems"


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
            raise ValueError(
                "nothing here says how fast it cures: state a working time, a gel time, a time to peak, a cure time, "
                "the deepest single pour or the kind of system"
            )
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
CUP = (
    "a stated mass stands in a thin plastic cup as wide as the mix is deep, on a bench, in still air "
    "(assumption: common practice, no source)"
)
WIDE = (
    "a stated depth without a width is a wide pour on a 19 mm panel with free air below; with width_mm it is a "
    "river between slabs of wood (assumption: common practice, no source)"
)


def specimen_plan(statement: Statement, resin: dict[str, Any], hours: float) -> Plan | None:
    """Return the pour that a statement speaks of, as a plan with this [resin] table; None for a thin film.

    hours: how far to predict.
    """
    pour: dict[str, Any]
    form: dict[str, Any] = {"underside": "open"}
    if isinstance(statement, (WorkingTime, GelTime, Peak)) and statement.mass_kg is not None:
        across = cup_mm(statement.mass_kg, float(resin["density_kg_m3"]))
        pour = {"shape": "round", "depth_mm": across, "width_mm": across}
        form = _THIN_CUP
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
            "title": statement.describe(),
            "resin": resin,
            "pour": pour,
            "form": form,
            "air": {"room_c": statement.at_c},
            "run": {"hours": hours},
        }
    )


def cup_mm(mass_kg: float, density_kg_m3: float) -> float:
    """Width and depth (mm) of a cup in which the mix is as deep as it is wide: V = π d³/4."""
    return 1000.0 * math.cbrt(4.0 * mass_kg / density_kg_m3 / math.pi)


#: 1 mm of polypropylene, k 0.2 W/(m·K), 900 kg/m³, 1900 J/(kg·K) (handbook values, from memory).
_PLASTIC = {
    "thickness_mm": 1.0,
    "conductivity_w_mk": 0.2,
    "density_kg_m3": 900.0,
    "specific_heat_j_kgk": 1900.0,
}
_THIN_CUP = {"bottom": _PLASTIC, "side": _PLASTIC, "underside": "closed"}


def _mass(mass_kg: float) -> str:
    return f"{1000 * mass_kg:g} g" if mass_kg < 1 else f"{mass_kg:g} kg"
