"""Proves a pour's record: every row is as it was when it arrived and when it was sealed, or the first one that is not.

What this cannot see: somebody who may write the whole database can make a new chain and a new seal. Compare the
seal's hash with the one on paper (`printed`), and that is seen too. Additions after the seal are chained behind it;
cutting the last ones off together with the chain's head shows only against a later copy.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from logger.errors import NotFound
from logger.facts import Fact, fact
from logger.quantities import count
from logger.record import event_views
from logger.record.chain_walk import Break, Wrong, walk
from logger.record.json_values import JsonObject, JsonValue, JsonView
from logger.record.seal import alarm_hashes, forecast_hash, pour_hashes, seal_hash
from logger.store import photos, pours, seals
from logger.store.hash_chain import (
    Linked,
    body_of_reading,
    linked_events,
    linked_readings,
    proven_readings,
    sha256,
)
from logger.store.rows import PourRow


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a record stands; if not, the first thing that is wrong: what, in which table, which row.

    `number` counts the rows of the pour from 1; `row_id` is the database's own number, None where the row is gone.
    """

    pour: int
    ok: bool
    sealed: bool
    readings: int
    events: int
    sentence: str
    wrong: str = ""
    table: str = ""
    number: int | None = None
    row_id: int | None = None
    seal_sha256: str = ""
    notes: tuple[str, ...] = ()

    def to_json(self) -> JsonObject:
        """Return plain values."""
        return asdict(self)


class _Damage(Exception):
    """The first thing that is wrong with a record, on its way up to `verify`; no error of the program."""

    def __init__(
        self, wrong: str, table: str, sentence: str, number: int | None = None, row_id: int | None = None
    ) -> None:
        super().__init__(sentence)
        self.wrong, self.table, self.sentence = wrong, table, sentence
        self.number, self.row_id = number, row_id


def verify(
    connection: Connection,
    pour_id: int,
    *,
    printed: str | None = None,
    pictures: Path | None = None,
    partial: bool = False,
) -> Verdict:
    """Prove one pour.

    `printed`: the seal's hash (or its first characters) from paper; `pictures`: the photos' folder; `partial`: also a
    pour that nobody may see yet. Raises NotFound when there is no such pour.
    """
    counts = {"readings": 0, "events": 0}
    notes: list[str] = []
    seal: JsonView | None = None
    try:
        pour = _row_of_pour(connection, pour_id, partial=partial)
        seal = pour.seal
        if seal is not None and not _is_seal(seal):
            raise _Damage("altered", "pour", fact("verify-seal-damaged"))
        _events(connection, pour, seal, counts, notes)
        _readings(connection, pour, seal, counts)
        if seal is not None:
            _rest(connection, pour, seal, notes)
        if pictures is not None:
            _photos(connection, pour_id, pictures)
        if printed is not None:
            _against_paper(seal, printed)
    except _Damage as damage:
        return Verdict(
            pour_id,
            False,
            seal is not None,
            counts["readings"],
            counts["events"],
            damage.sentence,
            damage.wrong,
            damage.table,
            damage.number,
            damage.row_id,
            "",
            tuple(notes),
        )
    return Verdict(
        pour_id,
        True,
        seal is not None,
        counts["readings"],
        counts["events"],
        fact(
            "verify-intact-open" if seal is None else "verify-intact",
            pour=pour_id,
            **{table: count(n) for table, n in counts.items()},
        ),
        seal_sha256="" if seal is None else seal_hash(seal),
        notes=tuple(notes),
    )


def _row_of_pour(connection: Connection, pour_id: int, *, partial: bool) -> PourRow:
    try:
        return pours.get_pour(connection, pour_id, partial=partial)
    except NotFound:
        raise
    except (SQLAlchemyError, ValueError, TypeError) as error:
        for name in ("seal", "prediction", "watchbook", "plan_toml", "title", "client"):
            try:
                seals.pour_column(connection, pour_id, name)
            except (SQLAlchemyError, ValueError, TypeError):
                raise _Damage(
                    "altered",
                    "pour",
                    fact("verify-column-unreadable", pour=pour_id, column=name),
                    row_id=pour_id,
                ) from error
        raise _Damage(
            "altered", "pour", fact("verify-pour-unreadable", pour=pour_id), row_id=pour_id
        ) from error


