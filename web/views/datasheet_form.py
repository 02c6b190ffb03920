"""A datasheet and a mixing ratio, between the fields of a form in the maker's units and what is kept in SI. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomli_w

from logger.cure.fit.datasheet import Datasheet, datasheet_from_text
from logger.errors import BadInput
from logger.quantities import Units
from web.views.reader_units import number_from

#: The temperatures that datasheets mean when they name none, °C (common practice, no source).
WORKED_AT_C, CURED_AT_C = 25.0, 23.0
#: The cup that most datasheets time, kg (common practice, no source).
CUP_KG = 0.1


@dataclass(frozen=True, slots=True)
class FormFields:
    """A form as it was filled: numbers in the units of whoever filled it."""

    given: Mapping[str, str]
    u: Units

    def words(self, name: str) -> str:
        """Return a field's text."""
        return self.given.get(name, "").strip()

    def number(self, name: str, label: str) -> float | None:
        """Return a field's number, None where it is empty. Raises BadInput."""
        text = self.words(name)
        return number_from(text, label) if text else None

    def mm(self, name: str, label: str) -> float | None:
        """Return a length, mm."""
        number = self.number(name, label)
        return None if number is None else round(self.u.to_mm(number), 3)

    def celsius(self, name: str, label: str) -> float | None:
        """Return a temperature, °C."""
        number = self.number(name, label)
        return None if number is None else round(self.u.to_c(number), 3)

    def kg(self, name: str, label: str) -> float | None:
        """Return a mass, kg."""
        number = self.number(name, label)
        return None if number is None else round(self.u.to_kg(number), 6)


def sheet_toml(f: FormFields) -> str:
    """Return the datasheet file of a filled form. Raises BadInput naming the field."""
    if not f.words("resin"):
        raise BadInput("Resin", "has no name", remedy="copy the name from its label")
    limits = {
        key: value
        for key, value in (
            ("max_core_c", f.celsius("max_core", "Hottest core")),
            ("min_room_c", f.celsius("min_room", "Coldest room")),
            ("max_room_c", f.celsius("max_room", "Warmest room")),
            ("max_depth_mm", f.mm("deepest", "Deepest pour")),
        )
        if value is not None
    }
    at_c = f.celsius("at", "Temperature of the working time")
    sheet: dict[str, Any] = {"name": f.words("resin")[:200], "note": f.words("note")[:2000], "limits": limits}
    mass, working = f.kg("mass", "Mass of the working time"), f.number("working", "Working time")
    gel, peak, hard = f.number("gel", "Gel time"), f.celsius("peak", "Peak"), f.number("hard", "Hard after")
    cup = {"mass_kg": CUP_KG if mass is None else mass, "at_c": WORKED_AT_C if at_c is None else at_c}
    if working is None and gel is None and hard is None:
        raise BadInput(
            "Working time",
            "is missing",
            remedy="give it, the gel time, or when it is hard: something must say how fast it cures",
        )
    if working is not None:
        sheet["working_time"] = [cup | {"time_min": working}]
    if gel is not None:
        sheet["gel_time"] = [cup | {"time_min": gel}]
    if peak is not None:
        peak_min = f.number("peak_min", "Time of the peak")
        sheet["peak"] = [cup | {"peak_c": peak} | ({} if peak_min is None else {"time_min": peak_min})]
    cured = [
        {"time_h": hours, "at_c": CURED_AT_C, "to": to}
        for to, hours in (("hard", hard), ("full", f.number("full", "Fully cured after")))
        if hours is not None
    ]
    if cured:
        sheet["cure_time"] = cured
    mixture = {
        key: value
        for key, value in (
            ("heat_of_cure_j_g", f.number("heat", "Heat of cure")),
            ("eew_g_eq", f.number("eew", "Epoxide equivalent weight")),
            ("ahew_g_eq", f.number("ahew", "Amine hydrogen equivalent weight")),
        )
        if value is not None
    }
    if mixture:
        sheet["mixture"] = mixture
    return tomli_w.dumps(sheet)


