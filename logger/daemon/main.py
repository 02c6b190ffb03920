"""The station daemon, wired together: sweep, spool, forward, switch, and report to systemd. Wiring only."""

from __future__ import annotations

import logging
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from hardware.bench.clock import beside
from hardware.bench.station import Bench
from hardware.bench.trace import from_text
from hardware.clock import Clock, SystemClock
from hardware.errors import HardwareError, HardwareMissing
from hardware.health import disk_free_mb, power_low
from hardware.outputs import Outputs
from hardware.pins import PinFactory, pi_pins
from hardware.station import Hardware, open_pi
from logger.daemon.forward import (
    LINGER_S,
    Answer,
    AnswerListener,
    Forwarder,
    ForwardStep,
    StationIdentity,
    open_client,
)
from logger.daemon.keep import Keeper
from logger.daemon.placement import keep_places
from logger.daemon.sample import Sampler, contact_row
from logger.daemon.signals import LastResort, Signals
from logger.daemon.station_file import StationConfig, station_from_file
from logger.daemon.supervise import Supervisor, stop_on_signals
from logger.errors import BadSettings
from logger.facts import fact
from logger.wire import StationHealth, UnnumberedReading

if TYPE_CHECKING:
    import httpx

log = logging.getLogger(__name__)

DRAIN_S = 5.0
"""Real seconds that a stop may take to send what is left; the rest stays for the next start."""
ORDER_HOLDS_S = 900.0
"""The service's period counts this long after its last answer; then the station's own."""
MEND_EVERY_S = 60.0
"""Pins that failed are tried again this often."""


@dataclass(slots=True)
class PeriodOrder:
    """The period that the service ordered, and when."""

    period_s: float | None = None
    at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class RunMode:
    """How a bench, a demo or a test runs a station; the defaults are a station's own.

    `transport` takes the network's place. `end_after_s`: of the clock's time. `sweeps_per_commit` above 1 is for fast
    simulations only: a crash then loses up to that many sweeps. `obey_period` False ignores the period that the service
    orders. `bus_threads` False reads the buses in the sweeps' own thread: for the bench, whose files never block.
    `drain_s`: real seconds for what is left at the end. `linger_s`: see LINGER_S. `after_sweep` is called with the
    number of sweeps done.
    """

    transport: httpx.BaseTransport | None = None
    end_after_s: float | None = None
    sweeps_per_commit: int = 1
    obey_period: bool = True
    bus_threads: bool = True
    drain_s: float = DRAIN_S
    linger_s: float = LINGER_S
    after_sweep: Callable[[int], None] = lambda _done: None


@dataclass(frozen=True, slots=True)
class _Parts:
    """The parts of one running station."""

    config: StationConfig
    hardware: Hardware
    clock: Clock
    sampler: Sampler
    keeper: Keeper
    signals: Signals
    forwarder: Forwarder
    order: PeriodOrder


def run_station(
    config: StationConfig,
    hardware: Hardware,
    clock: Clock,
    stop: threading.Event,
    mode: RunMode = RunMode(),
    supervisor: Supervisor | None = None,
) -> int:
    """Run one station until `stop` is set, or for as long as the mode says. Return the exit code, 0.

    The hardware is closed at the end, outputs first switched off. `clock` belongs to the sweeps; on a stepped clock
    the forwarder waits beside it.
    """
    with ExitStack() as cleanup:
        cleanup.callback(hardware.close)
        supervisor = supervisor or Supervisor()
        cleanup.callback(supervisor.close)
        keeper = Keeper(config.spool_file)
        cleanup.callback(keeper.close)
        client = cleanup.enter_context(
            open_client(config.service_url, mode.transport, config.service_certificate)
        )
        parts = _wire(config, hardware, clock, keeper, client, mode)
        loop = _Sweeps(parts, supervisor, mode.sweeps_per_commit)
        with _forwarding(parts.forwarder, keeper, mode.drain_s):
            try:
                loop.run(stop, mode.end_after_s, mode.after_sweep)
            finally:
                supervisor.stopping()
                loop.end()
        return 0


