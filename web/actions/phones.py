"""Ways to a person's phone: set up, tried at once, confirmed by the person, changed, removed."""

from __future__ import annotations

import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass

from logger.delivery import signed_links, test_messages
from logger.delivery.addresses import TURNS
from logger.delivery.channel_faults import fault_of
from logger.delivery.channel_kinds import BY_NAME, Kind, Target, target_of
from logger.delivery.library_kinds import PREFIX, kind_of_service
from logger.delivery.signed_links import LinkRefused
from logger.errors import BadInput, NotAllowed
from logger.facts import fact
from logger.store import channels, events, outbox, people, shop_events
from logger.store.message_links import Purpose
from logger.store.outbox import NewMessage
from logger.store.people import Role
from logger.store.rows import ChannelRow
from logger.words.phrase import phrase
from logger.words.reader import units_from
from logger.words.render import say
from web.errors import Forbidden, TooMany
from web.security.access import ROLES, Who
from web.service.service import Service

log = logging.getLogger(__name__)

#: Tests that go out at the same time at most: each waits for a server that may not answer.
_TESTS = threading.BoundedSemaphore(4)
#: A link that sets up a phone holds so long, ms.
CODE_MS = 15 * 60_000


@dataclass(frozen=True, slots=True)
class Tried:
    """A way after its test: what was wrong, in words; None: a server has taken it. token: confirms that it arrived."""

    channel_id: int
    problem: str | None
    token: str


def kind_called(name: str) -> Kind:
    """Return a kind of way by name. Raises BadInput."""
    if name.startswith(PREFIX):
        return kind_of_service(name.removeprefix(PREFIX))
    if name not in BY_NAME:
        raise BadInput(
            phrase("kind"), phrase("is not one of the kinds"), value=name, remedy=phrase("choose one")
        )
    return BY_NAME[name]


def target_of_row(row: ChannelRow) -> Target:
    """Return the address of a way that is stored. Raises BadInput where the library knows it no longer."""
    return target_of(kind_called(row.kind), row.entries)


def of_whom(service: Service, who: Who, channel_id: int) -> ChannelRow:
    """Return a way that somebody may change: their own, or an owner any. Raises Forbidden, NotFound."""
    with service.store.read() as connection:
        row = channels.get(connection, channel_id)
        people.person(connection, row.person_id)  # of this shop, where there are several
    if row.person_id != who.id and not who.may(Role.OWNER):
        raise Forbidden(phrase("that is somebody else's phone; only an owner may change it"))
    return row


def set_up(
    service: Service,
    person_id: int,
    kind: str,
    typed: Mapping[str, str],
    turn: str,
    by: str,
    change: int | None = None,
) -> Tried:
    """Store a way to somebody's phone and send a test to it at once. change: the way that it takes the place of.

    A secret that is left empty stays as it was. Raises BadInput, NotAllowed, NotFound, TooMany.
    """
    chosen = kind_called(kind)
    with service.store.read() as connection:
        before = None if change is None else channels.get(connection, change)
        _may_be_called(people.person(connection, person_id).role)
        there = len(channels.of_person(connection, person_id))
    if before is not None and before.person_id != person_id:
        raise NotAllowed(phrase("that is somebody else's phone"))
    if before is None and there >= channels.MOST:
        raise NotAllowed(
            phrase("{most} ways are enough for one person: remove one first", most=channels.MOST)
        )
    entries = _entries(chosen, typed, before)
    if turn not in TURNS:
        raise BadInput(
            phrase("turn"), phrase("is not one of the turns"), value=turn, remedy=phrase("choose one")
        )
    target = target_of(chosen, entries)
    _must_be_understood(service, target)
    if _already(service, person_id, target.url, change):
        raise NotAllowed(phrase("this way is set up already: send a test by it instead"))
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        if before is not None and before.confirmed_ms is None and before.kind == kind:
            channel_id = before.id
            channels.correct(tx, channel_id, entries, target.url, turn)
        else:
            # The old one is called until the new one is confirmed.
            channel_id = channels.add(tx, person_id, kind, entries, target.url, turn, now_ms, change)
        name = people.person(tx, person_id).name
        words = fact("event-phone-set-up", what=chosen.title, about=target.about, who=name)
        events.add_event(tx, None, service.timeline.true_ms(), "phone-set-up", by, words)
    return send_test(service, channel_id, by)


