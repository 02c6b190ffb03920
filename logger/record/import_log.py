"""Files from elsewhere into the store: another workshop's record, or the shop's own log of a pour before this program.

The work is in three parts. A process of its own, with limits, reads the file into a parcel and proves it there
(`accept`, `accept_log`): however the file is made, it can take no more than that process may. Then the parcel's rows
come over in short transactions, unseen (store/arriving.py). Then all of it is proven where it lies, and shown.
"""

from __future__ import annotations

import fcntl
import hashlib
import io
import math
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TypeVar

from sqlalchemy.exc import DBAPIError

from logger.errors import BadInput, BadReadings, NotAllowed, StoreError
from logger.facts import fact
from logger.plan.file import plan_from_text, plan_to_text
from logger.quantities import hours, minutes, quantity
from logger.record.bounds import PROCESS, lines_of
from logger.record.bundle import accept
from logger.record.json_values import JsonObject
from logger.record.past_log import Log, Mapping, read_log
from logger.record.verify import verify
from logger.store import arriving, seals
from logger.store.arriving import Rest
from logger.store.backup import give_to_owner
from logger.store.database import Store
from logger.store.parcel import Parcel
from logger.store.past_pours import PastPour, add_past_pour
from logger.store.photos import is_whole, path_of, put
from logger.store.shops import sees
from logger.store.transfer import Begun
from logger.worker import OwnProcess

T = TypeVar("T")

#: A log that begins more than this before pouring is not this pour's alone, h: is the start right?
LONGEST_BEFORE_H = 24 * 14
#: Below the data folder: where parcels lie while they are made. Not /tmp, which may be memory.
SCRATCH = "arriving"
#: A parcel and what comes over from it, beside the file's own size; and what is left for the watch, bytes.
ROOM_TIMES, ROOM_LEFT = 3, 200_000_000
#: In each folder there: whoever works in it holds the lock of this file.
LOCK = "in-use"
#: Rest after each transaction, as part of the time that it took.
REST_PART = 1.0
BOMS = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}


@dataclass(frozen=True)
class LogAsked:
    """How a past log is to be read.

    `poured_ms`: when pouring began. It is needed when the log's times count from its own start (which is then taken
    as the pouring); with times of day it may be left out: then the first row is the pouring.
    """

    mapping: Mapping
    plan_toml: str
    title: str
    client: str
    poured_ms: int | None
    leave_out_bad: bool


@dataclass(frozen=True)
class Arrival:
    """A file that is brought in: its SHA-256 (hex), by whom, and when (true time, ms)."""

    sha256: str
    by: str
    now_ms: int


@dataclass(frozen=True)
class Imported:
    """What has come in: the pour's number, the workshop that it is from (None: the shop's own), a sentence on it."""

    pour_id: int
    workshop: str | None
    summary: str
    left_out: tuple[tuple[int, str, str], ...] = ()


