"""One sweep over buses that answer, hang and lie."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.w1_files import W1Files, power_on_scratchpad, scratchpad, w1_text
from hardware.clock import Clock, Stamp
from hardware.contacts import ContactChange
from hardware.ds18b20 import Ds18b20, W1Bus
from hardware.reading import Reading, Sample
from hardware.station import ProbeWiring
from logger.daemon import sample
from logger.daemon.sample import Periods, Sampler, contact_row

ONE, TWO = "28-0000000000a1", "28-0000000000b2"
WIRING = (ProbeWiring(ONE, "core", -0.25), ProbeWiring(TWO, "room"))


class Humid:
    """A probe that knows humidity, and the thread in which it was read."""

    def __init__(self, probe_id: str) -> None:
        self.id = probe_id
        self.thread = ""

    def read(self, clock: Clock) -> list[Sample]:
        self.thread = threading.current_thread().name
        return [Sample(clock.stamp(), Reading(self.id, 20.0004, "raw", None, 45.25))]

    def release(self) -> list[Sample]:
        return []


class Broken(Humid):
    """A probe whose driver has a mistake in it."""

    def read(self, clock: Clock) -> list[Sample]:
        raise ZeroDivisionError("a mistake")


def test_a_row_has_place_offset_and_bytes(tmp_path: Path) -> None:
    """21.0 °C less a quarter, in thousandths; the bytes are the probe's, not the corrected ones."""
    files = W1Files(tmp_path)
    files.plug(ONE)
    files.show(ONE, w1_text(scratchpad(21.0)))
    sampler = Sampler([W1Bus("one", (Ds18b20(ONE, tmp_path),))], WIRING, SteppedClock())
    (row,) = sampler.sweep().rows
    assert (row.probe, row.place, row.milli_c, row.fault) == (ONE, "core", 20_750, None)
    assert row.raw == scratchpad(21.0).hex()
    sampler.close()


def test_each_bus_has_a_thread_of_its_own() -> None:
    """So that a slow wire does not hold up the other."""
    probes = Humid(ONE), Humid(TWO)
    sampler = Sampler([W1Bus("one", probes[:1]), W1Bus("two", probes[1:])], WIRING, SteppedClock())
    rows = sampler.sweep().rows
    assert [row.milli_rh for row in rows] == [45_250, 45_250]
    assert [probe.thread for probe in probes] == ["bus one", "bus two"]
    sampler.close()


def test_a_bench_may_be_read_in_the_callers_thread() -> None:
    """At thousands of times real speed the hand-over to a thread would cost more than the reading."""
    probe = Humid(ONE)
    sampler = Sampler([W1Bus("one", (probe,))], WIRING, SteppedClock(), threads=False)
    assert len(sampler.sweep().rows) == 1
    assert probe.thread == threading.current_thread().name
    assert sampler.close() == []


def test_a_stuck_bus_gives_faults_and_does_not_hold_up_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A read that never comes back (a FIFO that nobody writes): stuck-read there, a reading here, sweep not finished.

    When the read comes back after all, the bus is a bus again.
    """
    monkeypatch.setattr(sample, "DEADLINE_S", 0.05)
    monkeypatch.setattr(sample, "PROBE_DEADLINE_S", 0.0)
    (tmp_path / ONE).mkdir()
    fifo = tmp_path / ONE / "w1_slave"
    os.mkfifo(fifo)
    sampler = Sampler(
        [W1Bus("one", (Ds18b20(ONE, tmp_path),)), W1Bus("two", (Humid(TWO),))], WIRING, SteppedClock()
    )
    for _ in range(2):
        swept = sampler.sweep()
        assert not swept.finished
        assert [(row.probe, row.fault) for row in swept.rows] == [(ONE, "stuck-read"), (TWO, None)]
    monkeypatch.setattr(sample, "DEADLINE_S", 5.0)
    with fifo.open("w") as writer:
        writer.write(w1_text(scratchpad(21.0)))
    sampler._readers[0]._stuck = False
    sampler._readers[0]._deadline_s = 10.0
    swept = sampler.sweep()
    assert swept.finished
    assert [row.fault for row in swept.rows] == [None, None]
    sampler.close()


def test_a_mistake_in_a_driver_ends_the_daemon_and_is_not_swallowed() -> None:
    """systemd starts it again, and the log says why."""
    sampler = Sampler([W1Bus("one", (Broken(ONE),))], WIRING, SteppedClock())
    with pytest.raises(ZeroDivisionError):
        sampler.sweep()
    sampler.close()


def test_what_a_probe_still_holds_comes_out_at_the_end(tmp_path: Path) -> None:
    """A first-ever 85.0 waits for its neighbour, which never comes."""
    files = W1Files(tmp_path)
    files.plug(ONE)
    files.show(ONE, w1_text(power_on_scratchpad()))
    sampler = Sampler([W1Bus("one", (Ds18b20(ONE, tmp_path),))], WIRING, SteppedClock())
    assert sampler.sweep().rows == []
    (row,) = sampler.close()
    assert row.fault == "power-on-85"


def test_a_contact_is_a_row_without_temperature_and_without_fault() -> None:
    """Its state is a word."""
    row = contact_row(ContactChange(Stamp(5, "boot-a", 5, True), "wet", True))
    assert (row.probe, row.place, row.milli_c, row.fault, row.note) == (
        "wet-contact",
        "under-form",
        None,
        None,
        "wet",
    )


def test_sweeps_are_closer_in_the_first_hour() -> None:
    """5 s, then 30 s, unless the station file says otherwise."""
    assert [Periods().own(age_s) for age_s in (0, 3599, 3600)] == [5, 5, 30]
    assert Periods(2, 60).own(4000) == 60
