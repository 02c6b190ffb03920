"""Pours: their plan, stage, frozen prediction, and which readings are theirs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Row,
    Select,
    and_,
    bindparam,
    delete,
    func,
    insert,
    null,
    or_,
    select,
    true,
    update,
)

from logger.errors import NotAllowed, NotFound
from logger.facts import fact
from logger.json_text import finite
from logger.pour import LIVE, UNDO_MS, Stage, next_stage, stage_word
from logger.store.boots import BOOT, Timeline
from logger.store.database import table
from logger.store.events import EVENT, EVENTS, add_event, must_be_own
from logger.store.rows import (
    EventRow,
    JudgedPour,
    ListedPour,
    LivePour,
    PourRow,
    PourWithPrediction,
    WatchedPour,
    all_rows,
    columns,
    first_row,
)
from logger.store.stations import STATION
from logger.store.tables import Pour, PourProbe, SealedRecord

POUR, POUR_PROBE, SEALED_RECORD = table(Pour), table(PourProbe), table(SealedRecord)
#: A watchbook's length on the disk grows in steps of so many bytes.
BOOK_STEP = 2048
#: Pours that are not half brought in or half deleted: those stand in no question but store/arriving.py's.
WHOLE = POUR.c.partial_ms.is_(None)
#: The shop's own pours. A record from elsewhere is shown and proven, and that is all: it is never watched, judged,
#: learned from or counted, whatever it says.
OWN = POUR.c.origin.is_(None)
#: Readings from this long before the pour are kept with it: the room and the form before the resin came.
BEFORE_MS = 15 * 60_000


@dataclass(frozen=True, slots=True)
class Window:
    """Which readings of a station belong to a pour."""

    pour_id: int
    from_ms: int
    until_ms: int | None
    probes: frozenset[str]
    reading_head: str

    def takes(self, rom: str, at_ms: int) -> bool:
        """Whether a probe's reading at that (true) time is this pour's."""
        if self.probes and rom not in self.probes:
            return False
        return at_ms >= self.from_ms and (self.until_ms is None or at_ms < self.until_ms)


_POURED_MS = (POUR.c.poured_boot_ms + BOOT.c.offset_ms).label("poured_ms")


def _with_poured_ms(
    selection: Iterable[ColumnElement[Any]], *, planned: bool = True, partial: bool = False
) -> Select[Any]:
    """Pours with `poured_ms`: null for those that are only planned, or without these."""
    query = select(*selection).join(BOOT, BOOT.c.id == POUR.c.poured_boot_id, isouter=planned)
    return query if partial else query.where(WHOLE)


# With every batch; built once.
_TAKING = (
    _with_poured_ms(
        (POUR.c.id, POUR.c.station_id, POUR.c.released_ms, POUR.c.reading_head, _POURED_MS), planned=False
    )
    .where(POUR.c.station_id.in_(bindparam("stations", expanding=True)), POUR.c.stage != Stage.CLOSED, OWN)
    .order_by(POUR.c.id.desc())
)


def windows_of(connection: Connection, station_ids: Sequence[int]) -> dict[int, list[Window]]:
    """Station → the pours that its readings may belong to, newest first. Sealed pours take nothing more."""
    if not station_ids:
        return {}
    rows = connection.execute(_TAKING, {"stations": station_ids}).all()
    if not rows:
        return {}
    earliest_ms = min(row.poured_ms for row in rows) - BEFORE_MS
    over = connection.execute(
        select(POUR.c.id, POUR.c.station_id, POUR.c.released_ms).where(
            POUR.c.station_id.in_(station_ids),
            POUR.c.stage == Stage.CLOSED,
            POUR.c.released_ms > earliest_ms,
            OWN,
        )
    ).all()
    chosen = _chosen(connection, [row.id for row in (*rows, *over)])
    ended = [
        (row.station_id, row.released_ms, chosen[row.id])
        for row in (*rows, *over)
        if row.released_ms is not None
    ]
    windows: dict[int, list[Window]] = {}
    for row in rows:
        mine = chosen[row.id]
        # What a probe read before the pour before was released is that pour's, however late it comes in.
        before = [
            until_ms
            for station_id, until_ms, theirs in ended
            if station_id == row.station_id and until_ms <= row.poured_ms and share(mine, theirs)
        ]
        from_ms = max([row.poured_ms - BEFORE_MS, *before])
        window = Window(row.id, from_ms, row.released_ms, mine, row.reading_head)
        windows.setdefault(row.station_id, []).append(window)
    return windows


def share(mine: frozenset[str], theirs: frozenset[str]) -> bool:
    """Whether two pours of one station have a probe in common. One without chosen probes takes all of them."""
    return not mine or not theirs or bool(mine & theirs)


def sharing(
    connection: Connection, pour_id: int, station_id: int, mine: frozenset[str]
) -> list[Row[int, str]]:
    """Live pours of that station (id, title) that have a probe in common with this one."""
    rows = connection.execute(
        select(POUR.c.id, POUR.c.title).where(
            POUR.c.station_id == station_id, POUR.c.stage.in_(LIVE), POUR.c.id != pour_id, OWN
        )
    ).all()
    chosen = _chosen(connection, [row.id for row in rows])
    return [row for row in rows if share(mine, chosen[row.id])]


def probes_chosen(connection: Connection, pour_id: int) -> frozenset[str]:
    """Return the probes that were chosen for a pour; empty: all of its station's."""
    return _chosen(connection, [pour_id])[pour_id]


