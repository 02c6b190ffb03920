"""Names for what may have any shape: JSON, and rows of a pour's tables. shapes.py checks what comes from elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: Any JSON value.
JsonValue = Any
#: A JSON object that is made here, and one that is only read.
JsonObject = dict[str, Any]
JsonView = Mapping[str, Any]
#: A row of a table, in the order of its columns (store/transfer.py).
TableRow = tuple[Any, ...]
