"""A Pi's pins through gpiozero and gpiod: what is asked of the kernel, and what becomes of its answers.

The kernel is played here: its chips and its requests. gpiozero and `gpiod` are loaded; their devices, settings and
values are the real ones.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import gpiod
import pytest
from gpiod.line import Bias, Direction, Edge, Value

from hardware.bench.clock import SteppedClock
from hardware.contacts import Contacts
from hardware.errors import HardwareMissing
from hardware.gpio import HeaderPins
from hardware.header import header_chip
from hardware.outputs import Outputs
from hardware.pins import Pins

RISING, FALLING = gpiod.EdgeEvent.Type.RISING_EDGE, gpiod.EdgeEvent.Type.FALLING_EDGE


class FakeRequest:
    """One requested line: every level that it had as an output, or the level of the wire and the kernel's edges."""

    def __init__(self, pin: int, settings: gpiod.LineSettings) -> None:
        assert settings.active_low is False, "gpiozero's levels are those of the wire"
        self.pin = pin
        self.settings = settings
        pulled = settings.bias is Bias.PULL_UP
        driven = settings.direction is Direction.OUTPUT
        self.levels = [settings.output_value is Value.ACTIVE if driven else pulled]
        self.queue: list[gpiod.EdgeEvent] = []
        self.released = False

    def set_value(self, pin: int, value: Value) -> None:
        assert (pin, self.settings.direction) == (self.pin, Direction.OUTPUT)
        self.levels.append(value is Value.ACTIVE)

    def get_value(self, pin: int) -> Value:
        assert pin == self.pin
        return Value.ACTIVE if self.levels[-1] else Value.INACTIVE

    def edge(self, kind: gpiod.EdgeEvent.Type, at_s: float) -> None:
        """The wire changes."""
        number = len(self.queue) + 1
        self.queue.append(gpiod.EdgeEvent(kind.value, round(at_s * 1e9), self.pin, number, number))
        self.levels.append(kind is RISING)

    def wait_edge_events(self, timeout: float) -> bool:
        assert timeout == 0, "the station's loop must never wait here"
        return bool(self.queue)

    def read_edge_events(self) -> list[gpiod.EdgeEvent]:
        taken, self.queue = self.queue[:2], self.queue[2:]
        return taken

    def release(self) -> None:
        self.released = True


class Kernel:
    """Chips by their label, and what was asked of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.labels: dict[str, str | None] = {}
        self.asked: list[tuple[str, FakeRequest]] = []
        self.busy: set[int] = set()

    def plug(self, name: str, label: str | None) -> None:
        """A device with that label; None: one that may not be opened."""
        (self.folder / name).touch()
        self.labels[name] = label

    def chip(self, path: str) -> Any:
        label = self.labels[Path(path).name]
        if label is None:
            raise PermissionError(13, "Permission denied")

        class Opened:
            def __enter__(self) -> Any:
                return SimpleNamespace(get_info=lambda: SimpleNamespace(label=label))

            def __exit__(self, *_: object) -> None: ...

        return Opened()

    def request(self, path: str, config: dict[int, gpiod.LineSettings], consumer: str) -> FakeRequest:
        assert consumer == "pourlog"
        ((pin, settings),) = config.items()
        if pin in self.busy:
            raise OSError(16, "Device or resource busy")
        made = FakeRequest(pin, settings)
        self.asked.append((Path(path).name, made))
        return made

    def outputs(self, **pins: Any) -> Outputs:
        """Outputs on these pins."""
        factory = HeaderPins(self.folder)
        return Outputs(Pins(**pins), lambda: factory)

    def contacts(self, clock: SteppedClock, **pins: Any) -> Contacts:
        """Contacts on these pins."""
        factory = HeaderPins(self.folder)
        return Contacts(Pins(**pins), lambda: factory, clock)


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Kernel]:
    """A Pi 5's controllers, in an order of today's kernels. What the environment says of a pin factory is ignored."""
    made = Kernel(tmp_path)
    made.plug("gpiochip0", "gpio-brcmstb@107d508500")
    made.plug("gpiochip10", None)
    made.plug("gpiochip11", "pinctrl-rp1")
    monkeypatch.setattr(gpiod, "Chip", made.chip)
    monkeypatch.setattr(gpiod, "request_lines", made.request)
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "there-is-no-such-factory")
    return made


def test_the_header_is_found_by_its_controller_and_nothing_else_is_touched(kernel: Kernel) -> None:
    """Numbers of devices move from kernel to kernel; other controllers switch parts of the board itself."""
    assert header_chip(kernel.folder).name == "gpiochip11"
    del kernel.labels["gpiochip11"]
    (kernel.folder / "gpiochip11").unlink()
    with pytest.raises(
        HardwareMissing, match=r"gpio-brcmstb.*gpiochip10 \(not opened: Permission denied\).*group"
    ):
        header_chip(kernel.folder)
    assert "is a Pi's pin header" in kernel.outputs(lamp=23).faults["lamp"]
    assert kernel.asked == []
    with pytest.raises(HardwareMissing, match="shows no pins"):
        header_chip(kernel.folder / "nothing")


@pytest.mark.parametrize("active_high", [True, False])
def test_an_output_is_off_with_the_request_itself(kernel: Kernel, active_high: bool) -> None:
    """Direction and level in one step, in the sense of its wiring: no moment in which a relay is on."""
    outputs = kernel.outputs(fan=25, fan_active_high=active_high)
    ((chip, request),) = kernel.asked
    on, off = active_high, not active_high
    assert (chip, request.pin, request.settings.direction) == ("gpiochip11", 25, Direction.OUTPUT)
    assert request.levels == [off], "the request's own level, and none driven after it"
    outputs.switch("fan", True)
    outputs.switch("fan", False)
    outputs.switch("fan", True)
    assert not request.released
    outputs.close()
    assert request.levels == [off, on, off, on, off]
    assert request.released


@pytest.mark.parametrize(("active_high", "pull"), [(False, Bias.PULL_UP), (True, Bias.PULL_DOWN)])
def test_a_contact_is_pulled_open_debounced_and_heard_both_ways(
    kernel: Kernel, active_high: bool, pull: Bias
) -> None:
    """A cut wire reads as open; the kernel swallows bounces of less than 50 ms. All in one request, and no thread."""
    before = threading.active_count()
    contacts = kernel.contacts(SteppedClock(), wet=17, wet_active_high=active_high)
    ((_chip, request),) = kernel.asked
    settings = request.settings
    assert (settings.direction, settings.bias, settings.edge_detection) == (Direction.INPUT, pull, Edge.BOTH)
    assert settings.debounce_period == timedelta(milliseconds=50)
    assert [change.closed for change in contacts.changes()] == [False]
    assert threading.active_count() == before
    contacts.close()
    assert request.released


@pytest.mark.parametrize("active_high", [False, True])
def test_edges_are_taken_to_the_last_with_the_kernels_times(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch, active_high: bool
) -> None:
    """More than one read gives at once, in the order in which they came, whatever the wiring."""
    clock = SteppedClock(boot_ms=60_000)
    contacts = kernel.contacts(clock, wet=17, wet_active_high=active_high, fan_proof=22)
    contacts.changes()
    monkeypatch.setattr(HeaderPins, "ticks", lambda _factory: 10.0)
    (_, wet), (_, fan) = kernel.asked
    close, part = (RISING, FALLING) if active_high else (FALLING, RISING)
    for kind, at_s in ((close, 7.5), (part, 9.0), (close, 9.75)):
        wet.edge(kind, at_s)
    fan.edge(FALLING, 8.0)
    assert [(change.stamp.boot_ms, change.meaning) for change in contacts.changes()] == [
        (57_500, "wet"),
        (58_000, "turning"),
        (59_000, "dry"),
        (59_750, "wet"),
    ]
    assert contacts.changes() == []


def test_an_edge_while_a_contact_is_opened_is_told_once(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether the first look saw it already or not: water is never missed, and never twice."""
    seen, unseen = FakeRequest.get_value, FakeRequest.wait_edge_events
    clock = SteppedClock()

    def closes_after(request: FakeRequest, pin: int) -> Value:
        found = seen(request, pin)
        if len(request.levels) == 1:
            request.edge(FALLING, 0.0)
        return found

    def closes_before(request: FakeRequest, timeout: float) -> bool:
        found = unseen(request, timeout)
        if len(request.levels) == 1:
            request.edge(FALLING, 0.0)
        return found

    monkeypatch.setattr(FakeRequest, "get_value", closes_after)
    late = kernel.contacts(clock, wet=17)
    assert sorted(change.meaning for change in late.changes()) == ["dry", "wet"]
    monkeypatch.setattr(FakeRequest, "get_value", seen)
    monkeypatch.setattr(FakeRequest, "wait_edge_events", closes_before)
    early = kernel.contacts(clock, wet=17)
    assert [change.meaning for change in early.changes()] == ["wet"]
    assert early.changes() == []


