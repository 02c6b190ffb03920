"""What commands say on the terminal: sentences, tables, and that something is being worked at.

The library that draws is loaded with the first thing that is drawn: the service and the station hardly need it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

from logger.facts import Fact
from logger.words import render
from logger.words.reader import METRIC

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


@cache
def _console() -> Console:
    from rich.console import Console

    return Console()


def say(what: Any, *, wrap: bool = True) -> None:
    """Print a fact, a sentence with markup, or a table on standard output; without `wrap` on one line, however long."""
    _console().print(plain(render.say(what)) if isinstance(what, Fact) else what, soft_wrap=not wrap)


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
