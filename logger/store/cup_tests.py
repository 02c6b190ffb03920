"""Cup tests: a cup of a resin with a probe in it. Kept as events of the shop; its readings are the station's own.

A test has no pour: nothing is watched or released by it, and no record is made of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from logger.errors import NotAllowed
from logger.facts import fact
from logger.pour import LIVE
from logger.probe_checks.cup import LONGEST_S, CupLook
from logger.store import events, shop_events
from logger.store.boots import BOOT, Timeline
from logger.store.pours import POUR, probes_chosen
from logger.store.readings import READING
from logger.store.rows import EventRow

#: data of BEGUN: {"key", "mass_kg", "station", "station_id", "rom", "room_rom" or null, "boot", "boot_ms", "after"};
#: of a cup of hot water also {"water": true, "room_c": °C or null}.
BEGUN = "cup-test-begun"
#: data of ENDED: {"test", "statement" or null}, of water also {"loss": {"w_m2k", "error_pct"} or null}; of HOT:
#: {"test", "celsius"}.
ENDED, HOT = "cup-test-ended", "cup-test-hot"


@dataclass(frozen=True, slots=True)
class CupTest:
    """One cup. mixed_ms: true time, as well as it is known now; after: no reading up to this row is of it.

    water: hot water, for the heat that the cup loses; room_c: the room as somebody said, where no probe is in it.
    """

    id: int
    key: str
    mass_kg: float
    station: str
    station_id: int
    rom: str
    room_rom: str | None
    mixed_ms: int
    after: int
    by: str
    told_hot: bool
    water: bool = False
    room_c: float | None = None


@dataclass(frozen=True, slots=True)
class KeptLoss:
    """What a cup of a resin loses, W/(m²·K), its error, % (nine in ten), the mass of water, kg, and when, ms."""

    w_m2k: float
    error_pct: float
    water_kg: float
    at_ms: int


def begin(tx: Connection, timeline: Timeline, by: str, name: str, data: dict[str, Any]) -> None:
    """Note that the parts of a cup were mixed now. `data`: as above, without the moment. Raises NotAllowed."""
    for other in running(tx):
        if (other.station_id, other.rom) == (data["station_id"], data["rom"]):
            raise NotAllowed(fact("probe-in-another-cup"))
    free_for_a_cup(tx, data["station_id"], data["rom"])
    moment = {
        # As a boot's own time: a clock that is set later dates the test anew, together with its readings.
        "boot": timeline.boot_row,
        "boot_ms": timeline.stamp().boot_ms,
        "after": int(tx.execute(select(func.max(READING.c.id))).scalar() or 0),
    }
    events.add_event(tx, None, timeline.true_ms(), BEGUN, by, name, data | moment)


def end(tx: Connection, now_ms: int, by: str, test: CupTest, statement: dict[str, Any] | None) -> None:
    """End a test: with what it measured, or without a result."""
    text = fact("cup-without-result") if statement is None else fact("cup-added-to-datasheet")
    events.add_event(tx, None, now_ms, ENDED, by, text, {"test": test.id, "statement": statement})


def end_water(tx: Connection, now_ms: int, by: str, test: CupTest, loss: tuple[float, float] | None) -> None:
    """End a cup of water: with what it loses (W/(m²·K), error %), or without a result."""
    kept = None if loss is None else {"w_m2k": loss[0], "error_pct": loss[1]}
    text = fact("cup-without-result") if loss is None else fact("cup-heat-loss-kept")
    events.add_event(tx, None, now_ms, ENDED, by, text, {"test": test.id, "statement": None, "loss": kept})


def note_hot(tx: Connection, now_ms: int, test: CupTest, celsius: float) -> None:
    """Note that somebody is being told of a dangerously hot cup, so that it is told once."""
    events.add_event(tx, None, now_ms, HOT, fact("the-service"), "", {"test": test.id, "celsius": celsius})


def running(connection: Connection, key: str | None = None) -> list[CupTest]:
    """Return the tests that nobody has ended, oldest first; of one resin, or of all."""
    begun: dict[int, EventRow] = {}
    called: set[int] = set()
    for row in shop_events.shop_events(connection, BEGUN, ENDED, HOT):
        if row.kind == BEGUN:
            begun[row.id] = row
        elif row.kind == ENDED:
            begun.pop(row.facts["test"], None)
        else:
            called.add(row.facts["test"])
    return [
        _test(connection, row, told_hot=row.id in called)
        for row in begun.values()
        if key is None or row.facts["key"] == key
    ]


def looks(connection: Connection, test: CupTest, rom: str) -> list[CupLook]:
    """Return what a probe of the test's station has read since the mixing."""
    at_ms = (READING.c.boot_ms + BOOT.c.offset_ms).label("at_ms")
    query = select(at_ms, READING.c.milli_c, READING.c.fault).join(BOOT, BOOT.c.id == READING.c.boot)
    query = query.where(
        READING.c.id > test.after,
        READING.c.station_id == test.station_id,
        READING.c.probe == rom,
        at_ms.between(test.mixed_ms, test.mixed_ms + round(LONGEST_S * 1000)),
    )
    return [
        CupLook(
            (row.at_ms - test.mixed_ms) / 1000,
            None if row.fault is not None or row.milli_c is None else row.milli_c / 1000,
        )
        for row in connection.execute(query)
    ]


