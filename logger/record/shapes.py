"""What the files of a record from elsewhere must look like: the type and the range of every field, names by pattern.

Strict: nothing is turned into what it should have been, and what is not known is refused. Only where a part of a record
is kept as it was and never looked into (a forecast's details, the data of an event that no page reads) may there be
more; `bounds.sound` has looked through that. The fields are described in SCHEMA.md.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from logger.alarms.first_hour import LookResult
from logger.alarms.state import Phase
from logger.errors import BadInput
from logger.facts import fact
from logger.input_errors import input_problem
from logger.planning.finding import Light
from logger.record.event_views import DEFECTS, STATES, TESTS
from logger.record.figures import Figures
from logger.store.photos import KINDS
from logger.store.seals import POUR_FIELDS

#: Milliseconds since 1970 or since boot, up to the year 2286; and what a boot adds to get from the one to the other.
Ms = Annotated[int, Field(ge=0, le=10**13)]
OffsetMs = Annotated[int, Field(ge=-(10**13), le=10**13)]
#: Hours since pouring, to both sides: some twenty years.
Hours = Annotated[float, Field(ge=-200_000, le=200_000, allow_inf_nan=False)]
Celsius = Annotated[float, Field(ge=-300, le=3000, allow_inf_nan=False)]
Number = Annotated[float, Field(ge=-1e15, le=1e15, allow_inf_nan=False)]
Amount = Annotated[float, Field(ge=0, le=1e9, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=0, le=2**53)]
Hex64 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
#: A chain's last link: of one without rows there is none.
Head = Annotated[str, Field(pattern="^([0-9a-f]{64})?$")]
#: A probe's serial number, a place, a contact: as stations send them.
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\w.:-]+$")]
Place = Annotated[str, Field(min_length=1, max_length=32, pattern=r"^[\w.:-]+$")]
#: Text on one line: no control characters, and none that turns the direction of what stands beside it.
_LINE = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]*$"
Title = Annotated[str, Field(min_length=1, max_length=300, pattern=_LINE)]
Client = Annotated[str, Field(max_length=200, pattern=_LINE)]
Person = Annotated[str, Field(max_length=300, pattern=_LINE)]
Workshop = Annotated[str, Field(max_length=200, pattern=_LINE)]
Label = Annotated[str, Field(min_length=1, max_length=64, pattern=_LINE)]
Spool = Annotated[str, Field(min_length=1, max_length=36, pattern=_LINE)]
Word = Annotated[str, Field(min_length=1, max_length=40, pattern="^[a-z][a-z0-9-]*$")]
Short = Annotated[str, Field(max_length=1000)]
Text = Annotated[str, Field(max_length=8000)]
PlanText = Annotated[str, Field(max_length=500_000)]


def one_of(words: Iterable[str]) -> AfterValidator:
    """One of the program's own words."""
    allowed = frozenset(str(word) for word in words)

    def check(word: str) -> str:
        if word not in allowed:
            raise ValueError(fact("shape-is-none-of", names=", ".join(sorted(allowed))))
        return word

    return AfterValidator(check)


LightWord = Annotated[str, one_of(Light)]
PhaseWord = Annotated[str, one_of(Phase)]
FindingWord = Annotated[str, one_of(LookResult)]
StateWord = Annotated[str, one_of(STATES)]
DefectWord = Annotated[str, one_of(DEFECTS)]
TestWord = Annotated[str, one_of(TESTS)]
PictureWord = Annotated[str, one_of(KINDS)]
Priority = Literal["high", "medium", "low"]


class StrictShape(BaseModel):
    """Unknown names refused, nothing coerced."""

    model_config = ConfigDict(extra="forbid", strict=True)


class Open(BaseModel):
    """What is shown is checked; what is kept along with it only for its soundness (see bounds.sound)."""

    model_config = ConfigDict(extra="allow", strict=True)


# The bundle's own files


class FileShape(StrictShape):
    """A file in the manifest."""

    sha256: Hex64
    bytes: Count


class ManifestShape(StrictShape):
    """manifest.json"""

    bundle_version: Literal[1]
    made_ms: Ms
    workshop: Workshop
    title: Title
    seal_sha256: Hex64 | None
    files: Annotated[dict[str, FileShape], Field(max_length=1000)]


class ChainShape(StrictShape):
    """How many rows were sealed, and their last link."""

    count: Count
    head: Head


#: What a seal says of the pour's row: each of these and nothing else, or something in the row would be free.
SEALED_OF_POUR = {*POUR_FIELDS, "station", "poured_boot", "probes"}


