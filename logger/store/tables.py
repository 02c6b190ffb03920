"""The tables. Times ending in `_ms` are milliseconds since 1970, UTC; `boot_ms` counts from a boot.

A reading's time is its `boot_ms` plus the offset of its boot, so a wall clock that is set late moves whole boots,
never reorders readings, and no reading is ever rewritten.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    FetchedValue,
    Index,
    Integer,
    LargeBinary,
    UniqueConstraint,
    false,
    text,
)
from sqlmodel import Field, SQLModel


class Shop(SQLModel, table=True):
    """A workshop with pours, stations and people of its own. A Pi has one; a server's database may have several."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True, max_length=100)
    created_ms: int = Field(sa_type=BigInteger)


class Station(SQLModel, table=True):
    """A station: a Pi with its probes."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True, max_length=64)
    token_hash: str | None = Field(default=None, index=True)
    enrolled_ms: int = Field(sa_type=BigInteger)
    revoked_ms: int | None = Field(default=None, sa_type=BigInteger)
    last_seen_ms: int | None = Field(default=None, sa_type=BigInteger)
    clock_set: bool = False
    #: How far its clock was ahead of the service's when it last sent; null while one of the two is not set.
    clock_off_ms: int | None = Field(default=None, sa_type=BigInteger)
    fan_on: bool = False
    #: Whose word the fan's state is (logger/alarms/fan_rule.py), and since when it is on or off, steady.
    fan_by: str | None = Field(default=None, max_length=16)
    fan_since_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: What the station last said of itself; null when it does not know.
    power_low: bool | None = None
    disk_free_mb: float | None = None
    #: Empty: all pins work; null: none is wired.
    pin_faults: str | None = Field(default=None, max_length=400)
    #: The program that it runs, as it says.
    version: str | None = Field(default=None, max_length=32)
    #: Where it stands, for people.
    stands: str = Field(default="", max_length=100)
    #: The spool that it last sent from and the highest row of it that is stored, the boot of its newest reading and
    #: the moment in that boot: what is above both is new, without a look at what is stored.
    spool: str | None = Field(default=None, max_length=36)
    spool_seq: int = Field(default=0, sa_type=BigInteger)
    newest_boot: int | None = None
    newest_boot_ms: int = Field(default=0, sa_type=BigInteger)
    #: Stations of records from elsewhere alone: the name that the record gives it. It sends nothing, no list has it,
    #: and its own name is one that nobody gives.
    recorded_as: str | None = Field(default=None, max_length=64)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class Boot(SQLModel, table=True):
    """One boot of one machine: what to add to its boot time to get the time of day.

    station_id is null for the machine of the service itself.
    """

    __table_args__ = (UniqueConstraint("station_id", "boot_id"),)

    id: int | None = Field(default=None, primary_key=True)
    station_id: int | None = Field(default=None, foreign_key="station.id")
    boot_id: str = Field(max_length=64)
    offset_ms: int = Field(sa_type=BigInteger)
    clock_set: bool
    #: The service's own boots only: offset of the steady timeline that alarms are judged on. Never changes.
    steady_offset_ms: int | None = Field(default=None, sa_type=BigInteger)


class ProbeTable(SQLModel, table=True):
    """A thermometer that a station has reported."""

    __tablename__ = "probe"
    __table_args__ = (UniqueConstraint("station_id", "rom"), Index("probe_of_rom", "rom"))

    id: int | None = Field(default=None, primary_key=True)
    station_id: int = Field(foreign_key="station.id")
    rom: str = Field(max_length=64)
    place: str = Field(max_length=32)
    first_seen_ms: int = Field(sa_type=BigInteger)
    last_good_ms: int | None = Field(default=None, sa_type=BigInteger)
    last_milli_c: int | None = None
    last_fault: str | None = None
    faults: int = 0
    readings: int = 0


class Pour(SQLModel, table=True):
    """One pour, from its plan to its sealed record."""

    id: int | None = Field(default=None, primary_key=True)
    title: str = Field(max_length=300)
    client: str = Field(default="", max_length=200)
    stage: str = Field(default="planned", max_length=16, index=True)
    plan_toml: str
    prediction: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON))
    model_version: str | None = None
    station_id: int | None = Field(default=None, foreign_key="station.id", index=True)
    created_ms: int = Field(sa_type=BigInteger)
    #: When pouring started, on the service's boot timeline (see Boot).
    poured_boot_id: int | None = Field(default=None, foreign_key="boot.id")
    poured_boot_ms: int | None = Field(default=None, sa_type=BigInteger)
    released_ms: int | None = Field(default=None, sa_type=BigInteger)
    closed_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: Heads of the two hash chains, and the record as sealed.
    reading_head: str = ""
    event_head: str = ""
    seal: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON))
    #: The alarms' whole state, and the last reading that it has judged.
    watchbook: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON))
    judged_reading_id: int = Field(default=0, sa_type=BigInteger)
    #: A record from elsewhere: its workshop, who brought it in and when, its seal. Nothing is ever done to it here.
    #: Null: the shop's own pour.
    origin: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    #: Not whole: its rows are coming in or going, last at this time. No list has it and no page finds it.
    partial_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class SealedRecord(SQLModel, table=True):
    """A pour's record as it was sealed: canonical JSON, apart from the pour so that lists of pours stay light."""

    __tablename__ = "sealed_record"

    pour_id: int = Field(primary_key=True, foreign_key="pour.id")
    body: str


