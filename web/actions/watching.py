"""What people do while a pour is watched: silence an alarm for a while, tap a message's link, measure, switch a fan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from logger import quantities
from logger.alarms.book import AlarmBook
from logger.alarms.fan_rule import By
from logger.alarms.first_hour import LevelMark, LookResult, level_fell, volume_differs
from logger.alarms.state import Transition
from logger.delivery import signed_links, test_messages
from logger.delivery.signed_links import Claim, LinkRefused
from logger.errors import NotAllowed, NotFound, OutOfRange
from logger.facts import fact
from logger.plan.file import Plan
from logger.planning.assess import assess
from logger.store import alarms, channels, events, page_queries, people, pours, stations
from logger.store.message_links import Purpose
from logger.words.phrase import phrase
from web.actions import pours as pour_actions
from web.service.service import Service

#: Who has acknowledged when it came by a link and the settings give the group of addresses no name.
BY_LINK = {"first": fact("by-link-first"), "second": fact("by-link-second")}


def shelve(service: Service, alarm_id: int, by: str, hours: float, reason: str = "") -> None:
    """Quiet for some hours. Raises NotFound, OutOfRange beyond the kind's longest time."""
    _act(service, alarm_id, by, lambda book, key, now_ms: book.shelve(key, by, now_ms, hours, reason))


def unshelve(service: Service, alarm_id: int, by: str) -> None:
    """Off the shelf before its time. Raises NotFound."""
    _act(service, alarm_id, by, lambda book, key, now_ms: book.unshelve(key, by, now_ms))


def take_out_of_service(
    service: Service, alarm_id: int, by: str, reason: str, hours: float | None = None
) -> None:
    """Quiet for a reason. Raises NotFound, BadInput without a reason, OutOfRange for hours beyond the kind's."""
    _act(
        service,
        alarm_id,
        by,
        lambda book, key, now_ms: book.take_out_of_service(key, by, reason, now_ms, hours),
    )


def return_to_service(service: Service, alarm_id: int, by: str) -> None:
    """Back in service. Raises NotFound."""
    _act(service, alarm_id, by, lambda book, key, now_ms: book.return_to_service(key, by, now_ms))


def _act(
    service: Service, alarm_id: int, by: str, act: Callable[[AlarmBook, str, int], list[Transition]]
) -> None:
    service.watch.act(alarm_id, by, act)


def quiet_of(service: Service, alarm_id: int) -> dict[str, Any]:
    """How an alarm is silenced now, for its page: {"shelf": Shelf | None, "out": OutOfService | None, "shift_ms"}."""
    with service.store.read() as connection:
        alarm = alarms.get_alarm(connection, alarm_id)
        pour = pours.to_judge(connection, alarm.of_pour)
        book = service.watch.book_of(connection, pour)
    state = book.state(alarm.kind, alarm.subject.partition("/")[2])
    return {"shelf": state.shelf, "out": state.out, "shift_ms": service.timeline.shift_ms}


@dataclass(frozen=True, slots=True)
class Tapped:
    """What a link stands for. replaced: the address of a phone to which no alarm goes any more."""

    purpose: Purpose
    alarm_id: int | None
    replaced: str | None = None


def look_at_link(service: Service, token: str) -> Tapped:
    """Return what a message's link would do, if it still holds. Changes nothing. Raises LinkRefused."""
    with service.store.read() as connection:
        claim = _claim_of_tap(connection, token, service.timeline.now_ms())
    return Tapped(claim.purpose, claim.alarm_id)


def _claim_of_tap(connection: Connection, token: str, now_ms: int) -> Claim:
    claim = signed_links.read_token(connection, token, now_ms)
    if claim.purpose is Purpose.LOOK:
        raise LinkRefused(
            phrase("this link says what a check of the form has found: open it as it is in the message")
        )
    if claim.purpose is Purpose.PHONE:
        raise LinkRefused(phrase("this link sets up a phone: open it as the code has it"))
    return claim


def by_link(service: Service, to: str) -> str:
    """Who has pressed a link's button: whoever that group of addresses calls, or the group."""
    named = service.addresses.who(to)
    return fact("by-link", who=named) if named else BY_LINK.get(to, to)


def tap(service: Service, token: str) -> Tapped:
    """Do what a message's link is for, once. Raises LinkRefused, NotAllowed when the alarm was raised again."""
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        claim = _claim_of_tap(connection, token, now_ms)
        alarm = None if claim.alarm_id is None else alarms.get_alarm(connection, claim.alarm_id)
    if alarm is None:
        with service.store.write() as tx:
            signed_links.use_token(tx, token, now_ms)
            way = test_messages.confirmed_channel(claim.to)
            by, replaced = (by_link(service, claim.to), None) if way is None else _confirm(tx, way, now_ms)
            words = fact("event-test-arrived")
            events.add_event(tx, None, service.timeline.true_ms(), "test-confirmed", by, words)
        service.addresses.read_from(service.store)
        return Tapped(claim.purpose, None, replaced)
    by = by_link(service, claim.to)

    def act(book: AlarmBook, key: str, at_ms: int) -> list[Transition]:
        return book.acknowledge(key, by, at_ms, alarm.activation)

    def use(tx: Connection) -> None:
        signed_links.use_token(tx, token, now_ms)

    service.watch.act(alarm.id, by, act, use)
    return Tapped(claim.purpose, alarm.id)


