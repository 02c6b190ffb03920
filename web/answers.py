"""Shapes of answers: what the OpenAPI description promises of each.

Free JSON stands only where an answer is passed on as it was frozen: a pour's prediction, the data of an event (each
kind has its own, see logger/record/SCHEMA.md), and whole records.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PlainSerializer

from logger.alarms.first_hour import LookResult
from logger.alarms.kind import Priority
from logger.words.reader import METRIC
from logger.words.render import said, shown


def _in_english(value: Any) -> Any:
    """Return a JSON value with every fact in it in words, as programs read them: English, SI, °C."""
    return said(value, METRIC)


#: Words: a fact that is said, in English, SI and °C, where the answer is written. Pages say it themselves.
Sentence = Annotated[str, PlainSerializer(_in_english, return_type=str)]
#: What was frozen in an earlier day's shape, and is passed on as it is, its facts in words.
FreeJson = Annotated[dict[str, Any], PlainSerializer(_in_english, return_type=dict[str, Any])]
#: A number that was stored as JSON: a whole one stays whole.
Number = int | float


class AnswerShape(BaseModel):
    """Exactly the fields that it names: one too many, or of another type, is a fault of the program."""

    model_config = ConfigDict(extra="forbid", strict=True)


class FactAnswer(AnswerShape):
    """What words are made of: a code with named values, quantities with value, unit and kind."""

    code: str
    values: FreeJson = Field(
        description="each code's own: a quantity is {value, unit, kind}, another fact {say: its code, and its values}, "
        "several values a list; a name or a count stands as it is"
    )


def fact_answer(text: str) -> FactAnswer | None:
    """Return the fact that a text is, for a program; None for a text from before there were any."""
    fact = shown(text, METRIC)
    return None if fact.code is None else FactAnswer(code=fact.code, values=fact.values)


class ErrorBody(AnswerShape):
    """What went wrong."""

    kind: str
    message: Sentence = Field(description="in English, SI and °C")
    where: Sentence | None
    remedy: Sentence | None
    fact: FactAnswer | None = Field(default=None, description="what the message is made of")
    obstacles: list[Sentence] | None = None
    signable: bool | None = None


class ErrorAnswer(AnswerShape):
    """The one error body."""

    error: ErrorBody


#: What every call may answer instead, for the description of the API.
ERRORS: dict[int | str, dict[str, Any]] = {
    code: {"model": ErrorAnswer} for code in (400, 401, 403, 404, 409, 413, 422, 429)
}


class ServiceHealth(AnswerShape):
    """Whether the service stands."""

    status: Literal["ok"]
    schema_version: str
    clock_set: bool


class Ready(AnswerShape):
    """Whether the service takes batches and somebody judges them."""

    status: Literal["ready", "not-ready"]
    missing: list[Sentence] = Field(description="what is missing, a sentence each")
    decides: bool = Field(description="whether this process is the one that decides alarms")
    seconds_ago: dict[str, float | None] = Field(
        description="when this process last stored a batch (arrived), judged every live pour (judged), wrote down what "
        "follows (decided) and tried every message that was due (sent); null: not since it started"
    )


class BatchAnswer(AnswerShape):
    """What the service has stored, and what the station should do."""

    acknowledged_seq: int
    stored: int
    repeated: int
    lamp: bool
    buzzer: bool
    fan: bool | None
    next_s: float
    core_limit_c: float | None = None
    places: dict[str, str] = Field(
        default={}, description="probe → where it sits from now on, as a page was told"
    )


class PourListed(AnswerShape):
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


#: How grave a pour's condition is, from nothing to watch to danger.
SeverityName = Literal["none", "calm", "open", "answered", "check", "blind", "danger"]


class StandingShape(AnswerShape):
    """How a pour stands, as every screen shows it: the gravest of all that is true leads, acknowledged or not."""

    tone: Literal["stop", "lost", "watch", "hand", "open", "calm", "quiet"]
    word: Sentence
    because: Sentence = Field(description="what is so, in a headline")
    action: Sentence = Field(description="what to do now")
    expected: Sentence = Field(description="what comes next")
    certainty: Sentence = Field(description="what that rests on")
    fact: FactAnswer | None = Field(description="the headline, or else the word, as a code with its values")
    severity: SeverityName
    cause: Sentence = Field(description="what it is about")
    alarm: int | None = Field(description="the alarm that it is about")
    by: Sentence | None = Field(description="who is on it")
    since_ms: int | None
    others: list[int] = Field(description="further alarms that are true, or over and not confirmed")


class PourAnswer(PourListed):
    """A pour as programs see it."""

    prediction: FreeJson | None = Field(
        description="frozen as the program that planned the pour wrote it; an older one wrote other figures"
    )
    standing: StandingShape


class CurveTrace(AnswerShape):
    """One probe's curve as steps from each point to the next; null: a gap."""

    probe: str
    place: str
    steps_ds: list[int] = Field(description="tenths of a second; the first from the moment of pouring")
    steps_centi_c: list[int | None] = Field(description="hundredths of a degree; the first from 0 °C")


