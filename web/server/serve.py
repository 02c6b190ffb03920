"""Runs the service: HTTP, the watch and the sender, until told to stop; live pages end at once when it does."""

# Forecasts, fits and pages are imported by the threads that need them: a start does not wait for what takes seconds on
# a Pi.

from __future__ import annotations

import errno
import logging
import os
import signal
import socket
import threading
from collections.abc import Callable
from types import FrameType
from typing import TYPE_CHECKING, Any

import uvicorn
from fastapi import FastAPI

from logger.daemon.supervise import Supervisor
from logger.delivery.channels import Channel
from logger.delivery.housekeeping import Heartbeat, Housekeeping, RegularTestMessage
from logger.delivery.sender import Sender
from logger.delivery.shout import Shouter
from logger.errors import BadSettings
from logger.live.cup_watch import CupWatch
from logger.live.plain_watch import PlainWatch, UsualWatch
from logger.live.threads import Term, Workers
from logger.live.watch import minute_of_day
from logger.settings import Settings
from logger.store import pours
from logger.store.lease import LostLease
from logger.words.phrase import phrase
from logger.words.reader import METRIC
from logger.words.render import say
from logger.worker import OwnProcess
from web.security.http_protocol import Connection
from web.server import startup as start
from web.server.app import make_app
from web.service.event_bridge import EventBridge
from web.service.pipeline import handled, held_back, not_as_usual, troubles
from web.service.service import Service

if TYPE_CHECKING:
    from web.actions.plan_work import PlanWork
    from web.actions.resin_work import ResinWork

log = logging.getLogger(__name__)

#: After its start the service reads ahead for pages, s.
WARM_AFTER_S = 2.0
#: What the board and a pour's page are made of: compiling them takes a tenth of a second.
FIRST_TEMPLATES = (
    "frame.html",
    "parts.html",
    "pour.html",
    "section.html",
    "pour-probes.html",
    "untested.html",
    "board.html",
    "new-pour.html",
    "plan.html",
    "plan-edit.html",
    "plan-question.html",
    "plan-sections.html",
)
#: How long open requests get to finish when the service stops, s.
FINISH_S = 3
#: After a decision that was refused because another process decides, the own lease is looked at anew first, s.
LOST_S = 0.5
#: A round of the watch, from pour to pour, and one of the upkeep: who takes longer hangs, s.
WATCH_S, UPKEEP_S, MEMORY_S = 45.0, 90.0, 60.0
#: One of the lease's: it waits for the database's own limits, s.
LEASE_S = 60.0
#: What is left half brought in or half deleted is looked for this often, s.
TIDY_S = 600.0


