"""The bench as a whole: true files, read by the driver of a Pi."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.bench.clock import SteppedClock
from hardware.bench.station import Bench, FaultWindow, Misbehaviour
from hardware.bench.trace import steady, through
from hardware.bench.w1_files import Misreading
from hardware.ds18b20 import find_probes
from hardware.errors import BadTrace
from hardware.pins import Pins
from hardware.reading import Fault, FaultReason, Reading
from hardware.station import ProbeWiring, Wiring

CORE, ROOM = "28-0000000000a1", "28-0000000000b2"
WIRING = Wiring("bench", (ProbeWiring(CORE, "core"), ProbeWiring(ROOM, "room")))
TRACES = {CORE: through([(0, 20), (1000, 120)]), ROOM: steady(21.0)}


def sweep(bench: Bench, clock: SteppedClock) -> dict[str, Reading | Fault]:
    """One sweep over all buses."""
    samples = []
    for bus in bench.hardware.buses:
        bus.begin_sweep(clock.stamp())
        for probe in bus.probes:
            samples += probe.read(clock)
    return {sample.outcome.probe: sample.outcome for sample in samples}


def test_the_driver_reads_what_the_trace_says(tmp_path: Path) -> None:
    """Every ten seconds up to 120 °C, through 85.0, to a sixteenth of a degree."""
    clock = SteppedClock()
    bench = Bench(WIRING, clock, tmp_path, TRACES)
    for step in range(101):
        found = sweep(bench, clock)[CORE]
        assert isinstance(found, Reading)
        assert found.celsius == pytest.approx(20 + step, abs=1 / 32)
        clock.advance(10)
    assert find_probes(bench.files.folder) == [CORE, ROOM]


@pytest.mark.parametrize(
    ("lie", "reason"),
    [
        (Misreading.EMPTY, FaultReason.EMPTY),
        (Misreading.NOT_READY, FaultReason.ALL_ZERO),
        (Misreading.BAD_CRC, FaultReason.BAD_CRC),
        (Misreading.ALL_ZERO, FaultReason.ALL_ZERO),
        (Misreading.ALL_ONES, FaultReason.BAD_CRC),
        (Misreading.LOW_POWER, FaultReason.LOW_POWER),
        (Misreading.UNPLUGGED_VALUE, FaultReason.OUT_OF_RANGE),
        (Misreading.TORN, FaultReason.MALFORMED),
        (Misreading.PULLED, FaultReason.EMPTY),
    ],
)
def test_a_lie_is_told_in_its_window_only(tmp_path: Path, lie: Misreading, reason: FaultReason) -> None:
    """Before and after there is a reading; the other probe is not touched."""
    clock = SteppedClock()
    bench = Bench(
        WIRING, clock, tmp_path, TRACES, misbehaviour=Misbehaviour([FaultWindow(CORE, 30, 60, lie)])
    )
    found = []
    for _ in range(4):
        swept = sweep(bench, clock)
        found.append(swept[CORE])
        assert isinstance(swept[ROOM], Reading)
        clock.advance(30)
    assert [isinstance(outcome, Reading) for outcome in found] == [True, False, True, True]
    assert isinstance(found[1], Fault)
    assert found[1].reason is reason


def test_a_pulled_probe_gives_no_bytes_and_then_no_folder_and_comes_back(tmp_path: Path) -> None:
    """The folder lingers for 100 s, as the kernel's does."""
    clock = SteppedClock()
    bench = Bench(
        WIRING,
        clock,
        tmp_path,
        TRACES,
        misbehaviour=Misbehaviour([FaultWindow(CORE, 30, 200, Misreading.PULLED)]),
    )
    reasons = []
    for _ in range(8):
        outcome = sweep(bench, clock)[CORE]
        reasons.append(outcome.reason if isinstance(outcome, Fault) else None)
        clock.advance(30)
    assert reasons == [None, *[FaultReason.EMPTY] * 4, *[FaultReason.MISSING] * 2, None]


def test_humidity_and_thermocouple_are_played_too(tmp_path: Path) -> None:
    """A chip for the room's air and a couple in a hot core."""
    wiring = Wiring(
        "bench",
        air=(ProbeWiring("sht4x", "room"),),
        thermocouples=(ProbeWiring("max31856", "core"),),
    )
    clock = SteppedClock()
    traces = {"sht4x": steady(19.5), "max31856": steady(131.25)}
    torn = FaultWindow("max31856", 30, 60, Misreading.EMPTY)
    bench = Bench(
        wiring, clock, tmp_path, traces, damp={"sht4x": steady(62.0)}, misbehaviour=Misbehaviour([torn])
    )
    found = sweep(bench, clock)
    assert found["sht4x"] == Reading("sht4x", 19.5, "19500 62000", None, 62.0)
    assert found["max31856"] == Reading("max31856", 131.25, "16800")
    clock.advance(30)
    assert isinstance(sweep(bench, clock)["max31856"], Fault)


def test_a_hand_at_the_contacts_and_an_eye_on_the_lamp(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bench's pins behave as wired, whatever the environment says: closed pulls low, the lamp goes on and off."""
    for name in ("GPIOZERO_PIN_FACTORY", "GPIOZERO_MOCK_REVISION", "GPIOZERO_MOCK_PIN_CLASS"):
        monkeypatch.setenv(name, "there-is-none")
    clock = SteppedClock()
    wiring = Wiring("bench", WIRING.probes, pins=Pins(wet=17, lamp=23))
    bench = Bench(wiring, clock, tmp_path, TRACES)
    assert bench.contacts is not None
    assert bench.hardware.contacts is not None
    assert bench.hardware.outputs is not None
    bench.contacts.set("wet", True)
    assert [change.meaning for change in bench.hardware.contacts.changes()] == ["dry", "wet"]
    with pytest.raises(KeyError, match="fan_proof is not wired"):
        bench.contacts.set("fan_proof", True)
    bench.hardware.outputs.switch("lamp", True)
    assert bench.pins is not None
    assert bench.pins.pin(23).state is True
    bench.hardware.close()


def test_a_bench_without_a_trace_for_each_probe_is_refused(tmp_path: Path) -> None:
    """It would have to invent a temperature."""
    with pytest.raises(BadTrace, match=ROOM):
        Bench(WIRING, SteppedClock(), tmp_path, {CORE: steady(20)})