class CurveAnswer(AnswerShape):
    """The measured curves of a pour."""

    pour: int
    stage: str
    now_h: float | None = Field(description="hours since pouring; null: not poured yet")
    traces: list[CurveTrace]


class ObstacleAnswer(AnswerShape):
    """One reason why a watch may not end, and whether somebody may answer for it."""

    why: str
    text: Sentence
    signable: bool


class ExceptionAnswer(AnswerShape):
    """Who answers for ending a watch that should go on, and until when that holds."""

    person: str
    reason: str
    at_ms: int
    until_ms: int


class UndoAnswer(AnswerShape):
    """A pour's last step, while it can be taken back."""

    step: Sentence
    by: Sentence
    at_ms: int
    until_ms: int
    mark: int


class EndingAnswer(AnswerShape):
    """Whether a pour may take a step that nothing takes by accident: by default, whether its watch may end, or its
    record be sealed."""

    may_end: bool
    obstacles: list[ObstacleAnswer]
    exception: ExceptionAnswer | None
    confirm: str = Field(description="confirms that step at this stage, for ten minutes")
    undo: UndoAnswer | None = Field(description="the last step, while it can be taken back")


class OverrideAnswer(AnswerShape):
    """Who let a point pass, and why."""

    by: Sentence
    reason: Sentence


class PointAnswer(AnswerShape):
    """One point to sign before a pour may start."""

    id: str
    question: Sentence
    people: int = Field(description="how many different persons must sign")
    evidence: Sentence = Field(description="what is kept with the signature")
    light: Literal["ok", "watch", "stop"]
    why: Sentence
    again: Sentence = Field(
        description="how one person alone makes the second check; empty where there is none"
    )
    unknown: list[Sentence] = Field(
        description="what is not known of it: signed by an override with a reason only"
    )
    where: Literal["desk", "bench", "form"] = Field(description="where a shop comes to it")
    signed_by: list[str]
    second_check: Sentence | None = Field(
        description="that the same person checked it twice, how far apart, which photo"
    )
    has_photo: bool
    override: OverrideAnswer | None
    obstacles: list[Sentence]


class ReadinessAnswer(AnswerShape):
    """Whether a pour may start, and what stands in the way."""

    ready: bool
    obstacles: list[Sentence]
    headline: Sentence = Field(description="the verdict on the plan, with the number of stops")
    stops: list[Sentence] = Field(description="what must change, and nobody let pass, a sentence each")
    points: list[PointAnswer]


class EventAnswer(AnswerShape):
    """An event of a pour."""

    at_ms: int
    kind: str
    by: Sentence
    text: Sentence
    data: FreeJson | None = Field(description="by kind of event: logger/record/SCHEMA.md")


class VerdictAnswer(AnswerShape):
    """Whether a record stands; if not, the first thing that is wrong: what, in which table, which row."""

    pour: int
    ok: bool
    sealed: bool
    readings: int
    events: int
    sentence: Sentence
    wrong: Sentence
    table: str
    number: int | None = Field(description="the row, counted from 1 within the pour")
    row_id: int | None = Field(description="the database's number of that row; null: the row is gone")
    seal_sha256: str
    notes: tuple[Sentence, ...]


class PredictionErrors(AnswerShape):
    """How far predicted peaks were from real ones, over the shop's own pours, K."""

    pours: int
    mean_k: float | None
    mean_size_k: float | None
    largest_k: float | None


class ComparedPour(AnswerShape):
    """A pour beside others: its peak as predicted and as measured, and its core over the hours from pouring."""

    pour: int
    title: str
    resin: str
    depth_mm: Number
    layers: int
    room_c: float | None
    predicted_c: float | None
    predicted_at_h: float | None
    peak_c: float | None
    peak_at_h: float | None
    hours: list[float]
    core_c: list[float | None]
    workshop: str | None = Field(description="where its record is from; null: the shop's own pour")
    unfinished: bool = Field(description="it is still watched: its peak may be yet to come")
    error_k: float | None = Field(description="real less predicted peak; null while it is unfinished")


class CompareAnswer(AnswerShape):
    """Every pour that was poured, beside the others."""

    errors: PredictionErrors
    pours: list[ComparedPour]


class TroubleAnswer(AnswerShape):
    """One defect over all records, with what it cost and which points would have shown it."""

    kind: str
    pours: list[int]
    cost: Mapping[str, Number] = Field(description="by currency")
    rework_h: Number
    warned: dict[Sentence, int] = Field(description="by the question of a point: how often it had warned")
    silent: int = Field(description="pours before which no point had warned")


class LeftOutAnswer(AnswerShape):
    """One pour predicted by a fit over the others: root-mean-square and peak error, K, before and after."""

    title: str
    rms_before_k: Number
    rms_after_k: Number
    peak_before_k: Number
    peak_after_k: Number


