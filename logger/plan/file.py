"""The plan file: one TOML form of a pour, read and written by pages, daemon and command line.

Names and defaults are a fixed contract; keys are added where a capability needs them, never
renamed or dropped.
Every number's unit is in its name. A mistake is refused with the key, the value, the range and the remedy.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import tomli_w
from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    SerializerFunctionWrapHandler,
    ValidationError,
    model_serializer,
    model_validator,
)

from logger.errors import BadPlan
from logger.facts import NOTHING, Fact, fact
from logger.input_errors import input_problem, most_telling, tables_in, unit_words
from logger.plan import planning_tables as planning
from logger.plan.planning_tables import Coefficient, Hours, Percent, Positive, Temperature
from logger.plan.toml_bounds import MOST_LEVELS, read_text, table_from_text
from logger.quantities import hours, length, quantity
from logger.toml_table import Table

#: What a plan may ask of the solver: layers, stretches of sun or fan, rows of a room's schedule. Each layer adds cells
#: and, like each stretch, a new beginning: a plan at all of these bounds is solved in minutes, not in hours.
MOST_LAYERS, MOST_STRETCHES, MOST_ROWS = 20, 50, 200
#: Longest run, h: 60 days.
LONGEST_H = 60 * 24.0
#: All layers together, mm: what the mesh is made for.
DEEPEST_MM = 1000.0


class Rate(Table):
    """Kamal–Sourour rate constants referred to 25 °C: dα/dt = (k1 + k2 α^m)(1 − α)^n."""

    k1_per_s: float = Field(ge=0, le=10, allow_inf_nan=False)
    k2_per_s: float = Field(ge=0, le=10, allow_inf_nan=False)
    e1_j_mol: float = Field(default=58_000.0, ge=0, le=200_000, allow_inf_nan=False)
    e2_j_mol: float = Field(default=55_000.0, ge=0, le=200_000, allow_inf_nan=False)
    m: float = Field(default=0.5, ge=0, le=4, allow_inf_nan=False)
    n: float = Field(default=1.6, ge=0, le=6, allow_inf_nan=False)

    @model_validator(mode="after")
    def _can_start(self) -> Rate:
        # (k2 α^m) is zero at α = 0 for every m > 0: without k1 the cure never starts on paper.
        if self.k1_per_s == 0 and (self.k2_per_s == 0 or self.m > 0):
            raise ValueError(fact("plan-rate-never-starts"))
        return self


class Glass(Table):
    """Glass transition against conversion (DiBenedetto): Tg0 of the fresh mix, Tg∞ of the full cure, λ.

    The defaults are a generic slow casting system, from memory; a datasheet's or a lab's numbers are better.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, serialize_by_alias=True)

    tg0_c: float = Field(default=-40.0, ge=-100, le=50, allow_inf_nan=False)
    tg_inf_c: float = Field(default=85.0, ge=-20, le=300, allow_inf_nan=False)
    #: Δcp of the full cure over Δcp of the fresh mix; `lambda` in the file.
    lambda_: float = Field(default=0.4, gt=0, le=1, allow_inf_nan=False, alias="lambda")

    @model_validator(mode="after")
    def _hardens(self) -> Glass:
        if self.tg_inf_c <= self.tg0_c:
            full, fresh = quantity(self.tg_inf_c, "°C", None), quantity(self.tg0_c, "°C", None)
            raise ValueError(fact("plan-glass-does-not-rise", full=full, fresh=fresh))
        return self

    @property
    def stated(self) -> bool:
        """Whether somebody stated Tg∞. A table with all three defaults was written by an older program, by nobody."""
        older = self.model_fields_set == {"tg0_c", "tg_inf_c", "lambda_"} and self == Glass.model_validate(
            {"tg0_c": -40.0, "tg_inf_c": 85.0, "lambda": 0.4}
        )
        return "tg_inf_c" in self.model_fields_set and not older

    @model_serializer(mode="wrap")
    def _as_stated(self, write: SerializerFunctionWrapHandler) -> dict[str, float]:
        # A default that is written is a statement when it is read again: what nobody stated stays unstated.
        names = {"lambda" if name == "lambda_" else name for name in self.model_fields_set}
        return {name: value for name, value in write(self).items() if name in names}


class Diffusion(Table):
    """Chern–Poehlein slow-down: the rate times 1 / (1 + exp[c (α − α_c)]), α_c = ac0 + ac_t_per_k · T(K)."""

    c: float = Field(ge=0, le=1000, allow_inf_nan=False)
    ac0: float = Field(ge=-20, le=20, allow_inf_nan=False)
    ac_t_per_k: float = Field(default=0.0, ge=-1, le=1, allow_inf_nan=False)