class SealShape(StrictShape):
    """The seal."""

    version: Literal[1]
    sealed_ms: Ms
    by: Person
    readings: ChainShape
    events: ChainShape
    boots: Annotated[dict[Label, OffsetMs], Field(max_length=5000)]
    pour: Annotated[dict[str, Hex64], Field(max_length=50)]
    alarms: Annotated[list[Annotated[tuple[Hex64, Hex64], Field(strict=False)]], Field(max_length=20_000)]
    forecasts: Annotated[list[Hex64], Field(max_length=5000)]
    figures: dict[str, Any]
    record_sha256: Hex64

    @model_validator(mode="after")
    def _whole(self) -> SealShape:
        if set(self.pour) != SEALED_OF_POUR:
            raise ValueError(fact("shape-seal-of-pour", names=", ".join(sorted(SEALED_OF_POUR))))
        return self


class PourShape(StrictShape):
    """pour.json. Whether it is closed and sealed is asked where it is brought in: an open one can be proven."""

    title: Title
    client: Client
    stage: Word
    plan_toml: PlanText
    prediction: PredictionShape | None
    model_version: Annotated[str, Field(max_length=40)] | None
    created_ms: Ms
    poured_boot_id: Label | None
    poured_boot_ms: OffsetMs | None
    released_ms: Ms | None
    closed_ms: Ms | None
    reading_head: Head
    event_head: Head
    seal: SealShape | None
    station: Label | None
    probes: Annotated[list[Name], Field(max_length=200)]


class ReadingShape(StrictShape):
    """A row of readings.csv"""

    spool: Spool
    seq: Annotated[int, Field(ge=1, le=2**53)]
    probe: Name
    place: Place
    boot_id: Label
    boot_ms: Ms
    wall_ms: Ms
    clock_set: bool
    milli_c: Annotated[int, Field(ge=-60_000, le=1_400_000)] | None
    fault: Annotated[str, Field(max_length=32, pattern=_LINE)] | None
    raw: Annotated[str, Field(max_length=64, pattern=_LINE)] | None
    note: Annotated[str, Field(max_length=400)] | None
    milli_rh: Annotated[int, Field(ge=0, le=110_000)] | None
    late: bool
    received_ms: Ms
    link: Hex64


class EventShape(StrictShape):
    """A row of events.csv, and an event of a record. What its data must be hangs on its kind: `check_data`."""

    at_ms: Ms
    kind: Annotated[str, Field(min_length=1, max_length=32, pattern="^[a-z][a-z0-9-]*$")]
    by: Person
    text: Text
    data: dict[str, Any] | None


class CsvEvent(EventShape):
    """A row of events.csv"""

    link: Hex64


class AlarmShape(StrictShape):
    """A row of alarms.csv"""

    subject: Annotated[str, Field(max_length=50, pattern=_LINE)]
    kind: Word
    activation: Annotated[int, Field(ge=0, le=10**9)]
    priority: Priority
    phase: PhaseWord
    reason: Text
    value: Number | None
    limit: Number | None
    late: bool
    raised_ms: Ms
    acknowledged_ms: Ms | None
    acknowledged_by: Person | None
    returned_ms: Ms | None
    ended_ms: Ms | None


class CsvForecast(StrictShape):
    """A row of forecasts.csv"""

    made_ms: Ms
    at_h: Hours
    body: ForecastShape


class BootShape(StrictShape):
    """A row of boots.csv"""

    boot_id: Label
    offset_ms: OffsetMs
    clock_set: bool
    of: Literal["station", "service"]


ROWS: dict[str, type[StrictShape]] = {
    "readings": ReadingShape,
    "events": CsvEvent,
    "alarms": AlarmShape,
    "forecasts": CsvForecast,
    "boots": BootShape,
}

# The record


_Points = Annotated[list[Hours], Field(max_length=10_000)]
_Values = Annotated[list[Number], Field(max_length=10_000)]


def _even(*columns: list[Any]) -> None:
    if len({len(column) for column in columns}) > 1:
        raise ValueError(fact("shape-uneven-lists"))


class CurveOfPrediction(Open):
    """A predicted course."""

    hours: _Points
    core_c: _Values

    @model_validator(mode="after")
    def _one_length(self) -> CurveOfPrediction:
        _even(self.hours, self.core_c)
        return self


class PredictionShape(Open):
    """A prediction as it was frozen."""

    curve: CurveOfPrediction | None = None
    peak_c: Celsius | None = None
    peak_at_h: Hours | None = None