class Imports:
    """Brings files in, one at a time. `close` ends what is under way; it leaves nothing behind."""

    def __init__(self, store: Store, data_dir: Path, now_ms: Callable[[], int]) -> None:
        self._store, self._now_ms = store, now_ms
        self._photos, self._scratch = data_dir / "photos", data_dir / SCRATCH
        self._process: OwnProcess | None = None
        self._one = threading.Lock()
        self._closed = False

    @contextmanager
    def laid_down(self, file: IO[bytes]) -> Iterator[Path]:
        """Yield a file that somebody has sent, on the disk for as long as it is needed. Raises StoreError."""
        with _disk_errors(), _folder(self._scratch, 0) as folder:
            copy = folder / "sent"
            file.seek(0)
            with copy.open("wb") as out:
                shutil.copyfileobj(file, out, 1 << 20)
            yield copy

    def record(self, file: Path, where: str, by: str) -> Imported:
        """Bring in another workshop's record. Raises BadInput, NotAllowed, StoreError."""
        with self._alone(), _disk_errors(), _folder(self._scratch, file.stat().st_size) as folder:
            source = self._away(accept, file, folder, where)
            parcel = Parcel(folder / "parcel.sqlite3")
            try:
                origin = source | {"by": by, "at_ms": self._now_ms()}
                with parcel.open() as there, self._store.write() as tx:
                    body = seals.sealed_body(there, Parcel.POUR) or ""
                    begun = arriving.begin_foreign(tx, there, body, origin, self._now_ms())
                self._over(parcel, begun, folder / "photos", by, origin)
            finally:
                parcel.close()
        return Imported(begun.pour_id, source["workshop"], fact("record-proven", workshop=source["workshop"]))

    def log(self, file: Path, where: str, asked: LogAsked, by: str) -> Imported:
        """Bring in a past log of the shop's own.

        Raises BadReadings, BadInput, NotAllowed (the log is here already), StoreError.
        """
        with file.open("rb") as raw:
            digest = hashlib.file_digest(raw, "sha256").hexdigest()
        with self._store.read() as connection:
            arriving.not_here_yet(connection, digest[:36])
        with self._alone(), _disk_errors(), _folder(self._scratch, file.stat().st_size) as folder:
            summary, left_out = self._away(
                accept_log, file, folder, where, asked, Arrival(digest, by, self._now_ms())
            )
            parcel = Parcel(folder / "parcel.sqlite3")
            try:
                with parcel.open() as there, self._store.write() as tx:
                    begun = arriving.begin_past(tx, there, self._now_ms())
                self._over(parcel, begun, folder / "photos", by, None)
            finally:
                parcel.close()
        return Imported(begun.pour_id, None, summary, left_out)

    def delete(self, pour_id: int, by: str) -> None:
        """Delete a record from elsewhere, with those of its photos that no other pour has.

        Raises NotFound, NotAllowed.
        """
        pictures = arriving.delete_foreign(self._store, pour_id, by, self._now_ms, self._rest())
        self._forget(pictures)

    def tidy(self) -> int:
        """Take out what a process that was killed has left half done. Return how many pours."""
        for left in sorted(self._scratch.iterdir()) if self._scratch.is_dir() else ():
            with suppress(OSError), (left / LOCK).open("rb") as lock:
                # Whoever works in it holds the lock, in whichever process.
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(left, ignore_errors=True)
        return arriving.take_out_left_over(self._store, self._now_ms())

    def close(self) -> None:
        """End what is under way."""
        self._closed = True
        process = self._process
        if process is not None:
            process.close()

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Allow one file at a time: the limits are one process's. Raises NotAllowed."""
        if not self._one.acquire(blocking=False):
            raise NotAllowed(fact("another-file-brought-in"))
        try:
            yield
        finally:
            self._one.release()

    def _over(self, parcel: Parcel, begun: Begun, photos: Path, by: str, origin: JsonObject | None) -> None:
        """Bring over the rest of a pour that has begun: it is seen when it is whole, or gone."""
        new: list[Path] = []
        try:
            arriving.copy(self._store, parcel, begun, self._now_ms, self._rest())
            new = self._keep_photos(photos)
            with self._store.read() as connection:
                verdict = verify(connection, begun.pour_id, pictures=self._photos, partial=True)
            if not verdict.ok:
                raise NotAllowed(fact("record-kept-wrong", verdict=verdict.sentence))
            with self._store.write() as tx:
                arriving.finish(tx, begun, self._now_ms(), by, origin)
        except BaseException:
            # Whatever it was: half a record is none. A store that refuses leaves the rest to `tidy`.
            with suppress(Exception):
                arriving.take_out(self._store, begun.pour_id)
            for path in new:
                path.unlink(missing_ok=True)
            raise

    def _keep_photos(self, folder: Path) -> list[Path]:
        """Put a parcel's photos on the disk; return those that were not there before."""
        new = []
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            path_here = self._photos / path.name
            if not is_whole(path_here):
                put(path.read_bytes(), self._photos, path.name)
                new.append(path_here)
        give_to_owner(self._photos.parent, [self._photos, *new])
        return new

    def _forget(self, pictures: frozenset[str]) -> None:
        # Every shop's pours: all of them share the folder of photos.
        with sees(None), self._store.read() as connection:
            gone = arriving.unused(connection, pictures)
        for sha256 in gone:
            path = path_of(self._photos, sha256)
            if path is not None:
                path.unlink(missing_ok=True)

    def _away(
        self, function: Callable[..., T], file: Path, folder: Path, where: str, *more: LogAsked | Arrival
    ) -> T:
        """Call a function in a process of its own, which ends with it."""
        process = self._process = OwnProcess(PROCESS)
        try:
            if self._closed:
                raise BrokenExecutor("closed")
            answer: T = process(_bounded, function, file, folder, where, *more)
            return answer
        except BrokenExecutor as error:
            if self._closed:
                raise arriving.ArrivalStopped(fact("service-ends-bring-in-again")) from error
            raise BadInput(
                where,
                fact("file-takes-too-much"),
                allowed=fact(
                    "file-takes-at-most",
                    memory=quantity(PROCESS.memory_bytes / 1e6, "MB", 0),
                    time=minutes(PROCESS.cpu_s / 60),
                ),
                remedy=fact("no-file-of-program-or-logger"),
            ) from error
        finally:
            self._process = None
            process.close()

    def _rest(self) -> Rest:
        began_s = time.monotonic()

        def rest() -> bool:
            nonlocal began_s
            time.sleep(min(1.0, REST_PART * (time.monotonic() - began_s)))
            began_s = time.monotonic()
            return not self._closed

        return rest


