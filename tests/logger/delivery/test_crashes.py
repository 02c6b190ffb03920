"""Killed between raising an alarm and sending it: whatever was committed is delivered, nothing more than once a kill.

A real SMTP server and a real HTTP server on loopback; the process that judges and sends is killed with SIGKILL at
every point that it passes, and started again. tests/bench/delivery.py does it many times, and at random.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
#: The restarted sender comes so much later that the killed one's claim has run out (three time-outs of 2 s, and 5 s).
CLAIM_OVER_S = 12.0


def load(name: str) -> Any:
    """A helper beside this file: tests are no package."""
    spec = importlib.util.spec_from_file_location(f"delivery_{name}", HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


class Process:
    """The process that makes and kills the others."""

    def __init__(self, folder: Path, urls: list[str]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "crashing.py"), str(folder), *urls],
            cwd=ROOT,
            env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin"},
            text=True,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )

    def run(self, name: str, kill_at: int, later_s: float = 0.0) -> dict[str, Any]:
        """One run on the database of that name."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"name": name, "kill_at": kill_at, "later_s": later_s}) + "\n")
        self._process.stdin.flush()
        return dict(json.loads(self._process.stdout.readline()))

    def close(self) -> None:
        """Ends it."""
        self._process.communicate(timeout=30)


@pytest.fixture
def received() -> Iterator[Any]:
    """The two receivers."""
    with load("receiving").receivers() as both:
        yield both


@pytest.fixture
def process(tmp_path: Path, received: Any) -> Iterator[Process]:
    """The process under test."""
    made = Process(tmp_path, received.urls)
    yield made
    made.close()


def test_a_kill_at_every_point_loses_no_message_and_doubles_at_most_one(
    process: Process, received: Any
) -> None:
    """From "transaction begun" to "marked as sent", each point once, then a restart."""
    clean = process.run("clean", kill_at=0)
    points = clean["points"]
    assert not clean["killed"]
    wanted = received.web[:]
    assert sorted(received.mail) == sorted(wanted)
    assert "URGENT: The core is too hot - Table" in wanted
    assert {"watch: committed", "sender: after the send"} <= set(points)
    for at in range(1, len(points) + 1):
        received.clear()
        assert process.run(f"kill-{at}", kill_at=at)["killed"], points[at - 1]
        assert not process.run(f"kill-{at}", kill_at=0, later_s=CLAIM_OVER_S)["killed"]
        extra = 0
        for took in (received.web, received.mail):
            assert set(took) == set(wanted), f"killed at {at} ({points[at - 1]})"
            extra += len(took) - len(wanted)
        assert extra <= (points[at - 1] in UNSURE), f"killed at {at} ({points[at - 1]}): {extra} came twice"


#: Where a kill cannot help doubling: the receiver has the message, and the database does not know it yet.
UNSURE = ("sender: after the send", "sender: transaction begun", "sender: written, before the commit")
