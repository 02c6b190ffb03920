"""From probe to record: what a pour must and must not raise (invented temperatures over a real plan)."""

from __future__ import annotations

from typing import Any

from hardware.bench.w1_files import Misreading
from logger.words.reader import METRIC
from logger.words.render import say

#: A core that runs away from its plan: over 60 °C before the second hour.
RUNS_HOT = {"core": [(0.0, 21.0), (0.5, 23.0), (1.0, 30.0), (2.0, 72.0), (3.0, 66.0)]}
HEATING_FAILS = {"room": [(0.0, 21.0), (0.5, 20.5), (1.0, 13.0), (4.0, 11.0)]}


def kinds(record: Any, priority: str | None = None) -> set[str]:
    """Which alarms a record holds."""
    return {a["kind"] for a in record["alarms"] if priority is None or a["priority"] == priority}


def test_a_hot_pour_raises_core_hot_is_acknowledged_and_its_record_shows_the_peak(whole_pour: Any) -> None:
    """The exotherm passes the limit; somebody takes it; the record tells all of it."""
    pour = whole_pour(RUNS_HOT)

    def acknowledge(pour: Any, _hour: float) -> None:
        for alarm in pour.maker.ask("GET", "/api/alarms") if pour.sweeps % 40 == 0 else ():
            if alarm["phase"] == "raised":
                pour.maker.ask("POST", f"/api/alarms/{alarm['id']}/acknowledge", {"text": "fans are on"})

    pour.watch(2.5, acknowledge)
    record = pour.record()
    (hot,) = [a for a in record["alarms"] if a["kind"] == "core-hot"]
    (early,) = [a for a in record["alarms"] if a["kind"] == "hotter-than-predicted"]
    assert hot["priority"] == "high"
    assert hot["acknowledged_by"] == "Ines"
    assert "limit of 60.0 °C" in say(hot["reason"], METRIC)
    assert hot["raised_ms"] - early["raised_ms"] > 10 * 60_000, (
        "the deviation is called well before the limit"
    )
    poured_ms = record["pour"]["poured_ms"]
    crossed_h = 1.0 + (60.0 - 30.0) / (72.0 - 30.0)
    assert abs((hot["raised_ms"] - poured_ms) / 3.6e6 - crossed_h) < 40 / 3600, (
        "within a sweep of the crossing"
    )
    assert abs(record["figures"]["core_peak_c"] - 72.0) < 0.5
    assert record["figures"]["readings"] == 4 * pour.sweeps
    assert any(e["text"] == "fans are on" for e in record["events"])


def test_a_pour_that_goes_as_predicted_raises_nothing_but_its_looks(whole_pour: Any) -> None:
    """Nobody is called for a calm pour; that nobody looked in the first hour is said."""
    pour = whole_pour()
    pour.watch(3.0)
    assert kinds(pour.record()) == {"look-due"}


def test_a_cold_room_is_called(whole_pour: Any) -> None:
    """The heating fails: the room falls below what the resin bears."""
    pour = whole_pour(HEATING_FAILS)
    pour.watch(2.0)
    record = pour.record()
    assert "room-cold" in kinds(record)
    assert "core-hot" not in kinds(record)
    assert record["figures"]["room_coldest_c"] < 14


def test_a_dead_probe_is_called_and_leaves_no_false_temperature(whole_pour: Any) -> None:
    """85.0 at power-on and empty reads are faults with their reason, not a calm and not a hot pour."""
    pour = whole_pour(
        lies=(
            ("core", Misreading.POWER_ON, 0.95, 1.0),
            ("core", Misreading.EMPTY, 1.0, 1.3),
            ("core", Misreading.ALL_ZERO, 1.3, 3.0),
        )
    )
    pour.watch(2.0)
    record = pour.record()
    assert kinds(record) - {"look-due"} == {"core-unwatched"}
    assert record["figures"]["core_peak_c"] < 25
    assert {f["fault"] for f in record["faults"]} >= {"empty-read", "all-zero"}


def test_a_service_that_is_away_for_an_hour_loses_nothing(whole_pour: Any) -> None:
    """The station keeps reading and catches up in order; the silence itself is called."""
    pour = whole_pour()

    def cut(pour: Any, hour: float) -> None:
        pour.transport.cut = 1.2 < hour < 2.2

    pour.watch(3.0, cut)
    record = pour.record()
    assert record["figures"]["readings"] == 4 * pour.sweeps
    assert record["figures"]["longest_gap_h"] < 0.01
    assert "station-silent" in kinds(record)
