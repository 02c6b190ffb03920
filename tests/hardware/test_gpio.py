"""A Pi's pins through gpiod: what is asked of the kernel, and what becomes of its answers.

The library's own request and chip are played here; `gpiod` itself is loaded, its settings and values are the real ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import gpiod
import pytest
from gpiod.line import Bias, Direction, Edge, Value

from hardware.errors import HardwareMissing
from hardware.gpio import GpioPins, header_chip
from hardware.outputs import Outputs
from hardware.pins import Pins


class FakeRequest:
    """One requested line, with the kernel's queue of edges."""

    def __init__(self, pin: int, settings: gpiod.LineSettings) -> None:
        self.pin = pin
        self.settings = settings
        self.value = settings.output_value
        self.queue: list[gpiod.EdgeEvent] = []
        self.released = False

    def set_value(self, pin: int, value: Value) -> None:
        assert pin == self.pin
        self.value = value

    def get_value(self, pin: int) -> Value:
        assert pin == self.pin
        return self.value

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
        self.labels: dict[str, str | OSError] = {}
        self.asked: list[tuple[str, FakeRequest]] = []
        self.busy: set[int] = set()

    def plug(self, name: str, label: str | OSError) -> None:
        """A device with that label, or one that cannot be opened."""
        (self.folder / name).touch()
        self.labels[name] = label

    def chip(self, path: str) -> Any:
        label = self.labels[Path(path).name]
        if isinstance(label, OSError):
            raise label

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


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Kernel]:
    """A Pi 5's controllers, in an order of today's kernels."""
    made = Kernel(tmp_path)
    made.plug("gpiochip0", "gpio-brcmstb@107d508500")
    made.plug("gpiochip10", OSError(13, "Permission denied"))
    made.plug("gpiochip11", "pinctrl-rp1")
    monkeypatch.setattr(gpiod, "Chip", made.chip)
    monkeypatch.setattr(gpiod, "request_lines", made.request)
    return made


def test_the_header_is_found_by_its_controller_and_nothing_else_is_touched(kernel: Kernel) -> None:
    """Numbers of devices move from kernel to kernel; other controllers switch parts of the board itself."""
    assert header_chip(kernel.folder).name == "gpiochip11"
    del kernel.labels["gpiochip11"]
    (kernel.folder / "gpiochip11").unlink()
    with pytest.raises(
        HardwareMissing, match=r"gpio-brcmstb.*gpiochip10 \(not opened: Permission denied\).*group"
    ):
        GpioPins(kernel.folder).output(23, active_high=True)
    with pytest.raises(HardwareMissing, match="shows no pins"):
        header_chip(kernel.folder / "nothing")


def test_an_output_is_off_with_the_request_itself(kernel: Kernel) -> None:
    """Direction and level in one step, in the sense of its wiring: no moment in which a relay is on."""
    line = GpioPins(kernel.folder).output(25, active_high=False)
    ((chip, request),) = kernel.asked
    assert chip == "gpiochip11"
    assert (request.settings.direction, request.settings.active_low) == (Direction.OUTPUT, True)
    assert request.settings.output_value is Value.INACTIVE
    line.set(True)
    assert request.value is Value.ACTIVE
    line.set(False)
    assert request.value is Value.INACTIVE
    line.release()
    assert request.released


@pytest.mark.parametrize(("active_high", "pull"), [(False, Bias.PULL_UP), (True, Bias.PULL_DOWN)])
def test_a_contact_is_pulled_open_debounced_and_heard_both_ways(
    kernel: Kernel, active_high: bool, pull: Bias
) -> None:
    """A cut wire reads as open; the kernel swallows bounces of less than 50 ms."""
    GpioPins(kernel.folder).input(17, active_high=active_high)
    settings = kernel.asked[0][1].settings
    assert (settings.direction, settings.bias, settings.edge_detection) == (Direction.INPUT, pull, Edge.BOTH)
    assert settings.active_low is not active_high
    assert settings.debounce_period == timedelta(milliseconds=50)


def test_edges_are_taken_to_the_last_with_their_age(kernel: Kernel, monkeypatch: pytest.MonkeyPatch) -> None:
    """More than one read gives at once; rising is towards closed, whatever the wiring."""
    line = GpioPins(kernel.folder).input(17, active_high=False)
    request = kernel.asked[0][1]
    monkeypatch.setattr(line, "_now_ns", lambda: 10_000_000_000)
    kinds = gpiod.EdgeEvent.Type
    request.queue = [
        gpiod.EdgeEvent(kind.value, at_ns, 17, n, n)
        for n, (kind, at_ns) in enumerate(
            [(kinds.RISING_EDGE, 7_500_000_000), (kinds.FALLING_EDGE, 9_000_000_000), (kinds.RISING_EDGE, 10**10)], 1
        )
    ]  # fmt: skip
    assert [(edge.age_s, edge.closed) for edge in line.edges()] == [(2.5, True), (1.0, False), (0.0, True)]
    assert line.edges() == []
    assert line.closed() is False
    request.value = Value.ACTIVE
    assert line.closed() is True


def test_a_pin_that_another_driver_has_takes_nothing_from_the_others(kernel: Kernel) -> None:
    """Each pin is a request of its own."""
    kernel.busy.add(25)
    outputs = Outputs(Pins(lamp=23, fan=25), GpioPins(kernel.folder))
    assert outputs.faults == {"fan": "fan (GPIO 25): Device or resource busy"}
    outputs.switch("lamp", True)
    assert kernel.asked[0][1].value is Value.ACTIVE
