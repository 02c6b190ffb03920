"""A connection that is closed when nothing comes, and no more than a fair number of them from one address.

Without this, a thousand idle connections take every file descriptor, and then no alarm can be sent and no row stored.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

from web.throttle import address_key

#: A new connection sends its whole first request head within this time, s; a phone on bad radio needs a few.
FIRST_WORD_S = 15.0
#: Open connections from one address. A browser opens six and one for live news; a proxy's count as one address.
MOST_OF_ADDRESS = 64


class Connection(H11Protocol):
    """One HTTP connection."""

    _open: ClassVar[Counter[str]] = Counter()
    _key: str | None = None
    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Counts it; a connection too many is closed at once."""
        super().connection_made(transport)
        self._key = address_key({"client": self.client})
        self._open[self._key] += 1
        if self._open[self._key] > MOST_OF_ADDRESS:
            transport.abort()
            return
        self._waiting = self.loop.call_later(FIRST_WORD_S, self._too_slow)

    def connection_lost(self, exc: Exception | None) -> None:
        """It is gone, whoever ended it."""
        if self._waiting is not None:
            self._waiting.cancel()
        if self._key is not None:
            self._open[self._key] -= 1
            if self._open[self._key] <= 0:
                del self._open[self._key]
            self._key = None
        super().connection_lost(exc)

    def _too_slow(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.abort()
