"""What the shop learns from its records, and which resin is on the shelf. Pure: records and events in, values out.

What went wrong how often, what it cost, and which readiness points would have caught it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from logger.alarms.registry import KINDS
from logger.errors import BadInput
from logger.facts import Fact, fact
from logger.quantities import mass
from logger.record import event_views
from logger.record.json_values import JsonObject, JsonView

#: Defect → readiness points that look for its cause (a name, or its beginning up to "*"). Common practice, no source.
CAUGHT_BY = {
    "crack": ("depth", "room", "slab-*-moisture"),
    "bubbles": ("slab-*-edge", "void-*", "heat-tool", "batches"),
    "soft-spot": ("ratio", "batches", "room"),
    "belly": ("form", "clamps"),
    "leak": ("seams", "void-*", "leak-kit"),
    "separation": ("slab-*-moisture", "slab-*-edge", "air"),
}
#: A lot is called out this long before it expires.
SOON = timedelta(days=30)


@dataclass
class Trouble:
    """One defect over all records: in which pours, what it cost (by currency), hours, and what would have caught it.

    A pour with several defects counts its whole cost with each of them: costs of defects do not add up to the shop's.
    """

    kind: str
    words: Fact
    pours: list[int] = field(default_factory=list)
    cost: Counter[str] = field(default_factory=Counter)
    hours: float = 0.0
    #: Question of a point → how often it stood at watch or stop, was let pass, or was not signed, before such a pour.
    warned: Counter[str] = field(default_factory=Counter)
    #: The same points where they stood at ok and were signed: they did not catch it.
    silent: int = 0


@dataclass(frozen=True)
class Lessons:
    """The shop's account: how many records, how they ended, the troubles (most pours first), cost by currency."""

    records: int
    states: Counter[str]
    troubles: list[Trouble]
    cost: Counter[str]
    hours: float
    untold: list[int]
    alarms: Counter[str]


def outcome_now(record: JsonView, additions: Sequence[JsonView]) -> JsonObject | None:
    """Return a pour's last outcome, from an addition or from the record."""
    return event_views.outcome(additions) or record.get("outcome")


def lessons(records: Iterable[tuple[int, JsonView, Sequence[JsonView]]]) -> Lessons:
    """Return the account of (pour, record, additions)."""
    troubles = {kind: Trouble(kind, words) for kind, words in event_views.DEFECTS.items()}
    states, cost, alarms = Counter[str](), Counter[str](), Counter[str]()
    count, hours, untold = 0, 0.0, []
    for pour_id, record, additions in records:
        count += 1
        alarms.update(dict.fromkeys((_title(alarm) for alarm in record["alarms"]), 1))
        outcome = outcome_now(record, additions)
        if outcome is None:
            untold.append(pour_id)
            continue
        states[outcome["state"]] += 1
        hours += outcome["rework_h"]
        if outcome["rework_cost"]:
            cost[outcome["currency"]] += outcome["rework_cost"]
        for kind in dict.fromkeys(defect["kind"] for defect in outcome["defects"]):
            trouble = troubles[kind]
            trouble.pours.append(pour_id)
            trouble.hours += outcome["rework_h"]
            if outcome["rework_cost"]:
                trouble.cost[outcome["currency"]] += outcome["rework_cost"]
            warned = [point for point in record["points"] if _looks_for(point["id"], kind) and _warned(point)]
            trouble.warned.update(point["question"] for point in warned)
            trouble.silent += not warned
    by_pours = sorted((t for t in troubles.values() if t.pours), key=lambda t: -len(t.pours))
    return Lessons(count, states, by_pours, cost, hours, untold, alarms)


def _title(alarm: JsonView) -> str:
    """Return an alarm's title as it is today, whatever it was called when its record was sealed."""
    kind = KINDS.get(alarm["kind"])
    return str(alarm["title"]) if kind is None else kind.title


def _looks_for(point: str, kind: str) -> bool:
    for name in CAUGHT_BY[kind]:
        begin, star, end = name.partition("*")
        if point == name or (star and point.startswith(begin) and point.endswith(end)):
            return True
    return False


def _warned(point: JsonView) -> bool:
    return (
        point["light"] != "ok"
        or point["override"] is not None
        or (len(point["signed_by"]) < point["people"] and not point.get("second_check"))
    )


@dataclass(frozen=True)
class Lot:
    """One lot on the shelf: kg left, when it expires, and whether that is past or soon."""

    product: str
    part: str
    lot: str
    expires_on: date | None
    received_kg: float
    used_kg: float
    state: Fact

    @property
    def left_kg(self) -> float:
        """What should be left, kg; below zero: more was used than was noted as received."""
        return round(self.received_kg - self.used_kg, 3)


def stock(received: Iterable[JsonView], used: Iterable[JsonView], today: date) -> list[Lot]:
    """Return the shelf, soonest to expire first, from the data of the shop's "stock" and the pours' "lot" events."""
    lots: dict[tuple[str, str, str], JsonObject] = defaultdict(
        lambda: {"in": 0.0, "out": 0.0, "expires": None}
    )
    for data in received:
        lot = lots[data["product"], data["part"], data["lot"]]
        lot["in" if data["what"] == "received" else "out"] += data["kg"]
        lot["expires"] = data.get("expires_on") or lot["expires"]
    for data in used:
        lot = lots[data["product"], data["part"], data["lot"]]
        lot["out"] += data["kg"]
        lot["expires"] = lot["expires"] or data.get("expires_on")
    shelf = []
    for (product, part, name), lot in lots.items():
        expires = None if not lot["expires"] else date.fromisoformat(lot["expires"])
        left = lot["in"] - lot["out"]
        state = fact("shelf-used-up") if abs(left) < 5e-4 else fact("shelf-good")
        if left > 0 and expires is not None and expires < today:
            state = fact("shelf-expired")
        elif left > 0 and expires is not None and expires - today <= SOON:
            state = fact("shelf-expires-soon")
        elif left <= -5e-4:
            state = fact("shelf-more-used")
        shelf.append(Lot(product, part, name, expires, round(lot["in"], 3), round(lot["out"], 3), state))
    return sorted(
        shelf,
        key=lambda lot: (
            lot.state == fact("shelf-used-up"),
            lot.expires_on or date.max,
            lot.product,
            lot.lot,
        ),
    )


def check_lot(data: JsonView) -> JsonObject:
    """Return a lot as somebody noted it. Raises BadInput naming the field."""
    lot = {name: str(data.get(name, "")).strip()[:100] for name in ("product", "part", "lot")}
    for name, value in lot.items():
        if not value:
            raise BadInput(name, fact("lot-empty"), remedy=fact("copy-from-label"))
    kg = data.get("kg")
    if isinstance(kg, bool) or not isinstance(kg, int | float) or not 0 < kg <= 100_000:
        raise BadInput(
            "kg",
            fact("not-a-mass"),
            value=kg,
            allowed=fact("above-to", first="0", last=mass(100_000, 0)),
            remedy=fact("weigh-it"),
        )
    expires = str(data.get("expires_on") or "").strip()
    if expires:
        try:
            date.fromisoformat(expires)
        except ValueError as error:
            raise BadInput(
                "expires_on",
                fact("not-a-date"),
                value=expires,
                allowed=fact("such-as-date"),
                remedy=fact("copy-date-from-label"),
            ) from error
    return lot | {"kg": float(kg), "expires_on": expires or None}
