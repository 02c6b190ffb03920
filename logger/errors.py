"""Errors of the domain. A leaf module.

LoggerError
├── BadInput              something the user gave; says where, value, range, unit and remedy
│   ├── BadPlan           a plan file
│   ├── BadSettings       a settings or station file
│   ├── BadReadings       a readings file
│   └── OutOfRange        a number outside the range in which a formula or model holds
├── DidNotConverge        the solver could not reach its accuracy
├── NotFinite             a number that was worked out is NaN or infinite; says which
├── NotFound              no such pour, alarm, station, …
├── NotAllowed            the pour's life, or the person's role, does not allow this now
│   ├── NotReady          something stands in the way of the pour; says what, one sentence each
│   ├── BeingDone         the same request is being carried out, or has just been
│   ├── MayNotEnd         the pour's watch must go on; says why, one sentence each
│   └── NotConfirmed      a step that nothing takes by accident was not confirmed, or at another stage
└── StoreError            the database refused
    └── UnknownSchema     the database is newer than this program
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

#: Longest value that a message quotes, characters.
LONGEST_VALUE = 200


class LoggerError(Exception):
    """Root of every error that this package raises on purpose."""


class BadInput(LoggerError):
    """Something the user gave cannot be used. The message carries place, value, range, unit and remedy."""

    def __init__(
        self,
        where: str,
        problem: str,
        *,
        value: object = None,
        allowed: str = "",
        remedy: str = "",
    ) -> None:
        self.where = where
        self.problem = problem
        self.value = value
        self.allowed = allowed
        self.remedy = remedy
        parts = [f"{where}: {problem}"]
        if value is not None:
            parts.append(f"found {_short(value)}")
        if allowed:
            parts.append(f"allowed: {allowed}")
        if remedy:
            parts.append(remedy)
        super().__init__("; ".join(parts))

    def __reduce__(self) -> tuple[Any, ...]:
        """On its way from another process it stays what it is: made anew from its parts, not from its message."""
        given: dict[str, Any] = {"value": self.value, "allowed": self.allowed, "remedy": self.remedy}
        return partial(type(self), self.where, self.problem, **given), ()


def _short(value: object) -> str:
    """Return a value as a message shows it: somebody's file may be all of it."""
    text = repr(value)
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"


class BadPlan(BadInput):
    """A plan file that cannot be used. path: the tables, rows and key that it is about, where that is known."""

    def __init__(self, where: str, problem: str, *, path: tuple[str, ...] = (), **more: Any) -> None:
        self.path = path
        super().__init__(where, problem, **more)

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput, with its path."""
        remade, arguments = super().__reduce__()
        return partial(remade, path=self.path), arguments


class BadSettings(BadInput):
    """A settings or station file that cannot be used."""


class BadReadings(BadInput):
    """A readings file that cannot be used."""


class OutOfRange(BadInput):
    """A number outside the range in which a formula or model holds."""


class DidNotConverge(LoggerError):
    """The solver could not reach its accuracy."""


class NotFinite(LoggerError):
    """A number that was worked out is NaN or infinite."""

    def __init__(self, where: str, value: float) -> None:
        self.where = where
        self.value = value
        super().__init__(
            f"{where}: was worked out as {value}; allowed: a finite number, or none; "
            "this is a fault of the program: report it with the plan and the readings"
        )


class NotFound(LoggerError):
    """No such thing."""


class NotAllowed(LoggerError):
    """The pour's life, or the person's role, does not allow this now."""


class NotReady(NotAllowed):
    """The pour may not start: `obstacles` says what stands in the way, one sentence each."""

    def __init__(self, pour: str, obstacles: Sequence[str]) -> None:
        self.obstacles = tuple(obstacles)
        count = len(self.obstacles)
        what = "1 thing stands" if count == 1 else f"{count} things stand"
        self._pour = pour
        super().__init__(f"{pour}: {what} in the way. {' '.join(self.obstacles)}")

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput."""
        return type(self), (self._pour, self.obstacles)


class BeingDone(NotAllowed):
    """The same request is being carried out, or has just been: send it again for its answer."""


class MayNotEnd(NotAllowed):
    """A pour's watch must go on: `obstacles` says why, one sentence each; `signable`: whether a person may end it all
    the same, by name and reason."""

    def __init__(self, pour: str, obstacles: Sequence[str], *, signable: bool) -> None:
        self.obstacles, self.signable = tuple(obstacles), signable
        self.remedy = (
            "Find out how hot the core is. If the watch must end all the same, sign an exception with name and reason."
            if signable
            else "Cool it if that is safe, and wait: this can be done once the core is below its limit and falls."
        )
        super().__init__(f"{pour}: the watch goes on. {' '.join(self.obstacles)} {self.remedy}")


class NotConfirmed(NotAllowed):
    """A step that nothing takes by accident was not confirmed, or what confirms it is from another stage, or old."""


class StoreError(LoggerError):
    """The database refused."""


class UnknownSchema(StoreError):
    """The database is newer than this program: upgrade the program, or restore an older backup."""
