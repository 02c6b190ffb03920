"""Says on the terminal that something is being worked at, and for how long already; nothing where nobody looks."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn


@contextmanager
def working(text: str) -> Iterator[None]:
    """While the block runs: a turning sign, the words, the time. On standard error, so that --json stays clean."""
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        progress.add_task(text, total=None)
        yield