class PourProbe(SQLModel, table=True):
    """Which probes belong to a pour. A pour without rows here takes every probe of its station."""

    __tablename__ = "pour_probe"
    __table_args__ = (UniqueConstraint("pour_id", "rom"),)

    id: int | None = Field(default=None, primary_key=True)
    pour_id: int = Field(foreign_key="pour.id", index=True)
    rom: str = Field(max_length=64)


class ReadingRow(SQLModel, table=True):
    """One reading or fault, as the station sent it. Never changed."""

    __tablename__ = "reading"
    __table_args__ = (
        UniqueConstraint("station_id", "spool", "seq"),
        Index("reading_of_pour", "pour_id", "id"),
        Index("reading_moment", "boot", "boot_ms"),
    )

    #: On PostgreSQL 64 bits, and the table is cut into months of `received_ms` (see partitions.py).
    id: int | None = Field(
        default=None, sa_column=Column(BigInteger().with_variant(Integer(), "sqlite"), primary_key=True)
    )
    station_id: int = Field(foreign_key="station.id")
    spool: str = Field(max_length=36)
    seq: int = Field(sa_type=BigInteger)
    pour_id: int | None = Field(default=None, foreign_key="pour.id")
    probe: str = Field(max_length=64)
    place: str = Field(max_length=32)
    boot: int = Field(foreign_key="boot.id")
    boot_ms: int = Field(sa_type=BigInteger)
    wall_ms: int = Field(sa_type=BigInteger)
    clock_set: bool
    milli_c: int | None = None
    fault: str | None = Field(default=None, max_length=32)
    raw: str | None = Field(default=None, max_length=64)
    note: str | None = Field(default=None, max_length=400)
    #: Relative humidity in thousandths of a percent, where the sensor has it.
    milli_rh: int | None = None
    late: bool = False
    received_ms: int = Field(sa_type=BigInteger)
    #: Head of the pour's reading chain after this row (hex), null when the reading belongs to no pour.
    link: str | None = Field(default=None, max_length=64)


class Lease(SQLModel, table=True):
    """Who decides, of several service processes (see lease.py). Times are the database server's."""

    name: str = Field(primary_key=True, max_length=32)
    holder: str = Field(max_length=64)
    #: One more with each new holder: what an earlier one still writes is refused.
    fence: int = Field(sa_type=BigInteger)
    until_ms: int = Field(sa_type=BigInteger)
    #: What the holder last said of the watch: judged all pours (steady time), or the trouble that keeps it.
    judged_ms: int | None = Field(default=None, sa_type=BigInteger)
    trouble: str | None = Field(default=None, max_length=4000)


