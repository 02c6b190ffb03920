"""From the fields of the new-pour form to a plan: in the maker's units, from a datasheet or an earlier pour. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.cure.datasheet import datasheet_from_text
from logger.cure.fit import fit_datasheet
from logger.errors import BadInput
from logger.plan_file import Resin, plan_from_table, plan_to_text
from web.pages.measures import Units
from web.pages.sheet import Fields, mix_of, sheet_toml


def plan_text(
    given: Mapping[str, str], u: Units, earlier: Resin | None, mixed: Mapping[str, Any] | None = None
) -> str:
    """The plan file of a filled form. `earlier` is the resin chosen in it, if one was, `mixed` its [mix] table.

    Raises BadInput (a field), BadPlan (a value out of its range), DidNotConverge.
    """
    f = Fields(given, u)
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
    mix = mix_of(f) or dict(mixed or {})
    if mix:
        table["mix"] = mix
    people = [name.strip() for name in f.words("people").split(",") if name.strip()]
    if people:
        table["person"] = [{"name": name} for name in people]
    return plan_to_text(plan_from_table(table, "this pour"))


def _resin(f: Fields) -> Resin:
    """The resin fitted to what its datasheet states."""
    return fit_datasheet(datasheet_from_text(sheet_toml(f), "datasheet")).resin
