"""People who may sign in, their sign-ins, who was asked in, and the secrets made at first start."""

from __future__ import annotations

import secrets
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from logger.errors import NotAllowed, NotFound
from logger.facts import fact
from logger.store import channels
from logger.store.database import table
from logger.store.rows import (
    InvitationRow,
    ListedPerson,
    PersonRow,
    SignedIn,
    SignInRow,
    all_rows,
    columns,
    first_row,
)
from logger.store.stations import token_hash
from logger.store.tables import Invitation, Person, Secret, SignIn
from logger.units import DAY_MS

PERSON, SIGN_IN, SECRET, INVITATION = table(Person), table(SignIn), table(Secret), table(Invitation)
#: Who has not left.
_PERSONS = select(*columns(PERSON, PersonRow)).where(PERSON.c.left_ms.is_(None))
#: How long a sign-in lasts at most, and how long one that nobody uses.
SIGN_IN_MS, UNUSED_MS = 30 * DAY_MS, 14 * DAY_MS
#: A sign-in's last use is written this often at most: a page a second must not mean a write a second.
SEEN_EVERY_MS = 10 * 60_000
#: How long somebody who was asked in may take.
INVITATION_MS = DAY_MS
#: Sign-ins listed of one person, newest first; older ones are ended when one more begins.
MOST_SIGN_INS = 20


class Role(StrEnum):
    """What somebody may do: a viewer looks, a maker runs pours, an owner also decides who else may.

    A screen is nobody: a display on the wall that shows the board and its alarms.
    """

    SCREEN = "screen"
    VIEWER = "viewer"
    MAKER = "maker"
    OWNER = "owner"


def owner_exists(connection: Connection) -> bool:
    """Whether the first set-up has been done."""
    value = connection.execute(
        select(func.count()).where(PERSON.c.role == Role.OWNER, PERSON.c.left_ms.is_(None))
    ).scalar_one()
    return int(value) > 0


def add_person(
    tx: Connection, name: str, role: Role, password_hash: str, now_ms: int, shop_id: int | None = None
) -> int:
    """Add a person in the shop that invited them, and return the id. Raises NotAllowed when the name is taken, in any
    shop.
    """
    if tx.execute(select(PERSON.c.id).where(PERSON.c.name == name)).first():
        raise NotAllowed(fact("person-there-already", name=name))
    values: dict[str, Any] = {
        "name": name,
        "role": role,
        "password_hash": password_hash,
        "created_ms": now_ms,
    }
    if shop_id is not None:
        values["shop_id"] = shop_id
    return int(tx.execute(insert(PERSON).values(**values).returning(PERSON.c.id)).scalar_one())


def person_by_name(connection: Connection, name: str) -> PersonRow:
    """Somebody who has not left. Raises NotFound."""
    row = first_row(connection, _PERSONS.where(PERSON.c.name == name), PersonRow)
    if row is None:
        raise NotFound(fact("nobody-called-so", name=name))
    return row


def person(connection: Connection, person_id: int) -> PersonRow:
    """Somebody who has not left, by id. Raises NotFound."""
    row = first_row(connection, _PERSONS.where(PERSON.c.id == person_id), PersonRow)
    if row is None:
        raise NotFound(fact("person-not-here", person=person_id))
    return row


def everybody(connection: Connection) -> list[ListedPerson]:
    """Who is here, by name, without their password's hash."""
    query = select(*columns(PERSON, ListedPerson)).where(PERSON.c.left_ms.is_(None))
    return all_rows(connection, query.order_by(PERSON.c.name), ListedPerson)


def change_role(tx: Connection, person_id: int, role: Role) -> None:
    """Another role. Raises NotAllowed for the last owner, NotFound."""
    _not_the_last_owner(tx, person_id, role)
    tx.execute(update(PERSON).where(PERSON.c.id == person_id).values(role=role))