class Flow(Table):
    """How the resin moves before it gels: how thick the fresh mix is, and what makes it rise and sink.

    Viscosity as Castro & Macosko have it (logger/cure/model/viscosity.py). But for the viscosity, which datasheets
    state, the defaults are a generic casting system's, from memory.
    """

    viscosity_pa_s: float = Field(ge=0.001, le=1000, allow_inf_nan=False)
    at_c: float = Field(default=25.0, ge=0, le=60, allow_inf_nan=False)
    e_j_mol: float = Field(default=50_000.0, ge=0, le=200_000, allow_inf_nan=False)
    #: 0.577 is the earliest gel of a diepoxide with a diamine (see kinetics.EARLIEST_GEL).
    gel_conversion: float = Field(default=0.58, ge=0.05, le=0.95, allow_inf_nan=False)
    exponent_a: float = Field(default=1.5, ge=0, le=10, allow_inf_nan=False)
    exponent_b: float = Field(default=1.0, ge=-10, le=10, allow_inf_nan=False)
    expansion_per_k: float = Field(default=5e-4, ge=0, le=0.005, allow_inf_nan=False)
    #: By how much the density grows until it is fully cured.
    density_gain_pct: float = Field(default=4.0, ge=0, le=20, allow_inf_nan=False)

    @model_validator(mode="after")
    def _thickens(self) -> Flow:
        at_gel = self.exponent_a + self.exponent_b * self.gel_conversion
        if at_gel <= 0:
            raise ValueError(fact("plan-flow-does-not-gel", at_gel=quantity(at_gel, "", None)))
        return self


class Limits(Table):
    """What the datasheet allows."""

    max_depth_mm: Positive | None = None
    max_core_c: Temperature = 60.0
    min_room_c: Temperature = 17.0
    max_room_c: Temperature = 29.0


def _numbers(values: Any) -> Any:
    if isinstance(values, str):
        try:
            return tuple(float(number) for number in values.split())
        except ValueError as error:
            raise ValueError(fact("plan-no-row-of-numbers")) from error
    return tuple(values) if isinstance(values, list) else values


#: What is multiplied in each of the equally likely resins: in a file one line of text, "0.84 0.97 1.12".
Factors = Annotated[
    tuple[Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)], ...],
    BeforeValidator(_numbers),
    PlainSerializer(lambda values: " ".join(f"{value:g}" for value in values), when_used="json"),
    Field(min_length=2, max_length=200),
]


class Possible(Table):
    """Resins that fit the datasheet as well as one another, each by its factors on this table's numbers.

    `rate` multiplies k1 and k2 at 25 °C, `first` k1 once more, `energy` both activation energies, `heat` the heat of
    cure. Made by the fit: their spread is how far the datasheet leaves the resin open.
    """

    rate: Factors
    first: Factors
    energy: Factors
    heat: Factors

    @model_validator(mode="after")
    def _as_many_of_each(self) -> Possible:
        counts = {len(self.rate), len(self.first), len(self.energy), len(self.heat)}
        if len(counts) > 1:
            raise ValueError(fact("plan-factors-differ-in-length"))
        return self


class Resin(Table):
    """The mixed resin system: its heat, its rate and its limits."""

    name: str = Field(min_length=1, max_length=200)
    density_kg_m3: float = Field(default=1100.0, gt=100, lt=5000, allow_inf_nan=False)
    specific_heat_j_kgk: float = Field(default=1900.0, gt=100, lt=10_000, allow_inf_nan=False)
    conductivity_w_mk: float = Field(default=0.20, gt=0.01, lt=10, allow_inf_nan=False)
    heat_of_cure_j_g: float = Field(ge=0, le=1500, allow_inf_nan=False)
    rate: Rate
    limits: Limits = Limits()
    glass: Glass = Glass()
    diffusion: Diffusion | None = None
    possible: Possible | None = None
    flow: Flow | None = None


class PourTable(Table):
    """The layer poured first: its shape and size."""

    shape: Literal["river", "round", "sheet"]
    depth_mm: float = Field(gt=0, le=1000, allow_inf_nan=False)
    width_mm: float | None = Field(default=None, gt=0, le=5000, allow_inf_nan=False)
    length_mm: float | None = Field(default=None, gt=0, le=20_000, allow_inf_nan=False)
    start_c: Temperature | None = None

    @model_validator(mode="after")
    def _has_its_width(self) -> PourTable:
        if self.shape != "sheet" and self.width_mm is None:
            raise ValueError(fact(f"plan-{self.shape}-without-width"))
        return self


