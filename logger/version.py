"""The program's own version, as it was installed."""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def own_version() -> str:
    """Such as 0.1.0; "unknown" where it runs without having been installed."""
    try:
        return version("pourlog")
    except PackageNotFoundError:
        return "unknown"
