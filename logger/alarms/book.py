"""The watch over one pour: takes readings and facts, moves its alarms, says what changed.

No clock, no file, no network. What changes with time is in `to_dict()`; limits and prediction come from the plan and
the frozen prediction (`Setup`) each time. A book read back goes on exactly as if it had never been closed.

A `Transition` names its subject: "pour", "probe:<id>", "station:<name>" or "service"; an alarm's key is
"<kind>/<subject>".
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from logger.alarms import actions
from logger.alarms.band import Expected
from logger.alarms.conditions import core as core_conditions
from logger.alarms.conditions import equipment, heat, surroundings
from logger.alarms.inputs import AlarmLimits, LiveReading, WatchFacts, WetContact
from logger.alarms.kind import Kind
from logger.alarms.registry import KINDS
from logger.alarms.signal import ProbeSignal, coldest
from logger.alarms.state import NORMAL, AlarmState, AlarmStep, Observation, Phase, Transition, step, tick
from logger.alarms.state_json import state_from_dict, state_to_dict
from logger.errors import NotFound
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
        self._tracks: dict[str, ProbeSignal] = {}
        self._arrived_ms: dict[str, int] = {}  # station → when readings last came in
        self._newest_ms: dict[str, int] = {}  # station → time of its newest reading
        self._resumed_ms: dict[str, int] = {}  # station → time of its first reading after a gap
        self._forecast_ms = -1  # the last forecast judged
        self._air_ms = -1
        self._contacts: dict[str, WetContact] = {}  # what each was last known to be
        self._changes: list[Transition] = []
        self._index()

    # ---- what comes in -------------------------------------------------------------------------

    def take(self, samples: Sequence[LiveReading], facts: WatchFacts, now_ms: int) -> list[Transition]:
        """Judge what has come in and the time that has passed. Call it with no samples, too, every few seconds."""
        self.now_ms = max(now_ms, self.now_ms)
        self._changes = []
        for sample in samples:
            self._take_one(sample)
        heard = {sample.station for sample in samples}
        lost = self._lost(heard)
        called = self._judge_cores(facts, {sample.probe for sample in samples}, lost)
        for name, seen in lost.items():
            # Where it is said that nobody sees the core, it is not said again that its probe is lost.
            self._see(f"probe-lost/station:{name}", Observation(None, seen.at_ms) if name in called else seen)
        self._judge_stations(facts)
        self._judge_facts(facts)
        self._let_time_pass()
        return self._changes

    def _take_one(self, sample: LiveReading) -> None:
        self._arrived_ms[sample.station] = self.now_ms
        track = self._tracks.get(sample.probe)
        if track is None or track.place != sample.place:
            track = self._meet(sample)
        newest = self._newest_ms.get(sample.station, sample.at_ms)
        if sample.at_ms - newest > max(equipment.ALSO_MS, 1400 * track.period_s):
            self._resumed_ms[sample.station] = sample.at_ms
        self._newest_ms[sample.station] = max(newest, sample.at_ms)
        believed = track.take(sample)
        setup = self.setup
        if track.base != "core" or setup.limits is None:  # a core's: see _judge_cores
            self._see(f"probe-doubtful/probe:{track.probe}", equipment.probe_doubtful(track, self._all))
        if not believed or setup.limits is None:
            return
        if track.base == "core":
            self._see("core-hot/pour", heat.core_hot(self._cores, track, setup.limits))
            # Once it is too hot, that it is hotter than predicted is no news.
            news = self.state("hotter-than-predicted").up or not self.state("core-hot").up
            if setup.expected is not None and news:
                seen = heat.hotter_than_predicted(self._cores, track, setup.expected, setup.started_ms)
                self._see("hotter-than-predicted/pour", seen)
        elif track.base == "surface" and self._cores:
            room = self._rooms[0] if self._rooms else None
            seen = heat.surface_heated(track, self._cores[0], room, setup.started_ms)
            self._see("surface-heated/pour", seen)
            self._see("spread-too-wide/pour", heat.spread_too_wide(self._cores[0], track, setup.limits))
        elif track.base == "room":
            self._see("room-cold/pour", surroundings.room_cold(self._rooms, track, setup.limits))
            self._see("room-hot/pour", surroundings.room_hot(self._rooms, track, setup.limits))

    def _meet(self, sample: LiveReading) -> ProbeSignal:
        """Return a probe seen for the first time, or moved to another place. It replaces a lost one of its place."""
        for old in [
            t for t in self._tracks.values() if t.place == sample.place and t.station == sample.station
        ]:
            if sample.at_ms - (old.good_ms or old.first_ms) >= equipment.ALSO_MS:
                self.forget_probe(old.probe)
        track = ProbeSignal(sample.place, sample.probe, sample.station, sample.at_ms, sample.at_ms)
        self._tracks[sample.probe] = track
        self._index()
        return track

    def forget_probe(self, probe: str) -> None:
        """No longer expected: replaced, or taken away. Its own doubts go with it."""
        self._tracks.pop(probe, None)
        self._states.pop(f"probe-doubtful/probe:{probe}", None)
        self._index()

    def _index(self) -> None:
        self._all = list(self._tracks.values())
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
            self._see(f"station-silent/{subject}", silent)
            self._see(f"clock-unset/{subject}", equipment.clock_unset(station, self.now_ms))
            self._see(f"clock-wrong/{subject}", equipment.clock_wrong(station, self.now_ms))
            self._see(f"power-low/{subject}", equipment.power_low(station, self.now_ms))
            self._see(f"pins-failed/{subject}", equipment.pins_failed(station, self.now_ms))
            disk = equipment.disk_low(station.disk_free_mb, station.station, self.now_ms)
            self._see(f"disk-low/{subject}", disk)

    def _lost(self, heard: set[str]) -> dict[str, Observation]:
        """Station → which of its probes give no reading, of those that have just been heard."""
        found = {}
        for name in sorted(heard):
            tracks = [t for t in self._all if t.station == name]
            if tracks and not self.state("station-silent", f"station:{name}").up:
                up = self.state("probe-lost", f"station:{name}").up
                found[name] = equipment.probe_lost(tracks, up, self._resumed_ms.get(name, 0))
        return found

    def _judge_cores(self, facts: WatchFacts, read: set[str], lost: Mapping[str, Observation]) -> set[str]:
        """Judge whether anybody sees the core, and each core's doubt; the stations whose lost core is called by it."""
        limits, expected = self.setup.limits, self.setup.expected
        if limits is None or not self._cores or not (read or lost):
            return set()
        hours = (self.now_ms - self.setup.started_ms) / HOUR_MS
        expected_c = None if expected is None else expected.core_c(hours)
        cores = []
        for track in self._cores:
            doubt = core_conditions.misplaced(track, self._all, limits, expected_c)
            newest = self._newest_ms.get(track.station, track.seen_ms)
            cores.append(
                core_conditions.CoreSeen(
                    track,
                    equipment.without_ms(track, newest, self._resumed_ms.get(track.station, 0)),
                    newest,
                    doubt or equipment.probe_doubtful(track, self._all),
                    lost.get(track.station),
                )
            )
        heats = core_conditions.may_heat(hours, expected, facts.forecast)
        found = core_conditions.core_unwatched(cores, heats)
        self._see("core-unwatched/pour", found)
        for core in cores:
            if core.track.probe in read:
                # Where it is said that nobody sees the core, the doubt is no more news.
                doubt = Observation(None, core.doubt.at_ms) if found.active else core.doubt
                self._see(f"probe-doubtful/probe:{core.track.probe}", doubt)
        return {core.track.station for core in cores if core.gone} if found.active else set()

    def _judge_facts(self, facts: WatchFacts) -> None:
        now, limits, started = self.now_ms, self.setup.limits, self.setup.started_ms
        service = facts.service
        if service is not None:
            self._see("disk-low/service", equipment.disk_low(service.disk_free_mb, "the service", now))
            self._see("message-undelivered/service", equipment.message_undelivered(service, now))
        if limits is None:
            return
        answer, news = facts.forecast, False
        if answer is not None and answer.made_at_ms > self._forecast_ms:
            self._forecast_ms, news = answer.made_at_ms, True
            # Once it is too hot, that it will be is no news.
            hot = self.state("core-hot")
            past = hot.up or (hot.returned_ms is not None and answer.made_at_ms <= hot.returned_ms)
            if self.state("core-will-overheat").up or not past:
                seen = heat.core_will_overheat(answer, limits, started)
                self._see("core-will-overheat/pour", seen)
            self._see("cure-behind/pour", heat.cure_behind(answer, limits))
        fan = facts.fan
        if fan is not None:
            estimate = answer is not None and answer.fan_cooling is not None
            if news or not fan.commanded or fan.turning is False or not estimate:
                self._see("fan-not-cooling/pour", heat.fan_not_cooling(fan, answer, now))
        # A contact reports when it changes: until then it is as it was.
        self._contacts |= {contact.name: contact for contact in facts.contacts}
        if self._contacts or facts.looks is not None:
            seen = surroundings.wet_under_form(list(self._contacts.values()), facts.looks, now)
            self._see("wet-under-form/pour", seen)
        if facts.looks is not None:
            self._see("look-due/pour", surroundings.look_due(facts.looks, now))
        if facts.air is not None and facts.air.at_ms > self._air_ms:
            self._air_ms = facts.air.at_ms
            room_c, surface_c = coldest(self._rooms), coldest(self._surfaces)
            self._see("air-damp/pour", surroundings.air_damp(facts.air, room_c, surface_c, limits))

    def _see(self, key: str, seen: Observation) -> None:
        state = self._states.get(key)
        if state is None:
            if not seen.active:
                return  # nothing is wrong and nothing ever was: nearly always so
            state = NORMAL
        name, _, subject = key.partition("/")
        self._moved(key, step(KINDS[name], state, seen, self.now_ms, subject))

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
        """Somebody takes it. Raises NotFound, NotAllowed or BadInput: see acts.acknowledge."""
        kind, subject, state = self._known(key)
        return self._moved(key, actions.acknowledge(kind, state, by, self._at(now_ms), subject, activation))

    def shelve(self, key: str, by: str, now_ms: int, hours: float, reason: str = "") -> list[Transition]:
        """Quiet for some hours. Raises NotFound, OutOfRange or BadInput: see acts.shelve."""
        kind, subject, state = self._known(key)
        return self._moved(key, actions.shelve(kind, state, by, self._at(now_ms), hours, subject, reason))

    def unshelve(self, key: str, by: str, now_ms: int) -> list[Transition]:
        """Off the shelf. Raises NotFound or BadInput."""
        kind, subject, state = self._known(key)
        return self._moved(key, actions.unshelve(kind, state, by, self._at(now_ms), subject))

    def take_out_of_service(
        self, key: str, by: str, reason: str, now_ms: int, hours: float | None = None
    ) -> list[Transition]:
        """Quiet for a reason. Raises NotFound, OutOfRange or BadInput: see acts.take_out_of_service."""
        kind, subject, state = self._known(key)
        moved = actions.take_out_of_service(kind, state, by, reason, self._at(now_ms), hours, subject)
        return self._moved(key, moved)

    def return_to_service(self, key: str, by: str, now_ms: int) -> list[Transition]:
        """Back in service. Raises NotFound or BadInput."""
        kind, subject, state = self._known(key)
        return self._moved(key, actions.return_to_service(kind, state, by, self._at(now_ms), subject))

    def _at(self, now_ms: int) -> int:
        self.now_ms = max(now_ms, self.now_ms)
        self._changes = []
        return self.now_ms

    def _known(self, key: str) -> tuple[Kind, str, AlarmState]:
        name, slash, subject = key.partition("/")
        if not slash or name not in KINDS or not subject:
            raise NotFound(f"no alarm is named {key!r}; give <kind>/<subject>, such as core-hot/pour")
        return KINDS[name], subject, self._states.get(key, NORMAL)

    # ---- what it knows -------------------------------------------------------------------------

    def state(self, kind: str, subject: str = "pour") -> AlarmState:
        """Return the state of one alarm; normal when nothing has ever been seen."""
        return self._states.get(f"{kind}/{subject}", NORMAL)

    def look_up(self, key: str) -> tuple[Kind, AlarmState]:
        """Kind and state of the alarm with that key. Raises NotFound for a key that names no alarm."""
        kind, _subject, state = self._known(key)
        return kind, state

    def entries(self) -> Iterator[AlarmEntry]:
        """Every alarm that is not plainly normal, in the order of the table."""
        for kind in KINDS.values():
            for key, state in sorted(self._states.items()):
                name, _, subject = key.partition("/")
                if name == kind.name and (state.phase is not Phase.NORMAL or state.quiet):
                    yield AlarmEntry(key, kind, subject, state)

    def believed_c(self, place: str) -> float | None:
        """Return the last believed temperature at a place; None when there is none."""
        return next((t.believed_c for t in self._all if t.place == place), None)

    @property
    def tracks(self) -> tuple[ProbeSignal, ...]:
        """What is known of each probe."""
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

    # ---- kept and read back --------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """JSON-safe values of everything that changes."""
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
            "tracks": [track.to_dict() for track in self._tracks.values()],
        }

    @classmethod
    def from_dict(cls, setup: Setup, table: dict[str, Any]) -> AlarmBook:
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
        book._tracks = {values["probe"]: ProbeSignal.from_dict(values) for values in table["tracks"]}
        book._index()
        return book
