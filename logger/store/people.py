"""People who may sign in, their sign-ins, and the secrets made at first start."""

from __future__ import annotations

import secrets
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from logger.errors import NotAllowed, NotFound
from logger.store.database import table
from logger.store.stations import token_hash
from logger.store.tables import Person, Secret, SignIn

PERSON, SIGN_IN, SECRET = table(Person), table(SignIn), table(Secret)
#: How long a sign-in lasts.
SIGN_IN_MS = 30 * 24 * 3600_000


class Role(StrEnum):
    """What somebody may do: a viewer looks, a maker runs pours, an owner also decides who else may."""

    VIEWER = "viewer"
    MAKER = "maker"
    OWNER = "owner"


def owner_exists(connection: Connection) -> bool:
    """Whether the first set-up has been done."""
    found = connection.execute(
        select(func.count()).where(PERSON.c.role == Role.OWNER, PERSON.c.left_ms.is_(None))
    ).scalar_one()
    return int(found) > 0


def add_person(tx: Connection, name: str, role: Role, password_hash: str, now_ms: int) -> int:
    """A new person's id. Raises NotAllowed when the name is taken."""
    if tx.execute(select(PERSON.c.id).where(PERSON.c.name == name)).first():
        raise NotAllowed(f"there is somebody called {name!r} already; add a surname or initial")
    values = {"name": name, "role": role, "password_hash": password_hash, "created_ms": now_ms}
    return int(tx.execute(insert(PERSON).values(**values).returning(PERSON.c.id)).scalar_one())


def person_by_name(connection: Connection, name: str) -> Row[Any]:
    """Somebody who has not left. Raises NotFound."""
    found = connection.execute(
        select(PERSON).where(PERSON.c.name == name, PERSON.c.left_ms.is_(None))
    ).first()
    if found is None:
        raise NotFound(f"nobody called {name!r} is here")
    return found


def start_sign_in(tx: Connection, person_id: int, now_ms: int, browser: str) -> str:
    """A new sign-in's token: 256 random bits, shown to the browser once, kept as a hash."""
    token = secrets.token_urlsafe(32)
    tx.execute(
        insert(SIGN_IN).values(
            person_id=person_id,
            token_hash=token_hash(token),
            created_ms=now_ms,
            seen_ms=now_ms,
            expires_ms=now_ms + SIGN_IN_MS,
            browser=browser[:200],
        )
    )
    return token


def signed_in(connection: Connection, token: str, now_ms: int) -> Row[*tuple[Any, ...]] | None:
    """The person (id, name, role, sign_in_id) that a token belongs to, or None."""
    return connection.execute(
        select(PERSON.c.id, PERSON.c.name, PERSON.c.role, SIGN_IN.c.id.label("sign_in_id"))
        .join(SIGN_IN, SIGN_IN.c.person_id == PERSON.c.id)
        .where(
            SIGN_IN.c.token_hash == token_hash(token),
            SIGN_IN.c.ended_ms.is_(None),
            SIGN_IN.c.expires_ms > now_ms,
            PERSON.c.left_ms.is_(None),
        )
    ).first()


def end_sign_in(tx: Connection, sign_in_id: int, now_ms: int) -> None:
    """Signs one browser out, for good."""
    tx.execute(update(SIGN_IN).where(SIGN_IN.c.id == sign_in_id).values(ended_ms=now_ms))


def secret(tx: Connection, name: str, now_ms: int) -> bytes:
    """A random 256-bit secret by name, made when first asked for."""
    found = tx.execute(select(SECRET.c.value).where(SECRET.c.name == name)).scalar()
    if found is not None:
        return bytes(found)
    value = secrets.token_bytes(32)
    set_secret(tx, name, value, now_ms)
    return value


def set_secret(tx: Connection, name: str, value: bytes | None, now_ms: int) -> None:
    """Sets a secret, or forgets it (None)."""
    tx.execute(delete(SECRET).where(SECRET.c.name == name))
    if value is not None:
        tx.execute(insert(SECRET).values(name=name, value=value, made_ms=now_ms))


def get_secret(connection: Connection, name: str) -> bytes | None:
    """A secret by name, or None."""
    found = connection.execute(select(SECRET.c.value).where(SECRET.c.name == name)).scalar()
    return None if found is None else bytes(found)
