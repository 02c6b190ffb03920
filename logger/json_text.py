"""What was worked out, as JSON: a number that JSON does not have (NaN, an infinity; RFC 8259, 6) is refused by name.

"Never" is None wherever it may come, and the field says so; an infinity that gets this far is a fault of ours. It is
refused where it is made or kept, before half of a page, a record or an answer is built on it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any, TypeVar

from logger.errors import NotFinite

Value = TypeVar("Value")


def json_text(value: Any, where: str = "") -> str:
    """One line of JSON, its characters kept. where: what value is, for the error. Raises NotFinite."""
    return json.dumps(finite(value, where), ensure_ascii=False, allow_nan=False)


def finite(value: Value, where: str) -> Value:
    """Return the same value, made of dicts, lists and plain values. Raises NotFinite, naming the first such number."""
    for path, number in _not_finite(value, where):
        raise NotFinite(path or "value", number)
    return value


def _not_finite(value: Any, path: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, float):
        if not math.isfinite(value):
            yield path, value
    elif isinstance(value, dict):
        for name, inner in value.items():
            yield from _not_finite(inner, f"{path}.{name}".lstrip("."))
    elif isinstance(value, list | tuple):
        for at, inner in enumerate(value):
            yield from _not_finite(inner, f"{path}[{at}]")
