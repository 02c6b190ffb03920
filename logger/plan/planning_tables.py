"""The parts of a plan file that only planning reads: all optional, so that a bare plan stays a valid plan.

The number types that every table of the plan file shares live here too, below `logger.plan.file`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from logger.facts import fact
from logger.quantities import length
from logger.toml_table import Table

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Temperature = Annotated[float, Field(ge=-40, le=150, allow_inf_nan=False)]
Coefficient = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Hours = Annotated[float, Field(ge=0, le=24 * 60, allow_inf_nan=False)]
Percent = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Length = Annotated[float, Field(gt=0, le=20_000, allow_inf_nan=False)]
Place = Annotated[float, Field(ge=-20_000, le=20_000, allow_inf_nan=False)]
Width = Annotated[float, Field(ge=0, le=5000, allow_inf_nan=False)]
Density = Annotated[float, Field(gt=100, lt=5000, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1, le=1000)]
# TOML has lists, the strict models ask for tuples: a pair of parts may come as either.
Parts = Annotated[
    tuple[Positive, Positive], BeforeValidator(lambda pair: tuple(pair) if isinstance(pair, list) else pair)
]
Words = Annotated[str, Field(min_length=1, max_length=300)]
#: Most places of an outline: each side is compared with each other one.
MOST_POINTS = 500


class Outline(Table):
    """The shape of the pour at its top face: widths at stations along it, or points traced around it.

    `edge_slope_deg` is the lean of the live edges from the vertical: above 0 where the wood recedes below
    (more resin), below 0 where it comes in. `displaced_l` is wood, stone or anything else that takes up room.
    """

    stations_mm: list[tuple[Place, Width]] | None = Field(default=None, max_length=MOST_POINTS)
    points_mm: list[tuple[Place, Place]] | None = Field(default=None, max_length=MOST_POINTS)
    edge_slope_deg: float = Field(default=0.0, ge=-75, le=75, allow_inf_nan=False)
    sloping_edge_mm: float | None = Field(default=None, ge=0, le=100_000, allow_inf_nan=False)
    bottom_diameter_mm: float | None = Field(default=None, gt=0, le=5000, allow_inf_nan=False)
    displaced_l: float = Field(default=0.0, ge=0, le=10_000, allow_inf_nan=False)

    @model_validator(mode="after")
    def _one_way_only(self) -> Outline:
        if self.stations_mm is not None and self.points_mm is not None:
            raise ValueError(fact("plan-shape-given-twice"))
        return self


class Void(Table):
    """A knot hole, crack or hollow that resin will fill, or that goes right through the slab."""

    name: Words
    shape: Literal["box", "oval", "crack"] = "oval"
    length_mm: Length
    width_mm: Length
    depth_mm: Length
    count: Count = 1
    through: bool = False
    backed: bool = False


class Allowance(Table):
    """What is mixed beyond the volume of the shape."""

    waste_pct: float = Field(default=10.0, ge=0, le=100, allow_inf_nan=False)
    soak_pct: float = Field(default=3.0, ge=0, le=100, allow_inf_nan=False)
    seal_coat_g_m2: float = Field(default=200.0, ge=0, le=2000, allow_inf_nan=False)


class Mix(Table):
    """The two parts and the ratio, each time with the measure that it is meant by.

    `ratio_parts` (A, B) is what the datasheet states, `ratio_by` the measure it states it by.
    `measure_parts` and `measure_by` are what the shop means to do; left out: worked out from the ratio.
    The densities turn weight into volume; a ratio that is measured as it is stated does without them.
    """

    part_a: Words = "resin"
    part_b: Words = "hardener"
    density_a_kg_m3: Density | None = None
    density_b_kg_m3: Density | None = None
    ratio_parts: Parts
    ratio_by: Literal["weight", "volume"]
    measure_parts: Parts | None = None
    measure_by: Literal["weight", "volume"] = "weight"
    eew_g_eq: float | None = Field(default=None, ge=100, le=5000, allow_inf_nan=False)
    ahew_g_eq: float | None = Field(default=None, ge=10, le=2000, allow_inf_nan=False)
    working_time_min: float | None = Field(default=None, gt=0, le=2880, allow_inf_nan=False)
    working_time_mass_kg: float = Field(default=0.1, gt=0, le=500, allow_inf_nan=False)
    working_time_c: Temperature = 25.0
    mix_min: float = Field(default=6.0, gt=0, le=120, allow_inf_nan=False)
    pour_min_per_l: float = Field(default=0.5, gt=0, le=60, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _measured_as_stated(cls, table: Any) -> Any:
        if not isinstance(table, dict) or "measure_by" in table or table.get("ratio_by") != "volume":
            return table
        # Without densities a ratio by volume cannot be weighed: it is measured by volume unless the plan says so.
        has_density = (table.get(f"density_{part}_kg_m3") is not None for part in "ab")
        return table if all(has_density) else table | {"measure_by": "volume"}


class Pails(Table):
    """The mixing pails that the shop has, and how full they may be."""

    sizes_l: list[Positive] = Field(default=[2.5, 5.0, 10.0, 20.0], min_length=1, max_length=50)
    fill_pct: float = Field(default=70.0, ge=10, le=100, allow_inf_nan=False)


class Scale(Table):
    """The scale for the parts."""

    resolution_g: float = Field(gt=0, le=1000, allow_inf_nan=False)
    max_kg: float | None = Field(default=None, gt=0, le=5000, allow_inf_nan=False)


class Support(Table):
    """What the bottom panel rests on.

    `creep_factor` multiplies the sag of the first minutes; HDPE's creep is in its modulus.
    """

    span_mm: float = Field(gt=0, le=5000, allow_inf_nan=False)
    supports: int = Field(default=2, ge=2, le=100)
    panel: Words = "particleboard"
    modulus_gpa: float | None = Field(default=None, gt=0, le=300, allow_inf_nan=False)
    creep_factor: float | None = Field(default=None, ge=1, le=10, allow_inf_nan=False)
    edges: Literal["two", "four"] = "two"
    panel_length_mm: float | None = Field(default=None, gt=0, le=20_000, allow_inf_nan=False)
    hours_loaded: float = Field(default=24.0, gt=0, le=1440, allow_inf_nan=False)
    watch_sag_mm: float = Field(default=0.5, gt=0, le=50, allow_inf_nan=False)
    stop_sag_mm: float = Field(default=1.0, gt=0, le=50, allow_inf_nan=False)

    @model_validator(mode="after")
    def _limits_in_order(self) -> Support:
        if self.stop_sag_mm < self.watch_sag_mm:
            stop, watch = length(self.stop_sag_mm, None), length(self.watch_sag_mm, None)
            raise ValueError(fact("plan-sag-limits-swapped", stop=stop, watch=watch))
        return self


class Clamp(Table):
    """What holds the slabs down against floating up."""

    count: int = Field(ge=0, le=500)
    force_n: float = Field(gt=0, le=50_000, allow_inf_nan=False)


class Face(Table):
    """The form's surface that resin touches."""

    material: Words
    taped: bool = False
    release: bool = False