class Panel(Table):
    """A panel of the form, or a slab. thickness_mm = 0 means none: the air then touches the resin."""

    thickness_mm: float = Field(ge=0, le=2000, allow_inf_nan=False)
    conductivity_w_mk: float = Field(gt=0, le=500, allow_inf_nan=False)
    density_kg_m3: float = Field(gt=0, le=25_000, allow_inf_nan=False)
    specific_heat_j_kgk: float = Field(gt=0, le=10_000, allow_inf_nan=False)


class Bottom(Panel):
    """The bottom panel of the form."""

    thickness_mm: float = Field(default=19.0, ge=0, le=2000, allow_inf_nan=False)
    conductivity_w_mk: float = Field(default=0.20, gt=0, le=500, allow_inf_nan=False)
    density_kg_m3: float = Field(default=750.0, gt=0, le=25_000, allow_inf_nan=False)
    specific_heat_j_kgk: float = Field(default=1700.0, gt=0, le=10_000, allow_inf_nan=False)


class Side(Panel):
    """The slab beside the river (its width), or the mould's wall."""

    thickness_mm: float = Field(default=200.0, ge=0, le=2000, allow_inf_nan=False)
    conductivity_w_mk: float = Field(default=0.16, gt=0, le=500, allow_inf_nan=False)
    density_kg_m3: float = Field(default=620.0, gt=0, le=25_000, allow_inf_nan=False)
    specific_heat_j_kgk: float = Field(default=1700.0, gt=0, le=10_000, allow_inf_nan=False)


class Form(Table):
    """Bottom panel and sides."""

    bottom: Bottom = Bottom()
    side: Side = Side()
    support: planning.Support | None = None
    clamp: planning.Clamp | None = None
    face: planning.Face | None = None
    seam: planning.Seam | None = None
    #: Air moves freely under the panel ("open"), or the form stands on a bench ("closed"; the hotter, so if left out).
    underside: Literal["open", "closed"] | None = None


class Air(Table):
    """The room and how it takes the heat away. A coefficient left out is computed from the surfaces."""

    room_c: Temperature | Annotated[list[tuple[Hours, Temperature]], Field(max_length=MOST_ROWS)]
    top_w_m2k: Coefficient | None = None
    bottom_w_m2k: Coefficient | None = None
    side_w_m2k: Coefficient | None = None
    #: Speed of the air that a fan drives over the top; 0 = still air. Used where top_w_m2k is left out.
    top_air_m_s: float = Field(default=0.0, ge=0, le=20, allow_inf_nan=False)
    #: Thermal emissivity of resin, wood and panel. Used where a coefficient is left out.
    emissivity: float = Field(default=0.9, ge=0, le=1, allow_inf_nan=False)
    relative_humidity_pct: Percent | None = None
    coldest_surface_c: Temperature | None = None

    @model_validator(mode="after")
    def _schedule_runs_forward(self) -> Air:
        if isinstance(self.room_c, list):
            at_h = [h for h, _ in self.room_c]
            if not at_h:
                raise ValueError(fact("plan-room-empty"))
            if any(later <= earlier for earlier, later in itertools.pairwise(at_h)):
                raise ValueError(fact("plan-room-hours-fall", hours=str(at_h)))
        return self


class Layer(Table):
    """A later layer poured on top of the first."""

    at_h: float = Field(gt=0, le=24 * 60, allow_inf_nan=False)
    depth_mm: float = Field(gt=0, le=1000, allow_inf_nan=False)
    start_c: Temperature | None = None


class Heat(Table):
    """Heat absorbed by the top (sun, heat gun) from one hour to another."""

    from_h: Hours
    to_h: Hours
    absorbed_w_m2: float = Field(ge=0, le=20_000, allow_inf_nan=False)

    @model_validator(mode="after")
    def _ends_after_it_starts(self) -> Heat:
        if self.to_h <= self.from_h:
            raise ValueError(_ends_first(self.from_h, self.to_h))
        return self


class FanTime(Table):
    """A fan over the top face from one hour to another; the station's relay follows it."""

    from_h: Hours
    to_h: Hours
    air_m_s: float = Field(default=2.0, gt=0, le=20, allow_inf_nan=False)

    @model_validator(mode="after")
    def _ends_after_it_starts(self) -> FanTime:
        if self.to_h <= self.from_h:
            raise ValueError(_ends_first(self.from_h, self.to_h))
        return self


class Run(Table):
    """How far to predict."""

    hours: float = Field(default=72.0, gt=0, le=LONGEST_H, allow_inf_nan=False)


