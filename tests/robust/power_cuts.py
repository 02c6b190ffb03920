"""What a disk may hold after the power failed: rebuilt from everything that a process wrote and synced.

`record` runs recorded_pour.py under the recorder (recorder.c). `Disk` then gives the folder as it may be found after a
cut at any event. What was synced is there. Each write since is there, torn at sectors of 512 bytes, or missing, in
any mixture, since a disk reorders what nobody told it to finish; names (made, renamed, removed) since their folder's
last sync are there up to a moment of the disk's choice. A drive that lies about syncs is not modelled: nothing helps
there.
"""

from __future__ import annotations

import json
import os
import random
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
_HEAD = struct.Struct("<cQqI")
SECTOR = 512


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that the process did. `op`: Write, Truncate, Sync, Dir sync, Create, Rename, Unlink, Mark."""

    op: str
    inode: int
    offset: int
    data: bytes


class Luck(Enum):
    """What becomes of writes that were not synced."""

    NONE = "none of them arrived"
    ALL = "all of them arrived"
    SOME = "some arrived, some are torn, some did not"


def build_recorder(folder: Path) -> Path:
    """Compiles the recorder. Raises CalledProcessError when there is no working gcc."""
    made = folder / "recorder.so"
    command = ["gcc", "-O1", "-shared", "-fPIC", "-o", str(made), str(HERE / "recorder.c"), "-ldl"]
    subprocess.run(command, check=True, capture_output=True)
    return made


def record(
    folder: Path, *, sweeps: int, synchronous: str = "FULL", checkpoint_pages: int = 100
) -> list[Event]:
    """Runs the recorded pour and gives what it did. `synchronous` other than FULL is for the test of the test."""
    (folder / "disk").mkdir(parents=True)
    what = [str(HERE / "recorded_pour.py"), str(folder / "disk"), str(sweeps), synchronous]
    return record_process(folder, [*what, str(checkpoint_pages)])


def record_process(folder: Path, arguments: list[str]) -> list[Event]:
    """Runs Python with these arguments and gives what it did to the files in the folder's own folder `disk`."""
    root, log = folder / "disk", folder / "events"
    environ = {
        **os.environ,
        "LD_PRELOAD": str(build_recorder(folder)),
        "RECORD_ROOT": str(root),
        "RECORD_LOG": str(log),
        "PYTHONPATH": str(HERE.parents[1]),
        "OPENBLAS_NUM_THREADS": "1",
    }
    subprocess.run([sys.executable, *arguments], check=True, env=environ, timeout=300)
    return list(_events(log.read_bytes(), root))


def _events(log: bytes, root: Path) -> Iterator[Event]:
    at, marks = 0, 0
    while at < len(log):
        op, inode, offset, length = _HEAD.unpack_from(log, at)
        at += _HEAD.size
        data = log[at : at + length]
        at += length
        name = op.decode()
        if name in "CUR":
            data = data.replace(f"{root}/".encode(), b"")
            if name == "C" and data == b"marks":
                marks = inode
        if data.endswith(b"-shm") and name in "CU":
            continue  # shared memory, made anew by whoever opens the database
        yield Event("M" if inode == marks and name == "W" else name, inode, offset, data)


@dataclass(slots=True)
class _File:
    synced: bytearray = field(default_factory=bytearray)
    since: list[Event] = field(default_factory=list)


class Disk:
    """Goes through the events; `cut` writes the folder as it may be after the ones so far."""

    def __init__(self, events: list[Event], before: dict[str, tuple[int, bytes]] | None = None) -> None:
        """`before`: what was on the disk already, by name: inode and contents."""
        self._events = events
        self._files = {inode: _File(bytearray(content)) for inode, content in (before or {}).values()}
        self._names = {name: inode for name, (inode, _content) in (before or {}).items()}
        self._names_since: list[Event] = []
        self.at = 0
        #: Everything that the process had been promised, in its own words: key → latest value.
        self.promised: dict[str, Any] = {}

    def go_to(self, at: int) -> None:
        """Lets everything before event number `at` happen. Only forwards."""
        while self.at < at:
            self._happen(self._events[self.at])
            self.at += 1

    def _happen(self, event: Event) -> None:
        match event.op:
            case "M":
                self.promised.update(json.loads(event.data))
            case "W" | "T":
                self._files.setdefault(event.inode, _File()).since.append(event)
            case "S":
                file = self._files.setdefault(event.inode, _File())
                for earlier in file.since:
                    _apply(file.synced, earlier)
                file.since.clear()
            case "D":
                for earlier in self._names_since:
                    _rename(self._names, earlier)
                self._names_since.clear()
            case _:
                self._names_since.append(event)

    def cut(self, folder: Path, luck: Luck, chance: random.Random) -> None:
        """Writes the files below `folder`, which must be empty."""
        names = dict(self._names)
        kept = {Luck.NONE: 0, Luck.ALL: len(self._names_since)}.get(
            luck, chance.randint(0, len(self._names_since))
        )
        for event in self._names_since[:kept]:
            _rename(names, event)
        for name, inode in names.items():
            file = self._files.get(inode, _File())
            image = file.synced
            if file.since and luck is not Luck.NONE:
                image = bytearray(image)
                for event in file.since:
                    _maybe(image, event, luck, chance)
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(image)


def _apply(image: bytearray, event: Event) -> None:
    if event.op == "T":
        if event.offset < len(image):
            del image[event.offset :]
        else:
            image.extend(bytes(event.offset - len(image)))
        return
    if event.offset > len(image):
        image.extend(bytes(event.offset - len(image)))
    image[event.offset : event.offset + len(event.data)] = event.data


def _maybe(image: bytearray, event: Event, luck: Luck, chance: random.Random) -> None:
    fate = 0.0 if luck is Luck.ALL else chance.random()
    if fate < 0.4 or (event.op == "T" and fate < 0.6):
        _apply(image, event)
    elif fate < 0.6:
        for at in range(0, len(event.data), SECTOR):
            if chance.random() < 0.5:
                part = event.data[at : at + SECTOR]
                _apply(image, Event("W", event.inode, event.offset + at, part))


def _rename(names: dict[str, int], event: Event) -> None:
    name = event.data.decode()
    if event.op == "C":
        names[name] = event.inode
    elif event.op == "U":
        names.pop(name, None)
    else:
        old, new = name.split("\n")
        if old in names:
            names[new] = names.pop(old)