class Event(SQLModel, table=True):
    """Something that a person or the program did or noted. Never changed; chained by hash within its pour."""

    __table_args__ = (
        Index("event_of_pour", "pour_id", "id"),
        Index(
            "event_of_request",
            "shop_id",
            "request_key",
            unique=True,
            sqlite_where=text("request_key IS NOT NULL"),
            postgresql_where=text("request_key IS NOT NULL"),
        ),
    )

    id: int | None = Field(default=None, primary_key=True)
    pour_id: int | None = Field(default=None, foreign_key="pour.id")
    at_ms: int = Field(sa_type=BigInteger)
    kind: str = Field(max_length=32)
    by: str = Field(max_length=300)
    text: str = Field(default="", max_length=8000)
    data: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON))
    link: str | None = Field(default=None, max_length=64)
    #: The key that a client gave the request from which it came, and the hash of that request: security/idempotency.py.
    request_key: str | None = Field(default=None, max_length=255)
    request_sha256: str | None = Field(default=None, max_length=64)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class Alarm(SQLModel, table=True):
    """One activation of one alarm, for pages, history and rates.

    The state machine's own state is in the pour's watchbook.
    """

    __table_args__ = (
        UniqueConstraint("subject", "kind", "activation"),
        Index("alarm_of_pour", "pour_id", "id"),
    )

    id: int | None = Field(default=None, primary_key=True)
    pour_id: int | None = Field(default=None, foreign_key="pour.id")
    subject: str = Field(max_length=64)
    kind: str = Field(max_length=40)
    activation: int
    priority: str = Field(max_length=8)
    phase: str = Field(max_length=32, index=True)
    reason: str = Field(max_length=4000)
    value: float | None = None
    limit: float | None = None
    late: bool = False
    #: Shelved or out of service: recorded, and told to nobody.
    quiet: bool = False
    raised_ms: int = Field(sa_type=BigInteger)
    acknowledged_ms: int | None = Field(default=None, sa_type=BigInteger)
    acknowledged_by: str | None = Field(default=None, max_length=300)
    returned_ms: int | None = Field(default=None, sa_type=BigInteger)
    ended_ms: int | None = Field(default=None, sa_type=BigInteger)


class ForecastTable(SQLModel, table=True):
    """A forecast as it was: made at an hour of the pour from the readings until then."""

    __tablename__ = "forecast"
    __table_args__ = (Index("forecast_of_pour", "pour_id", "id"),)

    id: int | None = Field(default=None, primary_key=True)
    pour_id: int = Field(foreign_key="pour.id")
    made_ms: int = Field(sa_type=BigInteger)
    at_h: float
    body: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))


class Outgoing(SQLModel, table=True):
    """A message to be sent, written in the same transaction as the alarm's change."""

    __tablename__ = "outbox"

    id: int | None = Field(default=None, primary_key=True)
    alarm_id: int | None = Field(default=None, foreign_key="alarm.id", index=True)
    created_ms: int = Field(sa_type=BigInteger)
    why: str = Field(max_length=32)
    to: str = Field(max_length=100)
    title: str = Field(max_length=2000)
    body: str = Field(max_length=8000)
    state: str = Field(default="waiting", max_length=16, index=True)
    attempts: int = 0
    next_try_ms: int = Field(sa_type=BigInteger)
    done_ms: int | None = Field(default=None, sa_type=BigInteger)
    problem: str | None = Field(default=None, max_length=4000)
    #: Whoever is sending it has it until then; a sender that was killed loses it by itself.
    claimed_until_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: Since when nothing has got through about this alarm to this group: a replaced message hands it on.
    since_ms: int | None = Field(default=None, sa_type=BigInteger)


class Taken(SQLModel, table=True):
    """One channel has taken one message: after a kill, only the others are tried."""

    __tablename__ = "outbox_taken"
    __table_args__ = (UniqueConstraint("message_id", "channel"),)

    id: int | None = Field(default=None, primary_key=True)
    message_id: int = Field(foreign_key="outbox.id")
    #: A hash of the channel's URL, which may hold a password.
    channel: str = Field(max_length=64)
    taken_ms: int = Field(sa_type=BigInteger)


class AckLink(SQLModel, table=True):
    """A link in a message that does one thing once. Times are steady, so a wrong clock ends none too soon."""

    __tablename__ = "ack_link"

    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True, max_length=32)
    purpose: str = Field(max_length=16)
    to: str = Field(max_length=100)
    alarm_id: int | None = Field(default=None, foreign_key="alarm.id", index=True)
    made_ms: int = Field(sa_type=BigInteger)
    expires_ms: int = Field(sa_type=BigInteger)
    used_ms: int | None = Field(default=None, sa_type=BigInteger)
    revoked_ms: int | None = Field(default=None, sa_type=BigInteger)