class Plan(Table):
    """A pour as planned."""

    title: str = Field(min_length=1, max_length=300)
    resin: Resin
    pour: PourTable
    form: Form = Form()
    air: Air
    layer: list[Layer] = Field(default=[], max_length=MOST_LAYERS - 1)
    heat: list[Heat] = Field(default=[], max_length=MOST_STRETCHES)
    fan: list[FanTime] = Field(default=[], max_length=MOST_STRETCHES)
    run: Run = Run()
    # What follows only planning reads (logger/plan/planning_tables.py); a plan without it is still a plan.
    outline: planning.Outline | None = None
    void: list[planning.Void] = Field(default=[], max_length=200)
    allowance: planning.Allowance = planning.Allowance()
    mix: planning.Mix | None = None
    pails: planning.Pails = planning.Pails()
    scale: planning.Scale | None = None
    slab: list[planning.Slab] = Field(default=[], max_length=40)
    sun: planning.Sun | None = None
    shop: planning.ShopRoom | None = None
    colour: planning.Colour | None = None
    heat_tool: planning.HeatTool | None = None
    cost: planning.Cost | None = None
    person: list[planning.Signer] = Field(default=[], max_length=40)

    @model_validator(mode="after")
    def _layers_rise(self) -> Plan:
        at_h = [layer.at_h for layer in self.layer]
        if at_h != sorted(set(at_h)):
            raise ValueError(fact("plan-layers-do-not-rise", hours=str(at_h)))
        return self

    @model_validator(mode="after")
    def _not_too_deep(self) -> Plan:
        total_mm = self.pour.depth_mm + sum(layer.depth_mm for layer in self.layer)
        if total_mm > DEEPEST_MM:
            total, most = length(total_mm, None), length(DEEPEST_MM, None)
            raise ValueError(fact("plan-too-deep", total=total, most=most))
        return self

    @model_validator(mode="after")
    def _fan_times_apart(self) -> Plan:
        if any(later.from_h < earlier.to_h for earlier, later in itertools.pairwise(self.fan)):
            times = [(fan.from_h, fan.to_h) for fan in self.fan]
            raise ValueError(fact("plan-fan-times-overlap", times=str(times)))
        return self

    def room_schedule(self) -> list[tuple[float, float]]:
        """Return the room as [(hours, °C), …]; one pair when the room is one number."""
        if isinstance(self.air.room_c, list):
            return list(self.air.room_c)
        return [(0.0, self.air.room_c)]


def plan_from_text(text: str, where: str = "plan.toml") -> Plan:
    """Return the plan in a TOML text.

    Raises BadPlan naming the key, the value found, the allowed range and the remedy; what is too large to parse or to
    solve is refused before either begins.
    """
    return plan_from_table(table_from_text(text, where, BadPlan), where)


def plan_from_table(table: dict[str, Any], where: str = "plan.toml") -> Plan:
    """Return the plan in a nested dict as TOML gives it. Raises BadPlan."""
    try:
        return Plan.model_validate(_rows_as_tuples(table, where))
    except ValidationError as error:
        raise _bad_plan(error, where) from error


def read_plan(path: Path) -> Plan:
    """Return the plan in a file. Raises BadPlan when it is missing, unreadable or wrong."""
    return plan_from_text(read_text(path, BadPlan), str(path))


def plan_to_text(plan: Plan) -> str:
    """Return the plan as TOML; reading it back gives an equal plan.

    Defaults that nobody wrote and empty lists are left out: what was said can be told from what was not, and a table
    can be added at the end ([[slab]] after `slab = []` is no TOML).
    """
    return tomli_w.dumps(plan_to_table(plan))


def plan_to_table(plan: Plan) -> dict[str, Any]:
    """Return what was said in a plan, as a nested dict."""
    shown_table: dict[str, Any] = _without_empty_lists(
        plan.model_dump(exclude_none=True, exclude_unset=True, mode="json")
    )
    return shown_table


def _without_empty_lists(value: Any) -> Any:
    if not isinstance(value, dict):
        return [_without_empty_lists(item) for item in value] if isinstance(value, list) else value
    return {key: _without_empty_lists(item) for key, item in value.items() if item != []}


