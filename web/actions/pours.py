"""What people ask the service to do, for pages and API alike: plan, predict, start, note, move on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logger.alarms.book import AlarmBook
from logger.alarms.first_hour import LookResult
from logger.alarms.state import Phase, Transition
from logger.cure.solver.prediction import MODEL_VERSION
from logger.delivery.compose import LOOK_DUE
from logger.delivery.test_messages import write_trials
from logger.errors import BadInput, NotAllowed, NotFound
from logger.facts import cut, fact
from logger.places import place_name
from logger.plan.file import Plan, plan_from_text
from logger.pour import LIVE, Stage, next_stage, stage_word
from logger.quantities import hours
from logger.record.gather import measured
from logger.record.seal import seal
from logger.store import alarms, events, pours, stations
from logger.store.events import must_be_own
from logger.store.pours import PlannedPour
from logger.store.rows import ListedPour
from logger.words.phrase import phrase
from web.actions.ending import must_be_confirmed, must_be_over
from web.actions.message_test import untested
from web.actions.plan_work import is_rough
from web.actions.readiness import must_be_ready
from web.service.service import Service
from web.views.assessed import first_answer
from web.views.predicted import course_kept, frozen, predicted_of

#: What may be added to a sealed record, by name, time and reason.
ADDED = ("note", "photo", "outcome", "test", "lot", "layer")
LONGEST_REASON = 300
#: What is kept only while a pour is watched, and what only once it was poured.
WHILE_WATCHED = {
    "look": phrase("a check of the form belongs to a pour that is being watched"),
    "level": phrase("the level is measured at a pour that is being watched"),
    "poured": phrase("what went in is measured at a pour that is being watched"),
}
AFTER_POURING = ("outcome", "test", "lot", "layer")


def plan_pour(
    service: Service, plan_toml: str, client: str, station: str | None, by: str, *, at_once: bool = False
) -> int:
    """Plan a new pour from a plan file's text, with its prediction; return its id. Raises BadPlan, NotFound.

    at_once: with a first answer, where the service has the whole one worked out beside it.
    """
    plan, prediction = _predicted(service, plan_toml, at_once)
    with service.store.write() as tx:
        station_id = stations.by_name(tx, station).id if station else None
        pour_id = pours.add_pour(
            tx,
            PlannedPour(title=plan.title, client=client, plan_toml=plan_toml, station_id=station_id),
            by=by,
            now_ms=service.timeline.true_ms(),
        )
        pours.freeze_prediction(tx, pour_id, prediction, MODEL_VERSION)
    _work_out(service, pour_id, plan_toml)
    return pour_id


def change_plan(service: Service, pour_id: int, plan_toml: str, by: str, *, at_once: bool = False) -> None:
    """Another plan for a pour that has not been poured, predicted anew; the one before is kept, to be taken back.

    The same plan again changes nothing. at_once: as in `plan_pour`. Raises BadPlan, NotAllowed, NotFound.
    """
    with service.store.read() as connection:
        pours.may_change_plan(pours.get_pour(connection, pour_id))  # said before a plan is solved in vain
    plan, prediction = _predicted(service, plan_toml, at_once)
    with service.store.write() as tx:
        before = pours.get_pour(tx, pour_id).plan_toml
        if plan_toml == before:
            return
        at_ms = service.timeline.true_ms()
        pours.change_plan(tx, pour_id, plan_toml, plan.title, by, at_ms)
        pours.freeze_prediction(tx, pour_id, prediction, MODEL_VERSION)
        events.add_event(
            tx,
            pour_id,
            at_ms,
            "plan-before",
            by,
            fact("event-plan-before"),
            {"plan_toml": before},
        )
    _work_out(service, pour_id, plan_toml)


def _predicted(service: Service, plan_toml: str, at_once: bool) -> tuple[Plan, dict[str, Any]]:
    """Return a plan and the prediction to keep with it: the whole one, or a first answer."""
    if at_once and service.plan_work is not None and course_kept(plan_toml) is None:
        first = first_answer(plan_toml)
        return first.plan, first.frozen()
    course = predicted_of(plan_toml)
    return course.plan, frozen(course)


def _work_out(service: Service, pour_id: int, plan_toml: str) -> None:
    service.news.publish("pour", pour=pour_id)
    if service.plan_work is not None:
        service.plan_work.ask(pour_id, plan_toml)


def choose_station(service: Service, pour_id: int, station: str, by: str, probes: Sequence[str] = ()) -> None:
    """Say which station's probes are in the form: all of them, or those of these serial numbers.

    Of a live pour only the probes can be chosen anew, at the same station: what they read from then on is its own.
    Raises NotAllowed when the station was fixed, or another live pour has one of the probes, NotFound.
    """
    with service.store.write() as tx:
        pour, row = pours.get_pour(tx, pour_id), stations.by_name(tx, station)
        ahead = pour.stage in (Stage.PLANNED, Stage.READY)
        if not ahead and (pour.stage not in LIVE or row.id != pour.station_id):
            raise NotAllowed(
                phrase(
                    "pour {pour_id} is {stage}: its station was fixed when pouring started",
                    pour_id=pour_id,
                    stage=stage_word(pour.stage),
                )
            )
        places = {probe.rom: probe.place for probe in stations.probes_of(tx, row.id)}
        for rom in probes:
            if rom not in places:
                raise NotFound(
                    phrase("station {station} has not reported a probe '{rom}'", station=station, rom=rom)
                )
        if not ahead:
            nobody_elses(tx, pour_id, row.id, frozenset(probes), station)
        pours.choose_probes(tx, pour_id, row.id, probes)
        names = [fact("probe-at", place=place_name(places[rom]), rom=rom) for rom in probes]
        text = fact("event-station-chosen", station=station, probes=names) if probes else station
        data = {"station": station, "probes": sorted(probes)} if probes else None
        events.add_event(tx, pour_id, service.timeline.true_ms(), "station-chosen", by, text, data)
    service.news.publish("pour", pour=pour_id)


def nobody_elses(tx: Connection, pour_id: int, station_id: int, probes: frozenset[str], station: str) -> None:
    """Raise NotAllowed when a live pour has one of these probes: a reading belongs to one pour."""
    for other in pours.sharing(tx, pour_id, station_id, probes):
        raise NotAllowed(
            phrase(
                "pour {other_id} ({other_title}) is watched by the same probes of {station}: choose on both pours' "
                "pages which probes are whose, or release that one first",
                other_id=other.id,
                other_title=other.title,
                station=station,
            )
        )


def move_on(service: Service, pour_id: int, to: Stage, by: str, text: str = "", confirm: str = "") -> None:
    """Take the pour to its next stage; closing it seals its record.

    It becomes ready, and starts, only when every point is signed or let pass by name and reason. It is given up only
    with a word why. Its first hour and its watch end, and its record is sealed, only when nothing stands in the way
    and `confirm` is what was given for that step at this stage (ending.py).
    Raises BadInput, NotAllowed, NotReady, NotConfirmed, MayNotEnd, NotFound.
    """
    text = text.strip()
    figures = None
    starts = to in (Stage.READY, Stage.POURING)
    unheard = untested(service) if to is Stage.POURING else None
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        must_be_own(pour_id, pour.origin)
        if confirm:
            must_be_confirmed(connection, pour, to, confirm, service.timeline.true_ms())
        next_stage(
            Stage(pour.stage), to, phrase("pour {pour} ({title})", pour=str(pour_id), title=pour.title)
        )
        if to is Stage.SPOILED and not text:
            raise BadInput(
                phrase("reason"),
                phrase("is empty"),
                remedy=phrase("say why it is cancelled: a record of a failure teaches most"),
            )
        must_be_over(service, connection, pour, to)
        must_be_confirmed(connection, pour, to, confirm, service.timeline.true_ms())
        if to is Stage.CLOSED:
            figures = measured(connection, pour_id)
        elif starts:
            # Solved before the write lock is taken; asked again below.
            must_be_ready(service, connection, pour)
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        if to is Stage.POURING:
            _must_have_its_probes(tx, pour)
        must_be_confirmed(tx, pour, to, confirm, service.timeline.true_ms())
        must_be_over(service, tx, pour, to)
        if starts:
            readiness = must_be_ready(service, tx, pour)
            if is_rough(pour):
                # What is poured has its whole prediction.
                pours.freeze_prediction(tx, pour_id, frozen(predicted_of(pour.plan_toml)), MODEL_VERSION)
            text = text or fact(
                "event-signed",
                signatures=fact("signatures", n=len(readiness.signatures)),
                exceptions=fact("points-let-pass", n=len(readiness.overrides)),
            )
        pours.move_on(tx, pour_id, to, by, service.timeline, text=text)
        if to is Stage.READY:
            # Whoever may be called tonight confirms today that they can be.
            write_trials(
                tx,
                service.addresses,
                service.timeline.now_ms(),
                service.address,
                phrase("A pour is about to start."),
            )
        elif unheard is not None:
            # It was said on the page; that it was poured all the same belongs to the record.
            events.add_event(tx, pour_id, service.timeline.true_ms(), "untested", by, unheard)
        elif to in (Stage.RELEASED, Stage.SPOILED):
            _fan_off(tx, pours.get_pour(tx, pour_id), by, service.timeline.true_ms())
        if to is Stage.CLOSED:
            seal(tx, pour_id, by, service.timeline.true_ms(), service.settings.workshop, figures)
    service.news.publish("pour", pour=pour_id)


def _must_have_its_probes(tx: Connection, pour: ListedPour) -> None:
    """Raise NotAllowed for a pour without a station, or whose probes watch another pour."""
    if pour.station_id is None:
        raise NotAllowed(
            phrase(
                "pour {pour_id} has no station: choose the one whose probes are in the form", pour_id=pour.id
            )
        )
    name = stations.by_id(tx, pour.station_id).name
    nobody_elses(tx, pour.id, pour.station_id, pours.probes_chosen(tx, pour.id), name)


def _fan_off(tx: Connection, pour: ListedPour, by: str, at_ms: int) -> None:
    """Switch the pour's fan off: it blows for the pour, and ends with it."""
    others = [row for row in pours.live_pours(tx) if row.station_id == pour.station_id]
    if pour.station_id is not None and not others and stations.switch_fan(tx, pour.station_id, on=False):
        events.add_event(
            tx,
            pour.id,
            at_ms,
            "fan",
            by,
            fact("fan-off-pour-over"),
            {"on": False, "station": pour.station_id},
        )


