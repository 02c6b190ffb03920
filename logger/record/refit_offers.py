"""After a pour is sealed its resin's fit is offered anew, with the error on pours left out, before and after.

It is only offered: whoever takes it does so for plans to come. No record and no frozen prediction ever changes.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, CancelledError
from dataclasses import asdict

import numpy as np
import tomli_w
from sqlalchemy import Connection

from logger.cure.fit.refit import INDEPENDENT, RecordedPour, fit_from_pours
from logger.cure.solver.ensemble import RoomHistory
from logger.errors import LoggerError
from logger.facts import fact
from logger.plan.file import plan_from_text
from logger.record.figures import Array
from logger.record.json_values import JsonObject, JsonView
from logger.store import events, shop_events, shops
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.hash_chain import canonical, sha256

log = logging.getLogger(__name__)

#: Most pours of one resin that are fitted: the newest. Each costs seconds.
MOST = 12
OFFERED = "fit-offered"


def recorded(record: JsonView) -> RecordedPour | None:
    """Return a sealed record as the fit takes it: its hottest core probe from pouring on, and its room; or None."""
    plan = plan_from_text(record["plan_toml"])
    cores = [
        _after_pouring(curve) for curve in record["curves"] if curve["place"].partition("-")[0] == "core"
    ]
    cores = [core for core in cores if len(core[0]) >= INDEPENDENT]
    if not cores:
        return None
    hours, celsius = max(cores, key=lambda core: float(core[1].max()))
    rooms = [
        _after_pouring(curve) for curve in record["curves"] if curve["place"].partition("-")[0] == "room"
    ]
    room = next((RoomHistory(*room_curve) for room_curve in rooms if len(room_curve[0])), None)
    return RecordedPour(plan, hours, celsius, room)


def by_resin(connection: Connection) -> dict[str, dict[int, JsonObject]]:
    """Return the hash of a [resin] table → the sealed records poured with it, by pour, oldest first."""
    records: dict[str, dict[int, JsonObject]] = {}
    for pour_id, record in shop_events.sealed_records(connection):
        records.setdefault(resin_key(record), {})[pour_id] = record
    return records


def resin_key(record: JsonView) -> str:
    """Return the name of a [resin] table: a hash of its contents."""
    return sha256(canonical(record["plan"]["resin"]))[:16]


def offers(connection: Connection) -> dict[str, JsonObject]:
    """Return the newest offer for each resin."""
    return {
        row.facts["resin_key"]: row.facts | {"at_ms": row.at_ms}
        for row in shop_events.shop_events(connection, OFFERED)
    }


def due(connection: Connection) -> dict[str, dict[int, JsonObject]]:
    """Return the resins with sealed pours that their newest offer does not cover, with their pours."""
    seen_by_key = {key: set(offer["pours_seen"]) for key, offer in offers(connection).items()}
    sealed = set(shop_events.sealed_ids(connection))
    if sealed <= set().union(*seen_by_key.values()):
        return {}
    return {
        key: pours for key, pours in by_resin(connection).items() if set(pours) - seen_by_key.get(key, set())
    }


def work_out(key: str, records: Sequence[tuple[int, JsonView]]) -> JsonObject:
    """Return one offer as JSON: pure, so that another process can do it."""
    usable = [(pour_id, pour) for pour_id, record in records if (pour := recorded(record)) is not None][
        -MOST:
    ]
    offer: JsonObject = {
        "resin_key": key,
        "resin": records[0][1]["plan"]["resin"]["name"],
        "pours": [pour_id for pour_id, _ in usable],
        "pours_seen": [pour_id for pour_id, _ in records],
    }
    if not usable:
        return offer | {
            "message": fact("no-pour-to-fit"),
            "table": None,
        }
    try:
        refit = fit_from_pours([pour for _, pour in usable])
    except LoggerError as error:
        return offer | {"message": fact("no-fit-made", error=error.fact), "table": None}
    better = refit.better_k
    table = refit.resin.model_dump(exclude_none=True, mode="json")
    return offer | {
        "message": refit.message(),
        "rate_factor": refit.rate_factor,
        "rate_range": list(refit.rate_range),
        "heat_factor": refit.heat_factor,
        "heat_range": list(refit.heat_range),
        "error_before_k": None if better is None else better[0],
        "error_after_k": None if better is None else better[1],
        "left_out": [asdict(one) for one in refit.left_out],
        "table": tomli_w.dumps({"resin": table}),
    }


class Learner:
    """Offers fits anew when pours were sealed; `compute` calls a function where it delays nobody."""

    def __init__(self, store: Store, timeline: Timeline, compute: Callable[..., JsonObject]) -> None:
        self._store, self._timeline, self._compute = store, timeline, compute

    def run(self, stop: threading.Event, idle_s: float = 60.0) -> None:
        """Make what is due until told to stop."""
        while not stop.wait(idle_s):
            self.make_due()

    def make_due(self) -> int:
        """Make every offer that is due, to each shop from its own pours. Return how many."""
        with self._store.read() as connection:
            all_of_them = shops.all_shops(connection)
        count = 0
        for shop_row in all_of_them:
            with shops.sees(shop_row.id):
                count += self._make_due()
        return count

    def _make_due(self) -> int:
        count = 0
        with self._store.read() as connection:
            pending = due(connection)
        for key, records in pending.items():
            try:
                offer = self._compute(work_out, key, list(records.items()))
            except (LoggerError, BrokenExecutor, CancelledError):
                # The shop goes on without it; it is tried again with the next round.
                log.exception("no fit of resin %s could be made", key)
                continue
            with self._store.write() as tx:
                events.add_event(
                    tx, None, self._timeline.true_ms(), OFFERED, fact("the-program"), offer["message"], offer
                )
            count += 1
        return count


def _after_pouring(curve: JsonView) -> tuple[Array, Array]:
    hours = np.array(curve["hours"], dtype=float)
    celsius = np.array([np.nan if value is None else value for value in curve["celsius"]], dtype=float)
    present = np.isfinite(celsius) & (hours > 0)
    hours, at = np.unique(hours[present], return_index=True)
    return hours, celsius[present][at]
