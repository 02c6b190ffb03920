"""From the spool to the service: in order, acknowledged, as often as it takes.

A batch is posted, and its rows are dropped only when the answer says that they are stored. Before the first rows of a
spool an empty batch asks how far the service is: a service (or a card) that was restored from a copy has another past,
and then the spool goes on under a new name instead of waiting for ever.
"""

from __future__ import annotations

import json
import logging
import random
import sqlite3
import ssl
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from enum import Enum, auto
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from hardware.clock import Clock, Stamp
from logger.content_digest import content_digest
from logger.daemon.keep import Keeper
from logger.daemon.placement import PLACE
from logger.daemon.signals import Orders
from logger.daemon.spool import Spool
from logger.version import own_version
from logger.wire import StationHealth, WireReading, health_json, reading_json, stamp_json

if TYPE_CHECKING:
    from httpx import BaseTransport, Client

log = logging.getLogger(__name__)

BATCH_ROWS = 500
NEWEST_ROWS = 40
"""Rows sent beside a batch that leaves some behind: two sweeps of twenty probes."""
SIGN_OF_LIFE_S = 20.0
HEALTH_EVERY_S = 60.0
LINGER_S = 0.2
"""Real seconds from batch to batch while rows trickle in, so that fast sweeps share one."""
FIRST_BACK_OFF_S = 1.0
LONGEST_BACK_OFF_S = 30.0
REFUSED_BACK_OFF_S = 10.0
"""Both sides must notice the other within 60 s."""
CONNECT_S = 5.0
ANSWER_S = 15.0
PERIOD_S = (1.0, 600.0)
"""Periods from sweep to sweep that the service may order."""
LIMIT_C = (20.0, 300.0)
"""Limits of a core that the service may send, °C."""


class ForwardStep(Enum):
    """What one step of the forwarder did."""

    SENT = auto()
    IDLE = auto()
    FAILED = auto()


@dataclass(frozen=True, slots=True)
class Answer:
    """The service's answer to a batch."""

    acknowledged_seq: int
    orders: Orders
    next_s: float | None
    core_limit_c: float | None = None
    #: Probe → where it sits from now on, as somebody has just said on a page.
    places: Mapping[str, str] = field(default_factory=dict)


class BadAnswer(Exception):
    """An answer that cannot be the service's, or that contradicts the batch. No row is dropped."""


def batch_json(
    station: str,
    spool: str,
    sent: Stamp,
    rows: Sequence[WireReading],
    health: StationHealth | None = None,
    newest: Sequence[WireReading] = (),
) -> bytes:
    """Return the body of one batch (see DEVELOPERS.md)."""
    body: dict[str, object] = {
        "station": station,
        "spool": spool,
        "sent": stamp_json(sent),
        "rows": [reading_json(row) for row in rows],
    }
    if newest:
        body["newest"] = [reading_json(row) for row in newest]
    if health is not None:
        body["health"] = health_json(health)
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False).encode()


def read_answer(content: bytes, sent_rows: int) -> Answer:
    """Return the answer to a batch of `sent_rows` rows. Raises BadAnswer.

    A garbled answer must not make us drop rows: its counts have to add up to what was sent.
    """
    try:
        body: Any = json.loads(content)  # of any shape: it may be anybody's answer
        acknowledged, stored, repeated = (body[key] for key in ("acknowledged_seq", "stored", "repeated"))
        lamp, buzzer, fan, next_s = (body.get(key) for key in ("lamp", "buzzer", "fan", "next_s"))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise BadAnswer(f"not the service's answer: {content[:80]!r}") from error
    counts = (acknowledged, stored, repeated)
    if any(type(number) is not int or number < 0 for number in counts) or stored + repeated != sent_rows:
        raise BadAnswer(f"the answer's counts do not add up to {sent_rows} rows: {content[:120]!r}")
    if any(order not in (True, False, None) for order in (lamp, buzzer, fan)):
        raise BadAnswer(f"an order is neither true nor false: {content[:120]!r}")
    if not (type(next_s) in (int, float) and PERIOD_S[0] <= next_s <= PERIOD_S[1]):
        next_s = None
    limit_c = body.get("core_limit_c")
    if not (type(limit_c) in (int, float) and LIMIT_C[0] <= limit_c <= LIMIT_C[1]):
        limit_c = None
    given = body.get("places")
    places = given if isinstance(given, dict) and all(map(_is_place, given.values())) else {}
    return Answer(acknowledged, Orders(bool(lamp), bool(buzzer), fan), next_s, limit_c, places)


def _is_place(place: object) -> bool:
    return isinstance(place, str) and PLACE.fullmatch(place) is not None


