"""The driver on a w1 folder tree as the kernel lays it out."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.w1_files import Misreading, W1Files, lying_text, power_on_scratchpad, scratchpad, w1_text
from hardware.ds18b20 import Ds18b20, find_probes
from hardware.errors import HardwareMissing
from hardware.reading import Fault, FaultReason, Reading

ONE = "28-0000000000a1"
TWO = "28-0000000000b2"


@pytest.fixture
def files(tmp_path: Path) -> W1Files:
    """A bus with two probes."""
    made = W1Files(tmp_path / "w1")
    for probe in (ONE, TWO):
        made.plug(probe)
        made.show(probe, w1_text(scratchpad(21.0)))
    return made


def series(texts: list[str]) -> Callable[[Path], str]:
    """A file that reads differently each time."""
    left: Iterator[str] = iter(texts)
    return lambda _path: next(left)


def outcomes(
    probe: Ds18b20, clock: SteppedClock, looks: int, period_s: float = 30.0
) -> list[Reading | Fault]:
    """What so many looks give."""
    samples = []
    for _ in range(looks):
        samples += probe.read(clock)
        clock.advance(period_s)
    return [sample.outcome for sample in samples]


def test_probes_are_found_by_their_folders(files: W1Files) -> None:
    """The bus master's folder is not a probe; another chip family is not one of ours."""
    (files.folder / "22-0000000000c3").mkdir()
    (files.folder / "22-0000000000c3" / "w1_slave").write_text("")
    assert find_probes(files.folder) == [ONE, TWO]


def test_probes_are_found_while_one_is_being_unplugged(files: W1Files) -> None:
    """A folder that has just lost its file does not hide the others."""
    (files.folder / ONE / "w1_slave").unlink()
    assert find_probes(files.folder) == [TWO]


def test_no_1_wire_folder_is_told_with_the_remedy(tmp_path: Path) -> None:
    """A Pi without the overlay: the message names the line to add."""
    with pytest.raises(HardwareMissing, match="dtoverlay=w1-gpio"):
        find_probes(tmp_path / "missing")