def test_a_pin_that_another_driver_has_takes_nothing_from_the_others(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each pin is a request of its own; once it is free it is taken up, and a contact is heard again."""
    kernel.busy |= {25, 17}
    outputs, contacts = kernel.outputs(lamp=23, fan=25), kernel.contacts(SteppedClock(), wet=17)
    for _ in range(2):
        assert outputs.faults == {"fan": "fan (GPIO 25): Device or resource busy"}
        assert contacts.faults == {"wet": "wet contact (GPIO 17): Device or resource busy"}
        outputs.mend()
        contacts.mend()
    outputs.switch("lamp", True)
    assert kernel.asked[0][1].levels == [False, True]
    kernel.busy.clear()
    outputs.mend()
    contacts.mend()
    assert (outputs.faults, contacts.faults) == ({}, {})
    outputs.switch("fan", True)
    (_, fan), (_, wet) = kernel.asked[1:]
    assert fan.levels == [False, True]
    wet.edge(FALLING, 0.0)
    assert sorted(change.meaning for change in contacts.changes()) == ["dry", "wet"]


def test_a_contact_whose_line_goes_is_a_fault_and_opened_anew(
    kernel: Kernel, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The driver is unbound while it is read: what it told before is kept, its request is let go."""
    contacts = kernel.contacts(SteppedClock(), wet=17)
    (_, request) = kernel.asked[0]
    request.edge(FALLING, 0.0)

    def gone(_pin: int) -> Value:
        raise OSError(19, "No such device")

    monkeypatch.setattr(request, "get_value", gone)
    assert sorted(change.meaning for change in contacts.changes()) == ["dry", "wet"]
    assert contacts.faults == {"wet": "wet contact (GPIO 17): No such device"}
    assert request.released
    contacts.mend()
    assert contacts.faults == {}
    assert len(kernel.asked) == 2


def test_a_contact_that_the_board_itself_holds_closed_is_refused(kernel: Kernel) -> None:
    """GPIO 2 and 3 have resistors to 3.3 V on the board: a contact that works when driven high would never open."""
    contacts = kernel.contacts(SteppedClock(), wet=2, wet_active_high=True)
    assert contacts.faults == {
        "wet": "wet contact (GPIO 2): the board itself pulls GPIO2 up: wire it to another pin"
    }
    assert kernel.asked == []
    assert kernel.contacts(SteppedClock(), wet=2).faults == {}
