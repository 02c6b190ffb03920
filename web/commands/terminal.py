"""What commands say on the terminal: sentences, tables, and that something is being worked at.

The library that draws is loaded with the first thing that is drawn: the service and the station hardly need it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import replace
from enum import StrEnum
from functools import cache
from typing import TYPE_CHECKING, Any

from logger.facts import Fact
from logger.words import render
from logger.words.numbers import LANGUAGES
from logger.words.reader import METRIC, US, Reader, current, reading

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from logger.store.database import Store


class Units(StrEnum):
    """What `--units` takes."""

    METRIC = "metric"
    US = "us"


class Language(StrEnum):
    """What `--language` takes."""

    EN = "en"
    DE = "de"
    ES = "es"
    FR = "fr"


#: What was asked for with the command, whatever a workshop reads: units, language.
_ASKED: ContextVar[tuple[Units | None, str | None]] = ContextVar("asked", default=(None, None))


def of_the_whole_program(words: Sequence[str]) -> list[str]:
    """Return a command's words with `--units` and `--language` in front, wherever they stand: they go for all of it."""
    front: list[str] = []
    rest: list[str] = []
    left = list(words)
    while left:
        word = left.pop(0)
        if word == "--":
            rest += [word, *left]
            break
        if word in ("--units", "--language") and left:
            front += [word, left.pop(0)]
        elif word.startswith(("--units=", "--language=")):
            front.append(word)
        else:
            rest.append(word)
    return front + rest


def who_reads(units: Units | None, language: str | None, environment: Mapping[str, str]) -> Reader:
    """Return who reads this terminal: as asked, else as the environment says; English for C and what we do not have.

    LC_ALL goes before LC_MESSAGES and LC_MEASUREMENT, and they before LANG (POSIX.1-2017, XBD 8.2). LANG alone says
    nothing of units: too many machines are set up in American English.
    """
    every = environment.get("LC_ALL")
    messages = every or environment.get("LC_MESSAGES") or environment.get("LANG") or "C"
    measures = every or environment.get("LC_MEASUREMENT") or "C"
    spoken = messages.partition("_")[0].partition(".")[0].lower()
    us = units is Units.US or (units is None and measures.partition(".")[0].endswith("_US"))
    return replace(US if us else METRIC, language=language or (spoken if spoken in LANGUAGES else "en"))


@contextmanager
def read_by(units: Units | None, language: str | None, environment: Mapping[str, str]) -> Iterator[None]:
    """Within this, what a command prints is for whoever reads this terminal."""
    token = _ASKED.set((units, language))
    try:
        with reading(who_reads(units, language, environment)):
            yield
    finally:
        _ASKED.reset(token)


def asked_units() -> Units | None:
    """Return the units that were asked for with the command; None where none were."""
    return _ASKED.get()[0]


def reader_of_workshop(store: Store) -> Reader:
    """Return who reads this terminal: what was not asked for is as the workshop of a database reads it."""
    from sqlalchemy.exc import SQLAlchemyError

    from logger.store.shop_events import Reading, reading_of
    from logger.words.reader import units_from

    chosen = Reading()
    with suppress(SQLAlchemyError), store.read() as connection:
        chosen = reading_of(connection)
    (units, language), reader = _ASKED.get(), current()
    if units is None and chosen.units is not None:
        reader = units_from(chosen.units, reader.language)
    if language is None and chosen.language is not None:
        reader = replace(reader, language=chosen.language)
    return reader


@cache
def _console() -> Console:
    from rich.console import Console

    return Console()


def say(what: Any, *, wrap: bool = True) -> None:
    """Print a fact, a sentence with markup, or a table on standard output; without `wrap` on one line, however long."""
    if isinstance(what, str):
        said = render.say(what)
        what = plain(said) if isinstance(what, Fact) else said
    _console().print(what, soft_wrap=not wrap)


def line(text: str) -> None:
    """Print a fact or a plain text at once, on a line that is never wrapped: a command comes out as it is typed."""
    print(render.say(text), flush=True)


def asked(question: str) -> str:
    """Return what is answered to a question."""
    return input(render.say(question))


def json_line(value: Any) -> None:
    """Print a value as one JSON object on one line; its facts are said in English, SI and °C."""
    print(json.dumps(render.said(value, METRIC), ensure_ascii=False))


def table_of(*headings: str, **options: Any) -> Table:
    """Return an empty table; its headings are said."""
    from rich.table import Table

    if isinstance(title := options.get("title"), str):
        options["title"] = plain(render.say(title))
    return Table(*(render.say(heading) for heading in headings), **options)


def add_row(table: Table, *cells: str) -> None:
    """Add a row of facts and plain texts to a table."""
    table.add_row(*(plain(render.say(cell)) for cell in cells))


def plain(text: str) -> str:
    """Text in which square brackets are just that."""
    from rich.markup import escape

    return escape(text)


@contextmanager
def working(text: str) -> Iterator[None]:
    """While the block runs: a turning sign, the words, the time. On standard error, so that --json stays clean."""
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        progress.add_task(render.say(text), total=None)
        yield
