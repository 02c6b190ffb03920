"""The fields of a plan's page, section by section in the order of the work. Keys are the plan file's own.

A field's unit follows from its key's ending, its default from the plan's model, and what it means from
help/plan-file.toml: only labels and the words of choices are said here.
"""

from __future__ import annotations

import tomllib
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from logger.plan.file import Plan
from logger.planning.physics.panels import panel_names
from logger.planning.physics.species import species_names
from web.views.help_text import FOLDER

Choices = tuple[tuple[str, str], ...]
YES_NO: Choices = (("yes", "yes"), ("no", "no"))
MEASURES: Choices = (("weight", "weight"), ("volume", "volume"))
#: Ending of a key → how its value is typed and shown.
KINDS = {
    "_kg_m3": "number",
    "_per_kg": "number",
    "_mm": "mm",
    "_c": "celsius",
    "_kg": "kg",
    "_l": "litres",
}


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its key below the part's table, its label without the unit, how it is typed (kind; "" by its key).

    more: seldom needed, so it is folded. offers: words that are offered while one types.
    """

    key: str
    label: str
    kind: str = ""
    choices: Choices = ()
    more: bool = False
    offers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """One table of a plan file in a section. rows: it may come several times, each row called `one`; sort: the key that
    orders them. pairs: it is a list of pairs, of these kinds and with these labels."""

    table: str
    title: str
    fields: tuple[Field, ...] = ()
    rows: bool = False
    one: str = ""
    sort: str = ""
    pairs: tuple[tuple[str, str], ...] = ()
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """What is saved with one button. usual: the keys of it that belong to the shop, and fill its next plans."""

    name: str
    title: str
    lead: str
    parts: tuple[Part, ...]
    usual: tuple[str, ...] = ()
    save: str = "Save"


_MATERIAL = (
    Field("conductivity_w_mk", "Heat conductivity, W/(m·K)", more=True),
    Field("density_kg_m3", "Density, kg/m³", more=True),
    Field("specific_heat_j_kgk", "Specific heat, J/(kg·K)", more=True),
)


def _material(table: str) -> tuple[Field, ...]:
    return tuple(Field(f"{table}.{f.key}", f.label, more=True) for f in _MATERIAL)


PIECE = Section(
    "piece",
    "The piece",
    "What it is called, its shape, its length, and how warm the mix is as you pour it.",
    (
        Part("", "", (Field("title", "What is it?", "words"),)),
        Part(
            "pour",
            "",
            (
                Field(
                    "shape",
                    "Shape",
                    "choice",
                    (("river", "river between two slabs"), ("round", "round mould"), ("sheet", "wide sheet")),
                ),
                Field("length_mm", "Length"),
                Field("start_c", "Mix as poured"),
            ),
        ),
    ),
    save="Save the piece",
)
ROOM = Section(
    "room",
    "The room",
    "A warm night makes a pour hotter, a cold one slower. Hours count from the pouring.",
    (
        Part(
            "air.room_c",
            "The room through the night",
            pairs=(("number", "Hours after pouring"), ("celsius", "Temperature")),
            lead="One line is a room that stays as it is. Two or more: it changes evenly from one line to the next.",
        ),
        Part(
            "air",
            "",
            (
                Field("relative_humidity_pct", "Humidity of the air, %"),
                Field("coldest_surface_c", "Coldest surface in the form"),
                Field("top_air_m_s", "Air moving over the top, m/s", more=True),
                Field("emissivity", "Emissivity of the surfaces", more=True),
                Field("top_w_m2k", "Heat that the top loses, W/(m²·K)", more=True),
                Field("bottom_w_m2k", "Heat that the underside loses, W/(m²·K)", more=True),
                Field("side_w_m2k", "Heat that the sides lose, W/(m²·K)", more=True),
            ),
        ),
        Part(
            "sun",
            "Sun that can reach the form",
            (
                Field("hours", "How long it shines there, h"),
                Field("through_glass", "Through a window?", "yes"),
                Field("irradiance_w_m2", "Strength of the sun, W/m²", more=True),
                Field("absorptance", "Part that the surface takes up", more=True),
            ),
        ),
        Part(
            "shop",
            "Heating and airing",
            (
                Field("floor_m2", "Floor of the room, m²"),
                Field(
                    "heater",
                    "Heater",
                    "choice",
                    (
                        ("none", "none"),
                        ("electric", "electric"),
                        ("radiator", "hot-water radiator"),
                        ("flame", "open flame or gas"),
                    ),
                ),
                Field("heater_kw", "Power of the heater, kW"),
                Field("outside_c", "Outside"),
                Field("outside_humidity_pct", "Humidity outside, %"),
                Field("height_m", "Height of the room, m", more=True),
                Field("air_changes_per_h", "Air changes an hour", more=True),
                Field("loss_w_k", "Heat lost for each degree, W/K", more=True),
            ),
        ),
        Part(
            "heat",
            "Heat on the top from a lamp, the sun or a heat gun",
            (
                Field("from_h", "From hour"),
                Field("to_h", "To hour"),
                Field("absorbed_w_m2", "Heat taken up, W/m²"),
            ),
            rows=True,
            one="stretch of heat",
            sort="from_h",
        ),
    ),
    usual=("air.room_c", "shop"),
    save="Save the room",
)
SLABS = Section(
    "slabs",
    "The slabs",
    "Wood that is too damp bubbles and lifts off the resin; bark and bare pores do, too.",
    (
        Part(
            "slab",
            "",
            (
                Field("name", "Name", "words"),
                Field("species", "Wood", "words", offers=tuple(species_names())),
                Field("thickness_mm", "Thickness"),
                Field("width_mm", "Width"),
                Field("length_mm", "Length"),
                Field("meter.readings_pct", "Moisture readings, %", "numbers"),
                Field(
                    "bark",
                    "Bark",
                    "choice",
                    (("on", "still on"), ("removed", "taken off"), ("none", "never had any")),
                ),
                Field(
                    "seal",
                    "Faces in the resin",
                    "choice",
                    (("none", "bare"), ("tacky", "sealed, still tacky"), ("cured", "sealed and cured")),
                ),
                Field(
                    "dried",
                    "Dried",
                    "choice",
                    (("unknown", "not known"), ("kiln", "in a kiln"), ("air", "in air")),
                ),
                Field("source", "Where it comes from", "words"),
                Field(
                    "cut", "Rings", "choice", (("flat", "flat-sawn"), ("quarter", "quarter-sawn")), more=True
                ),
                Field("sealed_under", "Underside sealed, too?", "yes", more=True),
                Field("density_kg_m3", "Density, kg/m³", more=True),
                Field("surface_c", "Temperature of its surface", more=True),
                Field("meter.wood_c", "Wood's temperature when measured", more=True),
                Field(
                    "meter.kind",
                    "Meter",
                    "choice",
                    (("pins", "with pins"), ("plate", "with a plate")),
                    more=True,
                ),
                Field("meter.corrects_temperature", "Meter corrects for temperature?", "yes", more=True),
                Field("meter.set_to", "Wood that the meter was set to", "words", more=True),
                Field("meter.species_slope", "Correction in its manual: factor", more=True),
                Field("meter.species_offset_pct", "Correction in its manual: offset, %", more=True),
            ),
            rows=True,
            one="slab",
        ),
    ),
    save="Save the slabs",
)
FORM = Section(
    "form",
    "The form",
    "What it stands on, whether it bends, leaks, floats up or sticks.",
    (
        Part(
            "form",
            "Bottom and sides",
            (
                Field(
                    "underside",
                    "Under the form",
                    "choice",
                    (("open", "air moves freely"), ("closed", "it stands on a bench")),
                ),
                Field("bottom.thickness_mm", "Thickness of the bottom panel"),
                Field("side.thickness_mm", "Width of the slab beside it, or of the mould's wall"),
                *(Field(f.key, f"Bottom panel: {f.label}", more=True) for f in _material("bottom")),
                *(Field(f.key, f"Slab or wall: {f.label}", more=True) for f in _material("side")),
            ),
        ),
        Part(
            "form.support",
            "What the bottom rests on",
            (
                Field("span_mm", "Free span between two supports"),
                Field("supports", "Number of supports", "whole"),
                Field("panel", "Panel made of", "words", offers=tuple(panel_names())),
                Field(
                    "edges",
                    "Supported along",
                    "choice",
                    (("two", "two edges"), ("four", "all four edges")),
                    more=True,
                ),
                Field("panel_length_mm", "Length of the panel across the span", more=True),
                Field("modulus_gpa", "Stiffness from its data sheet, GPa", more=True),
                Field("creep_factor", "Sag under long load, times the first", more=True),
                Field("hours_loaded", "Hours that the liquid loads it", more=True),
                Field("watch_sag_mm", "Sag to look at", more=True),
                Field("stop_sag_mm", "Sag to stop at", more=True),
            ),
        ),
        Part(
            "form.seam",
            "Seams",
            (
                Field("sealed", "All seams sealed?", "yes"),
                Field("tested", "Tested with water or a lamp?", "yes"),
                Field("gap_mm", "Widest gap", more=True),
                Field("gap_length_mm", "Length of that gap", more=True),
                Field("path_mm", "Way through it", more=True),
                Field("resin_viscosity_pa_s", "Thickness of the fresh mix, Pa·s (water 0.001)", more=True),
            ),
        ),
        Part(
            "form.face",
            "What the resin touches",
            (
                Field("material", "Surface of the form", "words", offers=("melamine", "polyethylene")),
                Field("taped", "Covered with release tape?", "yes"),
                Field("release", "Waxed or sprayed with release agent?", "yes"),
            ),
        ),
        Part(
            "form.clamp",
            "What holds the slabs down",
            (Field("count", "Number of clamps or weights", "whole"), Field("force_n", "Force of each, N")),
        ),
    ),
    usual=("form.underside", "form.bottom", "form.support", "form.face"),
    save="Save the form",
)
MIX = Section(
    "mix",
    "Mixing: ratio, pails, scale, people",
    "The ratio comes from the resin's datasheet; pails, scale and people are the shop's.",
    (
        Part(
            "mix",
            "The two parts",
            (
                Field("ratio_parts", "Ratio of the datasheet, resin first", "ratio"),
                Field("ratio_by", "The datasheet means parts by", "choice", MEASURES),
                Field("measure_by", "You will measure by", "choice", MEASURES),
                Field("measure_parts", "Ratio that you will measure", "ratio", more=True),
                Field("part_a", "Name of part A", "words", more=True),
                Field("part_b", "Name of part B", "words", more=True),
                Field("density_a_kg_m3", "Density of part A, kg/m³"),
                Field("density_b_kg_m3", "Density of part B, kg/m³"),
                Field("working_time_min", "Working time, min"),
                Field("working_time_mass_kg", "… of this much mix", more=True),
                Field("working_time_c", "… at", more=True),
                Field("mix_min", "Minutes to weigh and stir a batch", more=True),
                Field("pour_min_per_l", "Minutes to pour a litre", more=True),
                Field("eew_g_eq", "EEW of part A, g/eq", more=True),
                Field("ahew_g_eq", "AHEW of part B, g/eq", more=True),
            ),
        ),
        Part(
            "pails",
            "Pails",
            (
                Field("sizes_l", "Sizes that you have", "litres-list"),
                Field("fill_pct", "Filled to at most, %"),
            ),
        ),
        Part(
            "scale",
            "Scale",
            (
                Field("resolution_g", "Smallest step that it shows, g"),
                Field("max_kg", "Most that it can weigh"),
            ),
        ),
        Part(
            "person",
            "Who pours, who checks",
            (Field("name", "Name", "words"), Field("role", "Here as", "words", offers=("maker", "helper"))),
            rows=True,
            one="person",
        ),
        Part(
            "allowance",
            "What is mixed beyond the volume",
            (
                Field("waste_pct", "Left in pails and on tools, %", more=True),
                Field("soak_pct", "Soaks into the wood, %", more=True),
                Field("seal_coat_g_m2", "Seal coat on bare wood, g/m²", more=True),
            ),
        ),
        Part(
            "cost",
            "Cost",
            (
                Field("currency", "Currency", "words", more=True),
                Field("resin_per_kg", "Price of a kilogram of mix", more=True),
                Field("other", "Other cost of this pour", more=True),
            ),
        ),
    ),
    usual=("pails", "scale", "person"),
    save="Save the mixing",
)
LAYERS = Section(
    "layers",
    "Layers and waits",
    "Each layer on top of the first: when it comes, how deep, how warm.",
    (
        Part(
            "layer",
            "",
            (
                Field("at_h", "Hours after the first pouring"),
                Field("depth_mm", "Depth of this layer"),
                Field("start_c", "Its mix as poured"),
            ),
            rows=True,
            one="layer",
            sort="at_h",
        ),
        Part("run", "", (Field("hours", "Predict for so many hours", more=True),)),
    ),
    save="Save the layers",
)
FAN = Section(
    "fan",
    "Fan over the top",
    "A fan takes heat off the surface. The station's relay follows these times.",
    (
        Part(
            "fan",
            "",
            (Field("from_h", "On from hour"), Field("to_h", "Off at hour"), Field("air_m_s", "Its air, m/s")),
            rows=True,
            one="fan time",
            sort="from_h",
        ),
    ),
    save="Save the fan times",
)
OUTLINE = Section(
    "outline",
    "An uneven outline",
    "For the litres, and for the widest place: it gets hottest. Widths at places along it, or points around it.",
    (
        Part(
            "outline.stations_mm",
            "Widths along the river",
            pairs=(("mm", "Place along it"), ("mm", "Width there")),
            lead="Both ends and every change of width between; an odd number of even steps is the most exact.",
        ),
        Part(
            "outline",
            "Or points around it",
            (
                Field("points_mm", "Points around the edge: across, along; one a line", "points"),
                Field("edge_slope_deg", "Lean of the edges, °", more=True),
                Field("sloping_edge_mm", "Length of edge that leans", more=True),
                Field("bottom_diameter_mm", "Diameter at the bottom of a round mould", more=True),
                Field("displaced_l", "Wood or stone in the resin", more=True),
            ),
        ),
    ),
    save="Save the outline",
)
VOIDS = Section(
    "voids",
    "Holes, cracks and hollows",
    "They take resin too; one that goes through leaks, one that is deeper than the layer runs hot.",
    (
        Part(
            "void",
            "",
            (
                Field("name", "Name", "words"),
                Field(
                    "shape",
                    "Shape from above",
                    "choice",
                    (("oval", "oval"), ("box", "box"), ("crack", "crack")),
                ),
                Field("length_mm", "Length"),
                Field("width_mm", "Width"),
                Field("depth_mm", "Depth"),
                Field("count", "How many", "whole"),
                Field("through", "Goes right through?", "yes"),
                Field("backed", "Closed from behind?", "yes"),
            ),
            rows=True,
            one="hole",
        ),
    ),
    save="Save the holes",
)
LOOK = Section(
    "look",
    "Colour and bubbles",
    "From a dip into a test cup: how much colour, and does it spoil the cure? And the tool against bubbles.",
    (
        Part(
            "colour",
            "Colour",
            (
                Field(
                    "kind",
                    "What colours it",
                    "choice",
                    (("dye", "dye"), ("pigment", "pigment"), ("flake", "flakes")),
                ),
                Field("dip_depth_mm", "Depth of the test"),
                Field("dip_dose_pct", "Dose in the test, %"),
                Field("dip_transmission", "Part of the light that came through, 0 to 1"),
                Field("want_transmission", "Part that shall come through the piece, 0 to 1"),
                Field("dose_pct", "Dose that you mean to use, %"),
                Field("hide_bottom", "Shall the bottom be hidden?", "yes"),
            ),
        ),
        Part(
            "heat_tool",
            "Against bubbles",
            (
                Field("kind", "Tool", "choice", (("gun", "heat gun"), ("torch", "torch"))),
                Field("pass_s", "Seconds over one place"),
                Field("jet_c", "Its air or flame at the resin", more=True),
            ),
        ),
    ),
    save="Save colour and bubbles",
)
SECTIONS = {one.name: one for one in (PIECE, ROOM, SLABS, FORM, MIX, LAYERS, FAN, OUTLINE, VOIDS, LOOK)}
#: What the shop keeps for every plan, as one section of its own page.
USUAL = Section(
    "usual",
    "What is usual in this shop",
    "Entered once: it fills every new plan, and each plan may say otherwise.",
    (
        Part("air", "The usual room", (Field("room_c", "Room"),)),
        *(part for part in FORM.parts if part.table in ("form", "form.support", "form.face")),
        *(part for part in MIX.parts if part.table in ("scale", "pails", "person")),
    ),
    save="Save what is usual",
)


def kind_of(field: Field) -> str:
    """Return how a field is typed: its own kind, else by its key's ending."""
    return field.kind or next(
        (kind for ending, kind in KINDS.items() if field.key.endswith(ending)), "number"
    )


