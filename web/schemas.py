"""Shapes of requests. Numbers are strict and bounded: no text, no booleans, nothing past 64 bits."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import Path
from pydantic import BaseModel, ConfigDict, Field

from logger.alarms.first_hour import LookResult
from logger.pour import Stage
from logger.store.boots import Stamp
from logger.wire import StationHealth, WireReading

#: Request bodies that may be larger than a form (server/app.py has the limit of all others), bytes: a station's fullest
#: batch, a plan file, a photo.
BATCH_BODY, PLAN_BODY, PHOTO_BODY = 1024 * 1024, 2 * 1024 * 1024, 15 * 1024 * 1024
#: Several photos in one form.
PHOTOS_BODY = 40 * 1024 * 1024
#: A row's number in an address: what the database can hold.
RowId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\w.:-]+$")]
Text = Annotated[str, Field(max_length=4000)]


class RequestShape(BaseModel):
    """Unknown names refused, nothing coerced."""

    model_config = ConfigDict(extra="forbid", strict=True)


class BatchShape(RequestShape):
    """What a station sends."""

    # Read from JSON alone: its parts are dataclasses, for which a strict model takes no dict.

    station: Annotated[str, Field(min_length=1, max_length=64)]
    spool: Annotated[str, Field(min_length=1, max_length=36)]
    sent: Stamp
    rows: Annotated[list[WireReading], Field(max_length=500)]
    newest: Annotated[list[WireReading], Field(max_length=64)] = []
    health: StationHealth | None = None


class NewPour(RequestShape):
    """A pour to plan."""

    plan_toml: Annotated[str, Field(min_length=1, max_length=200_000)]
    client: Annotated[str, Field(max_length=200)] = ""
    station: Annotated[str, Field(max_length=64)] | None = None


class PlanShape(RequestShape):
    """A plan file's text."""

    plan_toml: Annotated[str, Field(min_length=1, max_length=200_000)]


class StepShape(RequestShape):
    """The next stage of a pour. `confirm`: what `GET …/ending?to=` gave for a step that nothing takes by accident."""

    to: Annotated[Stage, Field(strict=False)]
    text: Text = ""
    confirm: Annotated[str, Field(max_length=60)] = ""


class UndoShape(RequestShape):
    """Which step is taken back: its mark, as `GET …/ending` gives it. Without: the last one."""

    mark: Annotated[int, Field(ge=0)] | None = None


#: Why something is added to a sealed record; asked for there alone.
Reason = Annotated[str, Field(max_length=300)]


class NoteShape(RequestShape):
    """A note on a pour."""

    text: Annotated[str, Field(min_length=1, max_length=4000)]
    reason: Reason = ""


class SignShape(RequestShape):
    """Who signs a readiness point, or takes the signature back."""

    point: Annotated[str, Field(min_length=1, max_length=80)]
    person: Annotated[str, Field(min_length=1, max_length=60)]


class OverrideShape(SignShape):
    """Who lets a point pass, and why."""

    reason: Annotated[str, Field(min_length=1, max_length=2000)]


class ExceptionShape(RequestShape):
    """Who answers for a step that something stands in the way of, and why; `to` null: watch's end, or seal."""

    person: Annotated[str, Field(min_length=1, max_length=60)]
    reason: Annotated[str, Field(min_length=1, max_length=2000)]
    to: Annotated[Stage, Field(strict=False)] | None = None


class DefectShape(RequestShape):
    """One thing that went wrong, and where on the table."""

    kind: Annotated[str, Field(max_length=40)]
    where: Annotated[str, Field(max_length=300)] = ""


class OutcomeShape(RequestShape):
    """How a pour ended; logger/record/SCHEMA.md has the words."""

    state: Annotated[str, Field(max_length=40)]
    defects: Annotated[list[DefectShape], Field(max_length=20)] = []
    rework_cost: Annotated[float, Field(ge=0, le=1e9)] = 0.0
    currency: Annotated[str, Field(max_length=12)] = ""
    rework_h: Annotated[float, Field(ge=0, le=1e9)] = 0.0
    text: Text = ""
    reason: Reason = ""


class TestShape(RequestShape):
    """A test on the casting."""

    what: Annotated[str, Field(max_length=40)]
    value: Annotated[str, Field(min_length=1, max_length=300)]
    text: Text = ""
    reason: Reason = ""


class LotShape(RequestShape):
    """A resin lot that was used."""

    product: Annotated[str, Field(min_length=1, max_length=100)]
    part: Annotated[str, Field(min_length=1, max_length=100)]
    lot: Annotated[str, Field(min_length=1, max_length=100)]
    kg: Annotated[float, Field(gt=0, le=100_000)]
    expires_on: Annotated[str, Field(max_length=10)] | None = None
    reason: Reason = ""


class LayerShape(RequestShape):
    """A later layer that is poured now."""

    number: Annotated[int, Field(ge=2, le=100)]
    reason: Reason = ""


class AckShape(RequestShape):
    """Why or how an alarm was acknowledged."""

    text: Text = ""


class ShelveShape(RequestShape):
    """An alarm to be quiet for some hours."""

    hours: Annotated[float, Field(gt=0, le=1000)]
    reason: Annotated[str, Field(max_length=500)] = ""


class OutShape(RequestShape):
    """An alarm to be taken out of service, and why."""

    reason: Annotated[str, Field(min_length=1, max_length=500)]
    hours: Annotated[float, Field(gt=0, le=1000)] | None = None


class LookShape(RequestShape):
    """What somebody found at the form, and when (true time), where a phone kept it without a connection."""

    finding: Annotated[LookResult, Field(strict=False)]
    text: Annotated[str, Field(max_length=1000)] = ""
    made_ms: Annotated[int, Field(ge=0, le=2**53)] | None = None


class RemoveShape(RequestShape):
    """That a record from elsewhere is to be deleted for good."""

    sure: Literal[True]


class PouredShape(RequestShape):
    """All that has gone into the form so far."""

    litres: Annotated[float, Field(gt=0, le=10_000)]


class LevelShape(RequestShape):
    """The level against one fixed mark, up is plus."""

    level_mm: Annotated[float, Field(ge=-1000, le=1000)]


class FanShape(RequestShape):
    """The fan relay as it should be, by hand; null gives it back to plan and forecast."""

    on: bool | None


class NewStation(RequestShape):
    """A station to enrol."""

    name: Name
