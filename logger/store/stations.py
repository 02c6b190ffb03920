"""Stations and their probes."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update

from logger.errors import NotAllowed, NotFound
from logger.facts import fact
from logger.store.database import table
from logger.store.rows import ProbeRow, StationRow, all_rows, columns, first_row
from logger.store.tables import ProbeTable, Station
from logger.wire import StationHealth

STATION, PROBE = table(Station), table(ProbeTable)
#: Every station, and every probe; a question adds its where.
STATIONS, PROBES = select(*columns(STATION, StationRow)), select(*columns(PROBE, ProbeRow))
#: Stations that could send: not those that only records from elsewhere name.
HERE = STATION.c.recorded_as.is_(None)
#: A station's name, as the record gives it where it came with one.
NAME = func.coalesce(STATION.c.recorded_as, STATION.c.name)
#: A station that has not been heard for this long is called silent, ms.
SILENT_MS = 150_000


def token_hash(token: str) -> str:
    """Return what is kept of a token: 256 random bits need no slow hash (ASVS 5.0, appendix C)."""
    return hashlib.sha256(token.encode()).hexdigest()


def enrol(tx: Connection, name: str, now_ms: int, token: str | None = None) -> tuple[int, str]:
    """Enrol a station, or give one that is enrolled a new token; return (row id, token).

    The token is shown once and kept as a hash.
    """
    # In a command's line a word that begins with a dash is an option: one token in 64 would not be taken.
    token = token or secrets.token_urlsafe(32).replace("-", "_")
    value = tx.execute(select(STATION.c.id).where(STATION.c.name == name, HERE)).scalar()
    values = {"token_hash": token_hash(token), "enrolled_ms": now_ms, "revoked_ms": None}
    if value is None:
        inserted = tx.execute(
            insert(STATION).values(name=name, clock_set=False, fan_on=False, **values).returning(STATION.c.id)
        )
        return int(inserted.scalar_one()), token
    tx.execute(update(STATION).where(STATION.c.id == value).values(**values))
    return int(value), token


def revoke(tx: Connection, name: str, now_ms: int) -> None:
    """Revoke a station's token; its readings stay. Raises NotFound."""
    tx.execute(
        update(STATION).where(STATION.c.id == by_name(tx, name).id).values(token_hash=None, revoked_ms=now_ms)
    )


def reported_by(connection: Connection, roms: Sequence[str]) -> dict[tuple[int | None, str], list[str]]:
    """(shop, probe) → the names of that shop's stations that have reported it."""
    names: dict[tuple[int | None, str], list[str]] = {}
    for row in connection.execute(
        select(STATION.c.shop_id, PROBE.c.rom, STATION.c.name)
        .join(PROBE, PROBE.c.station_id == STATION.c.id)
        .where(PROBE.c.rom.in_(roms))
        .order_by(STATION.c.name)
    ):
        names.setdefault((row.shop_id, row.rom), []).append(row.name)
    return names


# Built once, for a morning on which every station comes back.
_OF_TOKEN = STATIONS.where(STATION.c.token_hash == bindparam("hash"))


def by_token(connection: Connection, token: str) -> StationRow:
    """Return the station that a token belongs to. Raises NotAllowed for an unknown or revoked one."""
    row = first_row(connection, _OF_TOKEN, StationRow, {"hash": token_hash(token)})
    if row is None or row.revoked_ms is not None:
        raise NotAllowed(fact("token-not-known"))
    return row


def by_name(connection: Connection, name: str) -> StationRow:
    """Return the station of that name. Raises NotFound."""
    row = first_row(connection, STATIONS.where(STATION.c.name == name, HERE), StationRow)
    if row is None:
        raise NotFound(fact("no-station", name=name))
    return row


# With every judgement; built once.
_BY_ID = STATIONS.where(STATION.c.id == bindparam("station"))


def by_id(connection: Connection, station_id: int) -> StationRow:
    """Return the station with that row id. Raises NotFound."""
    row = first_row(connection, _BY_ID, StationRow, {"station": station_id})
    if row is None:
        raise NotFound(fact("no-station-number", number=station_id))
    return row


