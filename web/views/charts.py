"""The chart library's script, served from its installed package: no request leaves the machine."""

from __future__ import annotations

import gzip
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from logger.errors import NotFound
from logger.words.phrase import phrase


@cache
def _plotly_folder() -> Path:
    # Found, not imported: the page needs its script alone, and importing the package costs memory.
    spec = find_spec("plotly")
    if spec is None or not spec.submodule_search_locations:
        raise NotFound(phrase("the chart library is not installed; install the project's dependencies"))
    return Path(next(iter(spec.submodule_search_locations)))


@cache
def chart_version() -> str:
    """Return a word that changes with the installed chart library, so that browsers may keep the script for good."""
    stat = (_plotly_folder() / "package_data" / "plotly.min.js").stat()
    return f"{stat.st_size:x}-{int(stat.st_mtime):x}"


@cache
def map_style_id() -> str:
    """Return the id under which the chart library's part for maps looks for its style sheet; "" when it has none.

    Where it finds none it writes an inline one, which our pages' policy refuses. We draw no maps: an empty element of
    this id in the page is all it asks for.
    """
    script = (_plotly_folder() / "package_data" / "plotly.min.js").read_text(encoding="utf-8")
    match = re.search(r'getElementById\("([0-9a-f]{64})"\)', script)
    return match[1] if match else ""


@cache
def chart_bundle() -> bytes:
    """Return the chart library's script, compressed once."""
    return gzip.compress((_plotly_folder() / "package_data" / "plotly.min.js").read_bytes(), 9)