class RecordQuantiles(Open):
    """A number with its range."""

    p05: Number
    p50: Number
    p95: Number


class BandOfCore(Open):
    """The core's course with its range."""

    p05: _Values
    p50: _Values
    p95: _Values


class RecordBands(Open):
    """Courses with their range."""

    hours: _Points
    core_c: BandOfCore

    @model_validator(mode="after")
    def _one_length(self) -> RecordBands:
        _even(self.hours, self.core_c.p05, self.core_c.p50, self.core_c.p95)
        return self


class ForecastShape(Open):
    """A forecast as it was made."""

    at_h: Hours
    core_peak_c: RecordQuantiles
    core_peak_at_h: RecordQuantiles
    chance_core_over_limit: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
    bands: RecordBands | None = None


class AskedForecast(ForecastShape):
    """The same in a record: asked for at an hour."""

    asked_at_h: Hours


class PourOfRecord(StrictShape):
    """The pour's own facts in its record."""

    id: Annotated[int, Field(ge=0, le=2**53)]
    title: Title
    client: Client
    stage: Word
    station: Label | None
    created_ms: Ms
    poured_ms: Ms | None
    released_ms: Ms | None
    closed_ms: Ms | None


class ResinOfPlan(Open):
    """What pages show of a plan's resin."""

    name: Annotated[str, Field(min_length=1, max_length=200)]


class PourOfPlan(Open):
    """What pages show of a plan's pour."""

    shape: Annotated[str, Field(max_length=40)]
    depth_mm: Annotated[float, Field(ge=0, le=1e5, allow_inf_nan=False)]
    width_mm: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)] | None = None
    length_mm: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)] | None = None


class CostOfPlan(Open):
    """What pages show of a plan's cost."""

    currency: Annotated[str, Field(max_length=40)] = ""


class RecordPlan(Open):
    """A plan as it was: its own reader may have grown stricter since."""

    title: Title
    resin: ResinOfPlan
    pour: PourOfPlan
    layer: Annotated[list[dict[str, Any]], Field(max_length=200)] = []
    cost: CostOfPlan | None = None


class RecordCurve(StrictShape):
    """A probe's course."""

    probe: Name
    place: Place
    hours: _Points
    celsius: Annotated[list[Celsius | None], Field(max_length=10_000)]

    @model_validator(mode="after")
    def _one_length(self) -> RecordCurve:
        _even(self.hours, self.celsius)
        return self


class RecordAir(StrictShape):
    """The air's humidity by the hour."""

    hours: Annotated[list[Annotated[tuple[Hours, Number], Field(strict=False)]], Field(max_length=20_000)]
    name: Short


class RecordContact(StrictShape):
    """A contact's change."""

    at_ms: OffsetMs
    place: Place
    raw: Annotated[str, Field(max_length=64)] | None
    note: Annotated[str, Field(max_length=400)] | None


class RecordFault(StrictShape):
    """Failed reads of one kind."""

    probe: Name
    place: Place
    fault: Annotated[str, Field(max_length=32)]
    count: Count
    first_h: Hours
    last_h: Hours


class RecordSlab(StrictShape):
    """A slab of wood."""

    name: Short
    species: Short
    source: Short | None
    dried: Short
    bark: Short
    seal: Short
    thickness_mm: Number
    width_mm: Number | None
    length_mm: Number | None
    moisture_pct: Annotated[list[Number], Field(max_length=1000)]
    meter: Short | None


class PassedBy(StrictShape):
    """Who let a point pass."""

    by: Person
    reason: Text


class RecordPoint(StrictShape):
    """A readiness point."""

    id: Short
    question: Text
    light: LightWord
    why: Text
    people: Annotated[int, Field(ge=0, le=1000)]
    signed_by: Annotated[list[Person], Field(max_length=1000)]
    photo: bool
    override: PassedBy | None
    second_check: Text = ""


class RecordLayer(StrictShape):
    """A layer, as planned and as poured."""

    number: Annotated[int, Field(ge=1, le=1000)]
    depth_mm: Number | None
    planned_at_h: Hours | None
    poured_at_h: Hours | None


class RecordNote(StrictShape):
    """Who told something, and when."""

    at_ms: Ms
    by: Person
    text: Text


class LotData(StrictShape):
    """A lot of resin."""

    product: Annotated[str, Field(max_length=100)]
    part: Annotated[str, Field(max_length=100)]
    lot: Annotated[str, Field(max_length=100)]
    expires_on: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")] | None = None
    kg: Annotated[float, Field(ge=0, le=100_000, allow_inf_nan=False)]


