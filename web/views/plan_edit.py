"""The plan with the numbers that somebody typed on its page: depth, room, layers, form, ratio, moisture."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from typing import Any

from logger.errors import BadInput
from logger.plan.file import LONGEST_H, MOST_LAYERS, Plan, plan_from_table, plan_to_table
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.views.typed import celsius_from, mm_from, number_from, single

#: Most moisture readings of a slab that the page takes.
MOST_READINGS = 50
#: How far past its last layer a plan is predicted at least, h: its peak lies within.
AHEAD_H = 72.0


def with_numbers(plan: Plan, given: Mapping[str, str], moisture: Sequence[str], u: Reader) -> Plan:
    """Return the plan with the numbers of the form; equal layers when more than one is asked for.

    An empty field changes nothing; `moisture` has one text a slab, in the plan's order. Raises BadInput, BadPlan.
    """
    # What nobody has said stays unsaid: it is asked, and shown as the usual.
    table = plan_to_table(plan)
    _pour(table, plan, given, u)
    _layers(table, plan, given, u)
    _underside(table, given)
    _form(table, plan, given, u)
    _ratio(table, given)
    for slab, text in zip(table.get("slab", []), moisture, strict=False):
        if text.strip():
            slab["meter"] = slab.get("meter", {}) | {
                "readings_pct": readings_from(text, phrase("Moisture of {name}", name=slab["name"]), u)
            }
    return plan_from_table(table, phrase("this plan"))


def readings_from(text: str, name: str, u: Reader) -> list[float]:
    """Return readings as people type them: "7.9, 8.2 8,0; 8.4". Raises BadInput."""
    return [number_from(part, name, u) for part in parts_of(text, name)]


def parts_of(text: str, name: str) -> list[str]:
    """Return several numbers that were typed in one field, one by one. Raises BadInput."""
    # A comma with a blank after it parts two readings; one without is a decimal comma.
    # With units behind the numbers a blank parts nothing: "5 L; 10 L".
    between = r";|,(?=\s)|,$" if re.search(r"[^\W\d_]", text) else r"[;\s]+|,(?=\s)|,$"
    parts = [part.strip() for part in re.split(between, text.strip()) if part.strip()]
    if len(parts) > MOST_READINGS:
        raise BadInput(
            name,
            phrase("has too many readings"),
            value=len(parts),
            allowed=phrase("1 to {most_readings}", most_readings=MOST_READINGS),
            remedy=phrase("give those that say most"),
        )
    return parts


def without_empty_lists(plan_toml: str) -> str:
    """Return a plan's text without lists that have nothing in them: a [[slab]] can be added below it then."""
    return re.sub(r"(?m)^[a-z_]+ = \[\][ \t]*\n?", "", plan_toml)


def _span(now_mm: float | None, text: str, name: str, u: Reader) -> float | None:
    """Return a length as typed; as it was where nobody changed it: shown in inches it has lost digits."""
    if not text.strip() or (now_mm is not None and text.strip() == u.bare_span(now_mm)):
        return now_mm
    return round(single(mm_from(text, name, u), text, name), 3)


def _degrees(now_c: float | None, text: str, name: str, u: Reader) -> float | None:
    """Return a temperature as typed; as it was where nobody changed it."""
    if now_c is not None and text.strip() == bare_degrees(now_c, u):
        return now_c
    return round(single(celsius_from(text, name, u), text, name), 3) if text.strip() else None


def bare_degrees(celsius: float, u: Reader) -> str:
    """Return a temperature's number in a field that names the unit."""
    return u.bare_temp(celsius)


def _pour(table: dict[str, Any], plan: Plan, given: Mapping[str, str], u: Reader) -> None:
    pour = table["pour"]
    if not given["depth"].strip():
        raise BadInput(phrase("Depth of each layer"), phrase("is empty"), remedy=phrase("give the depth"))
    pour["depth_mm"] = _span(plan.pour.depth_mm, given["depth"], phrase("Depth of each layer"), u)
    if (width := _span(plan.pour.width_mm, given["width"], phrase("Width"), u)) is not None:
        pour["width_mm"] = width
    pour.pop("start_c", None)
    if (start := _degrees(plan.pour.start_c, given["start"], phrase("Mix as poured"), u)) is not None:
        pour["start_c"] = start
    # A room that changes with the hours stays as it is until somebody types another.
    now_c = plan.room_schedule()[0][1]
    room = _degrees(now_c, given["room"], phrase("Room"), u)
    if room is None:
        raise BadInput(phrase("Room"), phrase("is empty"), remedy=phrase("give the room's temperature"))
    if room != now_c:
        table["air"]["room_c"] = room