def _bounded(
    function: Callable[..., T], file: Path, folder: Path, where: str, *more: LogAsked | Arrival
) -> T:
    """Call a function in the other process; refused memory is raised as BadInput."""
    try:
        return function(file, folder, where, *more)
    except MemoryError as error:
        raise BadInput(
            where,
            fact("file-takes-too-much-memory"),
            allowed=quantity(PROCESS.memory_bytes / 1e6, "MB", 0),
            remedy=fact("no-file-of-program-or-logger"),
        ) from error


@contextmanager
def _folder(scratch: Path, size: int) -> Iterator[Path]:
    """Yield a folder for one file and its parcel, once there is room, and remove it afterwards. Raises NotAllowed."""
    scratch.mkdir(parents=True, exist_ok=True)
    free, needed = shutil.disk_usage(scratch).free, ROOM_TIMES * size + ROOM_LEFT
    if free < needed:
        raise NotAllowed(
            fact(
                "too-little-room", needed=quantity(needed / 1e6, "MB", 0), free=quantity(free / 1e6, "MB", 0)
            )
        )
    try:
        with (
            tempfile.TemporaryDirectory(dir=scratch, ignore_cleanup_errors=True) as path,
            (Path(path) / LOCK).open("wb") as lock,
        ):
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield Path(path)
    finally:
        # Made by whoever came first, perhaps by root on the command line: it stays nobody's.
        with suppress(OSError):
            scratch.rmdir()


@contextmanager
def _disk_errors() -> Iterator[None]:
    """Raise StoreError where the disk or the database takes no more."""
    try:
        yield
    except (OSError, DBAPIError) as error:
        why = error.orig if isinstance(error, DBAPIError) else error.strerror or error
        raise StoreError(fact("could-not-be-kept", why=str(why))) from error


def text_of(raw: bytes, where: str) -> str:
    """Return a log's text: UTF-8, or UTF-16 where the file says so. Raises BadReadings."""
    try:
        return raw.decode(BOMS.get(raw[:2], "utf-8-sig"))
    except UnicodeDecodeError as error:
        raise BadReadings(
            where, fact("not-utf8", error=error.reason), remedy=fact("save-as-utf8-csv")
        ) from error


def first_lines(file: IO[bytes], where: str, most: int = 1_000_000) -> str:
    """Return the beginning of a log's text, up to a line's end. Raises BadReadings."""
    raw = file.read(most)
    coded = BOMS.get(raw[:2], "utf-8-sig")
    if len(raw) < most:
        return text_of(raw, where)
    # Whatever is cut in two at the end is not looked at.
    return raw.decode(coded, "ignore").rpartition("\n")[0]