BatchNumber = Annotated[int, Field(ge=1, le=100_000)]


class BatchData(Open):
    """A batch that was weighed."""

    a_g: Number
    b_g: Number
    error_pct: Number
    light: LightWord
    sentence: Text
    number: BatchNumber | None = None
    age_min: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)] = 0.0
    where: Literal["pail", "apart", "poured"] | None = None
    in_pail: bool = True
    mistake: Text = ""
    change: Text = ""


class MixingData(StrictShape):
    """A tap at the mixing bench: mixing of a batch began, or it was poured out, or neither after all."""

    number: BatchNumber
    what: Literal["started", "not-started", "emptied", "not-emptied"]


class LayerData(StrictShape):
    """A layer that was poured."""

    number: Annotated[int, Field(ge=1, le=1000)]


class LookData(StrictShape):
    """A look at the form; of one that a phone kept without a connection, when it was sent (true time)."""

    finding: FindingWord
    sent_ms: Ms | None = None


class PhotoData(StrictShape):
    """A photo: a hash, and never a path."""

    sha256: Hex64
    bytes: Count
    type: PictureWord
    point: Annotated[str, Field(max_length=80)] | None = None


class TestData(StrictShape):
    """A test on the casting."""

    what: TestWord
    value: Annotated[str, Field(max_length=300)]


class RecordDefect(StrictShape):
    """A defect."""

    kind: DefectWord
    where: Annotated[str, Field(max_length=300)]


class OutcomeData(StrictShape):
    """How it ended."""

    state: StateWord
    defects: Annotated[list[RecordDefect], Field(max_length=50)]
    rework_cost: Amount
    currency: Annotated[str, Field(max_length=12)]
    rework_h: Amount


class SignedData(StrictShape):
    """Who signed a point, or took the signature back."""

    point: Annotated[str, Field(max_length=80)]
    person: Person


class SignedAgainData(SignedData):
    """Who checked a point a second time, how long after the first, and on which of the pour's photos."""

    minutes: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
    photo: Annotated[int, Field(ge=1, le=1_000_000)]


class OverrideData(SignedData):
    """Who let a point pass, what stood against it, and what of it nobody knew."""

    reason: Text
    let_pass: Annotated[list[Text], Field(max_length=100)] = []
    unknown: Annotated[list[Text], Field(max_length=100)] = []


class SealedData(StrictShape):
    """Which seal ends the record."""

    seal_sha256: Hex64


#: Kind of an event → what its data must be. Of other kinds no page reads the data.
DATA: dict[str, type[BaseModel]] = {
    "lot": LotData,
    "batch": BatchData,
    "mixed": BatchData,
    "mixing": MixingData,
    "layer": LayerData,
    "look": LookData,
    "photo": PhotoData,
    "test": TestData,
    "outcome": OutcomeData,
    "signed": SignedData,
    "unsigned": SignedData,
    "signed-again": SignedAgainData,
    "override": OverrideData,
    "sealed": SealedData,
}


class LotTold(LotData, RecordNote):
    """A lot, who told of it and when."""


class BatchTold(BatchData):
    """A batch, who weighed it and when."""

    at_ms: Ms
    by: Person
    text: Text


class LookTold(LookData, RecordNote):
    """A look, who made it and when."""


class PhotoTold(PhotoData, RecordNote):
    """A photo, who took it and when."""


class TestTold(TestData, RecordNote):
    """A test, who made it and when."""


class OutcomeTold(OutcomeData, RecordNote):
    """How it ended, who said so and when."""


def check_data(kind: str, data: Mapping[str, Any] | None) -> None:
    """Check an event's data by its kind. Raises ValueError (pydantic's ValidationError among them)."""
    rest = dict(data or {})
    if kind == "addition":
        kind, reason = rest.pop("about", None), rest.pop("reason", "")
        if not isinstance(kind, str) or not isinstance(reason, str) or len(kind) > 32 or len(reason) > 1000:
            raise ValueError(fact("shape-addition-without-reason"))
    elif "about" in rest:
        raise ValueError(fact("shape-event-about-another", kind=kind))
    if kind in DATA:
        DATA[kind].model_validate(rest)