def open_client(
    service_url: str, transport: BaseTransport | None = None, certificate: Path | None = None
) -> Client:
    """Return an HTTP client for the service. `transport` takes the network's place in tests and in the demo.

    `certificate`: a PEM file; over HTTPS this one is trusted and no other. Raises OSError when it cannot be read.
    """
    httpx = load_httpx()
    if transport is None:
        # Loading the certificates costs several MB; an address without TLS needs none.
        verify: bool | ssl.SSLContext = service_url.startswith("https:")
        if verify and certificate is not None:
            verify = ssl.create_default_context(cafile=str(certificate))
        transport = httpx.HTTPTransport(verify=verify, retries=0)
    client: Client = httpx.Client(
        base_url=service_url,
        transport=transport,
        trust_env=False,
        # The page of stations shows which program each runs (RFC 9110, 10.1.5).
        headers={"User-Agent": f"pourlog-station/{own_version()}"},
        timeout=httpx.Timeout(ANSWER_S, connect=CONNECT_S),
    )
    return client


def load_httpx() -> ModuleType:
    """Return httpx without its command line, whose colours and tables would take 10 of the daemon's 45 MB."""
    name = "httpx._main"
    if "httpx" in sys.modules or name in sys.modules:
        import httpx as loaded

        return loaded
    # None in sys.modules makes the import fail, and httpx does without.
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        import httpx
    finally:
        del sys.modules[name]
    return httpx


@dataclass(frozen=True, slots=True)
class StationIdentity:
    """Who sends: the station's name, its token, and its health where it reports one. `token` raises OSError."""

    station: str
    token: Callable[[], str]
    health: Callable[[], StationHealth] | None = None


@dataclass(frozen=True, slots=True)
class AnswerListener:
    """Whom the service's words are passed on to.

    `answered`: gets each answer. `warned`: gets whether a core is too hot, also from a service that cannot store.
    """

    answered: Callable[[Answer], None] = lambda _answer: None
    warned: Callable[[bool], None] = lambda _hot: None


