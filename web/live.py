"""News for open pages, by server-sent events. Threads tell; pages listen; closing ends every listener at once."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Callable
from typing import Any

#: A silent connection is kept open by a comment this often, s: proxies and phones drop quieter ones.
KEEP_OPEN_S = 15.0


class News:
    """Tells every open page that something has changed. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: set[tuple[asyncio.AbstractEventLoop, asyncio.Queue[str | None]]] = set()
        self._closed = False
        #: Sends what this process tells to the others over the same database; there are none but on a server.
        self.spread: Callable[[dict[str, Any]], None] = lambda _news: None

    def tell(self, kind: str, **about: Any) -> None:
        """Sends one piece of news to everybody who listens; a page that is behind gets only the newest."""
        self.spread({"kind": kind, **about})
        self.tell_here(kind, **about)

    def tell_here(self, kind: str, **about: Any) -> None:
        """The same for the pages of this process alone."""
        text = json.dumps({"kind": kind, **about})
        with self._lock:
            listeners = list(self._listeners)
        for loop, queue in listeners:
            if not loop.is_closed():
                loop.call_soon_threadsafe(_put, queue, text)

    def close(self) -> None:
        """Ends every listener. May be called twice, and from a signal handler."""
        self._closed = True
        for loop, queue in list(self._listeners):
            if not loop.is_closed():
                loop.call_soon_threadsafe(_put, queue, None)

    async def listen(self) -> AsyncIterator[str]:
        """Server-sent events, one text block each, until the page or the service goes."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(maxsize=64)
        me = (asyncio.get_running_loop(), queue)
        with self._lock:
            self._listeners.add(me)
        try:
            yield "retry: 3000\n\n"
            while not self._closed:
                try:
                    text = await asyncio.wait_for(queue.get(), KEEP_OPEN_S)
                except TimeoutError:
                    yield ": still here\n\n"
                    continue
                if text is None:
                    return
                yield f"event: news\ndata: {text}\n\n"
        finally:
            with self._lock:
                self._listeners.discard(me)

    @property
    def listeners(self) -> int:
        """How many pages are open."""
        return len(self._listeners)


def _put(queue: asyncio.Queue[str | None], text: str | None) -> None:
    # A page that cannot keep up needs no history, only that there is news: the oldest goes.
    if queue.full():
        queue.get_nowait()
    queue.put_nowait(text)
