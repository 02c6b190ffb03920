"""The alarms of one pour: readings and facts come in, the alarms move, and what changed goes out.

No clock, no file, no network. What changes with time is in `to_dict()`; limits and prediction come from the plan and
the frozen prediction (`Setup`) each time. A book read back goes on exactly as if it had never been closed.

A `Transition` names its subject: "pour", "probe:<id>", "station:<name>" or "service"; an alarm's key is
"<kind>/<subject>".
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from logger.alarms import actions
from logger.alarms.band import Expected
from logger.alarms.conditions import core as core_conditions
from logger.alarms.conditions import equipment, heat, surroundings
from logger.alarms.inputs import AlarmLimits, LiveReading, WatchFacts, WetContact
from logger.alarms.kind import Kind
from logger.alarms.registry import KINDS
from logger.alarms.signal import ProbeSignal, coldest
from logger.alarms.state import NORMAL, AlarmState, AlarmStep, Observation, Phase, Transition, step, tick
from logger.alarms.state_json import JsonTable, state_from_dict, state_to_dict
from logger.errors import NotFound
from logger.facts import fact
from logger.units import HOUR_MS


@dataclass(frozen=True, slots=True)
class Setup:
    """What does not change while a pour is watched. `limits` None: no pour is judged, only station and service."""

    started_ms: int
    limits: AlarmLimits | None = field(default_factory=AlarmLimits)
    expected: Expected | None = None


@dataclass(frozen=True, slots=True)
class AlarmEntry:
    """One alarm as a page shows it."""

    key: str
    kind: Kind
    subject: str
    state: AlarmState


class AlarmBook:
    """The alarms of one pour. Not for several threads at once."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.now_ms = setup.started_ms
        self._states: dict[str, AlarmState] = {}
        self._signals: dict[str, ProbeSignal] = {}
        self._arrived_ms: dict[str, int] = {}  # station → when readings last came in
        self._newest_ms: dict[str, int] = {}  # station → time of its newest reading
        self._resumed_ms: dict[str, int] = {}  # station → time of its first reading after a gap
        self._forecast_ms = -1  # the last forecast judged
        self._air_ms = -1
        self._contacts: dict[str, WetContact] = {}  # as each last reported
        self._changes: list[Transition] = []
        self._index()

    # ---- what comes in -------------------------------------------------------------------------

    def take(self, samples: Sequence[LiveReading], facts: WatchFacts, now_ms: int) -> list[Transition]:
        """Judge what has come in and the time that has passed; return the changes.

        Call it every few seconds, with no samples too: time alone moves alarms.
        """
        self.now_ms = max(now_ms, self.now_ms)
        self._changes = []
        for sample in samples:
            self._take_one(sample)
        reporting = {sample.station for sample in samples}
        lost = self._lost(reporting)
        called = self._judge_cores(facts, {sample.probe for sample in samples}, lost)
        for name, observation in lost.items():
            # core-unwatched speaks for the lost core probe as well: no second alarm for one cause.
            self._observe(
                f"probe-lost/station:{name}",
                Observation(None, observation.at_ms) if name in called else observation,
            )
        self._judge_stations(facts)
        self._judge_facts(facts)
        self._let_time_pass()
        return self._changes

    def _take_one(self, sample: LiveReading) -> None:
        self._arrived_ms[sample.station] = self.now_ms
        signal = self._signals.get(sample.probe)
        if signal is None or signal.place != sample.place:
            signal = self._add_probe(sample)
        newest = self._newest_ms.get(sample.station, sample.at_ms)
        if sample.at_ms - newest > max(equipment.ALSO_MS, 1400 * signal.period_s):
            self._resumed_ms[sample.station] = sample.at_ms
        self._newest_ms[sample.station] = max(newest, sample.at_ms)
        believed = signal.take(sample)
        setup = self.setup
        if signal.base != "core" or setup.limits is None:  # a core's: see _judge_cores
            self._observe(f"probe-doubtful/probe:{signal.probe}", equipment.probe_doubtful(signal, self._all))
        if not believed or setup.limits is None:
            return
        if signal.base == "core":
            self._observe("core-hot/pour", heat.core_hot(self._cores, signal, setup.limits))
            # Once core-hot is up, hotter-than-predicted is not raised beside it.
            open_ = self.state("hotter-than-predicted").up or not self.state("core-hot").up
            if setup.expected is not None and open_:
                observation = heat.hotter_than_predicted(
                    self._cores, signal, setup.expected, setup.started_ms
                )
                self._observe("hotter-than-predicted/pour", observation)
        elif signal.base == "surface" and self._cores:
            room = self._rooms[0] if self._rooms else None
            observation = heat.surface_heated(signal, self._cores[0], room, setup.started_ms)
            self._observe("surface-heated/pour", observation)
            self._observe("spread-too-wide/pour", heat.spread_too_wide(self._cores[0], signal, setup.limits))
        elif signal.base == "room":
            self._observe("room-cold/pour", surroundings.room_cold(self._rooms, signal, setup.limits))
            self._observe("room-hot/pour", surroundings.room_hot(self._rooms, signal, setup.limits))

    def _add_probe(self, sample: LiveReading) -> ProbeSignal:
        """Add a probe that is new, or has moved to another place. It replaces a lost one of its place."""
        for old in [
            t for t in self._signals.values() if t.place == sample.place and t.station == sample.station
        ]:
            if sample.at_ms - (old.good_ms or old.first_ms) >= equipment.ALSO_MS:
                self.forget_probe(old.probe)
        signal = ProbeSignal(sample.place, sample.probe, sample.station, sample.at_ms, sample.at_ms)
        self._signals[sample.probe] = signal
        self._index()
        return signal

    def forget_probe(self, probe: str) -> None:
        """Drop a probe that is no longer expected: replaced, or taken away. Its own doubts go with it."""
        self._signals.pop(probe, None)
        self._states.pop(f"probe-doubtful/probe:{probe}", None)
        self._index()

    def _index(self) -> None:
        self._all = list(self._signals.values())
        self._cores = [t for t in self._all if t.base == "core"]
        self._rooms = [t for t in self._all if t.base == "room"]
        self._surfaces = [t for t in self._all if t.base == "surface"]

    # ---- judging -------------------------------------------------------------------------------

    def _judge_stations(self, facts: WatchFacts) -> None:
        for station in facts.stations:
            subject, started = f"station:{station.station}", self.setup.started_ms
            arrived = self._arrived_ms.get(station.station, started)
            seen_ms = max(arrived, station.last_seen_ms or 0, started)
            period_s = max((t.period_s for t in self._all if t.station == station.station), default=0.0)
            silent = equipment.station_silent(station, seen_ms, arrived, period_s, self.now_ms)
            self._observe(f"station-silent/{subject}", silent)
            self._observe(f"clock-unset/{subject}", equipment.clock_unset(station, self.now_ms))
            self._observe(f"clock-wrong/{subject}", equipment.clock_wrong(station, self.now_ms))
            self._observe(f"power-low/{subject}", equipment.power_low(station, self.now_ms))
            self._observe(f"pins-failed/{subject}", equipment.pins_failed(station, self.now_ms))
            disk = equipment.disk_low(station.disk_free_mb, station.station, self.now_ms)
            self._observe(f"disk-low/{subject}", disk)

    def _lost(self, reporting: set[str]) -> dict[str, Observation]:
        """Judge the lost probes of the stations that have just reported; a silent one says nothing about its probes."""
        losses = {}
        for name in sorted(reporting):
            signals = [t for t in self._all if t.station == name]
            if signals and not self.state("station-silent", f"station:{name}").up:
                up = self.state("probe-lost", f"station:{name}").up
                losses[name] = equipment.probe_lost(signals, up, self._resumed_ms.get(name, 0))
        return losses

    def _judge_cores(self, facts: WatchFacts, read: set[str], lost: Mapping[str, Observation]) -> set[str]:
        """Judge whether anybody sees the core, and each core's doubt.

        `read`: the probes just read. Return the stations for whose lost core probe core-unwatched speaks.
        """
        limits, expected = self.setup.limits, self.setup.expected
        if limits is None or not self._cores or not (read or lost):
            return set()
        hours = (self.now_ms - self.setup.started_ms) / HOUR_MS
        expected_c = None if expected is None else expected.core_c(hours)
        cores = []
        for signal in self._cores:
            doubt = core_conditions.misplaced(signal, self._all, limits, expected_c)
            newest = self._newest_ms.get(signal.station, signal.seen_ms)
            cores.append(
                core_conditions.CoreStatus(
                    signal,
                    equipment.without_ms(signal, newest, self._resumed_ms.get(signal.station, 0)),
                    newest,
                    doubt or equipment.probe_doubtful(signal, self._all),
                    lost.get(signal.station),
                )
            )
        heats = core_conditions.may_heat(hours, expected, facts.forecast)
        unwatched = core_conditions.core_unwatched(cores, heats)
        self._observe("core-unwatched/pour", unwatched)
        for core in cores:
            if core.signal.probe in read:
                # core-unwatched speaks for the doubt as well.
                doubt = Observation(None, core.doubt.at_ms) if unwatched.active else core.doubt
                self._observe(f"probe-doubtful/probe:{core.signal.probe}", doubt)
        return {core.signal.station for core in cores if core.gone} if unwatched.active else set()

    def _judge_facts(self, facts: WatchFacts) -> None:
        now, limits, started = self.now_ms, self.setup.limits, self.setup.started_ms
        service = facts.service
        if service is not None:
            self._observe(
                "disk-low/service", equipment.disk_low(service.disk_free_mb, fact("the-service"), now)
            )
            self._observe("message-undelivered/service", equipment.message_undelivered(service, now))
        if limits is None:
            return
        answer, is_new = facts.forecast, False
        if answer is not None and answer.made_at_ms > self._forecast_ms:
            self._forecast_ms, is_new = answer.made_at_ms, True
            # Once core-hot is up, core-will-overheat is not raised beside it.
            hot = self.state("core-hot")
            past = hot.up or (hot.returned_ms is not None and answer.made_at_ms <= hot.returned_ms)
            if self.state("core-will-overheat").up or not past:
                observation = heat.core_will_overheat(answer, limits, started)
                self._observe("core-will-overheat/pour", observation)
            self._observe("cure-behind/pour", heat.cure_behind(answer, limits))
        fan = facts.fan
        if fan is not None:
            estimate = answer is not None and answer.fan_cooling is not None
            if is_new or not fan.commanded or fan.turning is False or not estimate:
                self._observe("fan-not-cooling/pour", heat.fan_not_cooling(fan, answer, now))
        # A contact reports when it changes: until then it is as it was.
        self._contacts |= {contact.name: contact for contact in facts.contacts}
        if self._contacts or facts.looks is not None:
            observation = surroundings.wet_under_form(list(self._contacts.values()), facts.looks, now)
            self._observe("wet-under-form/pour", observation)
        if facts.looks is not None:
            self._observe("look-due/pour", surroundings.look_due(facts.looks, now))
        if facts.air is not None and facts.air.at_ms > self._air_ms:
            self._air_ms = facts.air.at_ms
            room_c, surface_c = coldest(self._rooms), coldest(self._surfaces)
            self._observe("air-damp/pour", surroundings.air_damp(facts.air, room_c, surface_c, limits))

    def _observe(self, key: str, observation: Observation) -> None:
        state = self._states.get(key)
        if state is None:
            if not observation.active:
                return  # nothing is wrong and nothing ever was: nearly always so
            state = NORMAL
        name, _, subject = key.partition("/")
        self._moved(key, step(KINDS[name], state, observation, self.now_ms, subject))

    def _moved(self, key: str, moved: AlarmStep) -> list[Transition]:
        if moved.state is not NORMAL:
            self._states[key] = moved.state
        self._changes.extend(moved.changes)
        return list(moved.changes)

    def _let_time_pass(self) -> None:
        for key, state in list(self._states.items()):
            if state.phase is not Phase.NORMAL or state.quiet:
                name, _, subject = key.partition("/")
                self._moved(key, tick(KINDS[name], state, self.now_ms, subject))

    # ---- what people do ------------------------------------------------------------------------

    def acknowledge(self, key: str, by: str, now_ms: int, activation: int | None = None) -> list[Transition]:
        """Acknowledge an alarm. Raises NotFound, NotAllowed or BadInput: see actions.acknowledge."""
        kind, subject, state = self._alarm(key)
        act = self._act(by, now_ms)
        return self._moved(key, actions.acknowledge(kind, state, act, subject, activation))

    def shelve(self, key: str, by: str, now_ms: int, hours: float, reason: str = "") -> list[Transition]:
        """Keep an alarm quiet for some hours. Raises NotFound, OutOfRange or BadInput: see actions.shelve."""
        kind, subject, state = self._alarm(key)
        return self._moved(key, actions.shelve(kind, state, self._act(by, now_ms, reason), hours, subject))

    def unshelve(self, key: str, by: str, now_ms: int) -> list[Transition]:
        """Take an alarm off the shelf. Raises NotFound or BadInput."""
        kind, subject, state = self._alarm(key)
        return self._moved(key, actions.unshelve(kind, state, self._act(by, now_ms), subject))

    def take_out_of_service(
        self, key: str, by: str, reason: str, now_ms: int, hours: float | None = None
    ) -> list[Transition]:
        """Keep an alarm quiet for a reason. Raises NotFound, OutOfRange or BadInput: see actions."""
        kind, subject, state = self._alarm(key)
        act = self._act(by, now_ms, reason)
        return self._moved(key, actions.take_out_of_service(kind, state, act, hours, subject))

    def return_to_service(self, key: str, by: str, now_ms: int) -> list[Transition]:
        """Put an alarm back in service. Raises NotFound or BadInput."""
        kind, subject, state = self._alarm(key)
        return self._moved(key, actions.return_to_service(kind, state, self._act(by, now_ms), subject))

    def _act(self, by: str, now_ms: int, reason: str = "") -> actions.Act:
        act = actions.Act(by, max(now_ms, self.now_ms), reason)
        self.now_ms = act.now_ms
        self._changes = []
        return act

    def _alarm(self, key: str) -> tuple[Kind, str, AlarmState]:
        name, slash, subject = key.partition("/")
        if not slash or name not in KINDS or not subject:
            raise NotFound(fact("no-such-alarm-key", key=key))
        return KINDS[name], subject, self._states.get(key, NORMAL)

    # ---- how it stands -------------------------------------------------------------------------

    def state(self, kind: str, subject: str = "pour") -> AlarmState:
        """Return the state of one alarm; normal when it was never raised."""
        return self._states.get(f"{kind}/{subject}", NORMAL)

    def look_up(self, key: str) -> tuple[Kind, AlarmState]:
        """Return kind and state of the alarm with that key. Raises NotFound for a key that names no alarm."""
        kind, _subject, state = self._alarm(key)
        return kind, state

    def entries(self) -> Iterator[AlarmEntry]:
        """Yield every alarm that is not plainly normal, in the order of the table."""
        for kind in KINDS.values():
            for key, state in sorted(self._states.items()):
                name, _, subject = key.partition("/")
                if name == kind.name and (state.phase is not Phase.NORMAL or state.quiet):
                    yield AlarmEntry(key, kind, subject, state)

    def believed_c(self, place: str) -> float | None:
        """Return the last believed temperature at a place; None when there is none."""
        return next((t.believed_c for t in self._all if t.place == place), None)

    @property
    def signals(self) -> tuple[ProbeSignal, ...]:
        """The signal of each probe."""
        return tuple(self._all)

    @property
    def doubted(self) -> frozenset[str]:
        """Probes whose readings are doubted."""
        unwatched = self.state("core-unwatched").up
        return frozenset(
            t.probe
            for t in self._all
            if self.state("probe-doubtful", f"probe:{t.probe}").up or (unwatched and t.base == "core")
        )

    # ---- written out and read back -------------------------------------------------------------

    def to_dict(self) -> JsonTable:
        """Return JSON-safe values of everything that changes."""
        return {
            "version": 1,
            "now_ms": self.now_ms,
            "forecast_ms": self._forecast_ms,
            "air_ms": self._air_ms,
            "contacts": {name: [contact.wet, contact.at_ms] for name, contact in self._contacts.items()},
            "arrived_ms": dict(self._arrived_ms),
            "newest_ms": dict(self._newest_ms),
            "resumed_ms": dict(self._resumed_ms),
            "states": {key: state_to_dict(state) for key, state in self._states.items()},
            "tracks": [signal.to_dict() for signal in self._signals.values()],
        }

    @classmethod
    def from_dict(cls, setup: Setup, table: JsonTable) -> AlarmBook:
        """Return the book that `to_dict` wrote. Raises KeyError, TypeError or ValueError on anything else."""
        if table["version"] != 1:
            raise ValueError(f"watchbook version {table['version']!r} is not known here: upgrade the program")
        book = cls(setup)
        book.now_ms = int(table["now_ms"])
        book._forecast_ms = int(table["forecast_ms"])
        book._air_ms = int(table["air_ms"])
        book._contacts = {
            name: WetContact(name, wet, at_ms) for name, (wet, at_ms) in table["contacts"].items()
        }
        book._arrived_ms = {name: int(at_ms) for name, at_ms in table["arrived_ms"].items()}
        book._newest_ms = {name: int(at_ms) for name, at_ms in table["newest_ms"].items()}
        book._resumed_ms = {name: int(at_ms) for name, at_ms in table["resumed_ms"].items()}
        book._states = {key: state_from_dict(values) for key, values in table["states"].items()}
        book._signals = {values["probe"]: ProbeSignal.from_dict(values) for values in table["tracks"]}
        book._index()
        return book
