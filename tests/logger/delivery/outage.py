"""A receiver that is away for a whole simulated day: run by test_outage.py and bench/delivery.py."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import select

from logger.alarms.state import UP
from logger.delivery.channels import MessageChannels
from logger.delivery.sender import Sender
from logger.store import alarms, outbox
from logger.store.outbox import OUTBOX
from logger.words.reader import METRIC
from tests.messages_as_sent import as_sent

#: Three times too hot and cooled again; then the room turns cold and stays so.
HOT_AT_H, COLD_FROM_H = (1.0, 9.0, 17.0), 23.0


@dataclass
class Day:
    """What a day without receivers came to. Titles in the order in which a channel took them after its return."""

    web: list[str]
    mail: list[str]
    written: int  #: messages written while nobody took any
    outdated: int  #: of them, replaced by newer ones
    expected: set[str]  #: titles of what was to be told when they returned
    late_s: float  #: from the receivers' return until everything was through
    tries: int


def a_day_away(shop: Any, received: Any, send_every_s: float, between_s: float = 30.0) -> Day:
    """The shop's sender tries real receivers on loopback every `send_every_s`; they refuse for a day, then take.

    A sweep comes every 30 s, and every `between_s` while nothing happens.
    """
    shop.sender = Sender(
        shop.store, shop.timeline, shop.settings, MessageChannels(2), shop.watch.memory_outbox
    )
    received.down = True
    clock, tries, next_send_ms = shop.clock, 0, 0
    start_ms = clock.boot_ms
    hours = 0.0
    while hours < 24:
        near = min((hours - at for at in HOT_AT_H if hours >= at), default=9.0)
        core_c = 58.0
        if near < 0.6:
            core_c = 58.0 + min(4.0, 15 * near) if near < 0.25 else 55.0
        quick = near < 0.6 or hours >= COLD_FROM_H
        ahead_s = min(
            (3600 * (at - hours) for at in (*HOT_AT_H, COLD_FROM_H, 24.0) if at > hours), default=30.0
        )
        clock.move(30.0 if quick else max(30.0, min(between_s, ahead_s)))
        shop.save(core_c, 15.0 if hours >= COLD_FROM_H else 21.0)
        shop.watch.judge_all()
        if clock.boot_ms >= next_send_ms:
            tries += shop.sender.send_due() == 0
            next_send_ms = clock.boot_ms + round(send_every_s * 1000)
        hours = (clock.boot_ms - start_ms) / 3.6e6
    assert received.web == received.mail == [], "they were away"
    with shop.store.read() as connection:
        rows = list(connection.execute(select(OUTBOX).order_by(OUTBOX.c.id)))
    written, gone = len(rows), sum(row.state == outbox.OUTDATED for row in rows)
    received.down = False
    back_ms = clock.boot_ms
    # A moment is said as whoever reads it then would: its time of day, with its day where that is another.
    reader = replace(METRIC, now_ms=shop.timeline.true_ms())
    expected = {as_sent(row, reader).title for row in rows if row.state == outbox.WAITING}
    while True:
        clock.move(10)
        shop.sender.send_due()
        with shop.store.read() as connection:
            if outbox.oldest_waiting_ms(connection) is None:
                break
        assert clock.boot_ms - back_ms < 600_000, "not through ten minutes after the receivers came back"
    return Day(
        received.web[:], received.mail[:], written, gone, expected, (clock.boot_ms - back_ms) / 1000, tries
    )


def still_true(shop: Any) -> set[str]:
    """Kinds of the alarms that are true now."""
    with shop.store.read() as connection:
        return {row.kind for row in alarms.open_alarms(connection) if row.phase in UP}
