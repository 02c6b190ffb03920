"""Drills for the alarms: random walks over the life of one alarm and of a whole watchbook, and simulated pours.

    python tests/bench/alarms.py [--steps 1000000] [--pours 300]

The tests in tests/logger/alarms run the same drills, shorter. All temperature curves here are invented.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from logger.alarms import actions
from logger.alarms.band import expect
from logger.alarms.book import AlarmBook, Setup
from logger.alarms.inputs import AlarmLimits, LiveReading, LooksSummary, StationFacts, WatchFacts, WetContact
from logger.alarms.kind import Kind, Priority
from logger.alarms.rates import Span, rates
from logger.alarms.registry import KINDS
from logger.alarms.state import FOLLOWS, NORMAL, UP, AlarmState, Observation, Phase, Transition, Why, step
from logger.alarms.state_json import state_from_dict, state_to_dict
from logger.errors import LoggerError

T0 = 1_790_000_000_000
HOUR = 3_600_000


# ---- the life of one alarm -------------------------------------------------------------------


@dataclass
class Oracle:
    """An independent account of when an alarm may return: time known to be inside, without a break."""

    calm_ms: float | None = None
    last_ms: int | None = None

    def hear(self, kind: Kind, seen: Observation) -> bool:
        """Note one observation; True when the alarm may have returned by now."""
        gap = 0 if self.last_ms is None else max(0, seen.at_ms - self.last_ms)
        self.last_ms = max(seen.at_ms, self.last_ms or seen.at_ms)
        if seen.active:
            self.calm_ms = None
            return False
        near = (
            seen.value is not None and seen.limit is not None and abs(seen.value - seen.limit) < kind.deadband
        )
        if near and kind.deadband > 0:
            return False
        if self.calm_ms is None:
            self.calm_ms = 0
        elif gap <= seen.credit_s * 1000:
            self.calm_ms += gap
        return self.calm_ms >= kind.off_delay_s * 1000


class Life:
    """One alarm walked at random, beside a twin that is written out and read back at every step."""

    def __init__(self, kind: Kind, rng: random.Random) -> None:
        self.kind, self.rng = kind, rng
        self.state = self.twin = NORMAL
        self.now = T0
        self.oracle = Oracle()
        self.worst = 0
        self.quiet_since: int | None = None
        self.raised = self.returned = 0
        self.over = False  #: what is mostly true at present; it changes now and then

    def walk(self, steps: int) -> None:
        for _ in range(steps):
            self.one_step()

    def one_step(self) -> None:
        rng = self.rng
        self.now += rng.choice(
            (0, 0, -2_000, 2_000, 5_000, 5_000, 30_000, 30_000, 60_000, 300_000, HOUR, 9 * HOUR)
        )
        roll = rng.random()
        if roll < 0.80:
            self.observe()
        elif roll < 0.92:
            self.act(actions.acknowledge, actions.Act("Jo", self.now))
        elif roll < 0.95:
            self.act(
                actions.shelve,
                actions.Act("Jo", self.now),
                rng.choice((0.1, 0.5, 1.0, 4.0, 12.0, 100.0, 0.0, math.inf)),
            )
        elif roll < 0.96:
            self.act(actions.unshelve, actions.Act("Jo", self.now))
        elif roll < 0.98:
            self.act(
                actions.take_out_of_service,
                actions.Act("Jo", self.now, "broken"),
                rng.choice((None, 1.0, 4.0, 100.0)),
            )
        else:
            self.act(actions.return_to_service, actions.Act("Jo", self.now))

    def observe(self) -> None:
        rng, kind = self.rng, self.kind
        if rng.random() < 0.08:
            self.over = not self.over
        active = rng.choice((self.over,) * 8 + (not self.over, None))
        limit = 60.0 if rng.random() < 0.8 else None
        value = None
        if limit is not None and active is not None:
            value = limit + (1 if active else -1) * rng.choice((0.01, 0.3, 1.0, 3.0, 9.0))
        late = rng.random() < 0.1
        at_ms = self.now - (rng.choice((0, 600_000)) if late else 0)
        seen = Observation(active, at_ms, "because" if active else "", value, limit, rng.choice((1, 1, 1, 2, 3)),
                           late, rng.random() < 0.05, rng.choice((60.0, 450.0)))  # fmt: skip
        before = self.state
        may_return = self.oracle.hear(kind, seen) if active is not None else False
        self.moved(step(kind, self.state, seen, self.now), step(kind, self.twin, seen, self.now))
        fell = before.up and not self.state.up
        if active is None:
            assert not fell, "missing data cleared an alarm"
        if fell:
            assert may_return, f"returned before its time: {before} {seen}"
            self.returned += 1
        if before.up and self.state.up and may_return:
            raise AssertionError(f"did not return in time: {before} {seen}")
        if not before.up:
            self.oracle = Oracle(None, self.state.seen_ms)  # the count of calm time starts with the alarm

    def act(self, what: object, *details: object) -> None:
        assert callable(what)
        try:
            one = what(self.kind, self.state, *details)
        except LoggerError:
            return  # refused, and then nothing may have changed
        self.moved(one, what(self.kind, self.twin, *details))
        assert self.state.up == one.state.up

    def moved(self, one: object, other: object) -> None:
        before = self.state
        self.state = one.state  # type: ignore[attr-defined]
        written = state_to_dict(other.state)  # type: ignore[attr-defined]
        if self.rng.random() < 0.05:
            written = json.loads(json.dumps(written))
        self.twin = state_from_dict(written)
        assert self.state == self.twin, f"a restart changed it: {self.state} {self.twin}"
        self.judge(before, one.changes)  # type: ignore[attr-defined]

    def judge(self, before: AlarmState, changes: tuple[Transition, ...]) -> None:
        phase = before.phase
        for change in changes:
            legal = change.phase == change.before or change.phase in FOLLOWS[change.before]
            assert legal, f"illegal transition {change.before} -> {change.phase}"
            assert change.before == phase, f"a transition is missing before {change}"
            phase = change.phase
            if change.why in (Why.FIRST_TIME, Why.AGAIN):
                self.raised += 1
        assert self.state.phase == phase, f"changed from {phase} to {self.state.phase} without saying so"
        assert self.state.activation - before.activation in (0, 1)
        if self.state.activation == before.activation and before.up and self.state.up:
            assert self.state.severity >= before.severity
        self.judge_quiet()

    def judge_quiet(self) -> None:
        if self.state.shelf is not None:
            shelf = self.state.shelf
            assert shelf.until_ms - shelf.from_ms <= self.kind.shelve_max_h * HOUR
        if self.kind.priority is Priority.HIGH and self.state.out is not None:
            out = self.state.out
            assert out.until_ms is not None
            assert out.until_ms - out.from_ms <= 4 * HOUR


def walk_lives(steps: int, seed: int) -> dict[str, int]:
    """Walk alarms of every kind, `steps` in all; AssertionError on the first thing that must not be."""
    rng = random.Random(seed)
    kinds = list(KINDS.values())
    raised = returned = 0
    per_life = 500
    for i in range(max(1, steps // per_life)):
        life = Life(kinds[i % len(kinds)], rng)
        life.walk(per_life)
        raised += life.raised
        returned += life.returned
    return {"steps": steps, "raised": raised, "returned": returned}


# ---- a whole watchbook -----------------------------------------------------------------------


def walk_book(steps: int, seed: int) -> int:
    """A watchbook at random beside one that is closed and read back at every step; returns how many changes."""
    rng = random.Random(seed)
    setup = Setup(T0, AlarmLimits(), expect([0.0, 10.0, 20.0, 72.0], [20.0, 30.0, 45.0, 21.0]))
    book, twin = AlarmBook(setup), AlarmBook(setup)
    now, core, room, changes = T0, 20.0, 20.0, 0
    for _ in range(steps):
        now += rng.choice((0, -1_000, 2_000, 5_000, 30_000, 30_000, 30_000, 120_000, HOUR))
        core = min(95.0, max(15.0, core + rng.choice((-6, -0.5, -0.1, 0.1, 0.5, 0.8, 6))))
        room = min(33.0, max(12.0, room + rng.choice((-1.5, -0.1, 0.0, 0.1, 1.5))))
        late = rng.random() < 0.1
        at = now - (1_800_000 if late else 0)
        samples = [
            LiveReading(place, probe, at, value if rng.random() < 0.9 else None, None, late, "bench-1")
            for place, probe, value in (
                ("core", "a", 85.0 if rng.random() < 0.02 else core),
                ("surface", "b", 0.6 * core + 8),
                ("room", "c", room),
            )
            if rng.random() < 0.9
        ]
        wet = rng.choice((None, False, False, True))
        overdue = now - 300_000 if rng.random() < 0.3 else None
        facts = WatchFacts(
            stations=(
                StationFacts("bench-1", now if rng.random() < 0.8 else None, rng.random() < 0.8, False),
            ),
            contacts=(WetContact("under", wet, now),),
            looks=LooksSummary(overdue),
        )
        one, other = book.take(samples, facts, now), twin.take(samples, facts, now)
        assert one == other, f"a restart changed what was told: {one} {other}"
        changes += len(one)
        if rng.random() < 0.3:
            for entry in list(book.entries()):
                assert book.acknowledge(entry.key, "Jo", now) == twin.acknowledge(entry.key, "Jo", now)
        written = book.to_dict()
        twin = AlarmBook.from_dict(setup, json.loads(json.dumps(twin.to_dict())))
        assert written == twin.to_dict(), "a restart changed the book"
    return changes


# ---- simulated pours -------------------------------------------------------------------------


@dataclass
class Result:
    """What one simulated pour showed."""

    noise_c: float
    true_excursions: int
    raised: dict[str, int] = field(default_factory=dict)
    delay_s: float | None = None
    chattering: int = 0
    fleeting: int = 0
    floods: int = 0
    alarms: int = 0
    busiest_hour: int = 0
    sweeps: int = 0


LIMITS = AlarmLimits(max_core_c=60.0)


def simulate(
    seed: int, *, noise_c: float | None = None, hot: bool | None = None, thin: bool = False
) -> Result:
    """One three-day pour: invented curves with noise, 1/16 °C steps, drop-outs, power-on readings and opened doors.

    `thin`: every 5 min instead of every 30 s where nothing happens, to be quick.
    """
    rng = random.Random(seed)
    sigma = rng.choice((0.03, 0.1, 0.3)) if noise_c is None else noise_c
    is_hot = rng.random() < 0.4 if hot is None else hot
    room_c, start_c = rng.uniform(19.5, 26.5), rng.uniform(19, 24)
    # A clear margin: within the noise of the limit, nobody can say whether it was crossed.
    rise = rng.uniform(62.5, 95) - room_c if is_hot else rng.uniform(25, 57.5) - room_c
    peak_h, width_h, fall_h = rng.uniform(5, 24), rng.uniform(1.5, 6), rng.uniform(4, 12)
    doors = [rng.uniform(1, 70) for _ in range(rng.randrange(4))]
    outages = [(rng.uniform(1, 70), rng.uniform(0.02, 0.5)) for _ in range(rng.randrange(3))]
    all_fail = rng.uniform(30, 60) if rng.random() < 0.5 else None

    def core_at(h: float) -> float:
        side = width_h if h < peak_h else fall_h
        warm = start_c + (room_c - start_c) * (1 - math.exp(-h / 4))
        return warm + rise * math.exp(-(((h - peak_h) / side) ** 2))

    def room_at(h: float) -> float:
        value = room_c + 0.8 * math.sin(h * math.pi / 12)
        for door in doors:  # an open door: 8 °C down within a minute, open for 5 min, back in some minutes
            if 0 <= h - door < 1:
                value -= 8 * min(1, (h - door) * 60) * math.exp(-max(0.0, h - door - 1 / 12) * 15)
        return value

    grid = [i / 20 for i in range(72 * 20 + 1)]
    true = [core_at(h) for h in grid]
    expected = expect(
        grid, [start_c + (value - start_c) * rng.uniform(0.97, 1.0) for value in true][:1] + true[1:]
    )
    over = [value > LIMITS.max_core_c for value in true]
    excursions = sum(1 for i in range(1, len(over)) if over[i] and not over[i - 1])
    crossing = None
    if excursions:
        low, high = next((grid[i - 1], grid[i]) for i in range(1, len(over)) if over[i])
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (low, middle) if core_at(middle) > LIMITS.max_core_c else (middle, high)
        crossing = high
    events = [
        *doors,
        *(h for h, _ in outages),
        *([all_fail] if all_fail else []),
        *([crossing] if crossing else []),
    ]

    book = AlarmBook(Setup(T0, LIMITS, expected))
    result = Result(sigma, excursions)
    spans: dict[tuple[str, int], Span] = {}
    at_s = 0.0
    while at_s < 72 * 3600:
        h = at_s / 3600
        near = any(-0.6 < h - event < 0.8 for event in events)
        period = 5.0 if h < 1 and not thin else 30.0 if near or not thin or h < 0.2 else 300.0
        now = T0 + int(at_s * 1000)
        silent = any(0 <= h - start < length for start, length in outages)
        failed = all_fail is not None and 0 <= h - all_fail < 0.4
        samples = []
        core = core_at(h)
        places = (
            ("core", core),
            ("surface", 0.7 * core + 0.3 * room_c),
            ("underside", 0.6 * core + 0.4 * room_c),
            ("room", room_at(h)),
            ("room-2", room_at(h) + 0.3),
            ("core-2", core - 1.5),
        )
        for place, value in () if silent else places:
            roll = rng.random()
            if failed or roll < 0.004:
                samples.append(LiveReading(place, place, now, None, "empty-read", False, "bench-1"))
            elif roll < 0.0045:
                samples.append(LiveReading(place, place, now, 85.0, None, False, "bench-1"))
            else:
                read = round((value + rng.gauss(0, sigma)) * 16) / 16
                samples.append(LiveReading(place, place, now, read, None, False, "bench-1"))
        heard = None if silent else now
        facts = WatchFacts(stations=(StationFacts("bench-1", heard, True, False),))
        changes = book.take(samples, facts, now)
        for change in changes:
            key = (f"{change.kind}/{change.subject}", change.activation)
            if change.why in (Why.FIRST_TIME, Why.AGAIN):
                result.raised[change.kind] = result.raised.get(change.kind, 0) + 1
                spans[key] = Span(change.kind, change.subject, KINDS[change.kind].priority, now)
                if change.kind == "core-hot" and crossing is not None and result.delay_s is None:
                    result.delay_s = at_s - crossing * 3600
            elif change.why is Why.RETURNED:
                old = spans[key]
                spans[key] = Span(old.kind, old.subject, old.priority, old.raised_ms, now)
        if changes:
            for entry in list(book.entries()):
                if entry.state.phase is Phase.RETURNED or (entry.state.phase in UP and rng.random() < 0.5):
                    book.acknowledge(entry.key, "Jo", now)
        result.sweeps += 1
        at_s += period
    figures = rates(list(spans.values()), T0, T0 + 72 * HOUR)
    result.chattering, result.fleeting = len(figures.chattering), len(figures.fleeting)
    result.floods, result.alarms = figures.floods, figures.alarms
    hours = [int((span.raised_ms - T0) // HOUR) for span in spans.values()]
    result.busiest_hour = max((hours.count(hour) for hour in set(hours)), default=0)
    return result


def upper_95(failures: int, trials: int) -> float:
    """Upper 95 % bound of a proportion: exact (Clopper–Pearson) for none or all, else Wilson's; from memory."""
    if trials == 0:
        return 1.0
    if failures == 0:
        return 1 - 0.05 ** (1 / trials)
    p, z = failures / trials, 1.645
    middle = p + z * z / (2 * trials)
    spread = z * math.sqrt(p * (1 - p) / trials + z * z / (4 * trials * trials))
    return (middle + spread) / (1 + z * z / trials)