def change_password(tx: Connection, person_id: int, password_hash: str) -> None:
    """Another password."""
    tx.execute(update(PERSON).where(PERSON.c.id == person_id).values(password_hash=password_hash))


def choose_reading(tx: Connection, person_id: int, units: str | None, language: str | None) -> None:
    """Keep in which units and language somebody reads, on every device and in messages; None: as the workshop."""
    tx.execute(update(PERSON).where(PERSON.c.id == person_id).values(units=units, language=language))


def leave(tx: Connection, person_id: int, now_ms: int) -> None:
    """Somebody goes: no sign-in of theirs holds any longer, the password's hash and the ways to their phone are
    forgotten, the name stays taken.

    Raises NotAllowed for the last owner, NotFound.
    """
    _not_the_last_owner(tx, person_id, None)
    channels.remove_all_of(tx, person_id, now_ms)
    gone = {"left_ms": now_ms, "password_hash": "left"}
    tx.execute(update(PERSON).where(PERSON.c.id == person_id).values(**gone))
    end_sign_ins(tx, person_id, now_ms)


def _not_the_last_owner(tx: Connection, person_id: int, role: Role | None) -> None:
    if person(tx, person_id).role != Role.OWNER or role is Role.OWNER:
        return
    others = select(func.count()).where(
        PERSON.c.role == Role.OWNER, PERSON.c.left_ms.is_(None), PERSON.c.id != person_id
    )
    if not tx.execute(others).scalar_one():
        raise NotAllowed(fact("only-owner"))


def start_sign_in(tx: Connection, person_id: int, now_ms: int, browser: str) -> str:
    """Start a sign-in and return its token: 256 random bits, shown to the browser once, kept as a hash."""
    token = secrets.token_urlsafe(32)
    for row in sign_ins_of(tx, person_id, now_ms)[MOST_SIGN_INS - 1 :]:
        end_sign_in(tx, row.id, now_ms)
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


def _open(now_ms: int) -> tuple[Any, ...]:
    return (
        SIGN_IN.c.ended_ms.is_(None),
        SIGN_IN.c.expires_ms > now_ms,
        SIGN_IN.c.seen_ms > now_ms - UNUSED_MS,
    )


def signed_in(connection: Connection, token: str, now_ms: int) -> SignedIn | None:
    """Return the person that a token belongs to, or None."""
    query = select(*columns(PERSON, SignedIn, SIGN_IN.c.id.label("sign_in_id"), SIGN_IN.c.seen_ms)).join(
        SIGN_IN, SIGN_IN.c.person_id == PERSON.c.id
    )
    mine = (SIGN_IN.c.token_hash == token_hash(token), PERSON.c.left_ms.is_(None))
    return first_row(connection, query.where(*mine, *_open(now_ms)), SignedIn)


def sign_ins_of(connection: Connection, person_id: int, now_ms: int) -> list[SignInRow]:
    """Somebody's sign-ins that hold, the newest first."""
    query = select(*columns(SIGN_IN, SignInRow)).where(SIGN_IN.c.person_id == person_id, *_open(now_ms))
    return all_rows(connection, query.order_by(SIGN_IN.c.id.desc()), SignInRow)


def owner_of_sign_in(connection: Connection, sign_in_id: int) -> Row[int, str]:
    """Whose sign-in this is: id, name. Raises NotFound."""
    query = select(PERSON.c.id, PERSON.c.name).join(SIGN_IN, SIGN_IN.c.person_id == PERSON.c.id)
    row = connection.execute(query.where(SIGN_IN.c.id == sign_in_id)).first()
    if row is None:
        raise NotFound(fact("no-sign-in", number=sign_in_id))
    return row


def note_use(tx: Connection, sign_in_id: int, now_ms: int) -> None:
    """Note that a sign-in was used."""
    tx.execute(update(SIGN_IN).where(SIGN_IN.c.id == sign_in_id).values(seen_ms=now_ms))