def _rows_as_tuples(value: Any, where: str, level: int = 0) -> Any:
    """Rows of a schedule as tuples, as the strict models ask. Raises BadPlan where it is nested too deep."""
    if not isinstance(value, dict | list):
        return value
    if level > MOST_LEVELS:
        raise BadPlan(
            where,
            fact("plan-tables-too-deep"),
            allowed=fact("file-levels-at-most", n=MOST_LEVELS),
            remedy=fact("plan-tables-in-tables"),
        )
    if isinstance(value, dict):
        return {key: _rows_as_tuples(item, where, level + 1) for key, item in value.items()}
    rows = [_rows_as_tuples(item, where, level + 1) for item in value]
    if value and all(isinstance(item, list) for item in value):
        return [tuple(row) for row in rows]
    return rows


def _bad_plan(error: ValidationError, where: str) -> BadPlan:
    first = most_telling(error.errors())
    mistake = input_problem(first, Plan)
    *tables, key = mistake.path or ("plan",)
    more = len(error.errors()) - 1

    def bad(**parts: Any) -> BadPlan:
        return BadPlan(place, mistake.problem, path=mistake.path, more=more, **parts)

    place = (
        fact("plan-key-at", file=where, table=".".join(tables), key=key) if tables else _first_key(where, key)
    )
    kind, unit, remedy = first["type"], unit_of(key), mistake.remedy
    allowed = mistake.allowed_in(unit)
    if kind == "missing":
        return bad(remedy=_how_to_add(tables, key))
    if kind == "extra_forbidden":
        if not isinstance(remedy, Fact) or remedy.code not in _SURE:
            allowed, remedy = NOTHING, fact("plan-check-the-spelling")
        return bad(value=_shown(first["input"]), allowed=allowed, remedy=remedy)
    if kind == "value_error":
        return bad()
    if kind == "too_long":
        remedy = _FEWER.get(key, remedy)
        return bad(value=first["ctx"]["actual_length"], allowed=mistake.allowed, remedy=remedy)
    if kind in _BOUNDS:
        remedy = fact("plan-correct-the-number")
    elif unit and isinstance(allowed, Fact) and allowed.code == "input-a-number":
        allowed = fact("input-a-number-in", unit=unit_words(unit))
    return bad(value=_shown(first["input"]), allowed=allowed, remedy=remedy)


def _first_key(where: str, key: str) -> Fact:
    return fact("plan-first-key-at", file=where, key=key)


def _how_to_add(tables: Sequence[str], key: str) -> Fact:
    """Return what to add where a name is missing: a table, a line in one, or a line before the first."""
    if tables:
        return fact("plan-add-to-table", key=key, table=".".join(tables))
    if any(True for _ in tables_in(Plan, key)):
        return fact("plan-add-table", table=key)
    return fact("plan-add-before-tables", key=key)


def _ends_first(from_h: float, to_h: float) -> Fact:
    return fact("plan-ends-before-it-starts", begin=hours(from_h), end=hours(to_h))


def _shown(value: Any) -> Any:
    """Return a value as a message quotes it; a whole table says nothing."""
    return None if isinstance(value, dict) else value


_BOUNDS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")
#: What is said of an unknown name where it is clear what was meant.
_SURE = ("did-you-mean", "input-belongs-under", "input-belongs-first")
#: List → what to do where it is too long.
_FEWER = {
    "layer": fact("plan-fewer-layers"),
    "room_c": fact("plan-fewer-room-hours"),
    "points_mm": fact("plan-fewer-points"),
    "stations_mm": fact("plan-fewer-stations"),
}
#: Ending of a key's name → its unit, longest first.
UNITS_BY_ENDING = {
    "_min_per_l": "min per litre",
    "_per_kg": "for a kilogram",
    "_per_h": "1/h",
    "_w_m2k": "W/(m²·K)",
    "_w_m2": "W/m²",
    "_w_mk": "W/(m·K)",
    "_j_kgk": "J/(kg·K)",
    "_kg_m3": "kg/m³",
    "_g_m2": "g/m²",
    "_g_eq": "g/eq",
    "_pa_s": "Pa·s",
    "_gpa": "GPa",
    "_deg": "°",
    "_w_k": "W/K",
    "_kw": "kW",
    "_m2": "m²",
    "_j_mol": "J/mol",
    "_j_g": "J/g",
    "_per_s": "1/s",
    "_mm": "mm",
    "_c": "°C",
    "_h": "h",
    "hours": "h",
    "_kg": "kg",
    "_g": "g",
    "_l": "litres",
    "_pct": "%",
    "_m_s": "m/s",
    "_min": "min",
    "_n": "N",
    "_m": "m",
    "_s": "s",
}


def unit_of(key: str) -> str:
    """Return the unit that a key's name ends in, or an empty text."""
    return next((unit for ending, unit in UNITS_BY_ENDING.items() if key.endswith(ending)), "")
