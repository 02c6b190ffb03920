"""The way from a reading to a phone: what each part last did well, and what is wrong with it.

Board, `/api/ready`, heartbeat and the machine's watchdog all hang on it: that nothing is wrong is said only where
every part has lately done its work.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Any

from sqlalchemy.exc import SQLAlchemyError

from logger.alarms.plain_limit import Watched
from logger.facts import parsed
from logger.live.leader import Alone
from logger.quantities import seconds, temperature
from logger.store import lease, operating, outbox
from logger.words.phrase import phrase

if TYPE_CHECKING:
    from web.service.service import Service

#: A part that has done nothing well for so long does not work, ms of real time (schedule.py); a round over a thousand
#: pours takes some seconds.
FRESH_MS = 60_000
#: Readings of a live pour that have not come for so long hold the heartbeat back, as do messages that wait, ms.
QUIET_MS = 300_000
#: The threads whose failure is told, in words.
THREADS = {
    "watch": phrase("judging pours"),
    "sender": phrase("sending messages"),
    "plain-limit": phrase("the plain limit check"),
    "memory": phrase("reading limits into memory"),
    "upkeep": phrase("the heartbeat and test messages"),
    "lease": phrase("choosing which process decides"),
    "forecaster": phrase("making forecasts"),
    "learner": phrase("learning from finished pours"),
    "tidier": phrase("taking out what a broken-off import has left"),
    "watchdog": phrase("feeding the machine's watchdog"),
    "news-in": phrase("hearing of other processes"),
    "news-out": phrase("telling other processes"),
    "warm": phrase("loading the pages"),
}


class Part(StrEnum):
    """A part of the way, in its order."""

    ARRIVED = "arrived"  #: a batch was stored
    JUDGED = "judged"  #: every live pour was judged
    DECIDED = "decided"  #: the alarms and messages that follow were written down
    SENT = "sent"  #: every message that was due was tried


def decides_here(service: Service) -> bool:
    """Whether this process judges and sends, or is the only one."""
    return service.decides.mine or isinstance(service.decides, Alone)


def last_done(service: Service) -> dict[Part, int | None]:
    """When each part last did its work in this process, steady ms; None: not since it started, or elsewhere."""
    watch, sender = service.watch, service.sender
    return {
        Part.ARRIVED: service.intake.stored_ms,
        Part.JUDGED: watch.judged_ms,
        Part.DECIDED: watch.decided_ms,
        Part.SENT: None if sender is None else sender.sent_ms,
    }


def failing(service: Service) -> list[str]:
    """Return what keeps a part of the way from working, a sentence each; whichever process decides."""
    reasons = [service.intake.trouble]
    if decides_here(service):
        reasons.append(service.watch.trouble)
    else:
        try:
            with service.store.read() as connection:
                reasons.append(lease.trouble_of(connection))
        except SQLAlchemyError:
            reasons.append(phrase("the database does not answer"))
    if service.sender is not None:
        reasons.append(service.sender.trouble)
    if service.workers is not None:
        reasons += [
            phrase(
                "{part} failed and is started again ({why})", part=THREADS.get(name, name), why=parsed(why)
            )
            for name, why in service.workers.failed().items()
        ]
        reasons += [
            phrase("{part} has hung for {span}", part=THREADS.get(name, name), span=seconds(hung_s))
            for name, hung_s in service.workers.hung().items()
        ]
    return [text for text in reasons if text]


def troubles(service: Service) -> list[str]:
    """All that is wrong on the way, for whoever is signed in: also what one part has to do without."""
    reasons: list[str | None] = [*failing(service), *service.watch.damaged.values()]
    if service.sender is not None:
        reasons += [
            phrase("messages do not reach {problem}", problem=parsed(problem))
            for problem in service.sender.broken()
        ]
    if service.upkeep is not None:
        reasons += service.upkeep.troubles.values()
    if service.heartbeat is not None:
        reasons.append(service.heartbeat.problem)
    return [text for text in reasons if text]


def missing(service: Service) -> list[str]:
    """Return what keeps this process from its work, a sentence each, for anybody: nothing of pours, people or
    addresses.
    """
    reasons: list[str] = []
    now_ms = service.timeline.now_ms()
    held: Any = None
    try:
        with service.store.read() as connection:
            held = lease.holding(connection)
    except SQLAlchemyError:
        reasons.append(phrase("the database does not answer"))
    if failing(service):
        reasons.append(phrase("the watch is in trouble; its pages and its log say which"))
    if service.store.refused:
        reasons.append(phrase("the database refuses to be written"))
    if service.intake.trouble is not None:
        reasons.append(phrase("readings that arrive cannot be stored"))
    if decides_here(service) or held is None:
        last = last_done(service)
        judged_ms, decided_ms = last[Part.JUDGED], last[Part.DECIDED]
    else:
        last, judged_ms, decided_ms = {}, held.judged_ms, now_ms
    if _old(service, judged_ms):
        reasons.append(phrase("no live pour was judged for a minute"))
    elif _old(service, decided_ms):
        reasons.append(phrase("what was judged has not been written down for a minute"))
    if (
        Part.SENT in last
        and service.sender is not None
        and _old(service, last[Part.SENT], service.sender.round_s)
    ):
        reasons.append(phrase("no message could have been sent for a minute"))
    return reasons


def unjudged(service: Service, pour: Any) -> str | None:
    """Why no alarm of a live pour can be relied on now, in words with marked quantities.

    None while its readings are stored and judged.
    """
    hot = None if service.plain_watch is None else service.plain_watch.reported(pour.id)
    if hot is not None:
        core, limit = temperature(hot.celsius), temperature(hot.pour.limit_c, 0)
        return phrase("its core reads {core}, and its limit is {limit}: go there now", core=core, limit=limit)
    if pour.station_id is not None and service.intake.failing(pour.station_id) is not None:
        return phrase("its readings cannot be stored: go there and look")
    span_s = _unjudged_s(service, pour.id, pour.poured_ms or 0)
    if span_s is None:
        return None
    return phrase("its readings have not been judged for {span}: go there and look", span=seconds(span_s))


def _unjudged_s(service: Service, pour_id: int, poured_ms: int) -> float | None:
    """For how long a live pour has not been judged, s; None while it was lately. From memory alone."""
    now_ms = service.timeline.now_ms()
    if decides_here(service):
        judged_ms = service.watch.judged.get(pour_id)
    else:
        judged_ms = service.memory.judged_ms
    if judged_ms is None:  # not yet: it, or the service, has just begun
        judged_ms = max(service.began_ms, poured_ms - service.timeline.shift_ms)
    return (now_ms - judged_ms) / 1000 if _old(service, judged_ms) else None


def _unsent(service: Service) -> str | None:
    """Why no message goes out in the usual way; None while it does, or another process sends."""
    sender = service.sender
    if sender is None or not decides_here(service):
        return None
    sent_ms = service.began_ms if sender.sent_ms is None else sender.sent_ms
    if not _old(service, sent_ms, sender.round_s):
        return None
    if sender.trouble is None:
        return phrase("messages are not sent in the usual way: their part of the service fails or hangs")
    return phrase("messages are not sent in the usual way ({trouble})", trouble=parsed(sender.trouble))


def not_as_usual(service: Service, pour: Watched) -> str | None:
    """Why a live pour is not watched as usual; None while it is. From memory alone: it is asked when nothing else may
    work.
    """
    if pour.ended:
        return None
    refused = service.intake.failing(pour.station_id)
    if refused is not None:
        return phrase("its readings cannot be stored ({refused})", refused=parsed(refused))
    span_s = _unjudged_s(service, pour.pour_id, pour.poured_ms)
    if span_s is not None:
        trouble, for_ = service.watch.trouble, seconds(span_s)
        if trouble is None:
            return phrase("its readings have not been judged for {span}", span=for_)
        return phrase(
            "its readings have not been judged for {span} ({trouble})", span=for_, trouble=parsed(trouble)
        )
    read_ms = service.memory.read_ms
    if read_ms is not None and _old(service, read_ms):
        return phrase("the database cannot be read")
    return _unsent(service)


def handled(service: Service, pour: Watched) -> bool:
    """Whether it is known in the usual way that a pour's core is too hot, and told."""
    hot = service.watch.hot if decides_here(service) else service.memory.hot
    if pour.pour_id not in hot or _unsent(service) is not None:
        return False
    return _unjudged_s(service, pour.pour_id, pour.poured_ms) is None


def held_back(service: Service) -> str | None:
    """Why the heartbeat must not go out: the outside watch then calls. None: readings arrive, are judged, and whoever
    is to be told can be.
    """
    reasons = missing(service)
    if reasons:
        return reasons[0]
    timeline = service.timeline
    with service.store.read() as connection:
        waiting_ms = outbox.oldest_waiting_ms(connection)
        unheard = operating.unheard_pours(
            connection, timeline.true_ms() - round(QUIET_MS * service.pace.speed)
        )
    if waiting_ms is not None and timeline.now_ms() - waiting_ms > QUIET_MS * service.pace.speed:
        return phrase("a message has waited for five minutes, and no channel takes it")
    if unheard:
        return phrase(
            "no reading has come from pour {pour} for five minutes, and nobody has said that they know",
            pour=unheard[0],
        )
    return None


def _old(service: Service, at_ms: int | None, more_s: float = 0.0) -> bool:
    now_ms = service.timeline.now_ms()
    return at_ms is None or now_ms - at_ms > max(FRESH_MS, 1000 * more_s) * service.pace.speed
