"""Mutations of a sealed pour in its SQLite file: what rot, a slip or a forger would do. One at a time, and undone."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

#: Columns that the record rests on; ids and working state (watchbook, judged_reading_id) are none of it.
COLUMNS = {
    "reading": (
        "station_id",
        "spool",
        "seq",
        "pour_id",
        "probe",
        "place",
        "boot",
        "boot_ms",
        "wall_ms",
        "clock_set",
        "milli_c",
        "fault",
        "raw",
        "note",
        "milli_rh",
        "late",
        "received_ms",
        "link",
    ),
    "event": ("pour_id", "at_ms", "kind", "by", "text", "data", "link"),
    "alarm": (
        "pour_id",
        "subject",
        "kind",
        "activation",
        "priority",
        "phase",
        "reason",
        "value",
        "limit",
        "late",
        "raised_ms",
        "acknowledged_ms",
        "acknowledged_by",
    ),
    "forecast": ("pour_id", "made_ms", "at_h", "body"),
    "pour": (
        "title",
        "client",
        "stage",
        "plan_toml",
        "prediction",
        "model_version",
        "station_id",
        "created_ms",
        "poured_boot_ms",
        "released_ms",
        "closed_ms",
        "reading_head",
        "event_head",
        "seal",
    ),
    "boot": ("boot_id", "offset_ms"),
    "sealed_record": ("body",),
}
CHAINED = ("reading", "event")


@dataclass(frozen=True)
class Mutation:
    """What was done: kind, table, and the ids of the rows in which it may be found."""

    kind: str
    table: str
    rows: tuple[int, ...]
    words: str
    #: Statements that did it, and that undo it.
    did: tuple[tuple[str, tuple[Any, ...]], ...]
    undo: tuple[tuple[str, tuple[Any, ...]], ...]


class Mutator:
    """Makes random mutations of one pour. `pour_id` must be sealed."""

    def __init__(self, database: sqlite3.Connection, pour_id: int, seed: int) -> None:
        self.database, self.pour_id, self.dice = database, pour_id, random.Random(seed)
        database.execute("PRAGMA foreign_keys=OFF")
        self.ids = {
            name: [
                row[0]
                for row in database.execute(
                    f'SELECT {self._key(name)} FROM "{name}" WHERE {self._mine(name)} ORDER BY 1'
                )
            ]
            for name in COLUMNS
        }

    def many(self, count: int) -> Iterator[Mutation]:
        """Mutations of every kind, each made anew from the sealed state."""
        kinds = [self.bit_flip] * 6 + [self.delete, self.insert, self.swap, self.truncate]
        made = 0
        while made < count:
            mutation = self.dice.choice(kinds)()
            if mutation is not None:
                made += 1
                yield mutation

    def apply(self, mutation: Mutation) -> bool:
        """Does it; False where the database itself refuses (two rows under one number)."""
        try:
            self._run(mutation.did)
        except sqlite3.IntegrityError:
            self.database.rollback()
            return False
        return True

    def undo(self, mutation: Mutation) -> None:
        """Takes it back."""
        self._run(mutation.undo)

    def bit_flip(self) -> Mutation | None:
        """One bit of one value, in any table; most rows are readings."""
        name = self._choose(dict(zip(COLUMNS, (60, 20, 6, 4, 6, 2, 2), strict=True)))
        row_id, column = self.dice.choice(self.ids[name]), self.dice.choice(COLUMNS[name])
        key = self._key(name)
        asked = (
            f'SELECT typeof("{column}"), CAST("{column}" AS BLOB), "{column}" FROM "{name}" WHERE {key} = ?'
        )
        kind, raw, value = self.database.execute(asked, (row_id,)).fetchone()
        if kind == "null":
            flipped: Any = 0 if column in ("milli_c", "milli_rh") else "\x00"
        elif kind == "integer":
            flipped = value ^ (1 << self.dice.randrange(40))
        elif kind == "real":
            flipped = value + 2.0 ** self.dice.randint(-12, 6)
        else:
            at = self.dice.randrange(8 * len(raw)) if raw else None
            if at is None:
                return None
            changed = bytearray(raw)
            changed[at // 8] ^= 1 << at % 8
            flipped = bytes(changed)
        as_text = "CAST(? AS TEXT)" if kind == "text" else "?"
        if kind == "text" and _same_json(column, raw, flipped):
            return None
        return Mutation(
            "bit flip",
            name,
            (row_id,),
            f"{name} {row_id}.{column}: {value!r:.60} -> {flipped!r:.60}",
            ((f'UPDATE "{name}" SET "{column}" = {as_text} WHERE {key} = ?', (flipped, row_id)),),
            ((f'UPDATE "{name}" SET "{column}" = ? WHERE {key} = ?', (value, row_id)),),
        )

    def delete(self) -> Mutation:
        """One row is gone."""
        name = self._choose({"reading": 70, "event": 20, "alarm": 5, "forecast": 5})
        at = self.dice.randrange(len(self.ids[name]))
        row_id = self.ids[name][at]
        following = self.ids[name][at + 1 : at + 2]
        row = self._row(name, row_id)
        return Mutation(
            "delete",
            name,
            tuple(following),
            f"{name} {row_id} deleted",
            ((f'DELETE FROM "{name}" WHERE id = ?', (row_id,)),),
            (self._put(name, row),),
        )

    def insert(self) -> Mutation:
        """A copy of one row, a little changed, put behind the last; readings also between two."""
        name = self._choose({"reading": 70, "event": 20, "alarm": 5, "forecast": 5})
        row = self._row(name, self.dice.choice(self.ids[name]))
        new_id = max(self.ids[name]) + 1_000_000 + self.dice.randrange(10**6)
        row["id"] = new_id
        for column in ("seq", "at_ms", "activation", "made_ms"):
            if column in row:
                row[column] = (row[column] or 0) + 10_000_000
        return Mutation(
            "insert",
            name,
            (new_id,),
            f"{name} {new_id} put in",
            (self._put(name, row),),
            ((f'DELETE FROM "{name}" WHERE id = ?', (new_id,)),),
        )

    def swap(self) -> Mutation | None:
        """Two rows change places."""
        name = self.dice.choice(CHAINED)
        one, other = sorted(self.dice.sample(self.ids[name], 2))
        spare = -1 - self.dice.randrange(10**6)
        moves = tuple(
            (f'UPDATE "{name}" SET id = ? WHERE id = ?', pair)
            for pair in ((spare, one), (one, other), (other, spare))
        )
        return Mutation("swap", name, (one,), f"{name} {one} and {other} swapped", moves, moves)

    def truncate(self) -> Mutation:
        """The last rows are gone."""
        name = self.dice.choice(CHAINED)
        count = self.dice.randint(1, max(1, len(self.ids[name]) // 3))
        gone = self.ids[name][-count:]
        rows = [self._row(name, row_id) for row_id in gone]
        return Mutation(
            "truncate",
            name,
            (),
            f"the last {count} of {name} cut off",
            tuple((f'DELETE FROM "{name}" WHERE id = ?', (row_id,)) for row_id in gone),
            tuple(self._put(name, row) for row in rows),
        )

    def _choose(self, weights: dict[str, int]) -> str:
        there = [name for name in weights if self.ids[name]]
        return self.dice.choices(there, [weights[name] for name in there])[0]

    def _key(self, name: str) -> str:
        return "pour_id" if name == "sealed_record" else "id"

    def _mine(self, name: str) -> str:
        if name == "boot":
            return f"id IN (SELECT boot FROM reading WHERE pour_id = {self.pour_id})"
        return f"{'id' if name == 'pour' else 'pour_id'} = {self.pour_id}"

    def _row(self, name: str, row_id: int) -> dict[str, Any]:
        asked = self.database.execute(f'SELECT * FROM "{name}" WHERE id = ?', (row_id,))
        return dict(zip([column[0] for column in asked.description], asked.fetchone(), strict=True))

    def _put(self, name: str, row: dict[str, Any]) -> tuple[str, tuple[Any, ...]]:
        columns = ", ".join(f'"{column}"' for column in row)
        return f'INSERT INTO "{name}" ({columns}) VALUES ({", ".join("?" * len(row))})', tuple(row.values())

    def _run(self, statements: tuple[tuple[str, tuple[Any, ...]], ...]) -> None:
        for text, values in statements:
            self.database.execute(text, values)
        self.database.commit()


def _same_json(column: str, before: bytes, after: bytes) -> bool:
    """Whether a flipped bit left a JSON value what it was ("1e-05" and "1E-05" are one number)."""
    import json

    if column not in ("data", "body", "prediction", "seal"):
        return False
    try:
        return bool(json.loads(before) == json.loads(after))
    except ValueError:
        return False


def located(mutation: Mutation, verdict: Any) -> bool:
    """Whether the verdict names the row, or the place, that was mutated."""
    if mutation.table in ("pour", "boot", "sealed_record"):
        # A flipped pour, boot or record shows where it is, or in the rows that hang on it.
        return verdict.table in ("pour", "boot", "sealed_record", "reading", "event")
    if verdict.table != mutation.table:
        return verdict.table == "pour" and mutation.table == "event"
    if mutation.kind in ("delete", "truncate"):
        return verdict.wrong == "missing" and verdict.number is not None
    return verdict.row_id in mutation.rows or (
        # A row whose pour_id was flipped is missing from this pour.
        "pour_id" in mutation.words and verdict.wrong == "missing" and verdict.number is not None
    )