def _chosen(connection: Connection, pour_ids: Sequence[int]) -> dict[int, frozenset[str]]:
    if not pour_ids:
        return {}
    chosen: dict[int, set[str]] = {pour_id: set() for pour_id in pour_ids}
    for row in connection.execute(select(POUR_PROBE).where(POUR_PROBE.c.pour_id.in_(pour_ids))):
        chosen[row.pour_id].add(row.rom)
    return {pour_id: frozenset(roms) for pour_id, roms in chosen.items()}


@dataclass(frozen=True, slots=True)
class PlannedPour:
    """What a pour is planned as; station_id None: no station watches it yet."""

    title: str
    client: str
    plan_toml: str
    station_id: int | None


def add_pour(tx: Connection, pour: PlannedPour, *, by: str, now_ms: int) -> int:
    """Store a new pour as planned; return its id. `now_ms`: true time."""
    pour_id = int(
        tx.execute(
            insert(POUR)
            .values(
                title=pour.title,
                client=pour.client,
                stage=Stage.PLANNED,
                plan_toml=pour.plan_toml,
                station_id=pour.station_id,
                created_ms=now_ms,
                reading_head="",
                event_head="",
                judged_reading_id=0,
            )
            .returning(POUR.c.id)
        ).scalar_one()
    )
    add_event(tx, pour_id, now_ms, "planned", by, fact("event-planned", title=pour.title))
    return pour_id


# With every page, or every judgement; built once, which takes longer than the answer.
_WHOLE_ROW = columns(POUR, PourRow, _POURED_MS)
_ONE = _with_poured_ms(_WHOLE_ROW).where(POUR.c.id == bindparam("pour"))
_ONE_OF_ALL = _with_poured_ms(_WHOLE_ROW, partial=True).where(POUR.c.id == bindparam("pour"))
_ORIGIN = select(POUR.c.origin).where(POUR.c.id == bindparam("pour"))
_OLDEST_LIVE = select(func.min(POUR.c.id)).where(POUR.c.stage.in_(LIVE), OWN)
_TO_JUDGE = _with_poured_ms(columns(POUR, JudgedPour, _POURED_MS), planned=False).where(
    POUR.c.id == bindparam("pour"), OWN
)
_JUDGED = (
    update(POUR)
    .where(POUR.c.id == bindparam("pour"))
    .values(watchbook=bindparam("book"), judged_reading_id=bindparam("judged"))
)


def get_pour(connection: Connection, pour_id: int, *, partial: bool = False) -> PourRow:
    """Return a pour with `poured_ms` (true time, null before pouring). Raises NotFound.

    `partial`: also one that is not whole yet, for whoever brings it in.
    """
    row = first_row(connection, _ONE_OF_ALL if partial else _ONE, PourRow, {"pour": pour_id})
    if row is None:
        raise NotFound(fact("no-pour", pour=pour_id))
    return row


def origin_of(connection: Connection, pour_id: int) -> Mapping[str, Any] | None:
    """Where a record from elsewhere is from; None for the shop's own pours, and for none."""
    value: Mapping[str, Any] | None = connection.execute(_ORIGIN, {"pour": pour_id}).scalar()
    return value


def live_pours(connection: Connection) -> list[LivePour]:
    """Every live pour; cheap, since every batch asks for them."""
    query = select(*columns(POUR, LivePour)).where(POUR.c.stage.in_(LIVE), OWN)
    return all_rows(connection, query, LivePour)


