"""The one-time code of the first set-up: shown on the console, asked for on the page. Eight digits, one hour."""

from __future__ import annotations

import secrets

from sqlalchemy import Connection

from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.people import get_secret, owner_exists, secret_made_ms, set_secret
from web.security import passwords
from web.service.service import Service

#: How long a set-up code holds.
SETUP_CODE_MS = 60 * 60_000


#: Codes by who shows them: each start of the service its own, and the command beside it another, which a restart leaves
#: alone. The installation ends with one, and its reader restarts the Pi before anybody opens the page.
BY_START, BY_COMMAND = "set-up", "set-up-asked"


def new_setup_code(service: Service) -> str | None:
    """Make and return a one-time code for the first set-up, to be shown on the console; None once there is an owner."""
    return setup_code(service.store, service.timeline, BY_START)


def setup_code(store: Store, timeline: Timeline, shown_by: str) -> str | None:
    """Do the same for `shown_by`, whose code before it no longer holds."""
    with store.write() as tx:
        if owner_exists(tx):
            forget_codes(tx)
            return None
        # Eight digits in two groups: 10^8 codes, ten tries a minute, one hour.
        code = f"{secrets.randbelow(10**4):04d}-{secrets.randbelow(10**4):04d}"
        set_secret(tx, shown_by, passwords.hash_of(_bare(code)).encode(), timeline.now_ms())
        return code


def forget_codes(tx: Connection) -> None:
    """Let no code open any more: there is an owner."""
    for name in (BY_START, BY_COMMAND):
        set_secret(tx, name, None, 0)


def setup_code_right(service: Service, code: str) -> bool:
    """Whether this is a code that is shown, within its hour. Slow on purpose."""
    now_ms = service.timeline.now_ms()
    with service.store.read() as connection:
        rest = [
            (get_secret(connection, name), secret_made_ms(connection, name))
            for name in (BY_START, BY_COMMAND)
        ]
    return any(
        passwords.right(stored.decode(), _bare(code))
        for stored, made_ms in rest
        if stored is not None and made_ms is not None and 0 <= now_ms - made_ms < SETUP_CODE_MS
    )


def _bare(code: str) -> str:
    return code.replace(" ", "").replace("-", "").strip()
