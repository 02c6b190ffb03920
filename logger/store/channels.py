"""Ways to people's phones that were set up on a page: who is called, whether they confirmed it. Times are steady."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.engine import make_url
from sqlalchemy.exc import SQLAlchemyError

from logger.errors import NotFound
from logger.facts import cut, fact
from logger.store.database import table
from logger.store.dialect import dialect_of
from logger.store.rows import CalledChannel, ChannelRow, all_rows, columns, first_row
from logger.store.tables import Person, PersonChannel

CHANNEL, PERSON = table(PersonChannel), table(Person)
#: Roles whose people may be called: a message's link answers an alarm, which a viewer may not.
MAY_ANSWER = ("maker", "owner")
#: Ways of one person at most.
MOST = 10
_HOLDS = (CHANNEL.c.removed_ms.is_(None), PERSON.c.left_ms.is_(None), PERSON.c.role.in_(MAY_ANSWER))
# With every round of the sender; built once.
_CALLED = (
    select(*columns(PERSON, CalledChannel, CHANNEL.c.id, CHANNEL.c.person_id, CHANNEL.c.turn, CHANNEL.c.url))
    .join(CHANNEL, CHANNEL.c.person_id == PERSON.c.id)
    .where(*_HOLDS, CHANNEL.c.confirmed_ms.is_not(None))
    .order_by(CHANNEL.c.id)
)


def called(connection: Connection) -> list[CalledChannel]:
    """Return every way that alarms go: confirmed, of somebody who is here and may answer."""
    return all_rows(connection, _CALLED, CalledChannel)


def called_of(url: str) -> list[CalledChannel]:
    """Return the same of a database that this program may not have opened; empty where it cannot be read."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite" and not Path(address.database or "").is_file():
        return []
    engine = dialect_of(address).engine(address, read_only=True)
    try:
        with engine.begin() as connection:
            return called(connection)
    except SQLAlchemyError:
        return []
    finally:
        engine.dispose()


def of_person(connection: Connection, person_id: int) -> list[ChannelRow]:
    """Return somebody's ways that were not removed, the oldest first."""
    query = select(*columns(CHANNEL, ChannelRow)).where(
        CHANNEL.c.person_id == person_id, CHANNEL.c.removed_ms.is_(None)
    )
    return all_rows(connection, query.order_by(CHANNEL.c.id), ChannelRow)


def get(connection: Connection, channel_id: int) -> ChannelRow:
    """Return a way that was not removed. Raises NotFound."""
    query = (
        select(*columns(CHANNEL, ChannelRow))
        .join(PERSON, PERSON.c.id == CHANNEL.c.person_id)
        .where(CHANNEL.c.id == channel_id, CHANNEL.c.removed_ms.is_(None))
    )
    row = first_row(connection, query, ChannelRow)
    if row is None:
        raise NotFound(fact("no-channel", channel=channel_id))
    return row


def add(
    tx: Connection,
    person_id: int,
    kind: str,
    entries: Mapping[str, str],
    url: str,
    turn: str,
    now_ms: int,
    replaces_id: int | None = None,
) -> int:
    """Add a way that nobody has confirmed yet, and return its id."""
    values = {
        "person_id": person_id,
        "kind": kind,
        "entries": dict(entries),
        "url": url,
        "turn": turn,
        "made_ms": now_ms,
        "replaces_id": replaces_id,
    }
    return int(tx.execute(insert(CHANNEL).values(**values).returning(CHANNEL.c.id)).scalar_one())


def correct(tx: Connection, channel_id: int, entries: Mapping[str, str], url: str, turn: str) -> None:
    """Change what was typed of a way that nobody has confirmed yet."""
    where = (CHANNEL.c.id == channel_id, CHANNEL.c.confirmed_ms.is_(None))
    tx.execute(update(CHANNEL).where(*where).values(entries=dict(entries), url=url, turn=turn, problem=None))


def note_try(tx: Connection, channel_id: int, problem: str | None, now_ms: int) -> None:
    """Note how a test went. problem: what was wrong, in words; None: the channel has taken it."""
    kept = None if problem is None else cut(problem, 500)
    tx.execute(update(CHANNEL).where(CHANNEL.c.id == channel_id).values(tried_ms=now_ms, problem=kept))


def confirm(tx: Connection, channel_id: int, now_ms: int) -> str | None:
    """Note that a test has arrived; remove what this way takes the place of. Raises NotFound.

    Return the address of that, if alarms went there.
    """
    row = get(tx, channel_id)
    tx.execute(
        update(CHANNEL).where(CHANNEL.c.id == channel_id).values(confirmed_ms=now_ms, replaces_id=None)
    )
    return None if row.replaces_id is None else remove(tx, row.replaces_id, now_ms)


def change_turn(tx: Connection, channel_id: int, turn: str) -> None:
    """Call it first, or when nobody has answered."""
    tx.execute(update(CHANNEL).where(CHANNEL.c.id == channel_id).values(turn=turn))


def remove(tx: Connection, channel_id: int, now_ms: int) -> str | None:
    """Remove a way: its address and secrets are forgotten. Return its address, if alarms went there."""
    holds = (CHANNEL.c.id == channel_id, CHANNEL.c.removed_ms.is_(None))
    called_at = tx.execute(select(CHANNEL.c.url).where(*holds, CHANNEL.c.confirmed_ms.is_not(None))).scalar()
    gone = {"removed_ms": now_ms, "entries": {}, "url": "", "problem": None}
    tx.execute(update(CHANNEL).where(*holds).values(**gone))
    return None if called_at is None else str(called_at)


def remove_all_of(tx: Connection, person_id: int, now_ms: int) -> None:
    """Remove every way of somebody who leaves."""
    for row in of_person(tx, person_id):
        remove(tx, row.id, now_ms)


def last_confirmed_ms(connection: Connection) -> int | None:
    """When a way was last confirmed; None: no way holds that was."""
    value = connection.execute(
        select(func.max(CHANNEL.c.confirmed_ms))
        .join(PERSON, PERSON.c.id == CHANNEL.c.person_id)
        .where(*_HOLDS)
    ).scalar()
    return None if value is None else int(value)