def watched_pours(connection: Connection, now_ms: int) -> list[WatchedPour]:
    """Return every live pour with a station, and one whose end can still be taken back (`now_ms`: true time) while
    its station watches no other."""
    named = columns(POUR, WatchedPour, STATION.c.name.label("station"), _POURED_MS)
    query = _with_poured_ms(named, planned=False).join(STATION, STATION.c.id == POUR.c.station_id)
    live = POUR.c.stage.in_(LIVE)
    ended = and_(POUR.c.stage.in_((Stage.RELEASED, Stage.SPOILED)), POUR.c.released_ms >= now_ms - UNDO_MS)
    rows = all_rows(connection, query.where(or_(live, ended), OWN).order_by(POUR.c.id), WatchedPour)
    busy = {row.station_id for row in rows if row.stage in LIVE}
    return [row for row in rows if row.stage in LIVE or row.station_id not in busy]


def probes_of_pours(connection: Connection, pour_ids: Sequence[int]) -> dict[int, frozenset[str]]:
    """Pour → the probes that were chosen for it; empty: all of its station's."""
    return _chosen(connection, pour_ids)


def live_by_station(connection: Connection) -> dict[int, list[Row[int, int, str]]]:
    """Station → its live pours (station_id, id, title)."""
    pours: dict[int, list[Row[int, int, str]]] = {}
    query = select(POUR.c.station_id, POUR.c.id, POUR.c.title).where(POUR.c.stage.in_(LIVE), OWN)
    for row in connection.execute(query.order_by(POUR.c.id)):
        pours.setdefault(row.station_id, []).append(row)
    return pours


def oldest_live(connection: Connection) -> int | None:
    """Return the live pour that was planned first, or None."""
    return connection.execute(_OLDEST_LIVE).scalar()


def to_judge(connection: Connection, pour_id: int) -> JudgedPour:
    """Return what the watch needs of a pour each time: all but its plan and prediction. Raises NotFound."""
    row = first_row(connection, _TO_JUDGE, JudgedPour, {"pour": pour_id})
    if row is None:
        raise NotFound(fact("no-poured-pour", pour=pour_id))
    return row


def all_pours(
    connection: Connection,
    stages: Sequence[Stage] | None = None,
    most: int | None = None,
    *,
    foreign: bool = False,
) -> list[ListedPour]:
    """Return the shop's own pours, newest first; of some stages, or only the newest. A list of pours stays light.

    `foreign`: records from elsewhere, too.
    """
    query = _with_poured_ms(columns(POUR, ListedPour, _POURED_MS)).order_by(POUR.c.id.desc())
    of_stages = and_(
        true() if stages is None else POUR.c.stage.in_(stages), true() if foreign else OWN, WHOLE
    )
    if most is None:
        return all_rows(connection, query.where(of_stages), ListedPour)
    # Chosen by the index alone: a thousand finished pours are not read and sorted for the newest of them.
    newest = select(POUR.c.id).where(of_stages).order_by(POUR.c.id.desc()).limit(most)
    return all_rows(connection, query.where(POUR.c.id.in_(newest)), ListedPour)


def predicted_pours(connection: Connection, stages: Sequence[Stage]) -> list[PourWithPrediction]:
    """Return the shop's own pours of some stages with their predictions, newest first."""
    query = _with_poured_ms(columns(POUR, PourWithPrediction, _POURED_MS)).order_by(POUR.c.id.desc())
    return all_rows(connection, query.where(POUR.c.stage.in_(stages), OWN), PourWithPrediction)


def may_change_plan(pour: ListedPour) -> None:
    """Raise NotAllowed when a pour's plan is fixed."""
    must_be_own(pour.id, pour.origin)
    if pour.stage not in (Stage.PLANNED, Stage.READY):
        raise NotAllowed(fact("plan-frozen", pour=pour.id, stage=stage_word(pour.stage)))


def change_plan(tx: Connection, pour_id: int, plan_toml: str, title: str, by: str, now_ms: int) -> None:
    """Replace the plan of a pour that has not been poured. Raises NotAllowed afterwards."""
    may_change_plan(get_pour(tx, pour_id))
    tx.execute(
        update(POUR)
        .where(POUR.c.id == pour_id)
        .values(plan_toml=plan_toml, title=title, stage=Stage.PLANNED, prediction=None)
    )
    add_event(tx, pour_id, now_ms, "plan-changed", by, fact("event-plan-changed"))


def choose_probes(tx: Connection, pour_id: int, station_id: int, roms: Sequence[str]) -> None:
    """Give a pour its station, and its probes when it does not take all of them."""
    tx.execute(update(POUR).where(POUR.c.id == pour_id).values(station_id=station_id))
    tx.execute(delete(POUR_PROBE).where(POUR_PROBE.c.pour_id == pour_id))
    if roms:
        tx.execute(insert(POUR_PROBE), [{"pour_id": pour_id, "rom": rom} for rom in roms])


