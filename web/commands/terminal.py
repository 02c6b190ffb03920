"""What commands say on the terminal: sentences, tables, and that something is being worked at.

The library that draws is loaded with the first thing that is drawn: the service and the station hardly need it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


@cache
def _console() -> Console:
    from rich.console import Console

    return Console()


def say(what: Any, *, wrap: bool = True) -> None:
    """Print a sentence with markup, or a table, on standard output; without `wrap` on one line, however long."""
    _console().print(what, soft_wrap=not wrap)


def table_of(*headings: str, **options: Any) -> Table:
    """Return an empty table."""
    from rich.table import Table

    return Table(*headings, **options)


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
        progress.add_task(text, total=None)
        yield