def fields_of(sheet: Datasheet, u: Units) -> dict[str, str] | None:
    """Return a form's fields that give this datasheet back; None where it says more than the form has room for."""
    lists = (sheet.working_time, sheet.gel_time, sheet.peak)
    if any(len(entries) > 1 for entries in lists) or sheet.deepest_pour or sheet.dsc_peak:
        return None
    given: dict[str, str] = {"resin": sheet.name, "note": sheet.note}
    cups = [one for entries in lists for one in entries]
    for one in cups:
        if getattr(one, "mass_kg", None) is None or (one.at_c, one.mass_kg) != (
            cups[0].at_c,
            cups[0].mass_kg,
        ):
            return None
    if cups and cups[0].mass_kg is not None:
        given["mass"] = f"{cups[0].mass_kg if u.mass == 'kg' else cups[0].mass_kg / u.to_kg(1.0):.4g}"
        given["at"] = _shown(u.degrees(cups[0].at_c))
    if sheet.working_time:
        given["working"] = _shown(sheet.working_time[0].time_min)
    if sheet.gel_time:
        given["gel"] = _shown(sheet.gel_time[0].time_min)
    if sheet.peak:
        given["peak"] = _shown(u.degrees(sheet.peak[0].peak_c))
        given["peak_min"] = "" if sheet.peak[0].time_min is None else _shown(sheet.peak[0].time_min)
    for cured in sheet.cure_time:
        if cured.depth_mm is not None or cured.at_c != CURED_AT_C or cured.to in given:
            return None
        given[cured.to] = _shown(cured.time_h)
    limits = sheet.limits
    for name, celsius in (
        ("max_core", limits.max_core_c),
        ("min_room", limits.min_room_c),
        ("max_room", limits.max_room_c),
    ):
        given[name] = _shown(u.degrees(celsius))
    given["deepest"] = "" if limits.max_depth_mm is None else u.bare_span(limits.max_depth_mm)
    for name, value in (
        ("heat", sheet.mixture.heat_of_cure_j_g),
        ("eew", sheet.mixture.eew_g_eq),
        ("ahew", sheet.mixture.ahew_g_eq),
    ):
        given[name] = "" if value is None else _shown(value)
    # Whatever the form cannot hold (densities, exponents, tolerances) must not be lost by editing.
    again = datasheet_from_text(sheet_toml(FormFields(given, u)))
    return given if _near(again.model_dump(), sheet.model_dump()) else None


def mix_of(f: FormFields) -> dict[str, Any]:
    """Return the [mix] table of a filled form, empty where it says nothing of it. Raises BadInput."""
    a, b = f.number("part_a", "Parts of A"), f.number("part_b", "Parts of B")
    if a is None and b is None:
        return {}
    if a is None or b is None:
        raise BadInput("Mixing ratio", "has one part only", remedy="give both numbers, as on the datasheet")
    density_a, density_b = f.number("density_a", "Density of A"), f.number("density_b", "Density of B")
    if density_a is None or density_b is None:
        raise BadInput(
            "Mixing ratio",
            "needs both densities",
            allowed="g/mL, from the datasheets",
            remedy="without them weight and volume cannot be told apart",
        )
    return {
        "ratio_parts": [a, b],
        "ratio_by": f.words("ratio_by") or "weight",
        "density_a_kg_m3": 1000 * density_a,
        "density_b_kg_m3": 1000 * density_b,
    }


def mix_fields(mix: Mapping[str, Any]) -> dict[str, str]:
    """Return a form's fields that give this [mix] table back."""
    if not mix:
        return {}
    a, b = mix["ratio_parts"]
    dense_a, dense_b = (mix[f"density_{part}_kg_m3"] / 1000 for part in "ab")
    return {
        "part_a": _shown(a),
        "part_b": _shown(b),
        "ratio_by": mix["ratio_by"],
        "density_a": _shown(dense_a),
        "density_b": _shown(dense_b),
    }


def _shown(number: float) -> str:
    return f"{number:.6g}"


def _near(one: Any, other: Any) -> bool:
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_near(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(_near(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 2e-3 * max(abs(one), abs(other), 1.0)
    return bool(one == other)
