"""Numbers and ranges as a datasheet prints them, read from a form's field."""

from __future__ import annotations

import pytest

from logger.cure.fit.datasheet import datasheet_from_text
from logger.errors import BadInput
from logger.words.reader import Reader
from web.views.datasheet_form import FormFields, fields_of, mix_of, sheet_toml
from web.views.typed import celsius_from, hours_from, minutes_from, mm_from, ratio_from


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("50", 50.0),
        ("40-60", (40.0, 60.0)),
        ("40–60 min", (40.0, 60.0)),
        ("40 to 60 minutes", (40.0, 60.0)),
        ("1,5 h", 90.0),
        ("~45", 45.0),
        ("60 - 40", (40.0, 60.0)),
        ("2 days", 2880.0),
    ],
)
def test_a_time_is_read_as_it_is_printed(text: str, value: object) -> None:
    """One number, a range with any dash, a unit behind it."""
    assert minutes_from(text, "Working time") == pytest.approx(value)


def test_other_dimensions_are_read_the_same_way() -> None:
    """In the reader's units, or in the unit that stands behind the number."""
    assert hours_from("2–3 days", "Hard after") == (48.0, 72.0)
    assert mm_from("1-2", "Depth", Reader(length="in")) == pytest.approx((25.4, 50.8))
    assert mm_from("5 cm", "Depth", Reader(length="in")) == pytest.approx(50.0)
    assert celsius_from("-5 to 5", "Room", Reader()) == (-5.0, 5.0)
    assert celsius_from("77 °F", "Room", Reader()) == pytest.approx(25.0)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("3:1", (3.0, 1.0, "")),
        ("100:45", (100.0, 45.0, "")),
        ("2 : 1", (2.0, 1.0, "")),
        ("100 / 45 by weight", (100.0, 45.0, "weight")),
        ("2 to 1 by volume", (2.0, 1.0, "volume")),
    ],
)
def test_a_ratio_is_one_field(text: str, parts: object) -> None:
    """As the label prints it."""
    assert ratio_from(text) == parts


@pytest.mark.parametrize("text", ["0", "-4", "0-10"])
def test_only_the_impossible_is_refused(text: str) -> None:
    """No mix gels in no time."""
    with pytest.raises(BadInput, match="impossible"):
        minutes_from(text, "Working time")


def test_a_range_reaches_the_datasheet_and_comes_back() -> None:
    """Both ends are kept, and editing shows them again."""
    given = {
        "resin": "Ranged (invented)",
        "working": "40–60",
        "at": "20-25",
        "hard": "24-36",
        "deepest": "5–10",
    }
    sheet = datasheet_from_text(sheet_toml(FormFields(given, Reader())))
    (working,) = sheet.working_time
    assert (working.time_min, working.at_c, working.at_plus_minus_k) == ((40.0, 60.0), 22.5, 2.5)
    assert sheet.cure_time[0].time_h == (24.0, 36.0)
    back = fields_of(sheet, Reader())
    assert back is not None
    assert (back["working"], back["at"], back["hard"]) == ("40–60", "20–25", "24–36")


def test_one_field_may_hold_the_whole_range_of_rooms() -> None:
    """Datasheets print "18–28 °C"."""
    limits = datasheet_from_text(
        sheet_toml(FormFields({"resin": "R (invented)", "working": "50", "min_room": "18–28 °C"}, Reader()))
    ).limits
    assert (limits.min_room_c, limits.max_room_c) == (18.0, 28.0)


def test_no_ratio_is_no_mix() -> None:
    """A resin may be kept before anybody looked up how it is mixed."""
    assert mix_of(FormFields({"resin": "R (invented)"}, Reader())) == {}