def main() -> None:
    """Print the drills' tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=1_000_000)
    parser.add_argument("--pours", type=int, default=300)
    parser.add_argument("--thin", action="store_true")
    chosen = parser.parse_args()
    began = time.perf_counter()
    print("life of one alarm:", walk_lives(chosen.steps, 1), f"{time.perf_counter() - began:.1f} s")
    began = time.perf_counter()
    print("watchbook: 5000 steps,", walk_book(5_000, 2), f"changes, {time.perf_counter() - began:.1f} s")
    print(
        "noise °C  pours  hot  missed (95 % bound)  false  more than one  delay s: median, worst  chatter  floods"
    )
    for sigma in (0.03, 0.1, 0.3):
        began = time.perf_counter()
        each = [simulate(seed, noise_c=sigma, thin=chosen.thin) for seed in range(max(1, chosen.pours // 3))]
        hot = [r for r in each if r.true_excursions]
        missed = sum(1 for r in hot if not r.raised.get("core-hot"))
        false = sum(1 for r in each if not r.true_excursions and r.raised.get("core-hot"))
        more = sum(1 for r in each if r.raised.get("core-hot", 0) > r.true_excursions)
        delays = sorted(r.delay_s for r in hot if r.delay_s is not None)
        median, worst = (delays[len(delays) // 2], delays[-1]) if delays else (math.nan, math.nan)
        print(
            f"{sigma:8.2f} {len(each):6d} {len(hot):4d}  {missed:6d} ({upper_95(missed, len(hot)):.3f})"
            f" {false:12d} {more:10d} {median:14.0f} {worst:8.0f}"
            f" {sum(r.chattering + r.fleeting for r in each):12d} {sum(r.floods for r in each):6d}"
            f"   ({time.perf_counter() - began:.0f} s)"
        )
        kinds: dict[str, int] = {}
        for r in each:
            for kind, count in r.raised.items():
                kinds[kind] = kinds.get(kind, 0) + count
        print("          raised:", kinds, "most in an hour:", max(r.busiest_hour for r in each))


if __name__ == "__main__":
    main()