def accept_log(
    path: Path, folder: Path, where: str, asked: LogAsked, arrival: Arrival
) -> tuple[str, tuple[tuple[int, str, str], ...]]:
    """Read a log into a parcel in that folder, with its plan's prediction.

    Return what was read, in a sentence, and what was left out: (line, problem, row). Raises BadReadings, BadInput.
    """
    # here: only the process that works on a log loads the solver
    from logger.cure.solver.prediction import MODEL_VERSION, predict

    for column in asked.mapping.columns:
        if column.unit == "number":
            raise BadInput(
                fact("mapping-column", column=column.heading),
                fact("column-no-temperature"),
                allowed="c, f, k",
                remedy=fact("leave-column-out"),
            )
    with path.open("rb") as raw:
        log = _log_of(raw, asked, where)
    start_ms, shift_ms = _start(log, asked.poured_ms)
    plan = plan_from_text(asked.plan_toml, fact("the-plan"))
    if asked.title:
        plan = plan.model_copy(update={"title": asked.title[:300]})
    about: JsonObject = {
        "sentence": fact("in-file", file=where[:300], what=log.summary()),
        "file": where[:300],
        "sha256": arrival.sha256,
        "rows": len(log.seconds),
        "bad": [[row.line, row.problem] for row in log.bad],
        "no_value": {name: len(lines) for name, lines in log.no_value.items()},
        "zone": asked.mapping.zone,
        "time_as": asked.mapping.time_as,
        "columns": [[column.heading, column.to, column.unit] for column in asked.mapping.columns],
    }
    pour = PastPour(
        title=plan.title,
        client=asked.client,
        plan_toml=plan_to_text(plan),
        prediction=predict(plan).to_json(),
        model_version=MODEL_VERSION,
        poured_ms=start_ms,
        first_ms=round(log.seconds[0] * 1000) + shift_ms,
        last_ms=round(log.seconds[-1] * 1000) + shift_ms,
        sha256=arrival.sha256,
        about=about,
    )
    parcel = Parcel(folder / "parcel.sqlite3", new=True)
    try:
        with parcel.open() as tx:
            add_past_pour(tx, pour, _rows(log, shift_ms), arrival.by, arrival.now_ms)
    finally:
        parcel.close()
    return log.summary(), tuple((row.line, row.problem, row.row) for row in log.bad)


def _log_of(raw: IO[bytes], asked: LogAsked, where: str) -> Log:
    coded = BOMS.get(raw.read(2), "utf-8-sig")
    raw.seek(0)
    try:
        with io.TextIOWrapper(raw, encoding=coded, newline="") as text:
            return read_log(lines_of(text, where), asked.mapping, where, leave_out_bad=asked.leave_out_bad)
    except UnicodeDecodeError as error:
        raise BadReadings(
            where, fact("not-utf8", error=error.reason), remedy=fact("save-as-utf8-csv")
        ) from error


def _start(log: Log, poured_ms: int | None) -> tuple[int, int]:
    """Return when pouring began and what to add to the log's own times, ms. Raises BadInput."""
    if log.absolute:
        start_ms = round(log.seconds[0] * 1000) if poured_ms is None else poured_ms
        shift_ms = 0
    elif poured_ms is None:
        raise BadInput(
            "start",
            fact("start-missing"),
            allowed=fact("day-and-time-of-pouring"),
            remedy=fact("log-counts-from-its-start"),
        )
    else:
        start_ms, shift_ms = poured_ms, poured_ms
    first_ms, last_ms = (round(log.seconds[at] * 1000) + shift_ms for at in (0, -1))
    if first_ms < 0:
        raise BadInput("start", fact("before-1970"), remedy=fact("check-day-and-year"))
    if not first_ms - 1000 <= start_ms <= last_ms:
        before_h = (start_ms - last_ms) / 3.6e6
        raise BadInput(
            "start",
            fact("start-not-in-log"),
            value=fact("after-log-ends", span=hours(before_h))
            if before_h > 0
            else fact("before-log-begins", span=hours((first_ms - start_ms) / 3.6e6)),
            remedy=fact("check-day-zone-order"),
        )
    if (start_ms - first_ms) / 3.6e6 > LONGEST_BEFORE_H:
        raise BadInput(
            "start",
            fact("start-long-after-log-begins"),
            value=hours((start_ms - first_ms) / 3.6e6),
            allowed=fact("up-to", span=hours(LONGEST_BEFORE_H)),
            remedy=fact("cut-log-before-it"),
        )
    return start_ms, shift_ms


def _rows(log: Log, shift_ms: int) -> Iterator[tuple[int, str, int | None]]:
    for at, second in enumerate(log.seconds):
        at_ms = round(float(second) * 1000) + shift_ms
        for name, values in log.values.items():
            yield at_ms, name, None if math.isnan(values[at]) else round(1000 * float(values[at]))