def by_ids(connection: Connection, station_ids: Iterable[int]) -> list[StationRow]:
    """Return the stations with those row ids."""
    return all_rows(connection, STATIONS.where(STATION.c.id.in_(list(station_ids))), StationRow)


def all_stations(connection: Connection) -> list[StationRow]:
    """Every station, by name; not those that only records from elsewhere name."""
    return all_rows(connection, STATIONS.where(HERE).order_by(STATION.c.name), StationRow)


def any_reads(connection: Connection) -> bool:
    """Whether any probe has ever read a temperature."""
    return (
        connection.execute(select(PROBE.c.id).where(PROBE.c.last_good_ms.is_not(None)).limit(1)).first()
        is not None
    )


def names_in_use(connection: Connection) -> list[str]:
    """Return the names of the stations whose token holds, in order."""
    query = select(STATION.c.name).where(STATION.c.revoked_ms.is_(None)).order_by(STATION.c.name)
    return list(connection.execute(query).scalars())


def names_of(connection: Connection, station_ids: Iterable[int | None]) -> dict[int, str]:
    """Station → name."""
    ids = {station_id for station_id in station_ids if station_id is not None}
    return {
        row.id: row.name
        for row in connection.execute(select(STATION.c.id, NAME.label("name")).where(STATION.c.id.in_(ids)))
    }


def name_of(connection: Connection, station_id: int | None) -> str | None:
    """One station's name; None for no station."""
    return names_of(connection, [station_id]).get(station_id) if station_id is not None else None


def probes_of(connection: Connection, station_id: int) -> list[ProbeRow]:
    """Every probe that a station has reported, by place."""
    query = PROBES.where(PROBE.c.station_id == station_id).order_by(PROBE.c.place)
    return all_rows(connection, query, ProbeRow)


def probes_by_station(connection: Connection) -> dict[int, list[ProbeRow]]:
    """Station → every probe that it has reported, by place."""
    probes: dict[int, list[ProbeRow]] = {}
    for row in all_rows(connection, PROBES.order_by(PROBE.c.place), ProbeRow):
        probes.setdefault(row.station_id, []).append(row)
    return probes


def switch_fan(
    tx: Connection, station_id: int, *, on: bool, by: str | None = None, now_ms: int | None = None
) -> bool:
    """Command a station's fan; return whether that changes anything. `now_ms`: steady.

    `by`: whose word it is (logger/alarms/fan_rule.py); None: nobody's, the rules may decide anew.
    """
    row = tx.execute(select(STATION.c.fan_on, STATION.c.fan_by).where(STATION.c.id == station_id)).one()
    if (row.fan_on, row.fan_by) == (on, by):
        return False
    values: dict[str, Any] = {"fan_on": on, "fan_by": by}
    if row.fan_on is not on:
        values["fan_since_ms"] = now_ms
    tx.execute(update(STATION).where(STATION.c.id == station_id).values(**values))
    return True


def fan_is_on(connection: Connection, station_id: int | None) -> bool:
    """Whether a station's fan is commanded on."""
    return bool(connection.execute(select(STATION.c.fan_on).where(STATION.c.id == station_id)).scalar())


def note_health(tx: Connection, station_id: int, health: StationHealth) -> None:
    """Keep what a station says of itself."""
    values = {
        "power_low": health.power_low,
        "disk_free_mb": health.disk_free_mb,
        "pin_faults": health.pin_faults,
    }
    tx.execute(update(STATION).where(STATION.c.id == station_id).values(**values))


def note_version(tx: Connection, station_id: int, version: str) -> None:
    """Keep which program a station runs."""
    tx.execute(update(STATION).where(STATION.c.id == station_id).values(version=version))


def place(tx: Connection, name: str, stands: str) -> None:
    """Where a station stands, for people. Raises NotFound."""
    tx.execute(update(STATION).where(STATION.c.id == by_name(tx, name).id).values(stands=stands))