@cache
def _sentences() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "plan-file.toml").read_text(encoding="utf-8"))


def help_of(path: str) -> str:
    """Return what a key means, in one sentence; empty where it has none."""
    entry: Any = _sentences()
    for part in path.split("."):
        entry = entry.get(part, {}) if isinstance(entry, Mapping) else {}
    # What a list looks like in the file is of no use beside a field.
    return entry if isinstance(entry, str) and "[[" not in entry else ""


@cache
def default_of(path: str) -> Any:
    """Return the plan model's default of a key; None where it has none."""
    *tables, key = path.split(".")
    model: type[BaseModel] = Plan
    for table in tables:
        model = _model_of(model.model_fields[table])
    info = model.model_fields[key]
    return None if info.is_required() or info.default_factory else info.default


@cache
def every_key() -> frozenset[str]:
    """Return every key of a plan file, dotted."""
    return frozenset(_keys(_sentences(), ""))


def _keys(table: Mapping[str, Any], before: str) -> list[str]:
    keys: list[str] = []
    for name, value in table.items():
        keys += _keys(value, f"{before}{name}.") if isinstance(value, Mapping) else [before + name]
    return keys


def keys_of(part: Part) -> list[str]:
    """Return the dotted keys that a part has fields for."""
    return [part.table] if part.pairs else [f"{part.table}.{f.key}".lstrip(".") for f in part.fields]


def _model_of(info: FieldInfo) -> type[BaseModel]:
    """Return the table that a field holds, one or a list of them."""
    waiting: list[Any] = [info.annotation]
    while waiting:
        one = waiting.pop()
        if isinstance(one, type) and not isinstance(one, types.GenericAlias) and issubclass(one, BaseModel):
            return one
        waiting += typing.get_args(one)
    raise TypeError(f"{info} holds no table")