def _is_seal(seal: JsonValue) -> bool:
    try:
        return bool(
            isinstance(seal["readings"]["count"], int)
            and isinstance(seal["events"]["count"], int)
            and isinstance(seal["readings"]["head"], str)
            and isinstance(seal["events"]["head"], str)
            and all(isinstance(seal[name], dict) for name in ("boots", "pour"))
            and all(isinstance(seal[name], list) for name in ("alarms", "forecasts"))
            and isinstance(seal["record_sha256"], str)
        )
    except (KeyError, TypeError):
        return False


def _events(
    connection: Connection, pour: PourRow, seal: JsonView | None, counts: dict[str, int], notes: list[str]
) -> None:
    rows = list(linked_events(connection, pour.id))
    if seal is None:
        if _seal_missing(rows):
            raise _Damage("missing", "pour", fact("verify-seal-gone", pour=pour.id), row_id=pour.id)
        walked = walk(rows, pour.event_head)
        if walked.broken is not None:
            raise _of_break("event", walked.broken)
        counts["events"] = walked.count
        return
    sealed, head = seal["events"]["count"], seal["events"]["head"]
    # The event "sealed" ends what was sealed: rows before it that are too few or too many are missing or put in.
    end = next((at for at, row in enumerate(rows) if _says_sealed(row, seal_hash(seal))), None)
    first = walk(rows[: sealed if end is None else end], head, sealed)
    if first.broken is not None:
        whole = walk(rows, pour.event_head, len(rows)).broken
        swapped = whole is not None and whole.wrong is Wrong.SWAPPED
        raise _of_break("event", whole if swapped and whole is not None else first.broken)
    if end is None:
        raise _Damage(
            "altered",
            "pour",
            fact("verify-other-seal", pour=pour.id),
            row_id=pour.id,
        )
    walked = walk(rows, pour.event_head)
    if walked.broken is not None:
        if walked.count == len(rows):
            raise _Damage(
                "missing",
                "event",
                fact("verify-events-end-early", pour=pour.id, event=len(rows)),
                len(rows) + 1,
                pour.id,
            )
        raise _of_break("event", walked.broken)
    counts["events"] = len(rows)
    later = len(rows) - sealed - 1
    if later:
        notes.append(fact("verify-additions", n=later))


def _seal_missing(rows: list[Linked]) -> bool:
    """Whether the events name a seal that nobody lifted: the undo of a seal names it whole, by its hash."""
    named = None
    for row in rows:
        try:
            _at_ms, kind, _by, _text, data = json.loads(row.body or "")
            if kind == "sealed":
                named = data["seal_sha256"]
            elif kind == "undone" and data.get("seal") is not None and seal_hash(data["seal"]) == named:
                named = None
        except (ValueError, TypeError, KeyError, AttributeError):
            continue
    return named is not None


def _says_sealed(row: Linked, expected: str | None) -> bool:
    try:
        _at_ms, kind, _by, _text, data = json.loads(row.body or "")
    except ValueError:
        return False
    return kind == "sealed" and (expected is None or data == {"seal_sha256": expected})


