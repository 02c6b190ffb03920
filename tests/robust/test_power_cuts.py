"""The power fails at any moment: what was acknowledged is there afterwards, in the spool or in the service."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from after_cut import cut_many
from power_cuts import record

#: Where the recorder cannot be built there is nothing to replay.
pytestmark = pytest.mark.skipif(shutil.which("gcc") is None, reason="needs gcc to build the recorder")

SWEEPS = 40


def test_no_power_cut_loses_what_was_acknowledged(in_memory: Path) -> None:
    """1,500 cuts over station and service together, while they are made, watch, checkpoint and catch up."""
    events = record(in_memory / "full", sweeps=SWEEPS)
    syncs = sum(event.op == "S" for event in events)
    promises = sum(event.op == "M" for event in events)
    assert syncs >= promises > SWEEPS, "nothing is acknowledged before the disk was told to finish"
    told = cut_many(events, in_memory, 1500, seed=1, start_every=100)
    assert told.examples == []
    assert (told.cuts, told.started) == (1500, 15)


@pytest.mark.parametrize("synchronous", ["NORMAL", "OFF"])
def test_the_same_cuts_show_losses_where_fewer_syncs_are_made(in_memory: Path, synchronous: str) -> None:
    """The test of the test: it would see it if somebody made the database faster."""
    events = record(in_memory / synchronous, sweeps=SWEEPS, synchronous=synchronous)
    told = cut_many(events, in_memory, 100, seed=2)
    assert told.with_loss > 30
