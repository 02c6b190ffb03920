"""A datasheet and a mixing ratio, between the fields of a form in the maker's units and what is kept in SI. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import tomli_w

from logger.cure.fit.datasheet import DEPTHS_MM, LABORATORY_C, Datasheet, datasheet_from_text, deepest_pours
from logger.errors import BadInput, OutOfRange
from logger.plan.file import Limits
from logger.quantities import length, quantity
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.views.typed import (
    Span,
    celsius_from,
    changed,
    high,
    hours_from,
    kg_from,
    low,
    minutes_from,
    mm_from,
    number_from,
    ratio_from,
    shown,
    single,
)

#: The temperatures that datasheets mean when they name none, °C (common practice, no source).
WORKED_AT_C, CURED_AT_C = 25.0, LABORATORY_C
#: The classes of system that a form offers, and the words for each (the trade's; common practice, no source).
SYSTEMS = {
    "slow": phrase("slow casting: thick pours, cures for days"),
    "medium": phrase("medium: tables and layers of some centimetres"),
    "quick": phrase("quick coating: thin coats, hard the next day"),
}
#: The cup that most datasheets time, kg (common practice, no source).
CUP_KG = 0.1


@dataclass(frozen=True, slots=True)
class FormFields:
    """A form as it was filled: numbers, or ranges of them, in the units of whoever filled it."""

    given: Mapping[str, str]
    u: Reader

    def words(self, name: str) -> str:
        """Return a field's text."""
        return self.given.get(name, "").strip()

    def number(self, name: str, label: str) -> float | None:
        """Return a field's number, None where it is empty. Raises BadInput."""
        text = self.words(name)
        return number_from(text, label, self.u) if text else None

    def minutes(self, name: str, label: str) -> Span | None:
        """Return a time or a range of times, min. Raises BadInput."""
        text = self.words(name)
        return minutes_from(text, label, self.u) if text else None

    def hours(self, name: str, label: str) -> Span | None:
        """Return a time or a range of times, h. Raises BadInput."""
        text = self.words(name)
        return hours_from(text, label, self.u) if text else None

    def lengths(self, name: str, label: str) -> Span | None:
        """Return a length or a range of lengths, mm. Raises BadInput."""
        text = self.words(name)
        return _rounded(mm_from(text, label, self.u), 3) if text else None

    def temperatures(self, name: str, label: str) -> Span | None:
        """Return a temperature or a range of them, °C. Raises BadInput."""
        text = self.words(name)
        return _rounded(celsius_from(text, label, self.u), 3) if text else None

    def mm(self, name: str, label: str) -> float | None:
        """Return a length, mm; the middle of a range. Raises BadInput."""
        return _middle(self.lengths(name, label))

    def celsius(self, name: str, label: str) -> float | None:
        """Return a temperature, °C; the middle of a range. Raises BadInput."""
        return _middle(self.temperatures(name, label))

    def kg(self, name: str, label: str) -> float | None:
        """Return a mass, kg."""
        text = self.words(name)
        return round(single(kg_from(text, label, self.u), text, label), 6) if text else None


def sheet_toml(f: FormFields) -> str:
    """Return the datasheet file of a filled form. Raises BadInput naming the field."""
    if not f.words("resin"):
        raise BadInput(phrase("Resin"), phrase("has no name"), remedy=phrase("copy the name from its label"))
    sheet: dict[str, Any] = {
        "name": f.words("resin")[:200],
        "note": f.words("note")[:2000],
        "limits": _limits(f),
    }
    if f.words("system"):
        if f.words("system") not in SYSTEMS:
            raise BadInput(
                phrase("Kind of system"),
                phrase("is not one of the list"),
                value=f.words("system"),
                remedy=phrase("choose again"),
            )
        sheet["system"] = f.words("system")
    sheet |= _cup_statements(f) | _cured_statements(f) | _deepest(f, sheet["limits"])
    speed_keys = ("working_time", "gel_time", "cure_time", "deepest_pour", "system")
    if not any(sheet.get(name) for name in speed_keys):
        raise BadInput(
            phrase("Working time"),
            phrase("is missing"),
            remedy=phrase(
                "give it, or the deepest single pour, or choose the kind of system: something must say how fast it "
                "cures"
            ),
        )
    mixture = {
        key: value
        for key, value in (
            ("heat_of_cure_j_g", f.number("heat", phrase("Heat of cure"))),
            ("eew_g_eq", f.number("eew", phrase("Epoxide equivalent weight"))),
            ("ahew_g_eq", f.number("ahew", phrase("Amine hydrogen equivalent weight"))),
        )
        if value is not None
    }
    if mixture:
        sheet["mixture"] = mixture
    glass_c = f.celsius("tg", phrase("Glass transition"))
    if glass_c is not None:
        sheet["glass"] = {"tg_inf_c": glass_c}
    return tomli_w.dumps(sheet)