class Person(SQLModel, table=True):
    """Somebody who may sign in."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True, max_length=100)
    role: str = Field(max_length=16)
    password_hash: str
    created_ms: int = Field(sa_type=BigInteger)
    left_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: In which units ("c.mm.l.kg") and language they read; None: as the workshop.
    units: str | None = Field(default=None, max_length=32)
    language: str | None = Field(default=None, max_length=8)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class PersonChannel(SQLModel, table=True):
    """A way to somebody's phone that was set up on a page. Times are steady. A removed one keeps no address."""

    __tablename__ = "person_channel"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    kind: str = Field(max_length=32)
    #: What was typed, secrets too, so that one field can be corrected without typing the others again.
    entries: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    #: The same as the message library writes it.
    url: str = Field(max_length=4000)
    #: Whether it is called first, or when nobody has answered: a group of addresses.
    turn: str = Field(max_length=8)
    made_ms: int = Field(sa_type=BigInteger)
    #: When a test was last sent, and what was wrong with it.
    tried_ms: int | None = Field(default=None, sa_type=BigInteger)
    problem: str | None = Field(default=None, max_length=4000)
    #: When the person said that a test has arrived. No alarm goes to one that nobody has confirmed.
    confirmed_ms: int | None = Field(default=None, sa_type=BigInteger)
    removed_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: The one that it takes the place of once it is confirmed.
    replaces_id: int | None = None


class SignIn(SQLModel, table=True):
    """A signed-in browser. Only the token's hash is kept."""

    __tablename__ = "sign_in"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    token_hash: str = Field(unique=True, max_length=64)
    created_ms: int = Field(sa_type=BigInteger)
    expires_ms: int = Field(sa_type=BigInteger)
    seen_ms: int = Field(sa_type=BigInteger)
    ended_ms: int | None = Field(default=None, sa_type=BigInteger)
    browser: str = Field(default="", max_length=200)


class Secret(SQLModel, table=True):
    """Random secrets made at first start (signing keys, the one-time set-up code's hash)."""

    name: str = Field(primary_key=True, max_length=32)
    value: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    made_ms: int = Field(sa_type=BigInteger)


class Invitation(SQLModel, table=True):
    """Somebody who was asked in, until they have chosen a password. Only the code's slow hash is kept."""

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(max_length=100)
    role: str = Field(max_length=16)
    code_hash: str
    by: str = Field(max_length=100)
    made_ms: int = Field(sa_type=BigInteger)
    expires_ms: int = Field(sa_type=BigInteger)
    ended_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class SharedLink(SQLModel, table=True):
    """A link that shows something without a sign-in: the board, the wall view, one pour's record to its client, or its
    public card to whoever scans the label.
    """

    __tablename__ = "shared_link"

    id: int | None = Field(default=None, primary_key=True)
    #: Whose record or card; null: all pours.
    pour_id: int | None = Field(default=None, foreign_key="pour.id")
    #: What it shows: a `LinkKind` of shared_links.py.
    kind: str = Field(default="record", max_length=16, sa_column_kwargs={"server_default": "record"})
    #: Whether the wall view names the clients.
    clients: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    label: str = Field(max_length=100)
    token_hash: str = Field(unique=True, max_length=64)
    #: Of a card alone: its label is printed again, and whoever has it sees no more than the public.
    token: str | None = Field(default=None, max_length=64)
    by: str = Field(max_length=100)
    made_ms: int = Field(sa_type=BigInteger)
    expires_ms: int | None = Field(default=None, sa_type=BigInteger)
    seen_ms: int | None = Field(default=None, sa_type=BigInteger)
    ended_ms: int | None = Field(default=None, sa_type=BigInteger)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})


class Logo(SQLModel, table=True):
    """A workshop's logo, drawn anew as PNG. A shop has one or none."""

    id: int | None = Field(default=None, primary_key=True)
    png: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    by: str = Field(max_length=100)
    at_ms: int = Field(sa_type=BigInteger)
    #: Whose it is: given by the database, from who asks (see shops.py).
    shop_id: int | None = Field(default=None, sa_column_kwargs={"server_default": FetchedValue()})