def acknowledge(service: Service, alarm_id: int, by: str, text: str = "") -> None:
    """Somebody has an alarm in hand. Raises NotFound."""

    def act(book: AlarmBook, key: str, now_ms: int) -> list[Transition]:
        return book.acknowledge(key, by, now_ms)

    service.watch.act(alarm_id, by, act)
    if text.strip():
        with service.store.read() as connection:
            pour_id = alarms.get_alarm(connection, alarm_id).of_pour
        add_entry(service, pour_id, by, Entry(text, reason=fact("said-with-acknowledgement")))


@dataclass(frozen=True, slots=True)
class MadeLook:
    """What a look at the form found, in words as well. made_ms: when (true time), where a phone kept it; None: now."""

    finding: LookResult
    text: str = ""
    made_ms: int | None = None


#: A look that was sent so long after it was made is marked as sent late; a phone's page may be so far ahead, ms.
SENT_LATE_MS, AHEAD_MS = 60_000, 60_000


def look(
    service: Service,
    pour_id: int,
    report: MadeLook,
    by: str,
    also: Callable[[Connection], None] = lambda _tx: None,
) -> None:
    """Note a look at the form of a pour that is, or then was, watched; it acknowledges the alarm that one is due.

    `also` is done first, in the same transaction. Raises BadInput for a look in the future or before
    pouring, NotAllowed, NotFound.
    """
    with service.store.write() as tx:
        also(tx)
        pour = pours.get_pour(tx, pour_id)
        now_ms = service.timeline.true_ms()
        at_ms = now_ms if report.made_ms is None else min(report.made_ms, now_ms)
        watched_then = pour.released_ms is not None and at_ms < pour.released_ms
        if not (watched_then and pour.stage in (Stage.RELEASED, Stage.SPOILED)):
            may_keep(pour, "look")
        ahead = report.made_ms is not None and report.made_ms > now_ms + AHEAD_MS
        if ahead or (pour.poured_ms is not None and at_ms < pour.poured_ms):
            raise BadInput(
                "made_ms",
                phrase("is in the future") if ahead else phrase("is before the pour was poured"),
                value=report.made_ms,
                allowed=phrase("{poured_ms} to {now_ms} (ms)", poured_ms=pour.poured_ms or 0, now_ms=now_ms),
                remedy=phrase("look again"),
            )
        data: dict[str, Any] = {"finding": str(report.finding)}
        text = cut(report.text.strip(), 4000)
        if now_ms - at_ms >= SENT_LATE_MS:
            data |= {"sent_ms": now_ms}
            late = hours((now_ms - at_ms) / 3.6e6)
            text = fact("look-sent-late", text=text, late=late) if text else fact("look-only-late", late=late)
        events.add_event(tx, pour_id, at_ms, "look", by, text, data)
    service.news.publish("pour", pour=pour_id)
    take_look_due(service, pour_id, by)
    service.watch.wake()


