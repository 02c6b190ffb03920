"""From the fields of the new-pour form to a plan: in the maker's units, from a datasheet or an earlier pour. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomli_w

from logger.cure.datasheet import datasheet_from_text
from logger.cure.fit import fit_datasheet
from logger.errors import BadInput
from logger.plan_file import Resin, plan_from_table, plan_to_text
from web.pages.measures import Units, number_from


@dataclass(frozen=True, slots=True)
class _Fields:
    given: Mapping[str, str]
    u: Units

    def words(self, name: str) -> str:
        return self.given.get(name, "").strip()

    def number(self, name: str, label: str) -> float | None:
        text = self.words(name)
        return number_from(text, label) if text else None

    def needed(self, name: str, label: str) -> float:
        number = self.number(name, label)
        if number is None:
            raise BadInput(label, "is missing", remedy="fill it in; a rough value is better than none")
        return number

    def mm(self, name: str, label: str) -> float | None:
        number = self.number(name, label)
        return None if number is None else round(self.u.to_mm(number), 3)

    def celsius(self, name: str, label: str) -> float | None:
        number = self.number(name, label)
        return None if number is None else round(self.u.to_c(number), 3)


def plan_text(given: Mapping[str, str], u: Units, earlier: Resin | None) -> str:
    """The plan file of a filled form. `earlier` is the resin of the pour chosen in it, if one was.

    Raises BadInput (a field), BadPlan (a value out of its range), DidNotConverge.
    """
    f = _Fields(given, u)
    if not f.words("title"):
        raise BadInput(
            "What is it", "is empty", remedy="give the piece a name; it stands on alarms and records"
        )
    depth = f.mm("depth", "Depth")
    if depth is None:
        raise BadInput("Depth", "is missing", remedy="measure the deepest place of the pour")
    room = f.celsius("room", "Room")
    if room is None:
        raise BadInput("Room", "is missing", remedy="give the room's temperature as it will be tonight")
    pour: dict[str, Any] = {"shape": f.words("shape") or "river", "depth_mm": depth}
    for name, label in (("width", "Width"), ("length", "Length")):
        value = f.mm(name, label)
        if value is not None:
            pour[f"{name}_mm"] = value
    start = f.celsius("start", "The mix as poured")
    if start is not None:
        pour["start_c"] = start
    form: dict[str, Any] = {"underside": f.words("underside") or "open"}
    for part, name, label in (
        ("bottom", "panel", "Bottom panel"),
        ("side", "slab", "Slab or wall beside it"),
    ):
        thickness = f.mm(name, label)
        if thickness is not None:
            form[part] = {"thickness_mm": thickness}
    table: dict[str, Any] = {
        "title": f.words("title"),
        "resin": (earlier or _resin(f)).model_dump(exclude_none=True, mode="json"),
        "pour": pour,
        "form": form,
        "air": {"room_c": room},
    }
    humidity = f.number("humidity", "Humidity")
    if humidity is not None:
        table["air"]["relative_humidity_pct"] = humidity
    mix = _mix(f)
    if mix:
        table["mix"] = mix
    people = [name.strip() for name in f.words("people").split(",") if name.strip()]
    if people:
        table["person"] = [{"name": name} for name in people]
    return plan_to_text(plan_from_table(table, "this pour"))


def _resin(f: _Fields) -> Resin:
    """The resin fitted to what its datasheet states."""
    if not f.words("resin"):
        raise BadInput("Resin", "has no name", remedy="copy the name from its label")
    limits: dict[str, float] = {}
    for key, name, label in (("max_core_c", "max_core", "Hottest core"), ("min_room_c", "min_room", "Coldest room"),
                             ("max_room_c", "max_room", "Warmest room")):  # fmt: skip
        value = f.celsius(name, label)
        if value is not None:
            limits[key] = value
    deepest = f.mm("deepest", "Deepest pour")
    if deepest is not None:
        limits["max_depth_mm"] = deepest
    at_c = f.celsius("at", "Temperature of the working time")
    sheet: dict[str, Any] = {
        "name": f.words("resin"),
        "limits": limits,
        "working_time": [{
            "mass_kg": _mass_kg(f),
            "time_min": f.needed("working", "Working time"),
            "at_c": 25.0 if at_c is None else at_c,
        }],
    }  # fmt: skip
    hard_h = f.number("hard", "Hard after")
    if hard_h is not None:
        sheet["cure_time"] = [{"time_h": hard_h, "at_c": 23.0}]
    heat = f.number("heat", "Heat of cure")
    if heat is not None:
        sheet["mixture"] = {"heat_of_cure_j_g": heat}
    return fit_datasheet(datasheet_from_text(tomli_w.dumps(sheet), "datasheet")).resin


def _mass_kg(f: _Fields) -> float:
    number = f.number("mass", "Mass of the working time")
    # 100 g is the cup that most datasheets time (common practice, no source).
    return 0.1 if number is None else f.u.to_kg(number)


def _mix(f: _Fields) -> dict[str, Any]:
    a, b = f.number("part_a", "Parts of A"), f.number("part_b", "Parts of B")
    if a is None and b is None:
        return {}
    if a is None or b is None:
        raise BadInput("Mixing ratio", "has one part only", remedy="give both numbers, as on the datasheet")
    density_a, density_b = f.number("density_a", "Density of A"), f.number("density_b", "Density of B")
    if density_a is None or density_b is None:
        raise BadInput("Mixing ratio", "needs both densities", allowed="g/mL, from the datasheets",
                       remedy="without them weight and volume cannot be told apart")  # fmt: skip
    return {
        "ratio_parts": [a, b],
        "ratio_by": f.words("ratio_by") or "weight",
        "density_a_kg_m3": 1000 * density_a,
        "density_b_kg_m3": 1000 * density_b,
    }
