"""A recorded pour runs through the code of a live one; what is reported keeps to the contract (invented readings)."""

from __future__ import annotations

import csv
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from logger.errors import BadReadings
from logger.live.replay import replay
from logger.plan.file import plan_from_text
from logger.record.readings_file import FileReading, read_readings


def measured_air() -> list[float]:
    """8760 measured hourly air temperatures of Greensboro, °C (TMY3 file of pvlib 0.16.1, read in the test only)."""
    found = find_spec("pvlib")
    assert found is not None, "pvlib belongs to the extra `test`"
    path = Path(str(found.origin)).parent / "data" / "723170TYA.CSV"
    lines = path.read_text(encoding="utf-8").splitlines()
    return [float(row["Dry-bulb (C)"]) for row in csv.DictReader(lines[1:])]


def invented(hours: float = 3.0) -> list[FileReading]:
    """A core that runs to 72 °C in the second hour, a quiet room, five minutes apart, one failed read."""
    rows = []
    for minute in range(0, round(hours * 60) + 1, 5):
        hour = minute / 60
        core = 21 + 4 * hour if hour < 1 else min(25 + 47 * (hour - 1), 72.0)
        for place, celsius in (("core", core), ("surface", core - 6 * hour), ("room", 21.0)):
            failed = place == "surface" and minute == 45
            rows.append(
                FileReading(
                    minute * 60.0, place, None if failed else celsius, "empty-read" if failed else None
                )
            )
    return rows


def test_a_hot_recording_raises_core_hot_where_it_crosses_and_the_record_tells_its_peak(
    plan_toml: str,
) -> None:
    """kind, raised_h, cleared_h, priority and reason for each alarm; the record's figures as summary."""
    told = replay(plan_from_text(plan_toml), invented(), live_forecasts=False)
    (hot,) = [alarm for alarm in told["alarms"] if alarm["kind"] == "core-hot"]
    assert hot["priority"] == "high"
    assert hot["cleared_h"] is None
    assert abs(hot["raised_h"] - (1 + (60 - 25) / 47)) < 5.5 / 60
    assert "60.0 °C" in hot["reason"]
    assert told["summary"]["core_peak_c"] == 72.0
    assert told["summary"]["faults"] == 1
    assert told["forecasts"] == []


def test_a_forecast_looks_only_at_readings_up_to_its_hour(plan_toml: str) -> None:
    """The same forecast whether or not the recording goes on afterwards."""
    plan = plan_from_text(plan_toml)
    short = [row for row in invented() if row.elapsed_s <= 3600]
    whole = replay(plan, invented(1.5), forecast_at=[1.0], live_forecasts=False)["forecasts"]
    cut = replay(plan, short, forecast_at=[1.0], live_forecasts=False)["forecasts"]
    assert whole == cut
    assert set(whole[0]) >= {
        "at_h",
        "core_peak_c",
        "core_peak_at_h",
        "hottest_peak_c",
        "chance_core_over_limit",
    }
    band = whole[0]["core_peak_c"]
    assert band["p05"] <= band["p50"] <= band["p95"]


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("elapsed_s,place,celsius\n0,core,21\n30,co", 3, "2 fields"),
        ("elapsed_s,place,celsius\n0,core,21\n30,lid,21\n", 3, "place is not known"),
        ("elapsed_s,place,celsius\n0,core,warm\n", 2, "celsius"),
        ("elapsed_s,place,celsius\n60,core,21\n30,core,21\n", 3, "goes back in time"),
        ("elapsed_s,place,celsius\n0,core,900\n", 2, "-55 to 400 °C"),
        ("time,temp\n0,21\n", 1, "heading"),
    ],
)
def test_a_malformed_row_stops_with_its_line_and_the_remedy(
    tmp_path: Path, text: str, line: int, word: str
) -> None:
    """Nothing of a torn file is used."""
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadReadings) as refused:
        read_readings(path)
    assert f"line {line}" in str(refused.value)
    assert word in str(refused.value)
    assert refused.value.remedy


def test_an_unheated_shed_in_real_autumn_air_calls_the_cold_room_when_it_falls_below_the_limit(
    plan_toml: str,
) -> None:
    """Poured on the first warm autumn day before a night below 12 °C: called in the hour that the file says."""
    plan = plan_from_text(plan_toml)
    least = plan.resin.limits.min_room_c
    year = measured_air()
    start = next(
        at for at in range(5000, 8700) if min(year[at : at + 8]) >= 19 and min(year[at + 8 : at + 48]) < 12
    )
    hours = [minute / 60 for minute in range(0, 24 * 60, 5)]
    # Between the hours of the file the air is taken to move in a straight line.
    room = np.interp(hours, range(25), year[start : start + 25])
    rows = []
    for hour, celsius in zip(hours, room, strict=True):
        rows.append(FileReading(hour * 3600, "core", 21.0 + min(hour, 6.0), None))
        rows.append(FileReading(hour * 3600, "room", float(celsius), None))
    told = replay(plan, rows, live_forecasts=False)
    cold = [alarm for alarm in told["alarms"] if alarm["kind"] == "room-cold"]
    # Below for a quarter of an hour without a break: three steps of five minutes.
    below = [all(celsius < least for celsius in room[at : at + 4]) for at in range(len(room) - 3)]
    expected_h = hours[below.index(True)] + 0.25
    assert cold[0]["raised_h"] == pytest.approx(expected_h, abs=11 / 60)
    assert f"needs {least:.1f} °C or more" in cold[0]["reason"]
    assert told["summary"]["room_coldest_c"] == pytest.approx(room.min(), abs=0.001)
