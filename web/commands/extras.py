"""Which extra of pyproject.toml brings a library that is not installed: a station alone has few."""

from __future__ import annotations

import sys

from logger.words.phrase import phrase

#: Library → its extra; all others that a station alone does not have come with `service`.
EXTRA_OF = {"gpiod": "pi", "psycopg": "postgres", "weasyprint": "pdf"}
OUR_OWN = ("hardware", "logger", "web")


def missing_extra(error: ModuleNotFoundError) -> str | None:
    """Return the extra that brings the missing library; None where the program itself is broken."""
    library = (error.name or "").partition(".")[0]
    if not library or library in OUR_OWN or library in sys.stdlib_module_names:
        return None
    return EXTRA_OF.get(library, "service")


def what_to_install(error: ModuleNotFoundError) -> str | None:
    """Return the missing extra and how to get it, in one line; None where the program itself is broken."""
    extra = missing_extra(error)
    if extra is None:
        return None
    return phrase(
        "this needs the extra `{extra}` ({library} is not installed): {command}",
        extra=extra,
        library=error.name or "",
        command=f"pip install 'pourlog[{extra}]'",
    )
