"""The plan with the numbers that somebody typed on its page: depth, room, layers, form, ratio, moisture."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from logger.errors import BadInput
from logger.plan_file import Plan, plan_from_table
from web.pages.measures import Units, number_from

#: Most layers, and most moisture readings of a slab, that the page takes.
MOST_LAYERS, MOST_READINGS = 12, 50


def with_numbers(plan: Plan, given: Mapping[str, str], moisture: Sequence[str], u: Units) -> Plan:
    """The plan with the numbers of the form; equal layers when more than one is asked for.

    An empty field changes nothing; `moisture` has one text a slab, in the plan's order. Raises BadInput, BadPlan.
    """
    table = plan.model_dump(exclude_none=True, mode="json")
    _pour(table, given, u)
    _layers(table, given)
    _form(table, given, u)
    _ratio(table, given)
    for slab, text in zip(table.get("slab", []), moisture, strict=False):
        if text.strip():
            slab["meter"] = slab.get("meter", {}) | {"readings_pct": readings_from(text, slab["name"])}
    return plan_from_table(table, "this plan")


def readings_from(text: str, name: str) -> list[float]:
    """Moisture readings as people type them: "7.9, 8.2 8,0; 8.4". Raises BadInput."""
    # A comma with a blank after it parts two readings; one without is a decimal comma.
    parts = [part for part in re.split(r"[;\s]+|,(?=\s)|,$", text.strip()) if part]
    if len(parts) > MOST_READINGS:
        raise BadInput(
            f"Moisture of {name}", "has too many readings", value=len(parts), allowed=f"1 to {MOST_READINGS}",
            remedy="give those that say most",
        )  # fmt: skip
    return [number_from(part, f"Moisture of {name}") for part in parts]


def _pour(table: dict[str, Any], given: Mapping[str, str], u: Units) -> None:
    table["pour"]["depth_mm"] = round(u.to_mm(number_from(given["depth"], "Depth of each layer")), 3)
    table["air"]["room_c"] = round(u.to_c(number_from(given["room"], "Room")), 3)
    if given["width"].strip():
        table["pour"]["width_mm"] = round(u.to_mm(number_from(given["width"], "Width")), 3)
    table["pour"].pop("start_c", None)
    if given["start"].strip():
        table["pour"]["start_c"] = round(u.to_c(number_from(given["start"], "Mix as poured")), 3)


def _layers(table: dict[str, Any], given: Mapping[str, str]) -> None:
    count = number_from(given["layers"], "Layers")
    if count != int(count) or not 1 <= count <= MOST_LAYERS:
        raise BadInput("Layers", "cannot be used", value=given["layers"], allowed=f"1 to {MOST_LAYERS}",
                       remedy="count them")  # fmt: skip
    table["layer"] = []
    if count > 1:
        wait_h = number_from(given["wait"], "Hours between layers")
        table["layer"] = [
            {"at_h": wait_h * number, "depth_mm": table["pour"]["depth_mm"]}
            for number in range(1, int(count))
        ]


def _form(table: dict[str, Any], given: Mapping[str, str], u: Units) -> None:
    if given["bottom"].strip():
        bottom = table.setdefault("form", {}).setdefault("bottom", {})
        bottom["thickness_mm"] = round(u.to_mm(number_from(given["bottom"], "Bottom panel")), 3)
    if given["span"].strip():
        support = table.setdefault("form", {}).setdefault("support", {})
        support["span_mm"] = round(u.to_mm(number_from(given["span"], "Between supports")), 3)
        if given["supports"].strip():
            count = number_from(given["supports"], "Supports")
            if count != int(count):
                raise BadInput(
                    "Supports", "cannot be used", value=given["supports"], allowed="whole numbers from 2",
                    remedy="count them",
                )  # fmt: skip
            support["supports"] = int(count)


def _ratio(table: dict[str, Any], given: Mapping[str, str]) -> None:
    measure = given["measure"]
    if not measure:
        return
    if measure not in ("weight", "volume") or "mix" not in table:
        raise BadInput("Measured by", "is not known", value=measure, allowed="weight, volume",
                       remedy="choose one, in a plan that has a [mix]")  # fmt: skip
    # The shop's own pair of numbers goes: it is worked out from the datasheet's and the densities.
    table["mix"].pop("measure_parts", None)
    table["mix"]["measure_by"] = measure
