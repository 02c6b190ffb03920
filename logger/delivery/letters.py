"""Writes an alarm's message into the outbox, in the transaction of the alarm's change."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row

from logger.alarms.kinds import KINDS
from logger.alarms.state import Change, Why
from logger.store import outbox

#: Changes that a phone hears of.
RAISED = (Why.FIRST_TIME, Why.AGAIN, Why.WORSE, Why.REALARM, Why.SHELF_ENDED)


def messages_for(
    tx: Connection,
    pour: Row[*tuple[Any, ...]],
    change: Change,
    alarm_id: int,
    groups: Sequence[str],
    link_base: str,
    now_ms: int,
) -> None:
    """Puts what a change asks for into the outbox; messages about the same alarm that still wait are outdated."""
    if change.quiet or (change.why not in RAISED and change.why is not Why.RETURNED):
        return
    outbox.outdate(tx, alarm_id, now_ms)
    if not groups:
        return
    title, body = letter(pour.title, change, f"{link_base}/alarms/{alarm_id}")
    outbox.add_message(
        tx, alarm_id=alarm_id, why=str(change.why), to=groups[0], title=title, body=body, now_ms=now_ms
    )


def letter(pour_title: str, change: Change, link: str) -> tuple[str, str]:
    """Title and body: what is wrong, why, what to do first, where to answer."""
    kind = KINDS[change.kind]
    if change.why is Why.RETURNED:
        return f"Over: {kind.title} – {pour_title}", f"{change.text}\n{link}"
    late = "(From readings that came late.) " if change.late else ""
    first_steps = "\n".join(f"- {step}" for step in kind.what_to_do[:3])
    body = f"{late}{change.text}\n{first_steps}\nSay that you have it in hand: {link}"
    return f"{kind.title} – {pour_title}", body
