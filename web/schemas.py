"""Shapes of requests and answers. Numbers are strict and bounded: no text, no booleans, nothing past 64 bits."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Path
from pydantic import BaseModel, ConfigDict, Field

from logger.alarms.first_hour import LookResult
from logger.pour import Stage

#: Request bodies that may be larger than a form (server/app.py has the limit of all others), bytes: a station's fullest
#: batch, a plan file, a photo.
BATCH_BODY, PLAN_BODY, PHOTO_BODY = 1024 * 1024, 2 * 1024 * 1024, 15 * 1024 * 1024
#: Milliseconds since 1970 or since boot, up to the year 2286.
Ms = Annotated[int, Field(ge=0, le=10**13)]
#: A row's number in an address: what the database can hold.
RowId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\w.:-]+$")]
Text = Annotated[str, Field(max_length=4000)]


class RequestShape(BaseModel):
    """Unknown names refused, nothing coerced."""

    model_config = ConfigDict(extra="forbid", strict=True)


class StampShape(RequestShape):
    """An instant on a station: its wall clock, its boot, and whether the clock had been set."""

    wall_ms: Ms
    boot_id: Annotated[str, Field(min_length=1, max_length=64)]
    boot_ms: Ms
    clock_set: bool


class RowShape(RequestShape):
    """One reading or fault."""

    seq: Annotated[int, Field(ge=1, le=2**53)]
    probe: Name
    place: Name
    stamp: StampShape
    milli_c: Annotated[int, Field(ge=-60_000, le=1_400_000)] | None
    fault: Annotated[str, Field(max_length=32)] | None
    raw: Annotated[str, Field(max_length=64)] | None
    note: Annotated[str, Field(max_length=400)] | None = None
    milli_rh: Annotated[int, Field(ge=0, le=110_000)] | None = None


class BatchShape(RequestShape):
    """What a station sends."""

    station: Annotated[str, Field(min_length=1, max_length=64)]
    spool: Annotated[str, Field(min_length=1, max_length=36)]
    sent: StampShape
    rows: Annotated[list[RowShape], Field(max_length=500)]
    newest: Annotated[list[RowShape], Field(max_length=64)] = []
    health: HealthShape | None = None


class BatchAnswer(RequestShape):
    """What the service has stored, and what the station should do."""

    acknowledged_seq: int
    stored: int
    repeated: int
    lamp: bool
    buzzer: bool
    fan: bool | None
    next_s: float
    core_limit_c: float | None = None


class NewPour(RequestShape):
    """A pour to plan."""

    plan_toml: Annotated[str, Field(min_length=1, max_length=200_000)]
    client: Annotated[str, Field(max_length=200)] = ""
    station: Annotated[str, Field(max_length=64)] | None = None


class PlanShape(RequestShape):
    """A plan file's text."""

    plan_toml: Annotated[str, Field(min_length=1, max_length=200_000)]


class StepShape(RequestShape):
    """The next stage of a pour."""

    to: Annotated[Stage, Field(strict=False)]
    text: Text = ""


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
    """Who answers for ending a watch that should go on, and why."""

    person: Annotated[str, Field(min_length=1, max_length=60)]
    reason: Annotated[str, Field(min_length=1, max_length=2000)]


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
    """What somebody found at the form."""

    finding: Annotated[LookResult, Field(strict=False)]
    text: Annotated[str, Field(max_length=1000)] = ""


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


class HealthShape(RequestShape):
    """What a station says of its supply, its disk and its pins; null where it does not know.

    `pin_faults`: what is wrong with lamp, buzzer, fan and contacts; empty where nothing is, null where none is wired.
    """

    power_low: bool | None = None
    disk_free_mb: Annotated[float, Field(ge=0, le=1e12)] | None = None
    pin_faults: Annotated[str, Field(max_length=400)] | None = None


class NewStation(RequestShape):
    """A station to enrol."""

    name: Name


class PourListed(RequestShape):
    """A pour as programs see it in a list: without its prediction, which is large."""

    id: int
    title: str
    client: str
    stage: str
    station: str | None
    created_ms: int
    poured_ms: int | None
    released_ms: int | None
    closed_ms: int | None
    plan_toml: str
    workshop: str | None = Field(
        description="where a record from elsewhere is from; null: the shop's own pour"
    )


class StandingShape(RequestShape):
    """How a pour stands, as the board shows it: its gravest alarm that is true leads, acknowledged or not."""

    tone: Literal["stop", "lost", "watch", "hand", "calm", "quiet"]
    word: str
    because: str
    alarm: int | None = Field(description="the alarm that it is about")
    by: str | None = Field(description="who is on it")
    since_ms: int | None


class PourAnswer(PourListed):
    """A pour as programs see it."""

    prediction: dict[str, Any] | None
    standing: StandingShape


class ErrorBody(RequestShape):
    """What went wrong."""

    kind: str
    message: str
    where: str | None
    remedy: str | None
    obstacles: list[str] | None = None
    signable: bool | None = None


class ErrorAnswer(RequestShape):
    """The one error body."""

    error: ErrorBody


#: What every call may answer instead, for the description of the API.
ERRORS: dict[int | str, dict[str, Any]] = {
    code: {"model": ErrorAnswer} for code in (400, 401, 403, 404, 409, 413, 422, 429)
}


class ServiceHealth(RequestShape):
    """Whether the service stands."""

    status: Literal["ok"]
    schema_version: str
    clock_set: bool


class Ready(RequestShape):
    """Whether the service takes batches and somebody judges them."""

    status: Literal["ready", "not-ready"]
    missing: list[str] = Field(description="what is missing, a sentence each")
    decides: bool = Field(description="whether this process is the one that decides alarms")
    seconds_ago: dict[str, float | None] = Field(
        description="when this process last stored a batch (arrived), judged every live pour (judged), wrote down what "
        "follows (decided) and tried every message that was due (sent); null: not since it started"
    )
