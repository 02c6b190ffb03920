"""Rows as the rest of the program reads them: each field typed, a wrong name found before it runs.

A query selects a shape's fields by name (`columns`), so that the two cannot differ in order.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Connection, Executable, Table

from logger.errors import NotAllowed, NotFound
from logger.facts import fact

T = TypeVar("T")
Json = dict[str, Any]


def columns(table: Table, shape: type, *besides: ColumnElement[Any]) -> list[ColumnElement[Any]]:
    """Return the columns that fill a shape: a table's by name, and `besides`, which are labelled, for the others."""
    other = {str(getattr(column, "name", "")): column for column in besides}
    return [other[field.name] if field.name in other else table.c[field.name] for field in fields(shape)]


def all_rows(
    connection: Connection, query: Executable, shape: type[T], values: Mapping[str, object] | None = None
) -> list[T]:
    """Return every row of a query of a shape's columns."""
    return [shape(*row) for row in connection.execute(query, values)]


def first_row(
    connection: Connection, query: Executable, shape: type[T], values: Mapping[str, object] | None = None
) -> T | None:
    """Return the first row of a query of a shape's columns; None without one."""
    row = connection.execute(query, values).first()
    return None if row is None else shape(*row)


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """One activation of one alarm. Times are true, ms."""

    id: int
    pour_id: int | None
    subject: str
    kind: str
    activation: int
    priority: str
    phase: str
    reason: str
    value: float | None
    limit: float | None
    late: bool
    quiet: bool
    raised_ms: int
    acknowledged_ms: int | None
    acknowledged_by: str | None
    returned_ms: int | None
    ended_ms: int | None

    @property
    def of_pour(self) -> int:
        """The pour that it is about. Raises NotFound for an alarm of no pour."""
        if self.pour_id is None:
            raise NotFound(fact("alarm-of-no-pour", alarm=self.id))
        return self.pour_id


@dataclass(frozen=True, slots=True)
class PressingAlarm(AlarmRow):
    """An alarm with the title of its pour; None: it is about the watch itself."""

    pour_title: str | None


@dataclass(frozen=True, slots=True)
class EventRow:
    """Something that a person or the program did or noted, at a true time, ms."""

    id: int
    pour_id: int | None
    at_ms: int
    kind: str
    by: str
    text: str
    data: Json | None
    link: str | None
    request_key: str | None
    request_sha256: str | None
    shop_id: int | None

    @property
    def facts(self) -> Json:
        """What the kind of event says besides its text; empty without anything."""
        return self.data or {}

    @property
    def of_pour(self) -> int:
        """The pour that it belongs to. Raises NotFound for an event of the whole shop."""
        if self.pour_id is None:
            raise NotFound(fact("event-of-no-pour", event=self.id))
        return self.pour_id


@dataclass(frozen=True, slots=True)
class ProbeRow:
    """A thermometer that a station has reported, with its last reading."""

    id: int
    station_id: int
    rom: str
    place: str
    first_seen_ms: int
    last_good_ms: int | None
    last_milli_c: int | None
    last_fault: str | None
    faults: int
    readings: int


@dataclass(frozen=True, slots=True)
class StationRow:
    """A station, what it last said of itself, and what is commanded of its fan."""

    id: int
    name: str
    token_hash: str | None
    enrolled_ms: int
    revoked_ms: int | None
    last_seen_ms: int | None
    clock_set: bool
    clock_off_ms: int | None
    fan_on: bool
    fan_by: str | None
    fan_since_ms: int | None
    power_low: bool | None
    disk_free_mb: float | None
    pin_faults: str | None
    version: str | None
    stands: str
    spool: str | None
    spool_seq: int
    newest_boot: int | None
    newest_boot_ms: int
    recorded_as: str | None
    shop_id: int | None


@dataclass(frozen=True, slots=True)
class LivePour:
    """A live pour as every batch asks for it."""

    id: int
    stage: str
    station_id: int | None


@dataclass(frozen=True, slots=True)
class WatchedPour:
    """A live pour, or one that has just ended, with its station's name. poured_ms: true."""

    id: int
    title: str
    stage: str
    shop_id: int | None
    station_id: int
    station: str
    poured_ms: int


@dataclass(frozen=True, slots=True)
class JudgedPour:
    """What the watch needs of a pour each time. poured_ms: true."""

    id: int
    title: str
    stage: str
    station_id: int | None
    watchbook: Json | None
    judged_reading_id: int
    poured_ms: int