def _confirm(tx: Connection, channel_id: int, now_ms: int) -> tuple[str, str | None]:
    """Confirm one way to a phone; return by whom, and the address that it takes the place of.

    Raises LinkRefused for one that was removed.
    """
    try:
        replaced = channels.confirm(tx, channel_id, now_ms)
        name = people.person(tx, channels.get(tx, channel_id).person_id).name
    except NotFound as error:
        raise LinkRefused(phrase("what this message came by was removed since")) from error
    return fact("by-link", who=name), replaced


def planned_litres(plan: Plan) -> float | None:
    """Litres that the plan wants in the form: without what stays in the pails. None where it gives none."""
    quantity = assess(plan).quantity
    return None if quantity is None else quantity.total_l - quantity.waste_l


def poured(service: Service, pour_id: int, litres: float, by: str) -> str | None:
    """Note how much has gone in; return a sentence when that differs from the plan. Raises NotFound, OutOfRange."""
    if not 0 < litres <= 10_000:
        raise OutOfRange(
            phrase("litres poured"),
            phrase("is out of range"),
            value=quantities.volume(litres, None),
            allowed=phrase("above 0 to {most}", most=quantities.volume(10_000, 0)),
            remedy=phrase("give all that has gone in so far"),
        )
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        pour_actions.may_keep(pour, "poured")
        planned_l = planned_litres(pour_actions.plan_of(pour))
    differs = None if not planned_l else volume_differs(planned_l, litres)
    volume = quantities.volume(litres)
    if differs:
        text: str = differs
    elif planned_l:
        text = fact("poured-as-planned", volume=volume, planned=quantities.volume(planned_l))
    else:
        text = fact("poured-so-much", volume=volume)
    pour_actions.note(service, pour_id, text, by, "poured", {"litres": litres, "planned_l": planned_l})
    return differs


def level(service: Service, pour_id: int, level_mm: float, by: str) -> str | None:
    """Note the level against a mark, mm, higher is fuller; return a sentence when it has fallen, which is a look that
    found it so. Raises NotFound, OutOfRange."""
    if not -1000 <= level_mm <= 1000:
        raise OutOfRange(
            phrase("level"),
            phrase("is out of range"),
            value=quantities.length(level_mm, None),
            allowed=phrase(
                "{least} to {most}", least=quantities.length(-1000, 0), most=quantities.length(1000, 0)
            ),
            remedy=phrase("measure from one fixed mark, up is plus"),
        )
    with service.store.read() as connection:
        pour = pours.get_pour(connection, pour_id)
        pour_actions.may_keep(pour, "level")
        plan = pour_actions.plan_of(pour)
        marks = [
            LevelMark(row.at_ms, row.facts["mm"], row.by)
            for row in page_queries.events_of_kind(connection, pour_id, "level")
        ]
    width, length = plan.pour.width_mm, plan.pour.length_mm
    area_m2 = width * length / 1e6 if width and length else None
    fell = level_fell([*marks, LevelMark(service.timeline.true_ms(), level_mm, by)], area_m2)
    at_mark = fact("level-at-mark", level=quantities.length(level_mm, signed=True))
    pour_actions.note(service, pour_id, at_mark, by, "level", {"mm": level_mm})
    if fell is not None:
        pour_actions.look(service, pour_id, pour_actions.MadeLook(LookResult.LEVEL_FELL, fell), by)
    return fell


def fan(service: Service, station: str, *, on: bool, by: str) -> None:
    """Switch a station's fan by hand, which holds until it is given back; noted with every live pour of the station.

    Raises NotFound.
    """
    _fan(
        service,
        station,
        on,
        By.HAND,
        by,
        fact("fan-on-by-hand" if on else "fan-off-by-hand", station=station),
    )


def give_fan_back(service: Service, station: str, by: str) -> None:
    """Plan and forecast decide over a station's fan again. Raises NotFound."""
    _fan(service, station, None, None, by, fact("fan-given-back", station=station))


def _fan(service: Service, station: str, on: bool | None, word: By | None, by: str, text: str) -> None:
    at_ms = service.timeline.true_ms()
    with service.store.write() as tx:
        row = stations.by_name(tx, station)
        on = bool(row.fan_on) if on is None else on
        if not stations.switch_fan(tx, row.id, on=on, by=word, now_ms=service.timeline.now_ms()):
            return
        mine: list[int | None] = [pour.id for pour in pours.live_pours(tx) if pour.station_id == row.id]
        for pour_id in mine or [None]:
            events.add_event(tx, pour_id, at_ms, "fan", by, text, {"on": on, "station": row.id, "by": word})
    service.news.publish("pour")
    service.watch.wake()


def send_trial(service: Service, by: str) -> int:
    """Send a test message to every group of addresses, to be confirmed with a tap; return how many.

    Raises NotAllowed when no address is set.
    """
    with service.store.write() as tx:
        sent = test_messages.write_trials(
            tx,
            service.addresses,
            service.timeline.now_ms(),
            service.address,
            phrase("{who} asked for it.", who=by),
        )
        if not sent:
            raise NotAllowed(
                phrase("nobody is called yet: set up a phone first, on the page “Messages to my phone”")
            )
        events.add_event(tx, None, service.timeline.true_ms(), "test-sent", by)
    service.on_news()
    return sent


__all__ = ["LinkRefused", "Tapped"]