def _readings(connection: Connection, pour: PourRow, seal: JsonView | None, counts: dict[str, int]) -> None:
    count = None if seal is None else seal["readings"]["count"]
    head = pour.reading_head if seal is None else seal["readings"]["head"]
    proven, last = proven_readings(connection, pour.id, pour.station_id)
    whole = proven == seals.counted(connection, pour.id) and count in (None, proven)
    if whole and last == head == pour.reading_head:
        counts["readings"] = proven
        return
    strangers: list[Linked] = []

    def watched() -> Iterator[Linked]:
        for row in linked_readings(connection, pour.id):
            # The station is no part of the link: a pour's readings come from the pour's own station.
            if row.station_id != pour.station_id and not strangers:
                strangers.append(row)
            yield row

    walked = walk(watched(), head, count, lambda row_id: body_of_reading(connection, row_id))
    counts["readings"] = walked.count
    if walked.broken is not None:
        raise _of_break("reading", walked.broken)
    if strangers:
        raise _Damage(
            "altered",
            "reading",
            fact("verify-other-station", reading=strangers[0].id),
            row_id=strangers[0].id,
        )
    if seal is not None and pour.reading_head != head:
        raise _Damage("altered", "pour", fact("verify-last-link-altered", pour=pour.id), row_id=pour.id)


def _rest(connection: Connection, pour: PourRow, seal: JsonView, notes: list[str]) -> None:
    try:
        body = seals.sealed_body(connection, pour.id)
    except SQLAlchemyError:
        body = "unreadable"
    if body is None:
        raise _Damage("missing", "sealed_record", fact("verify-record-gone", pour=pour.id))
    if sha256(body) != seal["record_sha256"]:
        raise _Damage("altered", "sealed_record", fact("verify-record-altered", pour=pour.id), row_id=pour.id)
    try:
        now = seals.boots_of(connection, pour.id)
    except SQLAlchemyError:
        now = {}
    for name, offset in seal["boots"].items():
        if now.get(name) != offset:
            raise _Damage(
                "altered",
                "boot",
                fact("verify-boot-altered", boot=name),
            )
    try:
        hashes = pour_hashes(connection, pour)
    except (SQLAlchemyError, ValueError, TypeError):
        hashes = {}
    for name, sealed in seal["pour"].items():
        if hashes.get(name) != sealed:
            raise _Damage(
                "altered", "pour", fact("verify-column-altered", pour=pour.id, column=name), row_id=pour.id
            )
    _rows_of(
        "alarm",
        seals.ids_of_alarms(connection, pour.id),
        seal["alarms"],
        lambda row: alarm_hashes(seals.alarm_row(connection, row)),
        lambda row: _answered_later(connection, pour.id, row, seal, notes),
    )
    _rows_of(
        "forecast",
        seals.ids_of_forecasts(connection, pour.id),
        seal["forecasts"],
        lambda row: forecast_hash(seals.forecast_row(connection, row)),
    )


def _rows_of(
    table: str,
    ids: list[int],
    sealed: list[JsonValue],
    hash_of: Callable[[int], JsonValue],
    explained: Callable[[int], bool] | None = None,
) -> None:
    """Compare rows that are hashed one by one with their hashes in the seal, in order."""
    now: list[JsonValue] = []
    for row_id in ids:
        try:
            now.append(hash_of(row_id))
        except (SQLAlchemyError, ValueError, TypeError, AttributeError):
            now.append(None)
    for number, (row_id, was, is_now) in enumerate(zip(ids, sealed, now, strict=False), start=1):
        if is_now == was:
            continue
        if explained is not None and is_now is not None and is_now[0] == was[0] and explained(row_id):
            continue
        if len(ids) < len(sealed):
            raise _Damage(
                "missing",
                table,
                fact(
                    "verify-missing-before",
                    rows=_rows(table, len(sealed) - len(ids)),
                    row=_row(table, row_id, number),
                ),
                number,
            )
        wrong = (
            Wrong.INSERTED if len(ids) > len(sealed) else Wrong.SWAPPED if is_now in sealed else Wrong.ALTERED
        )
        raise _Damage(
            str(wrong),
            table,
            fact(_WORDS[str(wrong)], row=_row(table, row_id, number)),
            number,
            row_id,
        )
    if len(ids) < len(sealed):
        raise _Damage(
            "missing",
            table,
            fact("verify-last-missing", rows=_rows(table, len(sealed) - len(ids))),
            len(ids) + 1,
        )
    if len(ids) > len(sealed):
        row_id = ids[len(sealed)]
        raise _Damage(
            "inserted", table, fact("verify-put-in-after", row=_row(table, row_id)), len(sealed) + 1, row_id
        )