class Seam(Table):
    """The widest gap that the form may have at its seams, before and after sealing."""

    gap_mm: float = Field(default=0.1, ge=0, le=20, allow_inf_nan=False)
    gap_length_mm: float = Field(default=100.0, gt=0, le=50_000, allow_inf_nan=False)
    path_mm: float = Field(default=18.0, gt=0, le=1000, allow_inf_nan=False)
    sealed: bool = False
    tested: bool = False
    resin_viscosity_pa_s: float = Field(default=0.5, gt=0, le=1000, allow_inf_nan=False)


class Meter(Table):
    """Moisture readings of one slab, as the meter showed them."""

    readings_pct: list[Annotated[float, Field(gt=0, lt=100, allow_inf_nan=False)]] = Field(
        min_length=1, max_length=200
    )
    wood_c: Temperature = 20.0
    kind: Literal["pins", "plate"] = "pins"
    corrects_temperature: bool = False
    set_to: Words | None = None
    species_slope: float = Field(default=1.0, gt=0.2, lt=5, allow_inf_nan=False)
    species_offset_pct: float = Field(default=0.0, ge=-10, le=10, allow_inf_nan=False)


class Slab(Table):
    """One slab: what it is, where it came from, what it measures and how it is prepared."""

    name: Words
    species: Words
    thickness_mm: Length
    width_mm: Length
    length_mm: Length
    cut: Literal["flat", "quarter"] = "flat"
    source: Words | None = None
    dried: Literal["kiln", "air", "unknown"] = "unknown"
    density_kg_m3: float | None = Field(default=None, gt=50, lt=2000, allow_inf_nan=False)
    surface_c: Temperature | None = None
    bark: Literal["removed", "on", "none"] = "on"
    seal: Literal["none", "tacky", "cured"] = "none"
    sealed_under: bool = False
    meter: Meter | None = None


class Sun(Table):
    """Sunlight that can reach the form."""

    irradiance_w_m2: float = Field(default=1000.0, ge=0, le=1500, allow_inf_nan=False)
    hours: float = Field(default=1.0, ge=0, le=24, allow_inf_nan=False)
    absorptance: float = Field(default=0.8, ge=0, le=1, allow_inf_nan=False)
    through_glass: bool = True


class ShopRoom(Table):
    """The room, as far as heating, cooling and drying it is concerned."""

    floor_m2: float = Field(gt=0, le=100_000, allow_inf_nan=False)
    height_m: float = Field(default=3.0, gt=1, le=50, allow_inf_nan=False)
    loss_w_k: float | None = Field(default=None, ge=0, le=100_000, allow_inf_nan=False)
    air_changes_per_h: float = Field(default=1.0, ge=0, le=100, allow_inf_nan=False)
    outside_c: Temperature | None = None
    outside_humidity_pct: Percent | None = None
    heater_kw: float | None = Field(default=None, ge=0, le=1000, allow_inf_nan=False)
    heater: Literal["none", "electric", "radiator", "flame"] = "none"


class Colour(Table):
    """A dip reading (the part of the light that a known depth and dose let through) and the look wanted."""

    kind: Literal["dye", "pigment", "flake"] = "dye"
    dip_depth_mm: float = Field(gt=0, le=1000, allow_inf_nan=False)
    dip_dose_pct: float = Field(gt=0, le=50, allow_inf_nan=False)
    dip_transmission: float = Field(gt=0, lt=1, allow_inf_nan=False)
    want_transmission: float | None = Field(default=None, gt=0, lt=1, allow_inf_nan=False)
    hide_bottom: bool = False
    dose_pct: float | None = Field(default=None, gt=0, le=50, allow_inf_nan=False)


class HeatTool(Table):
    """The heat gun or torch that takes the bubbles from the surface."""

    kind: Literal["gun", "torch"] = "gun"
    jet_c: float = Field(default=300.0, gt=20, le=2000, allow_inf_nan=False)
    pass_s: float = Field(default=2.0, gt=0, le=600, allow_inf_nan=False)


class Cost(Table):
    """What the resin costs; the currency is free text."""

    currency: Annotated[str, Field(min_length=1, max_length=12)]
    resin_per_kg: float = Field(ge=0, le=100_000, allow_inf_nan=False)
    other: float = Field(default=0.0, ge=0, le=10_000_000, allow_inf_nan=False)


class Signer(Table):
    """Somebody who signs."""

    name: Words
    role: Words = "maker"