@dataclass(frozen=True, slots=True)
class ListedPour:
    """A pour without what is large. poured_ms: true; None before pouring. origin: of a record from elsewhere."""

    id: int
    title: str
    client: str
    stage: str
    plan_toml: str
    model_version: str | None
    station_id: int | None
    created_ms: int
    poured_boot_id: int | None
    poured_boot_ms: int | None
    released_ms: int | None
    closed_ms: int | None
    reading_head: str
    event_head: str
    judged_reading_id: int
    origin: Json | None
    partial_ms: int | None
    shop_id: int | None
    poured_ms: int | None

    @property
    def started_ms(self) -> int:
        """When pouring started, true. Raises NotAllowed before that."""
        if self.poured_ms is None:
            raise NotAllowed(fact("not-poured-yet", pour=self.id, title=self.title))
        return self.poured_ms


@dataclass(frozen=True, slots=True)
class PourWithPrediction(ListedPour):
    """A pour with its frozen prediction."""

    prediction: Json | None


@dataclass(frozen=True, slots=True)
class PourRow(PourWithPrediction):
    """A whole pour: with the record's seal, and the alarms' state."""

    seal: Json | None
    watchbook: Json | None


@dataclass(frozen=True, slots=True)
class ForecastRow:
    """A forecast as it was made, at an hour of the pour."""

    id: int
    pour_id: int
    made_ms: int
    at_h: float
    body: Json


@dataclass(frozen=True, slots=True)
class MessageRow:
    """A message to be sent, and how it fares. Times are steady, ms."""

    id: int
    alarm_id: int | None
    created_ms: int
    why: str
    to: str
    title: str
    body: str
    state: str
    attempts: int
    next_try_ms: int
    done_ms: int | None
    problem: str | None
    claimed_until_ms: int | None
    since_ms: int | None


@dataclass(frozen=True, slots=True)
class ListedMessage(MessageRow):
    """A message with the number of channels that have taken it."""

    takers: int


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """A way to somebody's phone. Times are steady, ms."""

    id: int
    person_id: int
    kind: str
    entries: dict[str, str] = field(repr=False)
    url: str = field(repr=False)
    turn: str
    made_ms: int
    tried_ms: int | None
    problem: str | None
    confirmed_ms: int | None
    removed_ms: int | None
    replaces_id: int | None


@dataclass(frozen=True, slots=True)
class CalledChannel:
    """A confirmed way to the phone of somebody who may answer an alarm."""

    id: int
    person_id: int
    name: str
    shop_id: int
    turn: str
    units: str | None
    language: str | None
    url: str = field(repr=False)


@dataclass(frozen=True, slots=True)
class ListedPerson:
    """Somebody who may sign in, without the password's hash."""

    id: int
    name: str
    role: str
    created_ms: int


@dataclass(frozen=True, slots=True)
class PersonRow(ListedPerson):
    """Somebody who may sign in, or has left."""

    password_hash: str
    left_ms: int | None
    shop_id: int
    units: str | None
    language: str | None


@dataclass(frozen=True, slots=True)
class SignedIn:
    """Who is signed in in a browser."""

    id: int
    name: str
    role: str
    sign_in_id: int
    seen_ms: int
    shop_id: int
    units: str | None
    language: str | None


@dataclass(frozen=True, slots=True)
class SignInRow:
    """A browser in which somebody is signed in, without its token's hash."""

    id: int
    created_ms: int
    seen_ms: int
    browser: str


@dataclass(frozen=True, slots=True)
class InvitationRow:
    """Somebody who was asked in, or a new password's code."""

    id: int
    name: str
    role: str
    code_hash: str
    by: str
    made_ms: int
    expires_ms: int
    ended_ms: int | None
    shop_id: int


@dataclass(frozen=True, slots=True)
class SharedLinkRow:
    """A link that shows something without a sign-in. kind: what. pour_id: of which pour; None: of all of them. token:
    of a card alone.
    """

    id: int
    pour_id: int | None
    kind: str
    clients: bool
    label: str
    token_hash: str
    token: str | None
    by: str
    made_ms: int
    expires_ms: int | None
    seen_ms: int | None
    ended_ms: int | None
    shop_id: int


@dataclass(frozen=True, slots=True)
class MessageLinkRow:
    """A link in a message. Times are steady, ms."""

    id: int
    token: str
    purpose: str
    to: str
    alarm_id: int | None
    made_ms: int
    expires_ms: int
    used_ms: int | None
    revoked_ms: int | None


@dataclass(frozen=True, slots=True)
class LeaseRow:
    """Who decides, of several service processes. until_ms: by the database server; judged_ms: steady."""

    name: str
    holder: str
    fence: int
    until_ms: int
    judged_ms: int | None
    trouble: str | None


@dataclass(frozen=True, slots=True)
class ForeignPour:
    """A record from elsewhere."""

    id: int
    title: str
    origin: Json


@dataclass(frozen=True, slots=True)
class ForeignRecord(ForeignPour):
    """A record from elsewhere with its text; None: it has none."""

    body: str | None