class Running:
    """The service's threads beside HTTP: the watch over live pours, and the sender of messages."""

    def __init__(self, service: Service, channel: Channel | None = None) -> None:
        self.service = service
        self.stop = threading.Event()
        self.decides = service.decides
        # Whoever decides writes only while it does: its store looks in each transaction.
        store = service.store if service.store.is_sqlite else service.store.fenced(self.decides.check)
        messages = service.settings.messages
        self.sender = Sender(
            store,
            service.timeline,
            messages,
            channel or service.message_channels(),
            memory=service.watch.memory_outbox,
            tried=lambda: service.news.publish("messages"),
            addresses=service.addresses,
        )
        if not service.store.is_sqlite:
            self.sender.shop_of_pour = service.shop_of_pour
        if channel is not None:
            service.channel = channel
        self.watch = service.watch
        heartbeat = service.heartbeat = Heartbeat(messages, service.timeline, lambda: held_back(service))
        test_message = RegularTestMessage(
            store,
            service.timeline,
            service.addresses,
            service.address,
            minute_of_day=lambda: minute_of_day(service.timeline),
            written=self.sender.wake,
        )
        cups = CupWatch(store, service.timeline, service.addresses, service.address, self.sender.wake)
        self.upkeep = Housekeeping(
            {
                phrase("the heartbeat"): heartbeat.beat,
                phrase("the reserve"): service.keep_reserve,
                phrase("the regular test message"): test_message.write_due,
                phrase("the watch over cups"): cups.call_hot,
            }
        )
        service.on_news = self.sender.wake
        # Forecasts are computed in a process of their own: they never delay a batch, an alarm or a page.
        self._heavy = OwnProcess()
        # A fit takes minutes on a Pi: it never waits in front of a forecast.
        self._patient = OwnProcess()
        # A plan is worked out in seconds to half a minute: pages show a first answer meanwhile.
        self._plans: PlanWork | None = None
        self._resins: ResinWork | None = None
        self._store = store
        self.supervisor = Supervisor()
        self.workers = workers = service.workers = Workers(self.stop)
        service.sender, service.upkeep = self.sender, self.upkeep
        plain = service.plain_watch = service.memory.watch = self._plain_watch(channel)
        self._count_rounds(plain)
        self._threads = [
            workers.thread("plain-limit", plain.run, within_s=self.sender.round_s),
            workers.thread("memory", service.memory.run, within_s=MEMORY_S),
            workers.thread("watchdog", self._keep_alive),
            workers.thread("lease", self._lease),
            self._led("watch", self._watch, WATCH_S),
            self._led("sender", self.sender.run, self.sender.round_s),
            self._led("upkeep", self.upkeep.run, UPKEEP_S + messages.timeout_s),
        ]
        if not service.store.is_sqlite:
            self.watch.fence = self.decides.check
            self.watch.may_go_on = lambda: self.decides.mine
            bridge = EventBridge(service.store, self._on_news_of_others)
            service.news.forward = bridge.enqueue
            for name, target in (("news-out", bridge.send), ("news-in", bridge.listen)):
                self._threads.append(workers.thread(name, target))

    def _plain_watch(self, channel: Channel | None) -> PlainWatch:
        """Return the plain limit's watch, with its own way to the channels: one that hangs in the other must not hold
        it up.
        """
        service = self.service
        return PlainWatch(
            service.plain,
            Shouter(
                channel or service.message_channels(),
                service.addresses.every,
                lambda url, units: service.addresses.reader_of(url, units=units),
            ),
            service.timeline.now_ms,
            UsualWatch(lambda pour: handled(service, pour), lambda pour: not_as_usual(service, pour)),
            workshop=service.settings.workshop,
            speed=service.pace.speed,
        )

    def _count_rounds(self, plain: PlainWatch) -> None:
        """Have each part say when it has come round, so that one that hangs is seen."""
        workers = self.workers
        self.watch.came_round = lambda: workers.came_round("watch")
        self.watch.still_at_it = lambda: workers.still_at_it("watch")
        self.sender.came_round = lambda: workers.came_round("sender")
        self.sender.still_at_it = lambda: workers.still_at_it("sender")
        self.upkeep.came_round = lambda: workers.came_round("upkeep")
        plain.came_round = lambda: workers.came_round("plain-limit")
        self.service.memory.came_round = lambda: workers.came_round("memory")

    def _led(
        self, name: str, run: Callable[[threading.Event], None], within_s: float | None = None
    ) -> threading.Thread:
        """Return a thread that runs while this process decides, and begins anew with each of its terms."""
        return self.workers.thread(
            name,
            run,
            term=Term(lambda: self.decides.wait(self.stop), LostLease, LOST_S),
            within_s=within_s,
        )

    def _lease(self, stop: threading.Event) -> None:
        self.decides.run(stop)
        stop.wait()  # where there is only one process there is nothing to keep

    def _watch(self, term: threading.Event) -> None:
        self.watch.begin()
        self.watch.run(term, self.service.settings.watch_period_s)

    def _on_news_of_others(self, news: dict[str, Any]) -> None:
        """Show another process's news, and wake what it may concern here."""
        self.service.news.publish_here(**news)
        if self.decides.mine:
            if news["kind"] != "messages" and news.get("pour"):
                self.watch.wake(news["pour"])
            self.sender.wake()

    def start(self) -> None:
        """Start what must stand first: the watch, its messages, and who looks after both."""
        for thread in self._threads:
            thread.start()

    def go_on(self, load_pages: Callable[[], None]) -> None:
        """Start what can wait until the server listens, and load what only that needs: the forecasts, and all that
        the first page would otherwise wait for.
        """
        later = [
            self.workers.thread("warm", lambda _stop: self._warm(load_pages), once=True),
            self._led("forecaster", self._forecast),
            self._led("learner", self._learn),
            self._led("tidier", self._tidy),
        ]
        self._threads.extend(later)
        for thread in later:
            thread.start()

    def _tidy(self, term: threading.Event) -> None:
        """Take out what an import that was killed has left."""
        while not term.wait(TIDY_S):
            self.service.imports.tidy()

    def _forecast(self, term: threading.Event) -> None:
        from logger.live.forecaster import Forecaster

        service = self.service
        Forecaster(self._store, service.timeline, self._heavy, self._forecast_made, service.pace).run(term)

    def _learn(self, term: threading.Event) -> None:
        from logger.record.refit_offers import Learner

        Learner(self._store, self.service.timeline, self._patient).run(term)

    def _keep_alive(self, stop: threading.Event) -> None:
        """Feed the watchdog while every thread on the way from a reading to a phone comes round: one that hangs ends
        in a restart.
        """
        period_s = (self.supervisor.watchdog_s or 60.0) / 3
        while not stop.wait(period_s):
            hung = self.workers.hung()
            if hung:
                log.critical("hangs: %s", ", ".join(f"{name} for {s:.0f} s" for name, s in hung.items()))
            # A database that fails holds up whoever uses it, and a service that is started again does not come back:
            # the plain limit goes on from memory, and must not be ended.
            if not hung or (self.service.store.fails and "plain-limit" not in hung):
                self.supervisor.alive(
                    "; ".join(say(one, METRIC) for one in troubles(self.service)) or "watching"
                )

    def _warm(self, load_pages: Callable[[], None]) -> None:
        try:
            load_pages()
        finally:
            start.done()
        from web.actions.plan_work import PlanWork
        from web.actions.resin_work import ResinWork

        self._plans = self.service.plan_work = PlanWork(self.service)
        self._resins = self.service.resin_work = ResinWork(self.service)
        from web.server.packed_files import pack
        from web.views.render import CHARTS, STATIC, templates

        for name in FIRST_TEMPLATES:
            templates().env.get_template(name)
        # Whoever waits for the first page comes first.
        if self.stop.wait(WARM_AFTER_S):
            return
        pack(STATIC / CHARTS)
        with self.service.store.read() as connection:
            for pour in pours.live_pours(connection):
                if not self.stop.is_set():
                    self.service.curves.warm(connection, pour.id, self.stop)

    def close(self) -> None:
        """Stop the threads, wait for them, and close the service."""
        self.supervisor.stopping()
        self.stop.set()
        self.watch.wake()
        self.sender.wake()
        self.service.memory.wake()
        self._heavy.close()
        self._patient.close()
        for work in (self._plans, self._resins):
            if work is not None:
                work.close()
        self.service.end_imports()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(10)
                if thread.is_alive():
                    log.error("the %s thread did not stop within 10 s", thread.name)
        self.supervisor.close()
        self.service.close()

    def _forecast_made(self, pour_id: int) -> None:
        self.service.news.publish("forecast", pour=pour_id)
        self.watch.wake()