class AlarmOfRecord(StrictShape):
    """An alarm in a record."""

    kind: Word
    subject: Annotated[str, Field(max_length=80, pattern=_LINE)]
    priority: Priority
    phase: PhaseWord
    reason: Text
    value: Number | None
    limit: Number | None
    late: bool
    raised_ms: Ms
    acknowledged_ms: Ms | None
    acknowledged_by: Person | None
    returned_ms: Ms | None
    ended_ms: Ms | None
    title: Short
    answered_after_s: Number | None

    @model_validator(mode="after")
    def _answered(self) -> AlarmOfRecord:
        if (self.acknowledged_ms is None) != (self.answered_after_s is None):
            raise ValueError(fact("shape-answers-do-not-fit"))
        return self


class Heads(StrictShape):
    """The chains' last links when the record was made."""

    readings: Head
    events: Head


#: Figures that records of version 2 did not have from the beginning.
LATER_FIGURES = {
    "release_at_h",
    "conversion_at_release",
    "tg_at_release_c",
    "hardness_at_release",
    "room_coldest_hour_c",
    "room_coldest_hour_at_h",
    "air_dampest_hour_pct",
    "air_dampest_hour_at_h",
}


def check_figures(figures: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return the figures of a record: the names that Figures has, each a number or not known."""
    unlike = (set(figures) ^ set(Figures.__dataclass_fields__)) - (LATER_FIGURES - set(figures))
    if unlike or ("air_dampest_hour_pct" in figures) != ("air_dampest_hour_at_h" in figures):
        raise ValueError(fact("shape-unlike-figures", names=", ".join(sorted(unlike))[:200]))
    for name, value in figures.items():
        if name == "places":
            good = isinstance(value, dict) and all(
                type(count) is int and count >= 0 for count in value.values()
            )
        elif name in ("readings", "faults"):
            good = type(value) is int and value >= 0
        elif name == "hardness_at_release":
            good = value is None or (isinstance(value, str) and len(value) <= 200)
        else:
            good = value is None or (type(value) in (int, float) and -1e12 < value < 1e12)
        if not good or (name == "hours" and value is None):
            raise ValueError(fact("shape-wrong-figure", name=name, value=f"{value!r:.40}"))
    return figures


class RecordShape(StrictShape):
    """record.json"""

    record_version: Literal[2]
    workshop: Workshop
    pour: PourOfRecord
    plan: RecordPlan
    plan_toml: PlanText
    prediction: PredictionShape | None
    model_version: Annotated[str, Field(max_length=40)] | None
    figures: Annotated[dict[str, Any], AfterValidator(check_figures)]
    curves: Annotated[list[RecordCurve], Field(max_length=200)]
    air: RecordAir
    contacts: Annotated[list[RecordContact], Field(max_length=20_000)]
    faults: Annotated[list[RecordFault], Field(max_length=2000)]
    slabs: Annotated[list[RecordSlab], Field(max_length=500)]
    lots: Annotated[list[LotTold], Field(max_length=5000)]
    batches: Annotated[list[BatchTold], Field(max_length=5000)]
    points: Annotated[list[RecordPoint], Field(max_length=1000)]
    points_problem: Text | None
    layers: Annotated[list[RecordLayer], Field(max_length=1000)]
    looks: Annotated[list[LookTold], Field(max_length=5000)]
    photos: Annotated[list[PhotoTold], Field(max_length=1000)]
    tests: Annotated[list[TestTold], Field(max_length=5000)]
    outcome: OutcomeTold | None
    alarms: Annotated[list[AlarmOfRecord], Field(max_length=20_000)]
    forecasts: Annotated[list[AskedForecast], Field(max_length=100)]
    events: Annotated[list[EventShape], Field(max_length=50_000)]
    chain: Heads

    @model_validator(mode="after")
    def _events_say_what_they_must(self) -> RecordShape:
        for event in self.events:
            check_data(event.kind, event.data)
        return self


class Addition(EventShape):
    """An event after the seal."""

    @model_validator(mode="after")
    def _says_what_it_must(self) -> Addition:
        check_data(self.kind, self.data)
        return self


T = TypeVar("T", bound=BaseModel)


def fits(shape: type[T], value: object, where: str) -> T:
    """Return the value as its shape. Raises BadInput naming the file, the field and what is wrong with it."""
    try:
        return shape.model_validate(value)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        mistake, at = input_problem(first), ".".join(str(part) for part in first["loc"])
        raise BadInput(
            fact("in-file", file=where, what=at[:200]) if at else where,
            mistake.problem,
            value=f"{first['input']!r:.60}",
            remedy=fact("no-record-of-program"),
        ) from error
