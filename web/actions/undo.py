"""Taking a step back: for ten minutes after the first hour was called over, the casting out of the form, the pour given
up, or its record sealed. What came in meanwhile belongs to the pour again, and is judged at once."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.condition.condition_words import STAGE_WORDS
from logger.errors import NotAllowed, NotConfirmed
from logger.pour import LIVE, UNDO_MS, Stage
from logger.quantities import minutes
from logger.store import pours, stations
from logger.store.events import must_be_own
from logger.store.reading_batches import take_in
from logger.store.rows import EventRow, PourRow
from logger.words.phrase import phrase
from web.actions.ending import CONFIRMED
from web.actions.pours import nobody_elses
from web.service.service import Service


@dataclass(frozen=True, slots=True)
class LastStep:
    """A pour's last step, while it can be taken back: its event, the stage before, and until when (true time). mark: by
    which a page says that it means this step."""

    event: EventRow
    before: Stage
    until_ms: int
    mark: int


def undoable(service: Service, connection: Connection, pour: PourRow) -> LastStep | None:
    """Return the step that can still be taken back, or None."""
    last = pours.last_step(connection, pour.id)
    if last is None or last.kind != pour.stage or last.kind not in CONFIRMED or pour.origin is not None:
        return None
    before, until_ms = (last.data or {}).get("from"), last.at_ms + UNDO_MS
    if before is None or not last.at_ms <= service.timeline.true_ms() <= until_ms:
        return None
    return LastStep(last, Stage(before), until_ms, pours.step_mark(connection, pour.id))


def undo(service: Service, pour_id: int, by: str, mark: int | None = None) -> None:
    """Take the pour's last step back. `mark`: the step that is meant; None: the last one.

    Raises NotConfirmed when another step was taken since, NotAllowed when there is none to take back, it is too late,
    or its probes watch another pour by now; NotFound.
    """
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        must_be_own(pour_id, pour.origin)
        stage = phrase(
            "{pour}: nothing was changed. Its stage is now: {stage}.",
            pour=pour.title,
            stage=STAGE_WORDS[Stage(pour.stage)],
        )
        if mark is not None and mark != pours.step_mark(tx, pour_id):
            raise NotConfirmed(
                phrase(
                    "{stage} What was pressed was made before that: open the pour's page again.", stage=stage
                )
            )
        last = undoable(service, tx, pour)
        if last is None:
            raise NotAllowed(
                phrase(
                    "{stage} There is no step to take back: that can be done for {within} after it.",
                    stage=stage,
                    within=minutes(UNDO_MS // 60_000),
                )
            )
        if last.before in LIVE and pour.stage not in LIVE and pour.station_id is not None:
            station = stations.by_id(tx, pour.station_id).name
            nobody_elses(tx, pour_id, pour.station_id, pours.probes_chosen(tx, pour_id), station)
        now_ms = service.timeline.true_ms()
        pours.take_back(tx, pour_id, last.event, by, now_ms)
        if pour.station_id is not None and pour.poured_ms is not None:
            take_in(tx, pour_id, pour.station_id, pour.judged_reading_id, last.event.at_ms)
    service.curves.forget(pour_id)
    service.news.publish("pour", pour=pour_id)
    service.watch.wake()
