"""Errors of the domain: each carries what went wrong as a fact, and words are made of it at the rim.

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

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from logger.facts import NOTHING, Fact, Quantity, Value, fact, in_a_row

#: Longest value that a message quotes, characters.
LONGEST_VALUE = 200
#: Says a fact in English: set by what makes words (logger/words), of which nothing here knows.
_in_english: Callable[[str], str] = str


def say_errors_with(in_english: Callable[[str], str]) -> None:
    """From now on an error's text, as logs and traces show it, is its fact in these words."""
    global _in_english
    _in_english = in_english


class LoggerError(Exception):
    """Root of every error that this package raises on purpose.

    `fact` is what went wrong, for whoever reads it; `str()` of it is its English, for logs and traces.
    """

    @property
    def fact(self) -> str:
        """What went wrong, as it was given: said at the rim, in the reader's language and units."""
        first = self.args[0] if self.args else NOTHING
        return first if isinstance(first, str) else str(first)

    def __str__(self) -> str:
        """Return what went wrong in English, in SI and °C."""
        return _in_english(self.fact)


class BadInput(LoggerError):
    """Something the user gave cannot be used. It says place, value, range, unit and remedy, each a fact or a name.

    `value`: as it was given: a quantity or a fact is said, anything else is quoted. `of_a_file`: it is about a key of a
    file, which has its unit in its name: its quantities stay in that unit, whoever reads.
    """

    of_a_file = False

    def __init__(
        self,
        where: str,
        problem: str,
        *,
        value: object = None,
        allowed: str = NOTHING,
        remedy: str = NOTHING,
    ) -> None:
        self.where = where
        self.problem = problem
        self.value = value
        self.allowed = allowed
        self.remedy = remedy
        whole = fact(
            "refused",
            where=where,
            problem=problem,
            found=NOTHING if value is None else fact("refused-found", value=_short(value)),
            allowed=fact("refused-allowed", allowed=allowed) if allowed else NOTHING,
            remedy=fact("refused-remedy", remedy=remedy) if remedy else NOTHING,
        )
        super().__init__(in_own_units(whole) if self.of_a_file else whole)

    def __reduce__(self) -> tuple[Any, ...]:
        """On its way from another process it stays what it is: made anew from its parts, not from its message."""
        given: dict[str, Any] = {"value": self.value, "allowed": self.allowed, "remedy": self.remedy}
        return partial(type(self), self.where, self.problem, **given), ()


def _short(value: object) -> str:
    """Return a value as a message shows it: somebody's file may be all of it."""
    if isinstance(value, Fact | Quantity):
        return value
    text = repr(value)
    return text if len(text) <= LONGEST_VALUE else f"{text[:LONGEST_VALUE]}…"


def in_own_units(value: Fact) -> Fact:
    """Return a fact whose quantities are shown in the unit that they have, for every reader."""
    return Fact(value.code, {name: _own(one) for name, one in value.values.items()})


def _own(value: Value) -> Value:
    if isinstance(value, Quantity):
        return f"{value.value:.10g} {value.unit}".rstrip()
    if isinstance(value, Fact):
        return in_own_units(value)
    return tuple(_own(one) for one in value) if isinstance(value, tuple) else value


class BadPlan(BadInput):
    """A plan file that cannot be used. path: the tables, rows and key that it is about, where that is known; `reason`:
    what is wrong with it; more: how many further mistakes are in the file."""

    of_a_file = True

    def __init__(
        self, where: str, problem: str, *, path: tuple[str, ...] = (), more: int = 0, **parts: Any
    ) -> None:
        self.path, self.reason, self.more = path, problem, more
        whole = fact("plan-problem-and-more", problem=problem, n=more) if more else problem
        super().__init__(where, whole, **parts)

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput, with its path."""
        given: dict[str, Any] = {"value": self.value, "allowed": self.allowed, "remedy": self.remedy}
        return partial(type(self), self.where, self.reason, path=self.path, more=self.more, **given), ()


class BadSettings(BadInput):
    """A settings or station file that cannot be used."""

    of_a_file = True


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
        super().__init__(fact("not-finite", where=where, value=str(value)))

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput."""
        return type(self), (self.where, self.value)


class NotFound(LoggerError):
    """No such thing."""


class NotAllowed(LoggerError):
    """The pour's life, or the person's role, does not allow this now."""


class NotReady(NotAllowed):
    """The pour may not start: `obstacles` says what stands in the way, one sentence each."""

    def __init__(self, pour: str, obstacles: Sequence[str]) -> None:
        self.pour, self.obstacles = pour, tuple(obstacles)
        super().__init__(
            fact("not-ready", pour=pour, n=len(self.obstacles), obstacles=in_a_row(self.obstacles))
        )

    @property
    def lead(self) -> Fact:
        """What leads a list of the obstacles."""
        return fact("things-in-the-way", pour=self.pour, n=len(self.obstacles))

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput."""
        return type(self), (self.pour, self.obstacles)


class BeingDone(NotAllowed):
    """The same request is being carried out, or has just been: send it again for its answer."""


class MayNotEnd(NotAllowed):
    """A pour's watch must go on: `obstacles` says why, one sentence each; `signable`: whether a person may end it all
    the same, by name and reason."""

    def __init__(self, pour: str, obstacles: Sequence[str], *, signable: bool) -> None:
        self.pour, self.obstacles, self.signable = pour, tuple(obstacles), signable
        self.remedy = fact("sign-to-end-the-watch" if signable else "cool-before-the-watch-ends")
        super().__init__(
            fact("may-not-end", pour=pour, obstacles=in_a_row(self.obstacles), remedy=self.remedy)
        )

    def __reduce__(self) -> tuple[Any, ...]:
        """As BadInput."""
        return partial(type(self), self.pour, self.obstacles, signable=self.signable), ()


class NotConfirmed(NotAllowed):
    """A step that nothing takes by accident was not confirmed, or what confirms it is from another stage, or old."""


class StoreError(LoggerError):
    """The database refused."""


class UnknownSchema(StoreError):
    """The database is newer than this program: upgrade the program, or restore an older backup."""
