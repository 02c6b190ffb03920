"""Past logs into the store: from a file's bytes, a mapping and a plan to a pour that can be compared and sealed."""

from __future__ import annotations

import hashlib
import math
from typing import Any

from sqlalchemy import Connection

from logger.cure.prediction import MODEL_VERSION
from logger.errors import BadInput, BadReadings
from logger.plan_file import Plan, plan_to_text
from logger.record.past_log import Log, Mapping, read_log
from logger.store.past import add_past_pour

#: A log that begins more than this before pouring is not this pour's alone, h: is the start right?
LONGEST_BEFORE_H = 24 * 14


def text_of(raw: bytes, where: str) -> str:
    """A log's text: UTF-8, or UTF-16 where the file says so. Raises BadReadings."""
    try:
        return raw.decode("utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadReadings(where, f"is not UTF-8 text ({error})",
                          remedy="save it as CSV with the encoding UTF-8") from error  # fmt: skip


def bring_in_log(
    tx: Connection, raw: bytes, mapping: Mapping, plan: Plan, prediction: dict[str, Any], *, where: str, client: str,
    poured_ms: int | None, leave_out_bad: bool, by: str, now_ms: int,
) -> tuple[int, Log]:  # fmt: skip
    """Reads a log and keeps it as a pour out of its form. Gives (its number, the log with what was left out).

    `poured_ms`: when pouring began. It is needed when the log's times count from its own start (which is then taken
    as the pouring); with times of day it may be left out: then the first row is the pouring.
    Raises BadReadings, BadInput, NotAllowed (the log is here already).
    """
    for column in mapping.columns:
        if column.unit == "number":
            raise BadInput(f"mapping: {column.heading}", "is no temperature", allowed="c, f or k",
                           remedy="a pour keeps temperatures; leave this column out")  # fmt: skip
    log = read_log(text_of(raw, where), mapping, where, leave_out_bad=leave_out_bad)
    if log.absolute:
        start_ms = round(log.seconds[0] * 1000) if poured_ms is None else poured_ms
        shift_ms = 0
    elif poured_ms is None:
        raise BadInput("start", "is missing", allowed="day and time of day at which pouring began",
                       remedy="the log counts from its own start; say when that was")  # fmt: skip
    else:
        start_ms, shift_ms = poured_ms, poured_ms
    first_ms, last_ms = (round(log.seconds[at] * 1000) + shift_ms for at in (0, -1))
    if not first_ms - 1000 <= start_ms <= last_ms:
        before_h = (start_ms - last_ms) / 3.6e6
        raise BadInput("start", "is not within the log", value=f"{before_h:.1f} h after its end" if before_h > 0 else
                       f"{(first_ms - start_ms) / 3.6e6:.1f} h before its first row",
                       remedy="check day, time zone and the order of day and month")  # fmt: skip
    if (start_ms - first_ms) / 3.6e6 > LONGEST_BEFORE_H:
        raise BadInput("start", "is long after the log's first row", value=f"{(start_ms - first_ms) / 3.6e6:.0f} h",
                       allowed=f"up to {LONGEST_BEFORE_H} h", remedy="cut the log before it")  # fmt: skip
    rows = [
        (
            round(float(second) * 1000) + shift_ms,
            name,
            None if math.isnan(values[at]) else round(1000 * values[at]),
        )
        for at, second in enumerate(log.seconds)
        for name, values in log.values.items()
    ]
    digest = hashlib.sha256(raw).hexdigest()
    told: dict[str, Any] = {
        "sentence": f"{where}: {log.told()}", "file": where, "sha256": digest,
        "rows": len(log.seconds), "bad": [[row.line, row.problem] for row in log.bad],
        "no_value": {name: len(lines) for name, lines in log.no_value.items()},
        "zone": mapping.zone, "time_as": mapping.time_as,
        "columns": [[column.heading, column.to, column.unit] for column in mapping.columns],
    }  # fmt: skip
    pour_id = add_past_pour(
        tx, title=plan.title, client=client, plan_toml=plan_to_text(plan), prediction=prediction,
        model_version=MODEL_VERSION, poured_ms=start_ms, rows=rows, sha256=digest, told=told, by=by,
        now_ms=now_ms,
    )  # fmt: skip
    return pour_id, log
