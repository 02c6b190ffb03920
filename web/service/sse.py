"""News for open pages, by server-sent events. Threads publish; pages listen; closing ends every listener at once."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Any

#: A silent connection is kept open by a comment this often, s: proxies and phones drop quieter ones.
KEEP_OPEN_S = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class _Page:
    """One open page, and its shop."""

    loop: asyncio.AbstractEventLoop
    queue: asyncio.Queue[str | None]
    shop_id: int | None


class News:
    """Tells every open page that something has changed. Safe to call from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: set[_Page] = set()
        self._closed = False
        #: Sends this process's news to the others over the same database; there are others only on a server.
        self.forward: Callable[[dict[str, Any]], None] = lambda _news: None
        #: The shop of a pour, where there may be several shops; None: everybody's.
        self.shop_of: Callable[[int], int | None] = lambda _pour_id: None

    def publish(self, kind: str, **about: Any) -> None:
        """Send one piece of news to everybody who listens; a page that is behind gets only the newest."""
        self.forward({"kind": kind, **about})
        self.publish_here(kind, **about)

    def publish_here(self, kind: str, **about: Any) -> None:
        """Send one piece of news to the pages of this process alone."""
        text = json.dumps({"kind": kind, **about})
        with self._lock:
            listeners = list(self._listeners)
        shop_id = self.shop_of(about["pour"]) if listeners and about.get("pour") is not None else None
        for page in listeners:
            if not page.loop.is_closed() and (shop_id is None or page.shop_id in (None, shop_id)):
                page.loop.call_soon_threadsafe(_put, page.queue, text)

    def close(self) -> None:
        """End every listener. May be called twice, and from a signal handler."""
        self._closed = True
        for page in list(self._listeners):
            if not page.loop.is_closed():
                page.loop.call_soon_threadsafe(_put, page.queue, None)

    async def listen(self, shop_id: int | None = None) -> AsyncIterator[str]:
        """Server-sent events, one text block each, until the page or the service goes; one shop's, or all."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(maxsize=64)
        me = _Page(asyncio.get_running_loop(), queue, shop_id)
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
