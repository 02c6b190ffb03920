"""The events of a pour, sorted by what they are about. Pure: events in, plain values out.

Events of these kinds carry data (see record/SCHEMA.md): lot, batch, layer, look, photo, test, outcome, signed,
unsigned, override, station-chosen. A later outcome replaces the one before; the events keep both.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from logger.errors import BadInput
from logger.facts import fact
from logger.planning.readiness import Override, Signature
from logger.record.json_values import JsonObject, JsonView

#: Defects that a casting can have → in words. Common practice, no source.
DEFECTS = {
    kind: fact(f"defect-{kind}") for kind in ("crack", "bubbles", "soft-spot", "belly", "leak", "separation")
}
#: How a pour can end.
STATES = {state: fact(f"outcome-{state}") for state in ("good", "flawed", "lost")}
#: What is tested, when a casting leaves its form.
TESTS = {what: fact(f"test-{what}") for what in ("release", "hardness")}

Event = JsonView


def lots(events: Iterable[Event]) -> list[JsonObject]:
    """Return the resin lots used: product, part, lot, expires_on, kg, and who noted it."""
    return [_about(event) for event in events if _kind(event) == "lot"]


def batches(events: Iterable[Event]) -> list[JsonObject]:
    """Return the batches weighed: a_g, b_g, error_pct, light, sentence, …"""
    return [_about(event) for event in events if _kind(event) in ("batch", "mixed")]


def layers(
    events: Iterable[Event], planned: Sequence[JsonView], depth_mm: float, poured_ms: int | None
) -> list[JsonObject]:
    """Return each layer as planned, and when it was really poured (h since pouring)."""
    rows = [
        {
            "number": 1,
            "depth_mm": depth_mm,
            "planned_at_h": 0.0,
            "poured_at_h": None if poured_ms is None else 0.0,
        }
    ]
    poured = {event["data"]["number"]: event for event in events if _kind(event) == "layer"}
    for number, layer in enumerate(planned, start=2):
        event = poured.pop(number, None)
        at_h = None if event is None or poured_ms is None else _hours(event["at_ms"], poured_ms)
        rows.append(
            {
                "number": number,
                "depth_mm": layer["depth_mm"],
                "planned_at_h": layer["at_h"],
                "poured_at_h": at_h,
            }
        )
    for number, event in sorted(poured.items()):
        at_h = None if poured_ms is None else _hours(event["at_ms"], poured_ms)
        rows.append({"number": number, "depth_mm": None, "planned_at_h": None, "poured_at_h": at_h})
    return rows


def of_kind(events: Iterable[Event], kind: str) -> list[JsonObject]:
    """Return the events of a kind with their data: looks, photos, tests."""
    return [_about(event) for event in events if _kind(event) == kind]


def outcome(events: Iterable[Event]) -> JsonObject | None:
    """Return the last outcome: state, defects, rework_cost, currency, rework_h, who and when; None without one."""
    outcomes = [_about(event) for event in events if _kind(event) == "outcome"]
    return outcomes[-1] if outcomes else None


def points(
    required: Iterable[JsonView], signed: Iterable[Signature], overrides: Iterable[Override]
) -> list[JsonObject]:
    """Return each readiness point with who signed it and who let it pass, by name and reason."""
    signatures, passed = list(signed), {override.point: override for override in overrides}
    rows = []
    for point in required:
        name = point["id"]
        by = [signature.person for signature in signatures if signature.point == name]
        override = passed.get(name)
        rows.append(
            {
                "id": name,
                "question": point["question"],
                "light": point["light"],
                "why": point["why"],
                "people": point["people"],
                "signed_by": by,
                "second_check": next(
                    (s.again.words for s in signatures if s.point == name and s.again is not None), ""
                ),
                "photo": any(s.has_photo for s in signatures if s.point == name),
                "override": None if override is None else {"by": override.person, "reason": override.reason},
            }
        )
    return rows


def check_outcome(data: JsonView) -> JsonObject:
    """Return an outcome as somebody gave it, checked. Raises BadInput naming the field."""
    state = data.get("state")
    if state not in STATES:
        raise BadInput(
            "state",
            fact("choice-not-known"),
            value=state,
            allowed=", ".join(STATES),
            remedy=fact("choose-one"),
        )
    defects = []
    for defect in data.get("defects", ()):
        if defect.get("kind") not in DEFECTS:
            raise BadInput(
                "defect",
                fact("choice-not-known"),
                value=defect.get("kind"),
                allowed=", ".join(DEFECTS),
                remedy=fact("choose-one-say-more"),
            )
        defects.append({"kind": defect["kind"], "where": str(defect.get("where", ""))[:300]})
    if state == "good" and defects:
        raise BadInput(
            "state",
            fact("outcome-good-with-defect"),
            value=[d["kind"] for d in defects],
            remedy=fact("call-it-flawed"),
        )
    return {
        "state": state,
        "defects": defects,
        "rework_cost": _amount("rework_cost", data.get("rework_cost")),
        "currency": str(data.get("currency") or "")[:12],
        "rework_h": _amount("rework_h", data.get("rework_h")),
    }


def check_test(data: JsonView) -> JsonObject:
    """Return a test on the casting as somebody gave it, checked. Raises BadInput naming the field."""
    what, value = data.get("what"), str(data.get("value") or "").strip()
    if what not in TESTS:
        raise BadInput(
            "what", fact("choice-not-known"), value=what, allowed=", ".join(TESTS), remedy=fact("choose-one")
        )
    if not value:
        raise BadInput("value", fact("test-empty"), remedy=fact("say-what-test-showed"))
    return {"what": what, "value": value[:300]}


def check_layer(number: float) -> JsonObject:
    """Return a later layer's number. Raises BadInput."""
    if not 2 <= number <= 100 or number != int(number):
        raise BadInput(
            "number",
            fact("not-a-layer"),
            value=number,
            allowed=fact("from-to", first=2, last=100),
            remedy=fact("first-layer-is-the-pour"),
        )
    return {"number": int(number)}


def _amount(name: str, value: object) -> float:
    if value is None or value == "":
        return 0.0
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1e9:
        raise BadInput(
            name,
            fact("not-an-amount"),
            value=value,
            allowed=fact("from-to", first="0", last="1e9"),
            remedy=fact("give-a-number"),
        )
    return float(value)


def subject(kind: str, data: JsonView | None) -> str:
    """Return what an event is about: an addition after sealing names it in its data."""
    return str(data.get("about", kind)) if kind == "addition" and isinstance(data, Mapping) else kind


def _kind(event: Event) -> str:
    return subject(str(event["kind"]), event["data"])


def _about(event: Event) -> JsonObject:
    data = {name: value for name, value in (event["data"] or {}).items() if name not in ("about", "reason")}
    return {"at_ms": event["at_ms"], "by": event["by"], "text": event["text"], **data}


def _hours(at_ms: int, poured_ms: int) -> float:
    return round((at_ms - poured_ms) / 3.6e6, 4)