def take_look_due(service: Service, pour_id: int, by: str) -> None:
    """Acknowledge the alarm that a look is due: whoever has looked has answered it."""

    def act(book: AlarmBook, key: str, now_ms: int) -> list[Transition]:
        _kind, state = book.look_up(key)
        return book.acknowledge(key, by, now_ms) if state.phase in (Phase.RAISED, Phase.RETURNED) else []

    with service.store.read() as connection:
        waiting = [
            alarm.id
            for alarm in alarms.open_alarms(connection, pour_id)
            if alarm.kind == LOOK_DUE and alarm.phase in (Phase.RAISED, Phase.RETURNED)
        ]
    for alarm_id in waiting:
        service.watch.act(alarm_id, by, act)


@dataclass(frozen=True, slots=True)
class Entry:
    """Something to keep with a pour: words, what kind it is, the kind's data, why it is added to a sealed record."""

    text: str = ""
    kind: str = "note"
    data: dict[str, Any] | None = None
    reason: str = ""


def note(
    service: Service, pour_id: int, text: str, by: str, kind: str = "note", data: dict[str, Any] | None = None
) -> None:
    """Keep something with a pour whose record is not sealed. Raises as `add_entry`."""
    add_entry(service, pour_id, by, Entry(text, kind, data))


def add_entry(service: Service, pour_id: int, by: str, entry: Entry) -> None:
    """Keep an entry with a pour, in the stages that have entries of its kind; with a sealed record as an addition that
    carries its reason.

    Raises BadInput for an empty note and for a sealed record without a reason, NotAllowed for what belongs to another
    stage, NotFound.
    """
    kind, data = entry.kind, entry.data
    if kind == "note" and not entry.text.strip():
        raise BadInput(phrase("note"), phrase("is empty"), remedy=phrase("write what you saw or did"))
    with service.store.write() as tx:
        pour = pours.get_pour(tx, pour_id)
        may_keep(pour, kind)
        if pour.stage == Stage.CLOSED:
            if not entry.reason.strip():
                raise BadInput(
                    phrase("reason"),
                    phrase("is empty"),
                    remedy=phrase("this record is sealed: say why you add to it now"),
                )
            data = (data or {}) | {"about": kind, "reason": entry.reason.strip()[:LONGEST_REASON]}
            kind = "addition"
        events.add_event(
            tx, pour_id, service.timeline.true_ms(), kind, by, entry.text.strip()[:4000], data or None
        )
    service.news.publish("pour", pour=pour_id)


