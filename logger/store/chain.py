"""The hash chain: each row's link covers the row and the link before it, so that an altered row is found and named.

SHA-256 (FIPS 180-4) over the previous link's hex and the row's canonical JSON.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

#: The fields of a reading that its link covers, in order.
READING_FIELDS = ("station_id", "spool", "seq", "probe", "place", "boot", "boot_ms", "wall_ms", "clock_set",
                  "milli_c", "fault", "raw", "note", "milli_rh", "late", "received_ms")  # fmt: skip
#: The same for an event.
EVENT_FIELDS = ("at_ms", "kind", "by", "text", "data")


def link(previous: str, row: Mapping[str, Any], fields: tuple[str, ...]) -> str:
    """The next link, hex, after `previous` (empty at the start of a chain)."""
    body = json.dumps(
        [row[name] for name in fields], separators=(",", ":"), ensure_ascii=False, sort_keys=True
    )
    return hashlib.sha256(f"{previous}\n{body}".encode()).hexdigest()
