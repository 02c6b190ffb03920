"""The fields of a plan's page, section by section in the order of the work. Keys are the plan file's own.

A field's unit follows from its key's ending, its default from the plan's model, and what it means from
help/plan-file.toml: only labels and the words of choices are said here.
"""

from __future__ import annotations

import tomllib
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from logger.facts import NOTHING, fact
from logger.plan.file import Plan
from logger.planning.physics.panels import panel_names
from logger.planning.physics.species import names_offered
from logger.words.phrase import phrase
from web.views.help_text import FOLDER

Choices = tuple[tuple[str, str], ...]
YES_NO: Choices = (("yes", phrase("yes")), ("no", phrase("no")))
MEASURES: Choices = (("weight", phrase("weight")), ("volume", phrase("volume")))
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
class RowWords:
    """What a row of a table is called, by its number, and the words that offer the first row and a further one."""

    title: Callable[[int], str]
    add: str
    another: str


@dataclass(frozen=True, slots=True)
class Part:
    """One table of a plan file in a section. rows: it may come several times; row: what a row is called; sort: the key
    that orders them. pairs: it is a list of pairs, of these kinds and with these labels."""

    table: str
    title: str
    fields: tuple[Field, ...] = ()
    rows: bool = False
    row: RowWords | None = None
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
    save: str = phrase("Save")


_MATERIAL = (
    Field("conductivity_w_mk", phrase("Heat conductivity, W/(m·K)"), more=True),
    Field("density_kg_m3", phrase("Density, kg/m³"), more=True),
    Field("specific_heat_j_kgk", phrase("Specific heat, J/(kg·K)"), more=True),
)


def _material(table: str) -> tuple[Field, ...]:
    return tuple(Field(f"{table}.{f.key}", f.label, more=True) for f in _MATERIAL)