def move_on(
    tx: Connection,
    pour_id: int,
    target: Stage,
    by: str,
    timeline: Timeline,
    *,
    text: str = "",
) -> None:
    """Take the pour to its next stage and note who did it. Raises NotAllowed, NotFound."""
    pour = get_pour(tx, pour_id)
    must_be_own(pour_id, pour.origin)
    stage = next_stage(Stage(pour.stage), target, fact("pour-titled", pour=pour_id, title=pour.title))
    values: dict[str, Any] = {"stage": stage}
    true_ms = timeline.true_ms()
    if stage is Stage.POURING:
        if pour.prediction is None:
            raise NotAllowed(fact("no-prediction-yet", pour=pour_id))
        values |= {"poured_boot_id": timeline.boot_row, "poured_boot_ms": timeline.stamp().boot_ms}
    elif stage is Stage.RELEASED or (stage is Stage.SPOILED and pour.released_ms is None):
        values["released_ms"] = true_ms
    elif stage is Stage.CLOSED:
        values["closed_ms"] = true_ms
    tx.execute(update(POUR).where(POUR.c.id == pour_id).values(**values))
    add_event(tx, pour_id, true_ms, str(stage), by, text, {"from": pour.stage})


#: The event of a step that was taken back.
UNDONE = "undone"
_STEPS = (*map(str, Stage), UNDONE)


def last_step(connection: Connection, pour_id: int) -> EventRow | None:
    """Return the event of the pour's last step from stage to stage that was not taken back; None without one."""
    steps: list[EventRow] = []
    for row in _steps_of(connection, pour_id):
        if row.kind != UNDONE:
            steps.append(row)
        elif steps:
            steps.pop()
    return steps[-1] if steps else None


def step_mark(connection: Connection, pour_id: int) -> int:
    """Return a number that every step of the pour, and every undo, changes: what was made before has another."""
    rows = _steps_of(connection, pour_id)
    return rows[-1].id if rows else 0


def _steps_of(connection: Connection, pour_id: int) -> list[EventRow]:
    query = EVENTS.where(EVENT.c.pour_id == pour_id, EVENT.c.kind.in_(_STEPS))
    return all_rows(connection, query.order_by(EVENT.c.id), EventRow)


def take_back(tx: Connection, pour_id: int, step: EventRow, by: str, now_ms: int) -> None:
    """Take the pour back to the stage before a step, and note who did it: a seal is lifted and kept in the event.

    Readings that came meanwhile are the caller's (reading_batches.py). Raises NotFound.
    """
    pour, before = get_pour(tx, pour_id), Stage(step.facts["from"])
    data: dict[str, Any] = {"step": step.kind, "stage": str(before)}
    values: dict[str, Any] = {"stage": before}
    if pour.stage == Stage.CLOSED:
        values |= {"closed_ms": None, "seal": null()}
        data["seal"] = pour.seal
        tx.execute(delete(SEALED_RECORD).where(SEALED_RECORD.c.pour_id == pour_id))
    elif before is not Stage.RELEASED:
        values["released_ms"] = None
    tx.execute(update(POUR).where(POUR.c.id == pour_id).values(**values))
    add_event(
        tx, pour_id, now_ms, UNDONE, by, fact("event-undone", step=stage_word(step.kind), who=step.by), data
    )


def freeze_prediction(
    tx: Connection, pour_id: int, prediction: Mapping[str, Any], model_version: str
) -> None:
    """Keep the prediction with the pour. Raises NotAllowed once pouring has started, NotFinite."""
    pour = get_pour(tx, pour_id)
    if pour.stage not in (Stage.PLANNED, Stage.READY):
        raise NotAllowed(fact("prediction-frozen", pour=pour_id, stage=stage_word(pour.stage)))
    tx.execute(
        update(POUR)
        .where(POUR.c.id == pour_id)
        .values(prediction=finite(dict(prediction), "prediction"), model_version=model_version)
    )


def save_watchbook(
    tx: Connection, pour_id: int, watchbook: Mapping[str, Any], judged_reading_id: int
) -> None:
    """Keep the alarms' whole state and how far the readings were judged, in the transaction of their changes."""
    tx.execute(_JUDGED, {"pour": pour_id, "book": _in_steps(watchbook), "judged": judged_reading_id})


def _in_steps(watchbook: Mapping[str, Any]) -> dict[str, Any]:
    """Return the book with blanks up to the next step of length.

    SQLite overwrites a row in place while its length stays, and then writes only the pages that differ; else it moves
    the whole row, prediction included: a Pi's card took five times the bytes.
    """
    padded = {**watchbook, "blanks": ""}
    return {**padded, "blanks": " " * (-len(json.dumps(padded)) % BOOK_STEP)}
