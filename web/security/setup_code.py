"""The one-time code of the first set-up: shown on the console, asked for on the page. Eight digits, one hour."""

from __future__ import annotations

import secrets

from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.people import get_secret, owner_exists, secret_made_ms, set_secret
from web.security import passwords
from web.service.service import Service

#: How long a set-up code holds.
SETUP_CODE_MS = 60 * 60_000


def new_setup_code(service: Service) -> str | None:
    """Make and return a one-time code for the first set-up, to be shown on the console; None once there is an owner."""
    return setup_code(service.store, service.timeline)


def setup_code(store: Store, timeline: Timeline) -> str | None:
    """Do the same for a command beside the service; a code that was shown before no longer holds."""
    with store.write() as tx:
        if owner_exists(tx):
            set_secret(tx, "set-up", None, 0)
            return None
        # Eight digits in two groups: 10^8 codes, ten tries a minute, one hour.
        code = f"{secrets.randbelow(10**4):04d}-{secrets.randbelow(10**4):04d}"
        set_secret(tx, "set-up", passwords.hash_of(_bare(code)).encode(), timeline.now_ms())
        return code


def setup_code_right(service: Service, code: str) -> bool:
    """Whether this is the code that the console showed, within the hour. Slow on purpose."""
    with service.store.read() as connection:
        stored, made_ms = get_secret(connection, "set-up"), secret_made_ms(connection, "set-up")
    if stored is None or made_ms is None or not 0 <= service.timeline.now_ms() - made_ms < SETUP_CODE_MS:
        return False
    return passwords.right(stored.decode(), _bare(code))


def _bare(code: str) -> str:
    return code.replace(" ", "").replace("-", "").strip()