class FitOffer(AnswerShape):
    """A resin's fit on offer, as it was worked out; without enough readings only a message."""

    model_config = ConfigDict(extra="allow")

    resin_key: str
    resin: str
    pours: list[int]
    pours_seen: list[int]
    message: Sentence
    rate_factor: Number | None = None
    rate_range: list[Number] | None = None
    heat_factor: Number | None = None
    heat_range: list[Number] | None = None
    error_before_k: Number | None = None
    error_after_k: Number | None = None
    left_out: list[LeftOutAnswer] | None = None
    table: str | None = Field(default=None, description="the [resin] table as TOML")
    at_ms: int


class StockLot(AnswerShape):
    """One lot on the shelf."""

    product: str
    part: str
    lot: str
    left_kg: float
    state: Sentence
    expires_on: str | None


class ShopAnswer(AnswerShape):
    """What the shop has learned from its records, and what is on its shelf."""

    records: int
    states: dict[str, int]
    cost: Mapping[str, Number] = Field(description="by currency")
    rework_h: Number
    untold: list[int] = Field(description="pours of which nobody has said how they ended")
    alarms: dict[Sentence, int] = Field(description="by title: in how many records")
    troubles: list[TroubleAnswer]
    fits: list[FitOffer]
    stock: list[StockLot]


class ProgressAnswer(AnswerShape):
    """How many readings there are, and how many the watch has yet to judge."""

    readings: int
    to_judge: int


class AlarmAnswer(AnswerShape):
    """One activation of one alarm, in SI and °C; `fact`: its reason as a code with its values."""

    id: int
    pour_id: int | None
    subject: str
    kind: str
    activation: int
    priority: str
    phase: str
    reason: Sentence
    fact: FactAnswer | None
    value: float | None
    limit: float | None
    late: bool
    quiet: bool = Field(description="shelved or out of service")
    raised_ms: int
    acknowledged_ms: int | None
    acknowledged_by: Sentence | None
    returned_ms: int | None
    ended_ms: int | None


class RateTargetAnswer(AnswerShape):
    """One figure against what is asked of it."""

    name: Sentence
    value: Number
    unit: str
    asked: Sentence
    source: Sentence
    kept: bool | None = Field(description="null: too little history to say")


class AlarmRatesAnswer(AnswerShape):
    """How the alarms behaved over a stretch of time."""

    from_ms: int
    until_ms: int
    hours: float
    alarms: int
    per_hour: float
    busiest_10_min: int
    busy_10_min_part: float = Field(description="part of the 10-min intervals with more than 10 alarms")
    flood_part: float = Field(description="part of the time in flood")
    floods: int
    chattering: tuple[str, ...]
    fleeting: tuple[str, ...]
    stale: tuple[str, ...]
    shares: dict[Priority, float]
    most: tuple[tuple[str, int], ...] = Field(description="the kinds that came most often, with how often")
    longest_unanswered_min: float
    marks: tuple[RateTargetAnswer, ...]


class LookAnswer(AnswerShape):
    """What somebody found at the form, as it was noted."""

    finding: LookResult


class PouredAnswer(AnswerShape):
    """How what went in differs from the plan."""

    differs: Sentence | None


class LevelAnswer(AnswerShape):
    """Whether the level fell, and what that means."""

    fell: Sentence | None


class FanAnswer(AnswerShape):
    """A station's fan relay."""

    station: str
    on: bool | None
    by: str | None


class ChannelsAnswer(AnswerShape):
    """The addresses, without their secrets."""

    first: list[str]
    second: list[str]


class MessageAnswer(AnswerShape):
    """One message, and how it fares."""

    at_ms: int
    to: str
    why: Sentence
    title: Sentence
    state: str
    attempts: int
    problem: Sentence | None
    takers: int = Field(description="how many channels have taken it")


class MessagesAnswer(AnswerShape):
    """Whether messages arrive."""

    channels: ChannelsAnswer
    heartbeat: bool
    untested: Sentence | None = Field(description="why it is not certain that an alarm would reach somebody")
    confirmed_ms: int | None
    confirmed_h_ago: float | None
    test_sent_ms: int | None
    undelivered_since_ms: int | None
    messages: list[MessageAnswer]


class TestSent(AnswerShape):
    """To how many groups of addresses a test message goes."""

    groups: int


class ProbeAnswer(AnswerShape):
    """A station's probe with its last reading."""

    rom: str
    place: str
    last_good_ms: int | None
    last_milli_c: int | None
    last_fault: str | None
    readings: int
    faults: int


class StationAnswer(AnswerShape):
    """A station with its probes."""

    name: str
    last_seen_ms: int | None
    clock_set: bool | None
    clock_off_s: int | None
    revoked: bool
    probes: list[ProbeAnswer]


class EnrolledAnswer(AnswerShape):
    """A station's new token, shown this once."""

    name: str
    token: str
