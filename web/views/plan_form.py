"""From the fields of the new-pour form to a plan: in the maker's units. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.errors import BadInput
from logger.plan.file import Resin, plan_from_table, plan_to_text
from logger.quantities import Units
from web.views.datasheet_form import FormFields


def described(given: Mapping[str, str], u: Units) -> dict[str, Any]:
    """Return the tables of a plan file that a filled form gives, without its resin and mix. Raises BadInput (a
    field).
    """
    f = FormFields(given, u)
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
    form: dict[str, Any] = {"underside": f.words("underside")} if f.words("underside") else {}
    for part, name, label in (
        ("bottom", "panel", "Bottom panel"),
        ("side", "slab", "Slab or wall beside it"),
    ):
        thickness = f.mm(name, label)
        if thickness is not None:
            form[part] = {"thickness_mm": thickness}
    table: dict[str, Any] = {
        "title": f.words("title"),
        "pour": pour,
        "form": form,
        "air": {"room_c": room},
    }
    humidity = f.number("humidity", "Humidity")
    if humidity is not None:
        table["air"]["relative_humidity_pct"] = humidity
    people = [name.strip() for name in f.words("people").split(",") if name.strip()]
    if people:
        table["person"] = [{"name": name} for name in people]
    return table


def plan_text(table: Mapping[str, Any], resin: Resin, mix: Mapping[str, Any]) -> str:
    """Return the plan file of what was described, with a resin and its [mix] table (empty: not known yet). Raises
    BadPlan.
    """
    whole = {**table, "resin": resin.model_dump(exclude_none=True, mode="json")}
    return plan_to_text(plan_from_table(whole | ({"mix": dict(mix)} if mix else {}), "this pour"))
