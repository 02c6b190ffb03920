"""Rows as the program reads them are the tables' rows: same columns, and None only where a column allows it."""

from __future__ import annotations

import types
from dataclasses import fields
from typing import Any, get_args, get_type_hints

import pytest

from logger.errors import NotAllowed, NotFound
from logger.store import rows, tables
from logger.store.database import table

#: The database itself gives it to whatever is written: see logger/store/shops.py.
GIVEN = {"shop_id"}


def may_be_none(shape: type) -> dict[str, bool]:
    """Field → whether it may be None."""
    hints = get_type_hints(shape)
    return {field.name: types.NoneType in get_args(hints[field.name]) for field in fields(shape)}


@pytest.mark.parametrize(
    ("shape", "model", "besides"),
    [
        (rows.AlarmRow, tables.Alarm, set()),
        (rows.PressingAlarm, tables.Alarm, {"pour_title"}),
        (rows.EventRow, tables.Event, set()),
        (rows.ProbeRow, tables.ProbeTable, set()),
        (rows.StationRow, tables.Station, set()),
        (rows.LivePour, tables.Pour, set()),
        (rows.ListedPour, tables.Pour, {"poured_ms"}),
        (rows.PourWithPrediction, tables.Pour, {"poured_ms"}),
        (rows.PourRow, tables.Pour, {"poured_ms"}),
        (rows.ForecastRow, tables.ForecastTable, set()),
        (rows.MessageRow, tables.Outgoing, set()),
        (rows.ListedMessage, tables.Outgoing, {"takers"}),
        (rows.PersonRow, tables.Person, GIVEN),
        (rows.ChannelRow, tables.PersonChannel, set()),
        (rows.CalledChannel, tables.PersonChannel, {"name", "shop_id", "units", "language"}),
        (rows.SignedIn, tables.Person, {"sign_in_id", "seen_ms"} | GIVEN),
        (rows.SignInRow, tables.SignIn, set()),
        (rows.InvitationRow, tables.Invitation, GIVEN),
        (rows.SharedLinkRow, tables.SharedLink, GIVEN),
        (rows.MessageLinkRow, tables.AckLink, set()),
        (rows.LeaseRow, tables.Lease, set()),
    ],
)
def test_a_shape_says_none_where_its_column_does(shape: type, model: Any, besides: set[str]) -> None:
    """A field that could be null and is not said to be is found when a maker's page breaks on it."""
    column = table(model).c
    said = {name: none for name, none in may_be_none(shape).items() if name not in besides}
    assert said == {name: bool(column[name].nullable) for name in said}


def test_a_pour_that_was_not_poured_has_no_start() -> None:
    """Its time is not taken for zero."""
    empty = {field.name: None for field in fields(rows.ListedPour)}
    pour = rows.ListedPour(**{**empty, "id": 3, "title": "River table"})  # type: ignore[arg-type]
    with pytest.raises(NotAllowed, match="has not been poured yet"):
        _ = pour.started_ms


def test_an_event_of_the_whole_shop_belongs_to_no_pour() -> None:
    """Nor is it taken for one of pour 0."""
    empty = {field.name: None for field in fields(rows.EventRow)}
    event = rows.EventRow(**{**empty, "id": 7})  # type: ignore[arg-type]
    assert event.facts == {}
    with pytest.raises(NotFound, match="event 7 belongs to no pour"):
        _ = event.of_pour