class Forwarder:
    """Sends the spooled rows. `step` does one thing; `run` is the loop around it."""

    def __init__(
        self,
        identity: StationIdentity,
        keeper: Keeper,
        client: Client,
        clock: Clock,
        listener: AnswerListener = AnswerListener(),
        *,
        linger_s: float = LINGER_S,
    ) -> None:
        self.wake = threading.Event()
        self.trouble: str | None = None
        #: Spreads the waits of many stations; a test gives its own.
        self.jitter = random.Random()
        self._identity = identity
        self._keeper = keeper
        self._client = client
        self._clock = clock
        self._last_token: str | None = None
        self._listener = listener
        self._linger_s = linger_s
        self._health_sent_s: float | None = None
        #: Spools whose numbers the service agrees with.
        self._agreed: set[str] = set()
        self._sent_s: float | None = None
        self._failures = 0
        self._refused = False

    def run(self, stop: threading.Event) -> None:
        """Forward until `stop`. Set `wake` when there are new rows, and after `stop`."""
        while not stop.is_set():
            self.wake.clear()
            step = self.step()
            if step is ForwardStep.FAILED:
                self._clock.wait(stop, self.back_off_s())
            elif step is ForwardStep.IDLE:
                self._clock.wait(self.wake, SIGN_OF_LIFE_S / 2)
                stop.wait(self._linger_s)

    def back_off_s(self) -> float:
        """Return the seconds to wait after the failures so far: doubling, at most 30, and never all stations at once.

        A service that answers and cannot store still looks at what comes: it is asked more often.
        """
        longest_s = REFUSED_BACK_OFF_S if self._refused else LONGEST_BACK_OFF_S
        full = min(longest_s, FIRST_BACK_OFF_S * 2.0 ** min(self._failures - 1, 10))
        return full * self.jitter.uniform(0.5, 1.0)

    def step(self) -> ForwardStep:
        """Send at most one batch: rows if there are any, else a sign of life if one is due."""
        try:
            spool, rows = self._next()
        except sqlite3.Error as error:
            return self._fail(f"the spool cannot be read: {error}")
        now_s = self._clock.stamp().boot_s
        if spool.name not in self._agreed:
            return self._agree(spool)
        if not rows and self._sent_s is not None and 0 <= now_s - self._sent_s < SIGN_OF_LIFE_S / 2:
            return ForwardStep.IDLE
        answer = self._post(spool, rows)
        if answer is None:
            return ForwardStep.FAILED
        last = rows[-1].seq if rows else spool.forgotten
        if answer.acknowledged_seq < last:
            return self._ask_again(spool, answer, last)
        spool.forget(last)
        return ForwardStep.SENT if rows else ForwardStep.IDLE

    def _next(self) -> tuple[Spool, list[WireReading]]:
        """Return the spool to send from, with its oldest rows.

        Raises sqlite3.Error when one cannot be read and none has any. A spool on a disk that fails holds up no other:
        what is in memory is newer, and may be hot.
        """
        spools = self._keeper.spools
        failed: sqlite3.Error | None = None
        for spool in spools:
            try:
                rows = spool.oldest(BATCH_ROWS)
            except sqlite3.Error as error:
                failed = error
                continue
            if rows:
                return spool, rows
        if failed is not None:
            raise failed
        return spools[0], []

    def _agree(self, spool: Spool) -> ForwardStep:
        """Learn by an empty batch how far the service is with a spool; a spool with another past takes a new name."""
        answer = self._post(spool, [])
        if answer is None:
            return ForwardStep.FAILED
        if spool.forgotten <= answer.acknowledged_seq <= spool.last_seq:
            spool.forget(answer.acknowledged_seq)
        else:
            spool.renew()
        self._agreed.add(spool.name)
        return ForwardStep.SENT

    def _ask_again(self, spool: Spool, answer: Answer, last: int) -> ForwardStep:
        """Fail because the service has less than was sent: the next step asks how far it is."""
        self._agreed.discard(spool.name)
        return self._fail(
            f"the service acknowledged {answer.acknowledged_seq} of spool {spool.name}, we sent up to {last}"
        )

    def _post(self, spool: Spool, rows: Sequence[WireReading]) -> Answer | None:
        sent = self._clock.stamp()
        httpx = load_httpx()
        health = self._health_due(sent.boot_s)
        try:
            content = batch_json(self._identity.station, spool.name, sent, rows, health, self._newest(rows))
            response = self._client.post(
                "/api/batches",
                content=content,
                headers={
                    "Authorization": f"Bearer {self._token_now()}",
                    "Content-Type": "application/json",
                    "Content-Digest": content_digest(content),
                },
            )
            if response.status_code == 409:
                self._conflict(spool, response.text)
                return None
            self._refused = response.status_code == 503
            if self._refused:
                self._pass_warning(response.content)
            if response.status_code != 200:
                self._fail(refusal(response.status_code, response.text))
                return None
            stated = response.headers.get("Content-Digest")
            if stated is not None and stated != content_digest(response.content):
                raise BadAnswer(f"the answer was altered on the way: {response.content[:80]!r}")
            answer = read_answer(response.content, len(rows))
        except (httpx.HTTPError, httpx.InvalidURL, OSError, BadAnswer) as error:
            self._refused = False
            self._fail(f"{type(error).__name__}: {error}")
            return None
        if self.trouble is not None:
            log.warning("the service answers again; %d rows to catch up", self._keeper.pending)
        self.trouble, self._failures, self._sent_s = None, 0, sent.boot_s
        if health is not None:
            self._health_sent_s = sent.boot_s
        self._listener.answered(answer)
        self._listener.warned(False)
        return answer

    def _token_now(self) -> str:
        """Return the token as its file has it now, or as it last had it. Raises OSError when it was never read."""
        try:
            self._last_token = self._identity.token()
        except OSError:
            if self._last_token is None:
                raise
            # The card has died under the station: the token still holds.
        return self._last_token

    def _newest(self, rows: Sequence[WireReading]) -> list[WireReading]:
        """Return the last rows of all where the batch leaves some behind.

        A service that watches only a core's limit must not wait until it has caught up, or for ever when it can store
        nothing.
        """
        if self._keeper.pending <= len(rows):
            return []
        sent = {(row.probe, row.stamp) for row in rows}
        unsent: list[WireReading] = []
        for spool in self._keeper.spools:
            with suppress(sqlite3.Error):  # reported where its rows are to be sent
                unsent += [one for one in spool.newest(NEWEST_ROWS) if (one.probe, one.stamp) not in sent]
        return sorted(unsent, key=lambda one: one.stamp.boot_ms)[-NEWEST_ROWS:]

    def _pass_warning(self, content: bytes) -> None:
        """Pass on that a core is too hot: a service that cannot store still watches, and lamp and buzzer follow it."""
        try:
            self._listener.warned(json.loads(content)["core_hot"] is True)
        except (ValueError, KeyError, TypeError):
            return  # not the service's own words: somebody's between here and there

    def _health_due(self, now_s: float) -> StationHealth | None:
        """Return the machine's health, if it was not sent for a while."""
        sent_s, health = self._health_sent_s, self._identity.health
        if health is None or (sent_s is not None and 0 <= now_s - sent_s < HEALTH_EVERY_S):
            return None
        return health()

    def _conflict(self, spool: Spool, text: str) -> None:
        log.error("the service holds other contents under our numbers (409): %s", text[:200])
        spool.renew()
        self._agreed.add(spool.name)
        self._fail("conflict of sequence numbers: the spool goes on under a new name")

    def _fail(self, trouble: str) -> ForwardStep:
        self._failures += 1
        if trouble != self.trouble:
            log.error("not forwarded, %d rows are kept: %s", self._keeper.pending, trouble)
        self.trouble = trouble
        return ForwardStep.FAILED


def refusal(status: int, text: str) -> str:
    """Return what a refused batch means and what to do about it."""
    remedy = {
        400: "the batch was altered on the way: look at the network between here and the service",
        401: "the token is wrong: make a new one for this station and put it into the token file",
        403: "the token belongs to another station: put this station's own into the token file",
        404: "there is no such page: service_url must be the service's address without a path",
        413: "something between here and the service limits the size of requests",
        503: "the service cannot store now: make room on its disk, or look at its log; rows are kept here",
        422: "station and service differ in version: bring both to the same one",
    }.get(status, "the service is in trouble: look at its log")
    return f"the service refused the batch with {status}; {remedy}; it said {text[:200]!r}"