class Server(uvicorn.Server):
    """A server that ends its live pages first: they would otherwise hold it open for ever."""

    def __init__(self, config: uvicorn.Config, before_exit: Callable[[], None]) -> None:
        super().__init__(config)
        self._before_exit = before_exit
        self.on_listening: Callable[[], None] = lambda: None

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, and say so."""
        await super().startup(sockets)
        self.on_listening()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:  # noqa: ARG002 - uvicorn's
        """On SIGTERM or SIGINT: ends here. The library would raise the signal again, and the threads would never
        be told.
        """
        self._before_exit()
        self.force_exit = self.should_exit and sig == signal.SIGINT
        self.should_exit = True


def server_for(service: Service, app: FastAPI | None = None) -> Server:
    """Return an HTTP server over the service, not yet running."""
    https = service.settings.https
    for name in (https.certificate, https.key):
        if name is not None and not os.access(name, os.R_OK):
            raise BadSettings(
                "[https]",
                phrase("cannot read a file"),
                value=name,
                remedy=phrase("give a PEM file that the service's user may read"),
            )
    config = uvicorn.Config(
        app or make_app(service),
        host=service.settings.host,
        port=service.settings.port,
        log_level="warning",
        # As JSON, the server's own lines go the way of ours.
        log_config=None if service.settings.operating.log_format == "json" else uvicorn.config.LOGGING_CONFIG,
        timeout_graceful_shutdown=FINISH_S,
        server_header=False,
        http=Connection,
        ws="none",
        ssl_certfile=https.certificate,
        ssl_keyfile=https.key,
        # Only a proxy on this machine is believed about who asks and whether that was encrypted.
        proxy_headers=https.behind_proxy,
        forwarded_allow_ips="127.0.0.1",
        lifespan="off",
    )
    return Server(config, service.news.close)


def _must_be_free(settings: Settings) -> None:
    """Raise BadSettings where the service could not listen: before anything is started, and in plain words."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((settings.host, settings.port))
        except OSError as error:
            taken = error.errno == errno.EADDRINUSE
            raise BadSettings(
                phrase("port") if taken else phrase("host"),
                phrase("another program listens there already")
                if taken
                else phrase("cannot be listened on ({strerror})", strerror=str(error.strerror)),
                value=settings.port if taken else settings.host,
                remedy=phrase("stop that program, or give another port in the settings file")
                if taken
                else phrase("give an address of this machine, or 0.0.0.0 for all of them"),
            ) from error


def serve(service: Service) -> int:
    """Run the service until SIGTERM or SIGINT; return the process's exit code."""
    _must_be_free(service.settings)
    running = Running(service)
    running.start()
    try:
        app = make_app(service, pages_later=True)

        def listening() -> None:
            running.supervisor.ready("listening")
            running.go_on(app.state.later.load)

        server = server_for(service, app)
        server.on_listening = listening
        server.run()
    finally:
        running.close()
    return 0
