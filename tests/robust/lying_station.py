"""A whole station on the bench whose probes lie in every way there is; each row is held against the truth.

True files in a w1 folder, read by the driver of a Pi through the sampler of the daemon: the rows are those that go into
the spool. The traces are invented: humps that go through 85 °C and back.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field
from math import exp
from pathlib import Path

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench, FaultWindow, Misbehaviour
from hardware.bench.trace import Trace
from hardware.bench.w1_files import Misreading, scratchpad, w1_text
from hardware.plausibility import NEAR_C, STEEP_SHARE
from hardware.station import ProbeWiring, Wiring
from logger.daemon.sample import Sampler
from logger.wire import UnnumberedReading

PERIOD_S = 30.0
PLACES = ("core", "core-2", "surface", "surface-2", "underside", "room")
#: Two places of each kind of chip: the second, fourth and sixth probe are clones.
IDS = tuple(f"28-0000000000{number:02x}" for number in range(1, 7))
CLONES = IDS[1::2]
STRANGER = "28-0000000000ff"
LSB_C = 1 / 16
#: An 85.0 that the bytes do not prove is recorded with a note, and may be this far off.
UNPROVEN_C = NEAR_C + STEEP_SHARE * 30
#: Old bytes are true bytes: they cannot be told before the probe has clearly moved on.
OLD = (Misreading.REPEATED, Misreading.STUCK)
#: How many sweeps each lie lasts. A pulled probe's folder goes after 100 s; its faults are of both kinds.
LASTS = {
    Misreading.PULLED: (1, 8),
    Misreading.STUCK: (4, 40),
    Misreading.WATER: (2, 12),
    Misreading.REPEATED: (1, 1),
}
WORDS = "unchanged while"


@dataclass(slots=True)
class Told:
    """What a run came to."""

    injected: Counter[str] = field(default_factory=Counter)
    rows: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    #: A temperature that was not there, without a doubt beside it.
    false: list[str] = field(default_factory=list)
    #: A true look without a lie that gave no temperature.
    refused: list[str] = field(default_factory=list)
    unproven: int = 0
    true_85: int = 0
    #: True 85.0 of a clone between lies, that nothing was left to prove: recorded as faults.
    unprovable: int = 0
    #: Looks with old bytes, and of those the ones that came out with a doubt.
    old: int = 0
    old_doubted: int = 0
    #: How far old bytes without a doubt were from the truth: of one repeated sample, and of a stuck value, °C.
    repeated_off_c: float = 0.0
    stuck_off_c: list[float] = field(default_factory=list)
    #: The most that any probe really moves from sweep to sweep, °C.
    steepest_c: float = 0.0


def hump(top_c: float, width_s: float, late_s: float) -> Trace:
    """A heat hump over a room of 20 °C, again and again: no physics, only a shape that passes each value twice."""
    return lambda t_s: (
        20 + (top_c - 20) * exp(-((((t_s + late_s) % (5 * width_s) - 2.5 * width_s) / width_s) ** 2))
    )


def lies_of(probe: str, chance: random.Random, until_s: float) -> list[FaultWindow]:
    """Lies of one probe, one after another, a few sweeps apart."""
    windows, at_s = [], PERIOD_S * chance.randint(1, 20)
    while at_s < until_s:
        lie = chance.choice(list(Misreading))
        lasts_s = PERIOD_S * chance.randint(*LASTS.get(lie, (1, 4)))
        # From just before a sweep until just before another: a window holds whole sweeps.
        windows.append(FaultWindow(probe, at_s - 1, at_s - 1 + lasts_s, lie))
        at_s += lasts_s + PERIOD_S * chance.randint(1, 12)
    return windows


def run(folder: Path, *, faults: int, seed: int) -> Told:
    """Sweeps until so many faults were injected."""
    chance, told = random.Random(seed), Told()
    sweeps = faults * 15 // len(IDS)
    windows = [window for probe in IDS for window in lies_of(probe, chance, sweeps * PERIOD_S)]
    windows = sorted(windows, key=lambda window: window.from_s)[:faults]
    traces = {
        probe: hump(chance.uniform(86, 122), chance.uniform(1500, 9000), chance.uniform(0, 9000))
        for probe in IDS
    }
    wiring = Wiring("bench", tuple(ProbeWiring(*pair) for pair in zip(IDS, PLACES, strict=True)))
    clock = SteppedClock(boot_ms=0)
    bench = Bench(wiring, clock, folder, traces, misbehaviour=Misbehaviour(windows, CLONES, seed))
    sampler = Sampler(bench.hardware.buses, wiring.all_probes, clock, threads=False)
    by_probe = {probe: [window for window in windows if window.probe == probe] for probe in IDS}
    rows: list[UnnumberedReading] = []
    for sweep in range(round(windows[-1].until_s / PERIOD_S) + 20):
        if sweep % 200 == 100:
            _replug(bench, chance)
        rows += sampler.sweep().rows
        clock.advance(PERIOD_S)
    rows += sampler.close()
    _judge(rows, by_probe, bench, told)
    told.injected.update(window.lie.value for window in windows)
    return told


def _replug(bench: Bench, chance: random.Random) -> None:
    """All plugs out and in again in another order, and a strange probe among them: the kernel lists them anew."""
    there = [probe for probe in IDS if bench.files.is_plugged(probe)]
    for probe in (*there, STRANGER):
        bench.files.unplug(probe)
    for probe in chance.sample([*there, STRANGER], len(there) + 1):
        bench.files.plug(probe)
    bench.files.show(STRANGER, w1_text(scratchpad(99.0)))


def _judge(
    rows: list[UnnumberedReading], windows: dict[str, list[FaultWindow]], bench: Bench, told: Told
) -> None:
    seen: Counter[tuple[str, int]] = Counter()
    for row in rows:
        t_s = row.stamp.boot_s
        seen[row.probe, row.stamp.boot_ms] += 1
        lie = next((w.lie for w in windows[row.probe] if w.from_s <= t_s < w.until_s), None)
        true_c = bench.truth(row.probe, t_s)
        what = (
            f"{row.place} at {t_s:.0f} s, {lie}: {row.milli_c} for {true_c:.3f} °C ({row.fault}, {row.note})"
        )
        told.rows += 1
        if IDS.index(row.probe) != PLACES.index(row.place):
            told.false.append(f"another probe's place: {what}")
        told.old += lie in OLD
        told.steepest_c = max(told.steepest_c, abs(true_c - bench.truth(row.probe, t_s - PERIOD_S)))
        if row.milli_c is None:
            told.faults[row.fault or "none"] += 1
            if lie is None and _unprovable(row, windows[row.probe], true_c, t_s):
                told.unprovable += 1
            elif lie is None:
                told.refused.append(what)
            continue
        off_c = abs(row.milli_c / 1000 - true_c)
        told.true_85 += row.milli_c == 85_000 and lie is None
        if row.note is not None and "85.0" in row.note:
            told.unproven += 1
            if off_c > UNPROVEN_C:
                told.false.append(what)
        elif row.note is not None and WORDS in row.note:
            told.old_doubted += lie in OLD
        elif lie is Misreading.REPEATED:
            told.repeated_off_c = max(told.repeated_off_c, off_c)
        elif lie is Misreading.STUCK:
            told.stuck_off_c.append(off_c)
        elif off_c > LSB_C / 2 + 0.0006:  # and a row holds whole thousandths
            told.false.append(what)
    twice = [key for key, count in seen.items() if count > 1]
    if twice:
        told.false.append(f"two rows of one look: {twice[:3]}")


def _unprovable(row: UnnumberedReading, windows: list[FaultWindow], true_c: float, t_s: float) -> bool:
    """Whether this is a true 85.0 of a clone whose neighbours lie."""
    near = any(w.from_s - 4 * PERIOD_S <= t_s < w.until_s + 4 * PERIOD_S for w in windows)
    return row.probe in CLONES and round(true_c / LSB_C) == 85 / LSB_C and near