_WORDS = {
    str(Wrong.ALTERED): "verify-row-altered",
    str(Wrong.INSERTED): "verify-row-inserted",
    str(Wrong.SWAPPED): "verify-row-moved",
}


def _row(table: str, row_id: int, number: int | None = None) -> Fact:
    """Return a row by its number in the database, and in the pour."""
    row = fact(f"row-{table}", row=row_id)
    return row if number is None else fact("row-of-the-pour", row=row, number=number)


def _rows(table: str, n: int) -> Fact:
    """Return so many rows."""
    return fact(f"rows-{table}", n=count(n))


def _answered_later(
    connection: Connection, pour_id: int, alarm_id: int, seal: JsonView, notes: list[str]
) -> bool:
    """Return whether somebody answered an alarm after sealing: then the chain of events says so, too."""
    row = seals.alarm_row(connection, alarm_id)
    subject = row["subject"].partition("/")[2]
    for event in seals.events_after(connection, pour_id, seal["events"]["count"]):
        data = event.data or {}
        if event.kind == "alarm" and data.get("kind") == row["kind"] and data.get("subject") == subject:
            notes.append(fact("verify-alarm-answered-later", alarm=alarm_id, kind=row["kind"]))
            return True
    return False


def _photos(connection: Connection, pour_id: int, folder: Path) -> None:
    for row in linked_events(connection, pour_id):
        _at_ms, kind, _by, _text, data = json.loads(row.body or "[null,null,null,null,null]")
        if event_views.subject(kind, data) != "photo":
            continue
        name = (data or {}).get("sha256")
        path = photos.path_of(folder, name)
        if path is None:
            raise _Damage(
                "missing",
                "photo",
                fact("verify-photo-gone", photo=str(name)[:12], event=row.id),
                row_id=row.id,
            )
        if not photos.is_whole(path):
            raise _Damage(
                "altered",
                "photo",
                fact("verify-photo-altered", photo=str(name)[:12], event=row.id),
                row_id=row.id,
            )


def _against_paper(seal: JsonView | None, printed: str) -> None:
    digits = printed.strip().lower().replace(" ", "")
    if seal is None:
        raise _Damage("missing", "pour", fact("verify-not-sealed"))
    if len(digits) < 8 or not seal_hash(seal).startswith(digits):
        raise _Damage(
            "altered",
            "pour",
            fact("verify-not-the-printed", seal=seal_hash(seal)[:16], printed=printed),
        )


def _of_break(table: str, broken: Break) -> _Damage:
    row = (
        fact("number-of-the-pour", row=fact(f"number-{table}", number=broken.number))
        if broken.row_id is None
        else _row(table, broken.row_id, broken.number)
    )
    if broken.wrong is Wrong.MISSING:
        rows = _rows(table, broken.rows)
        if broken.other_id is None:
            sentence = fact("verify-missing-from", rows=rows, number=broken.number)
        else:
            other = _row(table, broken.other_id)
            sentence = fact("verify-missing-where", rows=rows, other=other, number=broken.number)
    elif broken.wrong is Wrong.INSERTED:
        code = "verify-rows-inserted" if broken.rows > 1 else "verify-row-inserted"
        sentence = fact(code, row=row, rows=broken.rows)
    elif broken.wrong is Wrong.SWAPPED:
        assert broken.other_id is not None
        sentence = fact("verify-row-elsewhere", row=row, other=_row(table, broken.other_id))
    else:
        code = "verify-link-altered" if broken.wrong is Wrong.LINK_ALTERED else "verify-row-altered"
        sentence = fact(code, row=row)
    return _Damage(str(broken.wrong), table, sentence, broken.number, broken.row_id)