def _limits(f: FormFields) -> dict[str, float]:
    """Return the [limits] of a filled form: of a range the end that the datasheet allows; of the core the cautious."""
    coldest, warmest = (
        f.temperatures("min_room", phrase("Coldest room")),
        f.temperatures("max_room", phrase("Warmest room")),
    )
    # "18-28" in one of the two fields is the whole range of rooms.
    if warmest is None and isinstance(coldest, tuple):
        warmest = coldest
    elif coldest is None and isinstance(warmest, tuple):
        coldest = warmest
    core = f.temperatures("max_core", phrase("Hottest core"))
    deepest = f.lengths("deepest", phrase("Deepest pour"))
    limits = (
        ("max_core_c", low(core)),
        ("min_room_c", low(coldest)),
        ("max_room_c", high(warmest)),
        ("max_depth_mm", high(deepest)),
    )
    return {key: value for key, value in limits if value is not None}


def _deepest(f: FormFields, limits: Mapping[str, float]) -> dict[str, Any]:
    """Return the deepest single pour as statements of the cure."""
    depth = f.lengths("deepest", phrase("Deepest pour"))
    if depth is None:
        return {}
    least, most = DEPTHS_MM
    shallowest, deepest = depth if isinstance(depth, tuple) else (depth, depth)
    if not least < shallowest <= deepest <= most:
        raise OutOfRange(
            phrase("Deepest pour"),
            phrase("is out of range"),
            value=f.words("deepest"),
            allowed=phrase("{low} to {high}", low=length(least, None), high=length(most, None)),
            remedy=phrase("look at the unit beside the field"),
        )
    pours = deepest_pours(depth, Limits.model_validate(dict(limits)))
    return {"deepest_pour": [pour.model_dump(mode="json", exclude_unset=True) for pour in pours]}


def _cup_statements(f: FormFields) -> dict[str, Any]:
    """Return what is stated of a mass in a cup, as tables of a datasheet file."""
    at = f.temperatures("at", phrase("Temperature of the working time"))
    mass = f.kg("mass", phrase("Mass of the working time"))
    cup: dict[str, Any] = {
        "mass_kg": CUP_KG if mass is None else mass,
        "at_c": WORKED_AT_C if at is None else _middle(at),
    }
    if isinstance(at, tuple):
        cup["at_plus_minus_k"] = (at[1] - at[0]) / 2
    tables: dict[str, Any] = {}
    working, gel = f.minutes("working", phrase("Working time")), f.minutes("gel", phrase("Gel time"))
    peak, peak_min = f.temperatures("peak", phrase("Peak")), f.minutes("peak_min", phrase("Time of the peak"))
    if working is not None:
        tables["working_time"] = [cup | {"time_min": _listed(working)}]
    if gel is not None:
        tables["gel_time"] = [cup | {"time_min": _listed(gel)}]
    if peak is not None:
        timed = {} if peak_min is None else {"time_min": _listed(peak_min)}
        tables["peak"] = [cup | {"peak_c": _listed(peak)} | timed]
    return tables


def _cured_statements(f: FormFields) -> dict[str, Any]:
    cured = [
        {"time_h": _listed(hours), "at_c": CURED_AT_C, "to": to}
        for to, hours in (
            ("hard", f.hours("hard", phrase("Hard after"))),
            ("full", f.hours("full", phrase("Fully cured after"))),
        )
        if hours is not None
    ]
    return {"cure_time": cured} if cured else {}