def _wire(
    config: StationConfig,
    hardware: Hardware,
    clock: Clock,
    keeper: Keeper,
    client: httpx.Client,
    mode: RunMode,
) -> _Parts:
    signals = Signals(hardware.outputs, LastResort(config.limit_c), clock.stamp().boot_s)
    order = PeriodOrder()
    sampler = Sampler(hardware.buses, config.wiring.all_probes, clock, threads=mode.bus_threads)

    def answered(answer: Answer) -> None:
        _take_answer(clock, signals, order if mode.obey_period else None, answer)
        if answer.places:
            _take_places(config, sampler, answer.places)

    listener = AnswerListener(
        answered=answered,
        warned=lambda hot: signals.take_warning(hot=hot, now_s=clock.stamp().boot_s),
    )
    forwarder = Forwarder(
        StationIdentity(config.name, config.token, partial(_health, config, hardware)),
        keeper,
        client,
        beside(clock),
        listener,
        linger_s=mode.linger_s,
    )
    return _Parts(config, hardware, clock, sampler, keeper, signals, forwarder, order)


def _take_answer(clock: Clock, signals: Signals, order: PeriodOrder | None, answer: Answer) -> None:
    """Do what the service answers: orders to the outputs, and the period where it is obeyed."""
    now_s = clock.stamp().boot_s
    if answer.next_s is not None and order is not None:
        order.period_s, order.at_s = answer.next_s, now_s
    signals.take_orders(answer.orders, now_s, answer.core_limit_c)


def _take_places(config: StationConfig, sampler: Sampler, places: Mapping[str, str]) -> None:
    """Take over where somebody says that probes sit, now and after the next start."""
    mine = {probe.id for probe in config.filed.all_probes}
    own_places = {rom: place for rom, place in places.items() if rom in mine}
    sampler.place(own_places)
    try:
        keep_places(config.filed, config.spool_file, own_places)
    except OSError:
        # A card that takes nothing: they hold until the next start, and the page shows what the rows say.
        log.exception("the places of %s are not kept", ", ".join(own_places))


def _health(config: StationConfig, hardware: Hardware) -> StationHealth:
    return StationHealth(power_low(), disk_free_mb(config.spool_file.parent), pin_faults(hardware))


@contextmanager
def _forwarding(forwarder: Forwarder, keeper: Keeper, drain_s: float) -> Iterator[None]:
    """Forward beside the sweeps; at the end send the rest, for at most drain_s."""
    ended = threading.Event()
    thread = threading.Thread(target=forwarder.run, args=(ended,), name="forward")
    thread.start()
    try:
        yield
    finally:
        ended.set()
        forwarder.wake.set()
        thread.join()
        _drain(forwarder, keeper, drain_s)


