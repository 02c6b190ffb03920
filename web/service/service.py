"""The running service: its store, time, settings and live news, built once and handed to the app."""

from __future__ import annotations

import asyncio
import shutil
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from sqlalchemy.exc import DBAPIError

from logger.alarms.first_hour import Rhythm
from logger.alarms.plain_limit import PlainLimit
from logger.delivery.addresses import AddressBook
from logger.delivery.channels import Channel, MessageChannels
from logger.delivery.web_push import SenderKey, WebPush
from logger.errors import StoreError
from logger.live.ingest import Intake
from logger.live.leader import Alone, Decides, Leadership
from logger.live.plain_watch import Memory, PlainWatch
from logger.live.schedule import Pace
from logger.live.watch import Watch, WatchSettings
from logger.settings import Settings
from logger.store import partitions, shops
from logger.store.ballast import Ballast
from logger.store.boots import Clock, Timeline
from logger.store.database import Store
from logger.store.partitions import Month
from logger.store.rows import StationRow
from logger.store.shops import sees
from logger.wire import WireReading
from logger.words.phrase import phrase
from web.service import pipeline
from web.service.counters import Counted
from web.service.sse import News

#: How long a station looks often for somebody who checks a probe: ice water needs some ten minutes.
LOOK_OFTEN_MS = 15 * 60_000


if TYPE_CHECKING:
    from logger.delivery.housekeeping import Heartbeat, Housekeeping
    from logger.delivery.sender import Sender
    from logger.live.threads import Workers
    from logger.record.import_log import Imports
    from web.service.series_cache import Curves


class ResinWorker(Protocol):
    """Works out what resins mean, in a process of its own; see web/actions/resin_work.py."""

    def ask(self, facts: Mapping[str, Any]) -> bool:
        """Have a resin of the list worked out. Returns whether an answer is on its way."""


class PlanWorker(Protocol):
    """Works plans out in a process of its own; see web/actions/plan_work.py."""

    def ask(self, pour_id: int, plan_toml: str) -> None:
        """Have a pour's plan worked out; an older plan of the same pour is wanted no more."""

    def wait(self, pour_id: int, plan_toml: str) -> None:
        """Have it worked out, and wait for it."""

    def warm_up(self) -> None:
        """Have the process ready for a plan that is about to come."""

    def trouble(self, plan_toml: str) -> str | None:
        """Return why a plan could not be worked out; None where it could, or is not yet."""


#: One of each thing that is made when it is first asked for.
_making = threading.Lock()


