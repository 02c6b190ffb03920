"""From the few fields of the new-pour form to a plan: in the maker's units. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from logger.plan.file import Plan, Resin, plan_from_table, plan_to_table, plan_to_text
from logger.quantities import grams, hours, length, volume
from logger.store.rows import ProbeRow
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.views.datasheet_form import FormFields
from web.views.refused_fields import Gathered

#: A room probe's reading that is older than this says nothing of tonight, ms (this project's choice).
NEW_MS = 60 * 60_000
SHAPES = (
    ("river", phrase("River between two slabs")),
    ("round", phrase("Round form")),
    ("sheet", phrase("Wide sheet")),
)


@dataclass(frozen=True, slots=True)
class RoomGuess:
    """The room as nobody has typed it yet, °C, and where it comes from."""

    celsius: float
    words: str


def described(given: Mapping[str, str], u: Reader) -> dict[str, Any]:
    """Return the tables of a plan file that the form gives, without its resin. Raises RefusedFields."""
    f, wrong = FormFields(given, u), Gathered()
    title = f.words("title")
    if not title:
        wrong.refuse(
            "title", phrase("What is it? Give the piece a name: it is shown on alarms and on the record.")
        )
    shape = f.words("shape") or "river"
    if shape not in dict(SHAPES):
        wrong.refuse("shape", phrase("This shape is not known. Choose one of the list."))
    pour: dict[str, Any] = {"shape": shape}
    for name, label in (("depth", phrase("Depth")), ("width", phrase("Width")), ("length", phrase("Length"))):
        value = wrong.read(name, lambda name=name, label=label: f.mm(name, label))  # type: ignore[misc]
        if value is not None:
            pour[f"{name}_mm"] = value
    if not f.words("depth"):
        wrong.refuse("depth", phrase("The depth is missing. Measure the deepest place of the pour."))
    if not f.words("width") and shape != "sheet":
        wrong.refuse(
            "width",
            phrase("The width is missing. Give the form's diameter.")
            if shape == "round"
            else phrase("The width is missing. Give the river's width at its widest."),
        )
    room = wrong.read("room", lambda: f.celsius("room", phrase("Room")))
    if not f.words("room"):
        wrong.refuse("room", phrase("The room is missing. Give its temperature as it will be tonight."))
    wrong.done()
    return {"title": title[:300], "pour": pour, "air": {"room_c": room}}


def with_usual(usual: Mapping[str, Any], table: Mapping[str, Any]) -> dict[str, Any]:
    """Return a plan's table filled up with what the shop usually has; what the table says itself counts."""
    filled = {key: value for key, value in usual.items() if key not in table}
    for key, value in table.items():
        usually = usual.get(key)
        both = isinstance(value, dict) and isinstance(usually, dict)
        filled[key] = with_usual(usually, value) if both else value  # type: ignore[arg-type]
    return filled


def plan_text(table: Mapping[str, Any], resin: Resin, mix: Mapping[str, Any]) -> str:
    """Return the plan file of what was described, with a resin and its [mix] table (empty: not known yet). Raises
    BadPlan.
    """
    whole = {**table, "resin": resin.model_dump(exclude_none=True, mode="json")}
    return plan_to_text(plan_from_table(whole | ({"mix": dict(mix)} if mix else {}), phrase("this pour")))


def with_resin(plan: Plan, resin: Resin, mix: Mapping[str, Any]) -> Plan:
    """Return the plan with another resin and its mix; how the shop measures it stays. Raises BadPlan."""
    whole = plan_to_table(plan) | {"resin": resin.model_dump(exclude_none=True, mode="json")}
    before = whole.pop("mix", {})
    usual_mix = {key: before[key] for key in ("mix_min", "pour_min_per_l", "measure_by") if key in before}
    return plan_from_table(whole | ({"mix": {**usual_mix, **mix}} if mix else {}), phrase("this plan"))


def room_guess(usual: Mapping[str, Any], probes: Sequence[ProbeRow], now_ms: int) -> RoomGuess | None:
    """Return the shop's usual room, else what a room probe has read within the hour, else None.

    now_ms: steady time, as the probes' readings have it.
    """
    room = usual.get("air", {}).get("room_c")
    if isinstance(room, int | float):
        return RoomGuess(float(room), phrase("The shop's usual room. Change it where tonight differs."))
    read = [
        (probe.last_good_ms, probe.last_milli_c)
        for probe in probes
        if probe.place.partition("-")[0] == "room"
        and probe.last_good_ms is not None
        and probe.last_milli_c is not None
        and now_ms - probe.last_good_ms <= NEW_MS
    ]
    if not read:
        return None
    at_ms, milli_c = max(read)
    ago = hours(max(0, now_ms - at_ms) / 3.6e6)
    return RoomGuess(
        milli_c / 1000, phrase("As the room probe read {ago} ago. Change it where tonight differs.", ago=ago)
    )


def usual_words(usual: Mapping[str, Any]) -> list[str]:
    """Return what a new plan takes from the shop's usual things, a few words each; empty where nothing is kept."""
    words: list[str] = []
    if people := usual.get("person"):
        words.append(phrase("people: {people}", people=[one["name"] for one in people]))
    if pails := usual.get("pails", {}).get("sizes_l"):
        words.append(phrase("pails of {sizes}", sizes=[volume(size, None) for size in pails]))
    if scale := usual.get("scale", {}).get("resolution_g"):
        words.append(phrase("a scale that shows {step}", step=grams(scale, None)))
    form = usual.get("form", {})
    if (bottom := form.get("bottom", {}).get("thickness_mm")) is not None:
        words.append(phrase("a bottom panel of {bottom}", bottom=length(bottom, None)))
    if underside := form.get("underside"):
        words.append(phrase("air below the form") if underside == "open" else phrase("the form on a bench"))
    return words