class _Sweeps:
    """The loop that sweeps, and feeds the watchdog."""

    def __init__(self, parts: _Parts, supervisor: Supervisor, sweeps_per_commit: int) -> None:
        self._config = parts.config
        self._hardware = parts.hardware
        self._clock = parts.clock
        self._sampler = parts.sampler
        self._keeper = parts.keeper
        self._signals = parts.signals
        self._forwarder = parts.forwarder
        self._order = parts.order
        self._supervisor = supervisor
        self._sweeps_per_commit = sweeps_per_commit
        self._waiting: list[UnnumberedReading] = []
        self._done = 0
        self._mended_s = self._clock.stamp().boot_s

    def run(
        self, stop: threading.Event, end_after_s: float | None, after_sweep: Callable[[int], None]
    ) -> None:
        started_s = due_s = self._clock.stamp().boot_s
        while not stop.is_set() and (end_after_s is None or due_s - started_s <= end_after_s):
            well = self._sweep()
            self._supervisor.ready(self._status())
            if well:
                self._supervisor.alive(self._status())
            after_sweep(self._done)
            period_s = self._period_s(due_s - started_s)
            now_s = self._clock.stamp().boot_s
            # The next moment of the grid; moments that a slow bus let pass are not made up for.
            due_s += period_s * max(1, -(-(now_s - due_s) // period_s))
            self._wait(stop, due_s, well)

    def end(self) -> None:
        """Spool what the probes still hold."""
        rows = self._sampler.close()
        self._keep(rows, force=True)

    def _sweep(self) -> bool:
        sweep = self._sampler.sweep()
        self._done += 1
        self._mend_pins()
        rows = [*sweep.rows, *self._contact_rows(sweep.rows)]
        stored = self._keep(rows, force=self._done % self._sweeps_per_commit == 0)
        return sweep.finished and stored

    def _mend_pins(self) -> None:
        now_s = self._clock.stamp().boot_s
        if self._hardware.pin_faults and now_s - self._mended_s >= MEND_EVERY_S:
            self._mended_s = now_s
            self._hardware.mend_pins()

    def _contact_rows(self, rows: list[UnnumberedReading]) -> list[UnnumberedReading]:
        changes = [] if self._hardware.contacts is None else self._hardware.contacts.changes()
        self._signals.take_sweep(rows, changes, self._clock.stamp().boot_s)
        return [contact_row(change) for change in changes]

    def _keep(self, rows: list[UnnumberedReading], *, force: bool) -> bool:
        self._waiting += rows
        if not force or not self._waiting:
            return True
        stored = self._keeper.store(self._waiting, self._clock.stamp().boot_s)
        self._waiting = []
        self._forwarder.wake.set()
        return stored

    def _wait(self, stop: threading.Event, due_s: float, well: bool) -> None:
        """Wait for the next sweep in pieces short enough for the watchdog and for the contacts."""
        watchdog_s = self._supervisor.watchdog_s
        piece_s = min(watchdog_s / 3 if watchdog_s else 600.0, 1.0 if self._hardware.contacts else 600.0)
        while (left_s := due_s - self._clock.stamp().boot_s) > 1e-6:
            if self._clock.wait(stop, min(left_s, piece_s)):
                return
            if watchdog_s and well:
                self._supervisor.alive()
            if self._hardware.contacts is not None:
                rows = self._contact_rows([])
                if rows:
                    self._keep(rows, force=True)

    def _period_s(self, age_s: float) -> float:
        order = self._order
        if order.period_s is not None and self._clock.stamp().boot_s - order.at_s < ORDER_HOLDS_S:
            return order.period_s
        return self._config.periods.own(age_s)

    def _status(self) -> str:
        troubles = (self._keeper.trouble, self._forwarder.trouble, pin_faults(self._hardware))
        trouble = "; ".join(text for text in troubles if text)
        return f"{self._done} sweeps, {self._keeper.pending} rows to send" + (
            f"; {trouble}" if trouble else ""
        )


def pin_faults(hardware: Hardware) -> str | None:
    """Return what is wrong with the pins, in one line; empty where nothing is, None where none is wired."""
    faults = hardware.pin_faults
    return None if faults is None else "; ".join(faults.values())


def _drain(forwarder: Forwarder, keeper: Keeper, drain_s: float) -> None:
    """Send what is left, for at most `drain_s` real seconds or until the service does not answer."""
    clock = SystemClock()
    until_s = clock.stamp().boot_s + drain_s
    while keeper.pending and clock.stamp().boot_s < until_s:
        if forwarder.step() is ForwardStep.FAILED:
            log.warning("%d rows are left in the spool; they are sent after the next start", keeper.pending)
            return


def open_hardware(config: StationConfig, clock: Clock, folder: Path) -> Hardware:
    """Open what the station file names: a Pi, or the bench, which works in `folder`. Raises HardwareError."""
    if config.wiring.hardware == "pi":
        return open_pi(config.wiring, clock)
    traces = {
        probe.id: from_text(_bench_text(config, probe.id, probe.bench), config.path.parent)
        for probe in config.wiring.all_probes
    }
    return Bench(config.wiring, clock, folder, traces).hardware


def _bench_text(config: StationConfig, probe: str, text: str | None) -> str:
    if text is None:
        raise BadSettings(
            f"{config.path}: [[probe]] {probe}",
            fact("station-bench-trace"),
            allowed=fact("station-bench-traces"),
            remedy=fact("station-bench-add"),
        )
    return text


def run_from_file(path: Path | str) -> int:
    """Do as `pourlog station FILE`: run until SIGTERM or SIGINT. Raises BadSettings and HardwareError."""
    config = station_from_file(path)
    clock = SystemClock()
    stop = threading.Event()
    with stop_on_signals(stop), ExitStack() as cleanup:
        # A Pi's station needs no room for files of its own: it starts on a full disk too.
        folder = Path()
        if config.wiring.hardware == "bench":
            folder = Path(cleanup.enter_context(tempfile.TemporaryDirectory(prefix="pourlog-bench-")))
        return run_station(config, open_hardware(config, clock, folder), clock, stop)


def relay_safe(path: Path | str, factory: PinFactory = pi_pins) -> int:
    """Do as `pourlog relay-safe FILE`: drive lamp, buzzer and fan off, whatever happened before.

    For ExecStopPost: a daemon that was killed cannot do it itself. Raises BadSettings, and HardwareMissing with every
    output that could not be driven, after all others were.
    """
    config = station_from_file(path)
    if config.wiring.hardware != "pi" or not config.wiring.pins.any:
        return 0
    outputs = Outputs(config.wiring.pins, factory)
    outputs.close()
    if outputs.faults:
        raise HardwareMissing(f"not switched off: {'; '.join(outputs.faults.values())}")
    return 0


__all__ = [
    "HardwareError",
    "StationConfig",
    "open_hardware",
    "relay_safe",
    "run_from_file",
    "run_station",
    "station_from_file",
]