def fields_of(sheet: Datasheet, u: Reader) -> dict[str, str] | None:
    """Return a form's fields that give this datasheet back; None where it says more than the form has room for."""
    lists = (sheet.working_time, sheet.gel_time, sheet.peak)
    if any(len(entries) > 1 for entries in lists) or sheet.dsc_peak:
        return None
    given: dict[str, str] = {"resin": sheet.name, "note": sheet.note, "system": sheet.system or ""}
    cups = [one for entries in lists for one in entries]
    for one in cups:
        if getattr(one, "mass_kg", None) is None or (one.at_c, one.at_plus_minus_k, one.mass_kg) != (
            cups[0].at_c,
            cups[0].at_plus_minus_k,
            cups[0].mass_kg,
        ):
            return None
    if cups and cups[0].mass_kg is not None:
        at_c, within = cups[0].at_c, cups[0].at_plus_minus_k
        given["mass"] = u.bare(cups[0].mass_kg / u.to_kg(1.0))
        given["at"] = shown(changed((at_c - within, at_c + within) if within else at_c, u.degrees), u)
    if sheet.working_time:
        given["working"] = shown(sheet.working_time[0].time_min, u)
    if sheet.gel_time:
        given["gel"] = shown(sheet.gel_time[0].time_min, u)
    if sheet.peak:
        given["peak"] = shown(changed(sheet.peak[0].peak_c, u.degrees), u)
        given["peak_min"] = "" if sheet.peak[0].time_min is None else shown(sheet.peak[0].time_min, u)
    for cured in sheet.cure_time:
        if cured.depth_mm is not None or cured.at_c != CURED_AT_C or cured.to in given:
            return None
        given[cured.to] = shown(cured.time_h, u)
    limits = sheet.limits
    for name, celsius in (
        ("max_core", limits.max_core_c),
        ("min_room", limits.min_room_c),
        ("max_room", limits.max_room_c),
    ):
        # A limit that nobody stated stays unstated: it is no evidence of anything.
        given[name] = u.bare(u.degrees(celsius)) if f"{name}_c" in limits.model_fields_set else ""
    deepest: Span | None = sheet.deepest_pour[0].depth_mm if sheet.deepest_pour else limits.max_depth_mm
    given["deepest"] = "" if deepest is None else _lengths(deepest, u)
    given["tg"] = u.bare(u.degrees(sheet.glass.tg_inf_c)) if sheet.glass.stated else ""
    for name, value in (
        ("heat", sheet.mixture.heat_of_cure_j_g),
        ("eew", sheet.mixture.eew_g_eq),
        ("ahew", sheet.mixture.ahew_g_eq),
    ):
        given[name] = "" if value is None else u.bare(value)
    # Whatever the form cannot hold (densities, exponents, tolerances) must not be lost by editing.
    again = datasheet_from_text(sheet_toml(FormFields(given, u)))
    return given if _near(again.model_dump(), sheet.model_dump()) else None


def _lengths(mm: Span, u: Reader) -> str:
    return "\u2013".join(u.bare_span(end) for end in mm) if isinstance(mm, tuple) else u.bare_span(mm)


def mix_of(f: FormFields) -> dict[str, Any]:
    """Return the [mix] table of a filled form, empty where it says nothing of it. Raises BadInput."""
    if not f.words("ratio"):
        return {}
    a, b, by = ratio_from(f.words("ratio"), f.u)
    mix: dict[str, Any] = {"ratio_parts": [a, b], "ratio_by": by or f.words("ratio_by") or "weight"}
    for part in "ab":
        density = f.number(f"density_{part}", phrase("Density of {part}", part=part.upper()))
        if density is not None:
            if not 0.1 < density < 5:
                raise BadInput(
                    phrase("Density of {part}", part=part.upper()),
                    phrase("is no liquid's"),
                    value=quantity(density, "g/mL", None),
                    allowed=phrase("0.1 to 5 g/mL"),
                    remedy=phrase("copy it from the datasheet, in g/mL"),
                )
            mix[f"density_{part}_kg_m3"] = 1000 * density
    return mix


def mix_fields(mix: Mapping[str, Any], u: Reader) -> dict[str, str]:
    """Return a form's fields that give this [mix] table back."""
    if not mix:
        return {}
    return {
        "ratio": ":".join(u.bare(part) for part in mix["ratio_parts"]),
        "ratio_by": mix["ratio_by"],
    } | {
        f"density_{part}": u.bare(mix[f"density_{part}_kg_m3"] / 1000)
        for part in "ab"
        if mix.get(f"density_{part}_kg_m3") is not None
    }


def _listed(value: Span) -> Any:
    """Return the value as TOML has it."""
    return list(value) if isinstance(value, tuple) else value


def _rounded(value: Span, digits: int) -> Span:
    return changed(value, lambda number: round(number, digits))


def _middle(value: Span | None) -> float | None:
    return sum(value) / 2 if isinstance(value, tuple) else value


def _near(one: Any, other: Any) -> bool:
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(_near(one[key], other[key]) for key in one)
    if isinstance(one, (list, tuple)):
        return (
            type(one) is type(other)
            and len(one) == len(other)
            and all(_near(a, b) for a, b in zip(one, other, strict=True))
        )
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 2e-3 * max(abs(one), abs(other), 1.0)
    return bool(one == other)