def _may_be_called(role: str) -> None:
    if role not in channels.MAY_ANSWER:
        raise NotAllowed(
            phrase(
                "a {role} is not called: a message's link answers the alarm; an owner can make them a maker",
                role=ROLES[Role(role)],
            )
        )


def _entries(kind: Kind, typed: Mapping[str, str], before: ChannelRow | None) -> dict[str, str]:
    old = before.entries if before is not None and before.kind == kind.name else {}
    return {
        entry.name: typed.get(entry.name, "").strip() or (old.get(entry.name, "") if entry.secret else "")
        for entry in kind.entries
    }


def _must_be_understood(service: Service, target: Target) -> None:
    """Raise BadInput for an address that the message library cannot read."""
    prepare = getattr(service.channel, "prepare", None)
    problem = None if prepare is None else prepare([target.url]).get(target.url)
    if problem is not None:
        raise BadInput(
            phrase("what was typed"),
            phrase("makes no address ({problem})", problem=problem),
            remedy=phrase("check each field"),
        )


def _already(service: Service, person_id: int, url: str, change: int | None) -> bool:
    with service.store.read() as connection:
        rows = channels.of_person(connection, person_id)
    return any(row.url == url and row.id != change for row in rows)


def send_test(service: Service, channel_id: int, by: str) -> Tried:
    """Send a test by one way at once, and note how it went. Raises NotFound, TooMany."""
    if not _TESTS.acquire(blocking=False):
        raise TooMany(phrase("other tests are under way; wait some seconds"), 5)
    try:
        return _send_test(service, channel_id, by)
    finally:
        _TESTS.release()


def _send_test(service: Service, channel_id: int, by: str) -> Tried:
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        row = channels.get(tx, channel_id)
        person, shop = people.person(tx, row.person_id), shop_events.reading_of(tx)
        name = person.name
        token = test_messages.write_one(tx, channel_id, now_ms)
    title = phrase("Test message: please confirm")
    body = phrase(
        "This is a test: nothing is wrong. {by} set this up for {name}, for alarms of {workshop}.\n"
        "Tap to say that it has arrived (in the workshop's network): {address}",
        by=by,
        name=name,
        workshop=service.settings.workshop,
        address=service.address(f"/a/{token}"),
    )
    problem: str | None
    try:
        target = target_of_row(row)
    except BadInput as error:
        problem, taken = phrase("{problem}.", problem=error.fact), False
    else:
        reader = units_from(person.units or shop.units, person.language or shop.language or "en")
        outcome = service.channel(target.url, say(title, reader), say(body, reader))
        taken = outcome.taken
        problem = None if taken else fault_of(target, outcome, service.settings.messages.timeout_s)
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        channels.note_try(tx, channel_id, problem, now_ms)
        events.add_event(
            tx, None, service.timeline.true_ms(), "test-sent", by, fact("event-test-sent", who=name)
        )
        if taken:
            message = NewMessage(alarm_id=None, why=outbox.TRIAL, to="one phone", title=title, body="")
            message_id = outbox.add_message(tx, message, now_ms=now_ms)
            outbox.mark_taken(tx, message_id, outbox.channel_key(row.url), now_ms)
            outbox.mark_sent(tx, message_id, now_ms)
    service.news.publish("messages")
    return Tried(channel_id, problem, token)


