"""Signed links: a message's button. The signature says that we made it; the database says whether it still holds.

The expiry is not in the token: a Pi whose clock is set late would refuse its own fresh links.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from itsdangerous import BadData, URLSafeSerializer
from sqlalchemy import Connection

from logger.errors import NotAllowed
from logger.quantities import minutes
from logger.store import message_links, people
from logger.store.message_links import Purpose
from logger.store.rows import MessageLinkRow
from logger.units import DAY_MS, MINUTE_MS
from logger.words.phrase import phrase

#: How long a link holds; a message is repeated more often than that while its alarm waits, ms.
LIFE_MS = DAY_MS
#: A token longer than this is not one of ours.
LONGEST = 400


class LinkRefused(NotAllowed):
    """A link that does nothing: forged, altered, used, revoked or expired.

    alarm_id: the alarm of a genuine link that was used or revoked, so that its page can say who has acknowledged it.
    """

    alarm_id: int | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """What a genuine token grants. `to`: the group of addresses that it was sent to; `look`: of a look's link, its pour
    and when the look is due (true ms)."""

    link: str
    purpose: Purpose
    to: str
    alarm_id: int | None
    look: tuple[int, int] | None = None


def _signer(secret: bytes) -> URLSafeSerializer:
    # SHA-256: the library's own default, SHA-1, counts as legacy (ASVS 5.0, appendix C).
    return URLSafeSerializer(secret, salt="message-link", signer_kwargs={"digest_method": hashlib.sha256})


def new_token(
    tx: Connection,
    purpose: Purpose,
    to: str,
    alarm_id: int | None,
    now_ms: int,
    look: tuple[int, int] | None = None,
    life_ms: int = LIFE_MS,
) -> str:
    """Return a signed token of a new link, fit for a URL."""
    link = message_links.make_link(tx, purpose, to, alarm_id, now_ms, life_ms)
    grants = [link, str(purpose), to, alarm_id, *(look or ())]
    signed = _signer(people.secret(tx, "links", now_ms)).dumps(grants)
    return str(signed)


def read_token(connection: Connection, token: str, now_ms: int) -> Claim:
    """Return what a token grants, if it still holds; change nothing. Raises LinkRefused."""
    secret = people.get_secret(connection, "links")
    if secret is None or len(token) > LONGEST:
        raise LinkRefused(phrase("this link is not one of this workshop's"))
    try:
        link, purpose, to, alarm_id, *look = _signer(secret).loads(token)
    except (BadData, ValueError, TypeError) as error:
        raise LinkRefused(
            phrase("this link is not one of this workshop's, or a part of it is missing")
        ) from error
    # The library reads spellings of one token that differ in unused bits: only ours, letter for letter, is taken.
    if _signer(secret).dumps([link, purpose, to, alarm_id, *look]) != token:
        raise LinkRefused(phrase("this link was altered"))
    row = message_links.find_link(connection, link)
    if row is None or (row.purpose, row.to, row.alarm_id) != (purpose, to, alarm_id):
        raise LinkRefused(phrase("this link is not known here; the database may have been restored since"))
    try:
        _holds(row, now_ms)
    except LinkRefused as refusal:
        refusal.alarm_id = alarm_id if now_ms < row.expires_ms else None
        raise
    return Claim(link, Purpose(purpose), to, alarm_id, (look[0], look[1]) if look else None)


def use_token(connection: Connection, token: str, now_ms: int) -> Claim:
    """Use a link up, in the transaction of what it does. Raises LinkRefused."""
    claim = read_token(connection, token, now_ms)
    if not message_links.use_link(connection, claim.link, now_ms):
        raise LinkRefused(phrase("this link has been used"))
    return claim


def _holds(row: MessageLinkRow, now_ms: int) -> None:
    if row.used_ms is not None:
        raise LinkRefused(phrase("this link has been used: it works once"))
    if row.revoked_ms is not None:
        raise LinkRefused(phrase("there is a newer message about this alarm: use the link in that one"))
    if now_ms >= row.expires_ms:
        held_ms = row.expires_ms - row.made_ms
        span = minutes(held_ms // MINUTE_MS)
        raise LinkRefused(phrase("this link has expired: it held for {span}", span=span))


Address = Callable[[str], str]
"""A path of this service ("/alarms/7") → the address that phones reach."""
