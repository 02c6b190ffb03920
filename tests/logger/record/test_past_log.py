"""Past logs are read as the mapping says; what cannot be read is told with its line."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import BadInput, BadReadings
from logger.record.figures import Place, figures
from logger.record.past_log import Column, Mapping, read_log
from logger.words.reader import METRIC
from logger.words.render import say

ELAPSED = Mapping(("t",), "s", (Column("core", "core", "c"), Column("air", "room", "c")))


def test_columns_may_stand_in_any_order_and_units_are_turned() -> None:
    """68 °F is 20 °C; 293.15 K is 20 °C (SI Brochure, 9th ed.; NIST SP 811, B.8)."""
    text = "note,Air (F),Clock,Core (K)\nx,68.0,0,293.15\ny,86,30,303.15\n"
    log = read_log(
        text, Mapping(("Clock",), "min", (Column("Core (K)", "core", "k"), Column("Air (F)", "room", "f")))
    )
    assert log.seconds.tolist() == [0.0, 1800.0]
    np.testing.assert_allclose(log.values["core"], [20.0, 30.0])
    np.testing.assert_allclose(log.values["room"], [20.0, 30.0])
    assert not log.absolute


def test_date_and_time_in_two_columns_with_a_zone_are_true_times() -> None:
    """A logger in Berlin in summer stands two hours ahead of UTC."""
    text = "Date;Time;T\n25/06/2026;08:00;21,5\n25/06/2026;08:30;22,25\n"
    mapping = Mapping(
        ("Date", "Time"), "%d/%m/%Y %H:%M", (Column("T", "core", "c"),), "Europe/Berlin", ";", True
    )
    log = read_log(text, mapping)
    assert log.absolute
    assert log.seconds[0] == datetime(2026, 6, 25, 6, 0, tzinfo=UTC).timestamp()
    assert log.values["core"].tolist() == [21.5, 22.25]


def test_the_hour_that_the_clock_repeats_is_read_twice_and_the_missing_one_refused() -> None:
    """25 Oct 2026, 03:00 → 02:00, and 29 Mar 2026, 02:00 → 03:00 (EU rule, Directive 2000/84/EC)."""
    column = (Column("T", "room", "c"),)
    autumn = "at,T\n2026-10-25 02:30,10\n2026-10-25 02:50,9\n2026-10-25 02:10,8\n2026-10-25 03:10,7\n"
    log = read_log(autumn, Mapping(("at",), "%Y-%m-%d %H:%M", column, "Europe/Berlin"))
    assert np.diff(log.seconds).tolist() == [1200.0, 1200.0, 3600.0]
    with pytest.raises(BadReadings, match=r"line 2: .*does not exist"):
        read_log("at,T\n2026-03-29 02:30,10\n", Mapping(("at",), "%Y-%m-%d %H:%M", column, "Europe/Berlin"))


def test_a_time_of_day_without_a_zone_is_asked_for() -> None:
    """A zone is never guessed."""
    with pytest.raises(BadInput, match="in which time zone"):
        read_log("at,T\n", Mapping(("at",), "%d.%m.%Y", (Column("T", "room", "c"),)))
    with pytest.raises(BadReadings, match="no time zone was given"):
        read_log("at,T\n2026-01-01T10:00,1\n", Mapping(("at",), "iso", (Column("T", "room", "c"),)))
    log = read_log("at,T\n2026-01-01T10:00+01:00,1\n", Mapping(("at",), "iso", (Column("T", "room", "c"),)))
    assert log.seconds[0] == datetime(2026, 1, 1, 9, 0, tzinfo=UTC).timestamp()


def test_bad_rows_refuse_the_log_and_name_every_line() -> None:
    """A torn row, a word, a step back and a temperature in another unit."""
    text = "t,core,air\n0,21,20\n10,21\n20,warm,20\n15,22,20\n30,21,20\n25,22,20\n40,900,20\n50,23,20\n"
    with pytest.raises(BadReadings) as told:
        read_log(text, ELAPSED, "old.csv")
    assert str(told.value).startswith("old.csv: line 3: has 2 fields, not 3; 4 bad rows, at lines 3, 4, 7, 8")
    log = read_log(text, ELAPSED, leave_out_bad=True)
    assert [row.line for row in log.bad] == [3, 4, 7, 8]
    assert "is it another unit?" in say(log.bad[-1].problem, METRIC)
    assert list(log.lines) == [2, 5, 6, 9]


def test_a_field_without_a_value_is_a_failed_reading_and_told() -> None:
    """NaN, a dash or nothing is no temperature, and no bad row either."""
    log = read_log("t,core,air\n0,NaN,20\n1,--,\n2,21,20\n", ELAPSED)
    assert np.isnan(log.values["core"][:2]).all()
    assert {name: list(lines) for name, lines in log.no_value.items()} == {"core": [2, 3], "room": [3]}
    assert say(log.summary(), METRIC) == "3 rows read, 3 fields without a value, 0 bad rows"


@pytest.mark.parametrize(
    ("mapping", "message"),
    [
        (Mapping(("t",), "s", (Column("core", "core", "celsius"),)), "unit is not known"),
        (Mapping(("t",), "s", (Column("core", "middle", "c"),)), "place is not known"),
        (Mapping(("t",), "fortnights", (Column("core", "core", "c"),)), "is not known"),
        (Mapping(("t",), "%Y%m%d", (Column("core", "core", "c"),), "Mars/Olympus"), "zone: is not known"),
        (Mapping(("t",), "%H:%M", (Column("core", "core", "c"),), "UTC"), "names no year"),
        (Mapping(("t",), "%d%d", (Column("core", "core", "c"),), "UTC"), "says the same thing twice"),
        (Mapping(("t",), "%m %B %Y", (Column("core", "core", "c"),), "UTC"), "says the same thing twice"),
        (Mapping(("t",), "%Y%q", (Column("core", "core", "c"),), "UTC"), "directive that is not known"),
        (Mapping(("t",), "%Y%", (Column("core", "core", "c"),), "UTC"), "directive that is not known"),
        (
            Mapping(("t",), "s", (Column("core", "core", "c"), Column("air", "core", "c"))),
            "two columns to one place",
        ),
        (Mapping((), "s", ()), "names no column"),
    ],
)
def test_a_mapping_that_makes_no_sense_is_refused(mapping: Mapping, message: str) -> None:
    """Before any row is read."""
    with pytest.raises(BadInput, match=message):
        read_log("t,core,air\n0,1,2\n", mapping)


@pytest.mark.parametrize(
    ("time_as", "time"),
    [
        ("unix", "1e300"),
        ("unix", "-1"),
        ("s", "1e300"),
        ("s", "-4e8"),
        ("iso", "0001-01-01T00:00+14:00"),
        ("iso", "9999-12-31T23:59-14:00"),
        ("%y %j", "70 001"),
    ],
)
def test_a_time_far_from_any_pour_is_a_bad_row(time_as: str, time: str) -> None:
    """Nothing that comes later counts with such a number, whatever it is written as."""
    mapping = Mapping(("t",), time_as, (Column("core", "core", "c"),), "UTC")
    with pytest.raises(BadReadings, match=r"line 2: time .*: is it (written another way|another unit)\?"):
        read_log(f"t,core\n{time},20\n", mapping)


def test_a_column_that_is_not_there_is_named_with_those_that_are() -> None:
    """The message helps to mend the mapping."""
    with pytest.raises(BadReadings, match="column 'Core': is not there; allowed: t, core, air"):
        read_log("t,core,air\n0,1,2\n", Mapping(("t",), "s", (Column("Core", "core", "c"),)))


@given(st.lists(st.lists(st.text("0123456789.-+eE naN,;x\u2212", max_size=6), max_size=4), max_size=12))
def test_every_row_is_read_told_as_empty_or_told_as_bad(rows: list[list[str]]) -> None:
    """Nothing is dropped in silence, whatever is in the file."""
    lines = ["t,core,air", *(",".join('"' + cell + '"' for cell in row) for row in rows)]
    mapping = Mapping(("t",), "s", ELAPSED.columns)
    try:
        log = read_log("\n".join(lines), mapping, leave_out_bad=True)
    except BadReadings as error:
        assert "has no rows that can be read" in str(error)  # noqa: PT017 - hypothesis cannot use raises for "may"
        return
    filled = [at for at, row in enumerate(rows, start=2) if any(cell.strip() for cell in row)]
    assert sorted([*log.lines, *(row.line for row in log.bad)]) == filled


def _data(package: str, *path: str) -> Path:
    found = find_spec(package)
    if found is None or not found.submodule_search_locations:
        raise AssertionError(
            f"{package} is not installed: it belongs to the extra `test`, its data is not kept here"
        )
    return Path(found.submodule_search_locations[0]).joinpath(*path)


CALORIMETER = Mapping(
    ("Time",),
    "s",
    (
        Column("Temperature", "core", "c"),
        Column("Heat flow", "heat flow, W", "number"),
        Column("Heat", "heat, J", "number"),
    ),
)


def test_a_real_calorimeters_log_is_read_whole_and_gives_its_heat() -> None:
    """Measured by others (calocem 0.4.0, MIT): its flow, integrated here, gives its own column of heat, 1340.3872 J.

    The instrument starts its heat at 0.000105 J in the first row that has one; peak 0.30833 W at 0.8127 h.
    """
    text = _data("calocem", "DATA", "calorimetry_data_1.csv").read_text(encoding="utf-8")
    log = read_log(text, CALORIMETER, "calorimetry_data_1.csv")
    assert len(log.seconds) == 5999
    assert log.no_value["heat flow, W"][0] == 2
    flow, heat = log.values["heat flow, W"], log.values["heat, J"]
    counted = np.isfinite(flow) & np.isfinite(heat)
    integral = heat[counted][0] + float(np.trapezoid(flow[counted], log.seconds[counted]))
    assert integral == pytest.approx(heat[counted][-1], rel=1e-12)
    assert integral == pytest.approx(1340.3872, abs=5e-5)
    peak = int(np.nanargmax(flow))
    assert flow[peak] == pytest.approx(0.30833, abs=5e-6)
    assert log.seconds[peak] / 3600 == pytest.approx(0.8127, abs=5e-5)


def test_a_real_corrupt_log_is_refused_with_its_row() -> None:
    """calocem's corrupt_example.csv holds two DEL characters where line 2 should have its heat."""
    text = _data("calocem", "DATA", "corrupt_example.csv").read_text(encoding="utf-8")
    mapping = Mapping(
        ("Time",),
        "s",
        (Column("Temperature [Temperature]", "core", "c"), Column("Heat [Signal]", "heat, J", "number")),
    )
    with pytest.raises(
        BadReadings, match=r"corrupt_example\.csv: line 2: Heat \[Signal\] '\\x7f' is not a number"
    ):
        read_log(text, mapping, "corrupt_example.csv")
    assert len(read_log(text, mapping, leave_out_bad=True).bad) == 1


def test_a_year_of_a_real_outdoor_temperature_is_read_whole() -> None:
    """8760 measured hours of Greensboro (TMY3 file of pvlib 0.16.1, read in the test only); the file is the judge."""
    lines = _data("pvlib", "data", "723170TYA.CSV").read_text(encoding="utf-8").splitlines()
    # Its months come from different years, so the hours are counted; one line above the heading.
    own = [float(row["Dry-bulb (C)"]) for row in csv.DictReader(lines[1:])]
    text = "hour,outside\n" + "\n".join(f"{at},{celsius}" for at, celsius in enumerate(own))
    log = read_log(text, Mapping(("hour",), "h", (Column("outside", "room", "c"),)))
    assert len(log.seconds) == 8760
    assert log.values["room"].tolist() == own
    # A shed without heating is a room that goes cold: the record's figures find its worst hour and its coldest.
    found = figures({"room": Place(log.seconds / 3600, log.values["room"])}, 60.0)
    assert found.room_coldest_hour_c == min(own)
    assert found.room_coldest_hour_at_h == own.index(min(own))
    assert found.room_coldest_c == min(own) < 0