def free_for_a_cup(connection: Connection, station_id: int, rom: str) -> None:
    """Raise NotAllowed for a probe that a live pour counts on: its readings would be taken for the pour's."""
    live = select(POUR.c.id, POUR.c.title).where(POUR.c.station_id == station_id, POUR.c.stage.in_(LIVE))
    for pour in connection.execute(live).all():
        chosen = probes_chosen(connection, pour.id)
        if not chosen or rom in chosen:
            raise NotAllowed(fact("probe-watches-pour", pour=pour.title))


def _test(connection: Connection, row: EventRow, *, told_hot: bool) -> CupTest:
    facts = row.facts
    offset_ms = connection.execute(select(BOOT.c.offset_ms).where(BOOT.c.id == facts["boot"])).scalar()
    mixed_ms = row.at_ms if offset_ms is None else facts["boot_ms"] + int(offset_ms)
    return CupTest(
        id=row.id,
        key=facts["key"],
        mass_kg=facts["mass_kg"],
        station=facts["station"],
        station_id=facts["station_id"],
        rom=facts["rom"],
        room_rom=facts["room_rom"],
        mixed_ms=mixed_ms,
        after=facts["after"],
        by=row.by,
        told_hot=told_hot,
        water=bool(facts.get("water")),
        room_c=facts.get("room_c"),
    )


def heat_loss(connection: Connection, key: str) -> KeptLoss | None:
    """Return what the newest cup of hot water of a resin has shown; None where none has."""
    begun = {
        row.id: row.facts["mass_kg"]
        for row in shop_events.shop_events(connection, BEGUN)
        if row.facts["key"] == key and row.facts.get("water")
    }
    kept = [
        (row, row.facts["loss"])
        for row in shop_events.shop_events(connection, ENDED)
        if row.facts["test"] in begun and row.facts.get("loss")
    ]
    if not kept:
        return None
    row, loss = kept[-1]
    return KeptLoss(loss["w_m2k"], loss["error_pct"], begun[row.facts["test"]], row.at_ms)


def measured(connection: Connection, key: str) -> Sequence[dict[str, Any]]:
    """Return the statements that cups of a resin have given, oldest first."""
    of_resin = {row.id for row in shop_events.shop_events(connection, BEGUN) if row.facts["key"] == key}
    ended = shop_events.shop_events(connection, ENDED)
    return [
        row.facts["statement"] for row in ended if row.facts["test"] in of_resin and row.facts["statement"]
    ]