@dataclass(slots=True)
class Service:
    """What every route may use."""

    store: Store
    timeline: Timeline
    settings: Settings
    news: News = field(default_factory=News)
    #: Hash of a station's token → its row, of stations that have sent a batch to this process.
    known_stations: dict[str, StationRow] = field(default_factory=dict)
    #: What this process counts, for operators.
    counted: Counted = field(default_factory=Counted)
    #: Stores stations' batches.
    intake: Intake = field(init=False)
    #: (shop, key) of requests that are being carried out once → set when that is over: see web/security/idempotency.py.
    in_hand: dict[tuple[int | None, str], asyncio.Event] = field(default_factory=dict)
    #: Stations whose probes are being checked, and until when (steady).
    often_until_ms: dict[str, int] = field(default_factory=dict)
    #: Stations → probe → place that they have yet to take over. Lost with a restart: the page shows what the rows say.
    place_orders: dict[str, dict[str, str]] = field(default_factory=dict)
    #: Called when an alarm has changed: there may be a message to send.
    on_news: Callable[[], None] = lambda: None
    #: How forecasts fit into the time; a simulation at high speed has its own.
    pace: Pace = field(default_factory=Pace)
    #: Whether this process decides alarms, forecasts and messages: one of several over a server's database.
    decides: Decides = field(init=False)
    #: The plain limit beneath all judging, what it needs to know, and who tells of it where somebody runs it.
    plain: PlainLimit = field(init=False, default_factory=PlainLimit)
    memory: Memory = field(init=False)
    plain_watch: PlainWatch | None = field(init=False, default=None)
    #: Judges alarms; made by whoever runs the watch, and without its thread in tests.
    watch: Watch = field(init=False)
    #: Whom messages go to.
    addresses: AddressBook = field(init=False)
    #: By which browsers know this service.
    push_key: SenderKey = field(init=False)
    #: Sends one test message at once, to whoever sets up a phone; a test puts its own receiver here.
    channel: Channel = field(init=False)
    #: The threads, the sender and the upkeep, where somebody runs them: not in tests.
    workers: Workers | None = field(init=False, default=None)
    sender: Sender | None = field(init=False, default=None)
    upkeep: Housekeeping | None = field(init=False, default=None)
    heartbeat: Heartbeat | None = field(init=False, default=None)
    #: Works plans out beside the pages, where somebody runs it: not in tests, where it is done at once.
    plan_work: PlanWorker | None = field(init=False, default=None)
    #: The same of resins.
    resin_work: ResinWorker | None = field(init=False, default=None)
    #: When this process began, steady.
    began_ms: int = field(init=False)
    _curves: Curves | None = field(init=False, default=None)
    _imports: Imports | None = field(init=False, default=None)
    _reserve: Ballast | None = field(init=False, default=None)
    _months_from: Month | None = field(init=False, default=None)
    #: Pour → its shop; a pour stays where it is.
    _shops: dict[int, int] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Make a watch, which takes acknowledgements also while nobody runs it."""
        self.began_ms = self.timeline.now_ms()
        self.intake = Intake(self.store, self.timeline, self._stored)
        self.memory = Memory(self.store, self.timeline, self.plain)
        self.addresses = AddressBook(self.settings.messages)
        self.push_key = SenderKey(Path(self.settings.data_dir))
        self.addresses.read_from(self.store)
        self.channel = self.message_channels()
        self.watch = Watch(
            self.store,
            self.timeline,
            WatchSettings(
                self.settings.link_base,
                self.addresses.rules(),
                self.rhythm,
                self.settings.fan.on_forecast,
            ),
            publish=self._tell,
            disk_free_mb=self.disk_free_mb,
            refused=self.intake.failing,
        )
        self.addresses.changed = self._called_others
        if self.store.is_sqlite:
            self._reserve = Ballast(Path(self.settings.data_dir))
            self.keep_reserve()
            self.store.make_room = self._reserve.give_up
            self.decides = Alone()
        else:
            self.news.shop_of = self.shop_of_pour
            self.keep_reserve()
            self.decides = Leadership(self.store, self._says)

    @property
    def curves(self) -> Curves:
        """The live pours' curves, for charts. Loaded when they are first asked for: a start does not wait for them."""
        if self._curves is None:
            from web.service.series_cache import Curves

            with _making:
                self._curves = self._curves or Curves()
        return self._curves

    @property
    def imports(self) -> Imports:
        """What brings files in. Loaded when the first one comes."""
        if self._imports is None:
            from logger.record.import_log import Imports

            with _making:
                self._imports = self._imports or Imports(
                    self.store, Path(self.settings.data_dir), self.timeline.true_ms
                )
        return self._imports

    def end_imports(self) -> None:
        """End what is being brought in: it leaves nothing behind."""
        if self._imports is not None:
            self._imports.close()

    def keep_reserve(self) -> None:
        """Lay up the reserve again once there is room; on a server, the table of the next month of readings."""
        if self._reserve is not None:
            self._reserve.lay_up()
        elif (month := partitions.month_of(self.timeline.true_ms())) != self._months_from:
            with self.store.write() as tx:
                partitions.keep_ahead(tx, self.timeline.true_ms())
            self._months_from = month

    def look_often(self, station: str) -> None:
        """Somebody checks a probe of this station: for some minutes it looks as often as it can."""
        self.often_until_ms[station] = self.timeline.now_ms() + LOOK_OFTEN_MS

    def order_places(self, station: str, places: Mapping[str, str]) -> None:
        """Have a station take over where its probes are said to sit: with each answer, until it reports so."""
        self.place_orders.setdefault(station, {}).update(places)

    def places_ordered(self, station: str, rows: Sequence[WireReading]) -> dict[str, str]:
        """Return what a station is yet to take over, given what it has just sent."""
        orders = self.place_orders.get(station)
        if not orders:
            return {}
        reported = {row.probe: row.place for row in rows}
        for rom in [rom for rom, place in orders.items() if reported.get(rom) == place]:
            del orders[rom]
        return dict(orders)

    def looks_often(self, station: str) -> bool:
        """Whether somebody checks a probe of this station now."""
        return self.timeline.now_ms() < self.often_until_ms.get(station, 0)

    def message_channels(self) -> MessageChannels:
        """Return a way to the message library of its own: what hangs in one holds up no other."""
        timeout_s = self.settings.messages.timeout_s
        return MessageChannels(timeout_s, WebPush(self.push_key, self.settings.link_base, timeout_s))

    def _called_others(self) -> None:
        self.watch.use_rules(self.addresses.rules())
        self.watch.wake()

    def shop_of_pour(self, pour_id: int) -> int:
        """Return a pour's shop. Raises NotFound."""
        if pour_id not in self._shops:
            with sees(None), self.store.read() as connection:
                self._shops[pour_id] = shops.shop_of_pour(connection, pour_id)
        return self._shops[pour_id]

    @property
    def watch_trouble(self) -> str | None:
        """What is wrong on the way from a reading to a phone, whichever process decides; None while all is well."""
        return "; ".join(pipeline.troubles(self)) or None

    def _says(self) -> tuple[int | None, str | None]:
        """Return what other processes hear of this one's watch while it decides."""
        return self.watch.judged_ms, "; ".join(pipeline.failing(self)) or None

    def address(self, path: str) -> str:
        """Return a path of this service as phones reach it."""
        return f"{self.settings.link_base}{path}"

    @property
    def rhythm(self) -> Rhythm:
        """How often to look in the first hour."""
        return Rhythm(**self.settings.first_hour.model_dump())

    def disk_free_mb(self) -> float | None:
        """Free space where the database is, MB; None when it cannot be told (a server's database)."""
        try:
            return shutil.disk_usage(self.settings.data_dir).free / 1e6
        except OSError:
            return None

    def _stored(self, pour_ids: frozenset[int]) -> None:
        """There are new readings of these pours."""
        for pour_id in pour_ids:
            self.news.publish("readings", pour=pour_id)
        if pour_ids:
            self.watch.wake(*pour_ids)
        if not all(self.plain.watches(pour_id) for pour_id in pour_ids):
            self.memory.wake()

    def _tell(self, kind: str, pour_id: int | None) -> None:
        self.news.publish(kind, pour=pour_id)
        self.on_news()

    @classmethod
    def open(cls, settings: Settings, clock: Clock) -> Service:
        """Open (and migrate) the database and start the timeline. Raises StoreError, UnknownSchema.

        On a disk that is full the reserve is given up first: a watch that cannot start watches nothing.
        """
        try:
            return cls._open(settings, clock)
        except StoreError:
            if settings.database_url is not None or not Ballast(Path(settings.data_dir)).give_up():
                raise
        return cls._open(settings, clock)

    @classmethod
    def _open(cls, settings: Settings, clock: Clock) -> Service:
        store = Store(settings.database)
        try:
            return cls(store=store, timeline=Timeline(store, clock), settings=settings)
        except DBAPIError as error:
            store.close()
            raise StoreError(
                phrase(
                    "{data_dir}: the database cannot be written ({error}); make room on the disk, or check the "
                    "folder's owner",
                    data_dir=settings.data_dir,
                    error=str(error.orig),
                )
            ) from error

    def close(self) -> None:
        """End live pages and let go of the database."""
        self.news.close()
        self.end_imports()
        self.intake.close()
        self.store.close()