def end_sign_in(tx: Connection, sign_in_id: int, now_ms: int) -> None:
    """Sign one browser out, for good."""
    tx.execute(
        update(SIGN_IN)
        .where(SIGN_IN.c.id == sign_in_id, SIGN_IN.c.ended_ms.is_(None))
        .values(ended_ms=now_ms)
    )


def end_sign_ins(tx: Connection, person_id: int, now_ms: int, but: int | None = None) -> None:
    """Sign somebody out everywhere, but for one sign-in."""
    mine = (SIGN_IN.c.person_id == person_id, SIGN_IN.c.ended_ms.is_(None), SIGN_IN.c.id != (but or 0))
    tx.execute(update(SIGN_IN).where(*mine).values(ended_ms=now_ms))


def invite(tx: Connection, name: str, role: Role, code_hash: str, by: str, now_ms: int) -> int:
    """Invite somebody, or give somebody who is here a new password's code; return the invitation's number.

    An earlier code for the same name holds no longer: there is one way in at a time. Raises NotAllowed when the name
    belongs to somebody who has left.
    """
    if tx.execute(select(PERSON.c.id).where(PERSON.c.name == name, PERSON.c.left_ms.is_not(None))).first():
        raise NotAllowed(fact("person-has-left", name=name))
    earlier = (INVITATION.c.name == name, INVITATION.c.ended_ms.is_(None))
    tx.execute(update(INVITATION).where(*earlier).values(ended_ms=now_ms))
    values = {
        "name": name,
        "role": role,
        "code_hash": code_hash,
        "by": by,
        "made_ms": now_ms,
        "expires_ms": now_ms + INVITATION_MS,
    }
    return int(tx.execute(insert(INVITATION).values(**values).returning(INVITATION.c.id)).scalar_one())


def invitations(connection: Connection, now_ms: int) -> list[InvitationRow]:
    """Invitations that hold, oldest first."""
    holds = (INVITATION.c.ended_ms.is_(None), INVITATION.c.expires_ms > now_ms)
    query = select(*columns(INVITATION, InvitationRow)).where(*holds)
    return all_rows(connection, query.order_by(INVITATION.c.id), InvitationRow)


def end_invitation(tx: Connection, invitation_id: int, now_ms: int) -> str:
    """End an invitation that is used up or withdrawn, and return its name. Raises NotFound when it no longer holds."""
    ended = tx.execute(
        update(INVITATION)
        .where(
            INVITATION.c.id == invitation_id,
            INVITATION.c.ended_ms.is_(None),
            INVITATION.c.expires_ms > now_ms,
        )
        .values(ended_ms=now_ms)
        .returning(INVITATION.c.name)
    ).first()
    if ended is None:
        raise NotFound(fact("invitation-over", number=invitation_id))
    return str(ended.name)


def secret(tx: Connection, name: str, now_ms: int) -> bytes:
    """Return a random 256-bit secret by name, made when first asked for."""
    stored = tx.execute(select(SECRET.c.value).where(SECRET.c.name == name)).scalar()
    if stored is not None:
        return bytes(stored)
    value = secrets.token_bytes(32)
    set_secret(tx, name, value, now_ms)
    return value


def set_secret(tx: Connection, name: str, value: bytes | None, now_ms: int) -> None:
    """Set a secret, or forget it (None)."""
    tx.execute(delete(SECRET).where(SECRET.c.name == name))
    if value is not None:
        tx.execute(insert(SECRET).values(name=name, value=value, made_ms=now_ms))


def get_secret(connection: Connection, name: str) -> bytes | None:
    """Return a secret by name, or None."""
    value = connection.execute(select(SECRET.c.value).where(SECRET.c.name == name)).scalar()
    return None if value is None else bytes(value)


def secret_made_ms(connection: Connection, name: str) -> int | None:
    """When a secret was made, or None."""
    value = connection.execute(select(SECRET.c.made_ms).where(SECRET.c.name == name)).scalar()
    return None if value is None else int(value)