PIECE = Section(
    "piece",
    phrase("The piece"),
    phrase("What it is called, its shape, its length, and how warm the mix is as you pour it."),
    (
        Part("", "", (Field("title", phrase("What is it?"), "words"),)),
        Part(
            "pour",
            "",
            (
                Field(
                    "shape",
                    phrase("Shape"),
                    "choice",
                    (
                        ("river", phrase("river between two slabs")),
                        ("round", phrase("round form")),
                        ("sheet", phrase("wide sheet")),
                    ),
                ),
                Field("length_mm", phrase("Length")),
                Field("start_c", phrase("Mix as poured")),
            ),
        ),
    ),
    save=phrase("Save the piece"),
)
ROOM = Section(
    "room",
    phrase("The room"),
    phrase("A warm night makes a pour hotter, a cold one slower. Hours count from the pouring."),
    (
        Part(
            "air.room_c",
            phrase("The room through the night"),
            pairs=(("number", phrase("Hours after pouring")), ("celsius", phrase("Temperature"))),
            lead=phrase(
                "One line is a room that stays as it is. Two or more: it changes evenly from one line to the next."
            ),
        ),
        Part(
            "air",
            "",
            (
                Field("relative_humidity_pct", phrase("Humidity of the air, %")),
                Field("coldest_surface_c", phrase("Coldest surface in the form")),
                Field("top_air_m_s", phrase("Air moving over the top, m/s"), more=True),
                Field("emissivity", phrase("Emissivity of the surfaces"), more=True),
                Field("top_w_m2k", phrase("Heat that the top loses, W/(m²·K)"), more=True),
                Field("bottom_w_m2k", phrase("Heat that the underside loses, W/(m²·K)"), more=True),
                Field("side_w_m2k", phrase("Heat that the sides lose, W/(m²·K)"), more=True),
            ),
        ),
        Part(
            "sun",
            phrase("Sun that can reach the form"),
            (
                Field("hours", phrase("How long it shines there, h")),
                Field("through_glass", phrase("Through a window?"), "yes"),
                Field("irradiance_w_m2", phrase("Strength of the sun, W/m²"), more=True),
                Field("absorptance", phrase("Part that the surface takes up"), more=True),
            ),
        ),
        Part(
            "shop",
            phrase("Heating and airing"),
            (
                Field("floor_m2", phrase("Floor of the room, m²")),
                Field(
                    "heater",
                    phrase("Heater"),
                    "choice",
                    (
                        ("none", phrase("none")),
                        ("electric", phrase("electric")),
                        ("radiator", phrase("hot-water radiator")),
                        ("flame", phrase("open flame or gas")),
                    ),
                ),
                Field("heater_kw", phrase("Power of the heater, kW")),
                Field("outside_c", phrase("Outside")),
                Field("outside_humidity_pct", phrase("Humidity outside, %")),
                Field("height_m", phrase("Height of the room, m"), more=True),
                Field("air_changes_per_h", phrase("Air changes an hour"), more=True),
                Field("loss_w_k", phrase("Heat lost for each degree, W/K"), more=True),
            ),
        ),
        Part(
            "heat",
            phrase("Heat on the top from a lamp, the sun or a heat gun"),
            (
                Field("from_h", phrase("From hour")),
                Field("to_h", phrase("To hour")),
                Field("absorbed_w_m2", phrase("Heat taken up, W/m²")),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Stretch of heat {number}", number=number),
                phrase("Add a stretch of heat"),
                phrase("Add another stretch of heat"),
            ),
            sort="from_h",
        ),
    ),
    usual=("air.room_c", "shop"),
    save=phrase("Save the room"),
)
SLABS = Section(
    "slabs",
    phrase("The slabs"),
    phrase("Wood that is too damp bubbles and lifts off the resin; bark and bare pores do, too."),
    (
        Part(
            "slab",
            "",
            (
                Field("name", phrase("Name"), "words"),
                Field("species", phrase("Wood"), "words", offers=tuple(names_offered())),
                Field("thickness_mm", phrase("Thickness")),
                Field("width_mm", phrase("Width")),
                Field("length_mm", phrase("Length")),
                Field("meter.readings_pct", phrase("Moisture readings, %"), "numbers"),
                Field(
                    "bark",
                    phrase("Bark"),
                    "choice",
                    (
                        ("on", phrase("still on")),
                        ("removed", phrase("taken off")),
                        ("none", phrase("never had any")),
                    ),
                ),
                Field(
                    "seal",
                    phrase("Faces in the resin"),
                    "choice",
                    (
                        ("none", phrase("bare")),
                        ("tacky", phrase("sealed, still tacky")),
                        ("cured", phrase("sealed and cured")),
                    ),
                ),
                Field(
                    "dried",
                    phrase("Dried"),
                    "choice",
                    (
                        ("unknown", phrase("not known")),
                        ("kiln", phrase("in a kiln")),
                        ("air", phrase("in air")),
                    ),
                ),
                Field("source", phrase("Where it comes from"), "words"),
                Field(
                    "cut",
                    phrase("Rings"),
                    "choice",
                    (("flat", phrase("flat-sawn")), ("quarter", phrase("quarter-sawn"))),
                    more=True,
                ),
                Field("sealed_under", phrase("Underside sealed, too?"), "yes", more=True),
                Field("density_kg_m3", phrase("Density, kg/m³"), more=True),
                Field("surface_c", phrase("Temperature of its surface"), more=True),
                Field("meter.wood_c", phrase("Wood's temperature when measured"), more=True),
                Field(
                    "meter.kind",
                    phrase("Meter"),
                    "choice",
                    (("pins", phrase("with pins")), ("plate", phrase("with a plate"))),
                    more=True,
                ),
                Field(
                    "meter.corrects_temperature", phrase("Meter corrects for temperature?"), "yes", more=True
                ),
                Field("meter.set_to", phrase("Wood that the meter was set to"), "words", more=True),
                Field("meter.species_slope", phrase("Correction in its manual: factor"), more=True),
                Field("meter.species_offset_pct", phrase("Correction in its manual: offset, %"), more=True),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Slab {number}", number=number),
                phrase("Add a slab"),
                phrase("Add another slab"),
            ),
        ),
    ),
    save=phrase("Save the slabs"),
)
FORM = Section(
    "form",
    phrase("The form"),
    phrase("What it stands on, whether it bends, leaks, floats up or sticks."),
    (
        Part(
            "form",
            phrase("Bottom and sides"),
            (
                Field(
                    "underside",
                    phrase("Under the form"),
                    "choice",
                    (("open", phrase("air moves freely")), ("closed", phrase("it stands on a bench"))),
                ),
                Field("bottom.thickness_mm", phrase("Thickness of the bottom panel")),
                Field("side.thickness_mm", phrase("Width of the slab beside it, or of the form's wall")),
                *(
                    Field(f.key, phrase("Bottom panel: {label}", label=f.label), more=True)
                    for f in _material("bottom")
                ),
                *(
                    Field(f.key, phrase("Slab or wall: {label}", label=f.label), more=True)
                    for f in _material("side")
                ),
            ),
        ),
        Part(
            "form.support",
            phrase("What the bottom rests on"),
            (
                Field("span_mm", phrase("Free span between two supports")),
                Field("supports", phrase("Number of supports"), "whole"),
                Field("panel", phrase("Panel made of"), "words", offers=tuple(panel_names())),
                Field(
                    "edges",
                    phrase("Supported along"),
                    "choice",
                    (("two", phrase("two edges")), ("four", phrase("all four edges"))),
                    more=True,
                ),
                Field("panel_length_mm", phrase("Length of the panel across the span"), more=True),
                Field("modulus_gpa", phrase("Stiffness from its data sheet, GPa"), more=True),
                Field("creep_factor", phrase("Sag under long load, times the first"), more=True),
                Field("hours_loaded", phrase("Hours that the liquid loads it"), more=True),
                Field("watch_sag_mm", phrase("Sag to look at"), more=True),
                Field("stop_sag_mm", phrase("Sag to stop at"), more=True),
            ),
        ),
        Part(
            "form.seam",
            phrase("Seams"),
            (
                Field("sealed", phrase("All seams sealed?"), "yes"),
                Field("tested", phrase("Tested with water or a lamp?"), "yes"),
                Field("gap_mm", phrase("Widest gap"), more=True),
                Field("gap_length_mm", phrase("Length of that gap"), more=True),
                Field("path_mm", phrase("Way through it"), more=True),
                Field(
                    "resin_viscosity_pa_s",
                    phrase("Thickness of the fresh mix, Pa·s (water 0.001)"),
                    more=True,
                ),
            ),
        ),
        Part(
            "form.face",
            phrase("What the resin touches"),
            (
                Field(
                    "material", phrase("Surface of the form"), "words", offers=("melamine", "polyethylene")
                ),
                Field("taped", phrase("Covered with release tape?"), "yes"),
                Field("release", phrase("Waxed or sprayed with release agent?"), "yes"),
            ),
        ),
        Part(
            "form.clamp",
            phrase("What holds the slabs down"),
            (
                Field("count", phrase("Number of clamps or weights"), "whole"),
                Field("force_n", phrase("Force of each, N")),
            ),
        ),
    ),
    usual=("form.underside", "form.bottom", "form.support", "form.face"),
    save=phrase("Save the form"),
)
MIX = Section(
    "mix",
    phrase("Mixing: ratio, pails, scale, people"),
    phrase("The ratio comes from the resin's datasheet; pails, scale and people are the shop's."),
    (
        Part(
            "mix",
            phrase("The two parts"),
            (
                Field("ratio_parts", phrase("Ratio of the datasheet, resin first"), "ratio"),
                Field("ratio_by", phrase("The datasheet means parts by"), "choice", MEASURES),
                Field("measure_by", phrase("You will measure by"), "choice", MEASURES),
                Field("measure_parts", phrase("Ratio that you will measure"), "ratio", more=True),
                Field("part_a", phrase("Name of part A"), "words", more=True),
                Field("part_b", phrase("Name of part B"), "words", more=True),
                Field("density_a_kg_m3", phrase("Density of part A, kg/m³")),
                Field("density_b_kg_m3", phrase("Density of part B, kg/m³")),
                Field("working_time_min", phrase("Working time, min")),
                Field("working_time_mass_kg", phrase("Amount of mix for that time"), more=True),
                Field("working_time_c", phrase("Temperature for that time"), more=True),
                Field("mix_min", phrase("Minutes to weigh and stir a batch"), more=True),
                Field("pour_min_per_l", phrase("Minutes to pour a litre"), more=True),
                Field("eew_g_eq", phrase("EEW of part A, g/eq"), more=True),
                Field("ahew_g_eq", phrase("AHEW of part B, g/eq"), more=True),
            ),
        ),
        Part(
            "resin.flow",
            phrase("How thick the fresh mix is"),
            (
                Field(
                    "viscosity_pa_s", phrase("Viscosity of the mix, Pa·s (1000 mPa·s, or 1000 cP, is 1 Pa·s)")
                ),
                Field("at_c", phrase("Temperature for that viscosity"), more=True),
            ),
        ),
        Part(
            "pails",
            phrase("Pails"),
            (
                Field("sizes_l", phrase("Sizes that you have"), "litres-list"),
                Field("fill_pct", phrase("Filled to at most, %")),
            ),
        ),
        Part(
            "scale",
            phrase("Scale"),
            (
                Field("resolution_g", phrase("Smallest step that it shows, g")),
                Field("max_kg", phrase("Most that it can weigh")),
            ),
        ),
        Part(
            "person",
            phrase("Who pours, who checks"),
            (
                Field("name", phrase("Name"), "words"),
                Field("role", phrase("Here as"), "words", offers=("maker", "helper")),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Person {number}", number=number),
                phrase("Add a person"),
                phrase("Add another person"),
            ),
        ),
        Part(
            "allowance",
            phrase("What is mixed beyond the volume"),
            (
                Field("waste_pct", phrase("Left in pails and on tools, %"), more=True),
                Field("soak_pct", phrase("Soaks into the wood, %"), more=True),
                Field("seal_coat_g_m2", phrase("Seal coat on bare wood, g/m²"), more=True),
            ),
        ),
        Part(
            "cost",
            phrase("Cost"),
            (
                Field("currency", phrase("Currency"), "words", more=True),
                Field("resin_per_kg", phrase("Price of a kilogram of mix"), more=True),
                Field("other", phrase("Other cost of this pour"), more=True),
            ),
        ),
    ),
    usual=("pails", "scale", "person"),
    save=phrase("Save the mixing"),
)
LAYERS = Section(
    "layers",
    phrase("Layers and waits"),
    phrase("Each layer on top of the first: when it comes, how deep, how warm."),
    (
        Part(
            "layer",
            "",
            (
                Field("at_h", phrase("Hours after the first pouring")),
                Field("depth_mm", phrase("Depth of this layer")),
                Field("start_c", phrase("Its mix as poured")),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Layer {number}", number=number),
                phrase("Add a layer"),
                phrase("Add another layer"),
            ),
            sort="at_h",
        ),
        Part("run", "", (Field("hours", phrase("Predict for so many hours"), more=True),)),
    ),
    save=phrase("Save the layers"),
)
FAN = Section(
    "fan",
    phrase("Fan over the top"),
    phrase("A fan takes heat off the surface. The station's relay follows these times."),
    (
        Part(
            "fan",
            "",
            (
                Field("from_h", phrase("On from hour")),
                Field("to_h", phrase("Off at hour")),
                Field("air_m_s", phrase("Its air, m/s")),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Fan time {number}", number=number),
                phrase("Add a fan time"),
                phrase("Add another fan time"),
            ),
            sort="from_h",
        ),
    ),
    save=phrase("Save the fan times"),
)
OUTLINE = Section(
    "outline",
    phrase("An uneven outline"),
    phrase(
        "For the litres, and for the widest place: it gets hottest. Widths at places along it, or points around it."
    ),
    (
        Part(
            "outline.stations_mm",
            phrase("Widths along the river"),
            pairs=(("mm", phrase("Place along it")), ("mm", phrase("Width there"))),
            lead=phrase(
                "Both ends and every change of width between; an odd number of even steps is the most exact."
            ),
        ),
        Part(
            "outline",
            phrase("Or points around it"),
            (
                Field("points_mm", phrase("Points around the edge: across, along; one a line"), "points"),
                Field("edge_slope_deg", phrase("Lean of the edges, °"), more=True),
                Field("sloping_edge_mm", phrase("Length of edge that leans"), more=True),
                Field("bottom_diameter_mm", phrase("Diameter at the bottom of a round form"), more=True),
                Field("displaced_l", phrase("Wood or stone in the resin"), more=True),
            ),
        ),
    ),
    save=phrase("Save the outline"),
)
VOIDS = Section(
    "voids",
    phrase("Holes, cracks and hollows"),
    phrase("They take resin too; one that goes through leaks, one that is deeper than the layer runs hot."),
    (
        Part(
            "void",
            "",
            (
                Field("name", phrase("Name"), "words"),
                Field(
                    "shape",
                    phrase("Shape from above"),
                    "choice",
                    (("oval", phrase("oval")), ("box", phrase("box")), ("crack", phrase("crack"))),
                ),
                Field("length_mm", phrase("Length")),
                Field("width_mm", phrase("Width")),
                Field("depth_mm", phrase("Depth")),
                Field("count", phrase("How many"), "whole"),
                Field("through", phrase("Goes right through?"), "yes"),
                Field("backed", phrase("Closed from behind?"), "yes"),
            ),
            rows=True,
            row=RowWords(
                lambda number: phrase("Hole {number}", number=number),
                phrase("Add a hole"),
                phrase("Add another hole"),
            ),
        ),
    ),
    save=phrase("Save the holes"),
)
LOOK = Section(
    "look",
    phrase("Colour and bubbles"),
    phrase(
        "From a dip into a test cup: how much colour, and does it spoil the cure? And the tool against bubbles."
    ),
    (
        Part(
            "colour",
            phrase("Colour"),
            (
                Field(
                    "kind",
                    phrase("What colours it"),
                    "choice",
                    (("dye", phrase("dye")), ("pigment", phrase("pigment")), ("flake", phrase("flakes"))),
                ),
                Field("dip_depth_mm", phrase("Depth of the test")),
                Field("dip_dose_pct", phrase("Dose in the test, %")),
                Field("dip_transmission", phrase("Part of the light that came through, 0 to 1")),
                Field("want_transmission", phrase("Part that shall come through the piece, 0 to 1")),
                Field("dose_pct", phrase("Dose that you mean to use, %")),
                Field("hide_bottom", phrase("Shall the bottom be hidden?"), "yes"),
            ),
        ),
        Part(
            "heat_tool",
            phrase("Against bubbles"),
            (
                Field(
                    "kind",
                    phrase("Tool"),
                    "choice",
                    (("gun", phrase("heat gun")), ("torch", phrase("torch"))),
                ),
                Field("pass_s", phrase("Seconds over one place")),
                Field("jet_c", phrase("Its air or flame at the resin"), more=True),
            ),
        ),
    ),
    save=phrase("Save colour and bubbles"),
)
SECTIONS = {one.name: one for one in (PIECE, ROOM, SLABS, FORM, MIX, LAYERS, FAN, OUTLINE, VOIDS, LOOK)}
#: What the shop keeps for every plan, as one section of its own page.
USUAL = Section(
    "usual",
    phrase("What is usual in this shop"),
    phrase("Entered once: it fills every new plan, and each plan may say otherwise."),
    (
        Part("air", phrase("The usual room"), (Field("room_c", phrase("Room")),)),
        *(part for part in FORM.parts if part.table in ("form", "form.support", "form.face")),
        *(part for part in MIX.parts if part.table in ("scale", "pails", "person")),
    ),
    save=phrase("Save what is usual"),
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
    # Extraction finds these sentences in the file (logger/words/catalogues.py).
    return fact(entry) if isinstance(entry, str) and "[[" not in entry else NOTHING


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