def test_finding_probes_loads_no_kernel_module(files: W1Files) -> None:
    """The library would run modprobe when it is imported; ours must not, on any machine."""
    script = (
        "import os; os.system = lambda command: (_ for _ in ()).throw(AssertionError(command))\n"
        f"from pathlib import Path; from hardware.ds18b20 import find_probes\n"
        f"print(find_probes(Path({str(files.folder)!r})))"
    )
    environ = {key: value for key, value in os.environ.items() if key != "W1THERMSENSOR_NO_KERNEL_MODULE"}
    ran = subprocess.run(
        [sys.executable, "-c", script], env=environ, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    assert ONE in ran.stdout


def test_a_probe_is_read_with_its_bytes_and_the_moment(files: W1Files) -> None:
    """Temperature, raw bytes and stamp of one look."""
    clock = SteppedClock()
    (sample,) = Ds18b20(ONE, files.folder).read(clock)
    assert sample.outcome == Reading(ONE, 21.0, scratchpad(21.0).hex())
    assert sample.stamp == clock.stamp()


@pytest.mark.parametrize("lie", [Misreading.EMPTY, Misreading.BAD_CRC, Misreading.TORN])
def test_a_read_that_fails_once_or_twice_is_tried_again_in_the_same_sweep(lie: Misreading) -> None:
    """A signal during a read, or noise on the wire, is over a second later."""
    bad, good = lying_text(lie, scratchpad(30.0)), w1_text(scratchpad(30.0))
    for texts in ([bad, good], [bad, bad, good]):
        (outcome,) = outcomes(Ds18b20(ONE, read=series(texts)), SteppedClock(), 1)
        assert isinstance(outcome, Reading)
        assert outcome.celsius == 30.0


def test_a_read_that_fails_three_times_is_a_fault_and_not_the_last_value(files: W1Files) -> None:
    """21 °C were read before; an empty file afterwards is EMPTY, not 21 °C and not 0."""
    probe, clock = Ds18b20(ONE, files.folder), SteppedClock()
    outcomes(probe, clock, 1)
    files.show(ONE, "")
    (outcome,) = outcomes(probe, clock, 1)
    assert isinstance(outcome, Fault)
    assert outcome.reason is FaultReason.EMPTY


def test_a_probe_that_vanishes_is_missing_and_one_that_returns_is_read(files: W1Files) -> None:
    """The folder goes and comes back; the driver needs no restart."""
    probe, clock = Ds18b20(ONE, files.folder), SteppedClock()
    files.unplug(ONE)
    (gone,) = outcomes(probe, clock, 1)
    files.plug(ONE)
    files.show(ONE, w1_text(scratchpad(22.0)))
    (back,) = outcomes(probe, clock, 1)
    assert isinstance(gone, Fault)
    assert gone.reason is FaultReason.MISSING
    assert "check plug and cable" in gone.detail
    assert isinstance(back, Reading)


@pytest.mark.parametrize(
    ("number", "reason"),
    [
        (errno.EIO, FaultReason.IO_ERROR),
        (errno.ENODEV, FaultReason.MISSING),
        (errno.EACCES, FaultReason.IO_ERROR),
    ],
)
def test_an_error_of_the_system_is_a_fault(number: int, reason: FaultReason) -> None:
    """The watch goes on, and the fault says what the system said."""

    def fail(path: Path) -> str:
        raise OSError(number, os.strerror(number), str(path))

    (outcome,) = outcomes(Ds18b20(ONE, read=fail), SteppedClock(), 1)
    assert isinstance(outcome, Fault)
    assert outcome.reason is reason


def test_a_clones_way_through_85_loses_nothing() -> None:
    """84.9, 85.0 without proof, 85.1: three readings, in order."""
    texts = [w1_text(scratchpad(celsius, clone=True)) for celsius in (84.9375, 85.0, 85.0625)]
    found = outcomes(Ds18b20(ONE, read=series(texts)), SteppedClock(), 3)
    assert [outcome.celsius for outcome in found if isinstance(outcome, Reading)] == [84.9375, 85.0, 85.0625]


def test_a_power_on_85_between_two_cold_readings_is_a_fault_with_its_own_time() -> None:
    """25, 85.0, 25: the 85.0 is held for one sweep, then recorded as the fault it was."""
    cold, power_on = w1_text(scratchpad(25.0)), w1_text(power_on_scratchpad())
    probe, clock = Ds18b20(ONE, read=series([cold, *[power_on] * 3, cold])), SteppedClock(boot_ms=0)
    first = probe.read(clock)
    clock.advance(30)
    assert probe.read(clock) == []
    clock.advance(30)
    held, last = probe.read(clock)
    assert isinstance(first[0].outcome, Reading)
    assert isinstance(held.outcome, Fault)
    assert held.outcome.reason is FaultReason.POWER_ON
    assert held.stamp.boot_ms == 30_000
    assert isinstance(last.outcome, Reading)
    assert last.stamp.boot_ms == 60_000


def test_an_old_sample_proves_no_85() -> None:
    """A clone wakes up at 93 °C and then repeats an old 84.7: no neighbour. The next true reading settles it."""
    rise = [w1_text(scratchpad(celsius, clone=True)) for celsius in (80.6875, 82.6875, 84.6875)]
    power_on, hot = w1_text(power_on_scratchpad()), w1_text(scratchpad(100.0, clone=True))
    probe, clock = Ds18b20(ONE, read=series([*rise, *[power_on] * 3, rise[-1], hot])), SteppedClock()
    outcomes(probe, clock, 3)
    clock.advance(150)
    assert outcomes(probe, clock, 1) == []
    (old,) = outcomes(probe, clock, 1)
    assert isinstance(old, Reading)
    assert old.note is not None
    settled, last = outcomes(probe, clock, 1)
    assert isinstance(settled, Fault)
    assert isinstance(last, Reading)


def test_a_power_on_85_that_a_second_conversion_corrects_costs_nothing() -> None:
    """The chip restarted during the first read; the next one in the same sweep is right."""
    texts = [w1_text(scratchpad(40.0)), w1_text(power_on_scratchpad()), w1_text(scratchpad(40.0625))]
    found = outcomes(Ds18b20(ONE, read=series(texts)), SteppedClock(), 2)
    assert [outcome.celsius for outcome in found if isinstance(outcome, Reading)] == [40.0, 40.0625]


def test_a_probe_that_wakes_up_at_every_read_becomes_a_fault_within_minutes() -> None:
    """Held values are not silence for ever: ten minutes later they are told."""
    power_on = w1_text(power_on_scratchpad())
    found = outcomes(Ds18b20(ONE, read=lambda _path: power_on), SteppedClock(), 40)
    assert len(found) >= 21
    assert all(isinstance(outcome, Fault) and outcome.reason is FaultReason.POWER_ON for outcome in found)


def test_what_is_held_when_the_station_stops_is_let_go_as_a_fault() -> None:
    """Every look ends as one sample."""
    probe = Ds18b20(ONE, read=lambda _path: w1_text(power_on_scratchpad()))
    assert outcomes(probe, SteppedClock(), 1) == []
    (sample,) = probe.release()
    assert isinstance(sample.outcome, Fault)
    assert probe.release() == []


def test_a_clone_is_told_once() -> None:
    """After ten readings one of them carries the note."""
    text = w1_text(scratchpad(20.0, clone=True))
    found = outcomes(Ds18b20(ONE, read=lambda _path: text), SteppedClock(), 30)
    notes = [outcome.note for outcome in found if isinstance(outcome, Reading) and outcome.note]
    assert notes == ["not verified genuine: check it in ice water"]