def _layers(table: dict[str, Any], plan: Plan, given: Mapping[str, str], u: Reader) -> None:
    count = number_from(given["layers"], phrase("Layers"), u)
    if count != int(count) or not 1 <= count <= MOST_LAYERS:
        raise BadInput(
            phrase("Layers"),
            phrase("cannot be used"),
            value=given["layers"],
            allowed=phrase("1 to {most_layers}", most_layers=MOST_LAYERS),
            remedy=phrase("count them"),
        )
    shown = waits_shown(plan, u) if plan.layer else given["wait"].strip()
    if (
        count == 1 + len(plan.layer)
        and table["pour"]["depth_mm"] == plan.pour.depth_mm
        and given["wait"].strip() == shown
    ):
        return  # also layers that are not alike stay as they are
    table["layer"] = []
    if count == 1:
        return
    waits = _waits(given["wait"], int(count) - 1, u)
    # Each as warm as the first: what was advised was solved so.
    mix = {key: table["pour"][key] for key in ("depth_mm", "start_c") if key in table["pour"]}
    table["layer"] = [{"at_h": at_h} | mix for at_h in itertools.accumulate(waits)]
    hours = max(plan.run.hours, table["layer"][-1]["at_h"] + AHEAD_H)
    table["run"] = table.get("run", {}) | {"hours": min(hours, LONGEST_H)}


def waits_shown(plan: Plan, u: Reader) -> str:
    """Return the hours between the plan's layers as the page shows them: one number, or one for each layer."""
    waits = [b - a for a, b in itertools.pairwise([0.0, *(layer.at_h for layer in plan.layer)])]
    words = [u.bare(round(wait, 3)) for wait in waits]
    return words[0] if len(set(words)) == 1 else "; ".join(words)


def _waits(text: str, joints: int, u: Reader) -> list[float]:
    name = phrase("Hours between layers")
    waits = readings_from(text, name, u) if text.strip() else []
    if len(waits) not in (1, joints):
        raise BadInput(
            name,
            phrase("do not fit the layers"),
            value=text,
            allowed=phrase("one number, or {joints}", joints=joints),
            remedy=phrase("give one wait for all, or one for each later layer: 31; 28"),
        )
    return waits * joints if len(waits) == 1 else waits


def _underside(table: dict[str, Any], given: Mapping[str, str]) -> None:
    underside = given.get("underside", "")
    if underside not in ("", "open", "closed"):
        raise BadInput(
            phrase("Under the form"),
            phrase("is not known"),
            value=underside,
            allowed=phrase("open, closed"),
            remedy=phrase("choose one"),
        )
    if underside:
        table.setdefault("form", {})["underside"] = underside


def _form(table: dict[str, Any], plan: Plan, given: Mapping[str, str], u: Reader) -> None:
    thickness = plan.form.bottom.thickness_mm
    bottom = _span(thickness, given["bottom"], phrase("Bottom panel"), u)
    if bottom != thickness:
        table.setdefault("form", {}).setdefault("bottom", {})["thickness_mm"] = bottom
    if plan.form.support is None:
        return
    support = table["form"]["support"]
    support["span_mm"] = _span(plan.form.support.span_mm, given["span"], phrase("Between supports"), u)
    if given["supports"].strip():
        count = number_from(given["supports"], phrase("Supports"), u)
        if count != int(count):
            raise BadInput(
                phrase("Supports"),
                phrase("cannot be used"),
                value=given["supports"],
                allowed=phrase("whole numbers from 2"),
                remedy=phrase("count them"),
            )
        support["supports"] = int(count)


def _ratio(table: dict[str, Any], given: Mapping[str, str]) -> None:
    measure = given["measure"]
    if not measure:
        return
    if measure not in ("weight", "volume") or "mix" not in table:
        raise BadInput(
            phrase("Measured by"),
            phrase("is not known"),
            value=measure,
            allowed=phrase("weight, volume"),
            remedy=phrase("choose one, in a plan that has a [mix]"),
        )
    # The shop's own pair of numbers goes: it is worked out from the datasheet's and the densities.
    table["mix"].pop("measure_parts", None)
    table["mix"]["measure_by"] = measure