def arrived(service: Service, channel_id: int, by: str) -> str | None:
    """Note that somebody saw a way's test arrive; return the address of what it takes the place of.

    Raises NotAllowed before a test was taken, NotFound.
    """
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        row = channels.get(tx, channel_id)
        if row.tried_ms is None or row.problem is not None:
            raise NotAllowed(phrase("no test message has gone out by it yet: send one first"))
        replaced = channels.confirm(tx, channel_id, now_ms)
        events.add_event(
            tx, None, service.timeline.true_ms(), "test-confirmed", by, fact("event-test-arrived")
        )
    _called_others(service)
    return replaced


def change_turn(service: Service, channel_id: int, turn: str, by: str) -> None:
    """Call it first, or when nobody has answered. Raises BadInput, NotFound."""
    if turn not in TURNS:
        raise BadInput(
            phrase("turn"), phrase("is not one of the turns"), value=turn, remedy=phrase("choose one")
        )
    with service.store.write() as tx:
        row = channels.get(tx, channel_id)
        channels.change_turn(tx, channel_id, turn)
        name = people.person(tx, row.person_id).name
        events.add_event(
            tx, None, service.timeline.true_ms(), "phone-turn", by, fact(f"event-phone-turn-{turn}", who=name)
        )
    _called_others(service)


def remove(service: Service, channel_id: int, by: str) -> str | None:
    """Remove a way to a phone: no alarm goes there any more. Return its address, if one did. Raises NotFound."""
    with service.store.write() as tx:
        row = channels.get(tx, channel_id)
        removed = channels.remove(tx, channel_id, service.timeline.now_ms())
        name = people.person(tx, row.person_id).name
        events.add_event(
            tx,
            None,
            service.timeline.true_ms(),
            "phone-removed",
            by,
            fact("event-phone-removed", who=name, kind=row.kind),
        )
    _called_others(service)
    return removed


def say_goodbye(service: Service, url: str | None) -> None:
    """Tell a phone that no alarm comes there any more, so that nobody takes it off the list unnoticed."""
    if url is None:
        return
    title = phrase("Alarms no longer come here")
    body = phrase(
        "Alarms of {workshop} no longer come here: this was removed or changed on the page “Messages to my phone”. "
        "If that was not you, tell an owner now.",
        workshop=service.settings.workshop,
    )
    reader = service.addresses.reader_of(url)
    outcome = service.channel(url, say(title, reader), say(body, reader))
    if not outcome.taken:
        log.warning("a phone that was removed was not told: %s", outcome.problem)


def _called_others(service: Service) -> None:
    service.addresses.read_from(service.store)
    service.news.publish("messages")


def code_for(service: Service, person_id: int, by: str) -> str:
    """Make a link that sets up the phone that opens it, once and soon; return its token. Raises NotAllowed."""
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        person = people.person(tx, person_id)
        _may_be_called(person.role)
        token = signed_links.new_token(
            tx, Purpose.PHONE, f"person-{person_id}", None, now_ms, life_ms=CODE_MS
        )
        events.add_event(
            tx, None, service.timeline.true_ms(), "phone-code", by, fact("event-phone-code", who=person.name)
        )
    return token


@dataclass(frozen=True, slots=True)
class ForPhone:
    """Whose phone a code sets up."""

    person_id: int
    name: str


def whose_code(service: Service, token: str) -> ForPhone:
    """Return whose phone a code sets up, if it still holds. Changes nothing. Raises LinkRefused."""
    with service.store.read() as connection:
        claim = signed_links.read_token(connection, token, service.timeline.now_ms())
        if claim.purpose is not Purpose.PHONE:
            raise LinkRefused(phrase("this link does something else: open it as it is in the message"))
        person = people.person(connection, int(claim.to.removeprefix("person-")))
    return ForPhone(person.id, person.name)


def use_code(service: Service, token: str) -> None:
    """Use a code up. Raises LinkRefused."""
    with service.store.write() as tx:
        signed_links.use_token(tx, token, service.timeline.now_ms())