def may_keep(pour: ListedPour, kind: str) -> None:
    """Raise NotAllowed when a pour's stage has nothing of that kind to keep, or when it is a record from elsewhere."""
    must_be_own(pour.id, pour.origin)
    if pour.stage == Stage.CLOSED and kind not in ADDED:
        raise NotAllowed(
            phrase(
                "pour {pour_id} is closed and its record sealed: nothing is done to it any more; what is known "
                "later is added on its record's page, with a reason",
                pour_id=pour.id,
            )
        )
    if kind in WHILE_WATCHED and pour.stage not in LIVE:
        raise NotAllowed(
            phrase(
                "pour {pour_id} is {stage}: {why}",
                pour_id=pour.id,
                stage=stage_word(pour.stage),
                why=WHILE_WATCHED[kind],
            )
        )
    if kind in AFTER_POURING and pour.poured_ms is None:
        raise NotAllowed(
            phrase(
                "pour {pour_id} is {stage}: there is nothing to tell of it before it is poured",
                pour_id=pour.id,
                stage=stage_word(pour.stage),
            )
        )


def remove(service: Service, pour_id: int, by: str) -> None:
    """Delete a record from elsewhere for good. Raises NotFound, and NotAllowed for the shop's own."""
    service.imports.delete(pour_id, by)
    service.curves.forget(pour_id)
    service.news.publish("pour")


def plan_of(pour: ListedPour) -> Plan:
    """Return the plan that a pour was made from."""
    return plan_from_text(pour.plan_toml, phrase("the plan of pour {pour}", pour=str(pour.id)))
