"""A connection that is closed when nothing comes, and no more than a fair number of them from one address.

Without this, a thousand idle connections take every file descriptor, and then no alarm can be sent and no row stored.
The parser is the compiled one, which takes a quarter of what a station's batch costs off it; it has no limits of its
own, so they are set here: a head of this size at most, and no body whose length is not said before it.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import ClassVar

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from web.security.throttle import address_key

#: A new connection sends its whole first request head within this time, s; a phone on bad radio needs a few.
FIRST_WORD_S = 15.0
#: Open connections from one address. A browser opens six and one for live news; a proxy's count as one address.
MOST_OF_ADDRESS = 64
#: Bytes of a request's head, about: it is counted by what arrives at once.
LARGEST_HEAD = 32 * 1024


class _Unbounded(Exception):
    """A body that does not say how long it is. The parser refuses the request: 400, and the connection is closed."""


class Connection(HttpToolsProtocol):
    """One HTTP connection."""

    _open: ClassVar[Counter[str]] = Counter()
    _key: str | None = None
    _waiting: asyncio.TimerHandle | None = None
    #: Bytes of the head that is being read; None while a body is.
    _head: int | None = 0
    _arriving = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count it; a connection too many is closed at once."""
        super().connection_made(transport)
        self._key = address_key({"client": self.client})
        self._open[self._key] += 1
        if self._open[self._key] > MOST_OF_ADDRESS:
            transport.abort()
            return
        self._waiting = self.loop.call_later(FIRST_WORD_S, self._too_slow)

    def connection_lost(self, exc: Exception | None) -> None:
        """Count it no more, whoever ended it."""
        if self._waiting is not None:
            self._waiting.cancel()
        if self._key is not None:
            self._open[self._key] -= 1
            if self._open[self._key] <= 0:
                del self._open[self._key]
            self._key = None
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read on; a head that does not come to an end is cut off, and nothing more is kept of it."""
        self._arriving = len(data)
        super().data_received(data)
        if self._head is not None:
            self._head += len(data)
            if self._head > LARGEST_HEAD:
                self.transport.abort()

    def on_headers_complete(self) -> None:
        """Go on to the body: the head is whole.

        No browser and no station sends a body in chunks. Their extensions and trailers could go on for ever, and they
        are how requests are smuggled past a proxy (RFC 9112, 6.1 and 11.2).
        """
        if any(name == b"transfer-encoding" for name, _value in self.headers):
            raise _Unbounded
        self._head = None
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """Wait for another head; what has come with the end of this one is not counted."""
        self._head = -self._arriving
        super().on_message_complete()

    def _too_slow(self) -> None:
        if self.cycle is None and not self.transport.is_closing():
            self.transport.abort()
