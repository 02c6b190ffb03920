"""The watch watches itself: regular test messages, and a heartbeat that stops when the watch does."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from logger.delivery.upkeep import Upkeep, call_url
from logger.settings import Messages
from logger.store import outbox
from logger.store.boots import Timeline
from logger.store.database import Store


class Called(list[str]):
    """An outside watch in memory."""

    def __call__(self, url: str, timeout_s: float) -> None:
        """One heartbeat."""
        self.append(url)


def upkeep(store: Store, timeline: Timeline, judged: Any, called: Any, **messages: Any) -> Upkeep:
    """The upkeep of a service with these messages."""
    return Upkeep(store, timeline, Messages(**messages), judged_ms=judged, address=lambda path: f"http://s{path}",
                  minute_of_day=lambda: 12 * 60, call=called)  # fmt: skip


def test_the_heartbeat_goes_out_once_a_minute_and_stops_with_the_watch(
    store: Store, timeline: Timeline, clock: Any
) -> None:
    """An hour with a watch that dies after half of it: thirty beats, and then the silence that tells it."""
    called, died_ms = Called(), timeline.now_ms() + 1_800_000
    kept = upkeep(
        store, timeline, lambda: min(timeline.now_ms(), died_ms), called, heartbeat_url="http://out.test/x"
    )
    beats = []
    for second in range(0, 3600, 10):
        before = len(called)
        kept.do_due()
        if len(called) > before:
            beats.append(second)
        clock.move(10)
    assert beats == list(range(0, 1861, 60))


def test_there_is_no_heartbeat_before_the_watch_has_judged(store: Store, timeline: Timeline) -> None:
    """A service whose watch never starts must not look alive."""
    called = Called()
    upkeep(store, timeline, lambda: None, called, heartbeat_url="http://out.test/x").do_due()
    assert called == []


def test_a_test_message_is_written_once_a_day_to_each_group(
    store: Store, timeline: Timeline, clock: Any
) -> None:
    """Three days, two groups: six, each with a link of its own."""
    kept = upkeep(store, timeline, lambda: None, Called(), urls=["one://a"], second_urls=["one://b"])
    for _ in range(3 * 24):
        kept.do_due()
        clock.move(3600)
    with store.read() as connection:
        rows = outbox.newest_messages(connection)
    assert [row.to for row in rows] == ["second", "first"] * 3
    assert len({row.body for row in rows}) == 6
    assert [row.state for row in rows] == ["waiting"] * 2 + ["outdated"] * 4


def test_no_test_message_wakes_anybody_in_quiet_hours(store: Store, timeline: Timeline) -> None:
    """It waits until they are over."""
    kept = upkeep(
        store, timeline, lambda: None, Called(), urls=["one://a"], quiet_from="11:00", quiet_until="13:00"
    )
    kept.do_due()
    with store.read() as connection:
        assert outbox.newest_messages(connection) == []


def test_the_heartbeat_calls_a_real_address_and_tells_when_it_refuses() -> None:
    """One GET; an answer other than success is trouble."""
    seen: list[str] = []

    class Outside(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            seen.append(self.path)
            self.send_response(200 if self.path == "/well" else 500)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Says nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Outside)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        base = f"http://127.0.0.1:{server.server_port}"
        call_url(f"{base}/well", 2)
        with pytest.raises(OSError, match="500"):
            call_url(f"{base}/ill", 2)
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert seen == ["/well", "/ill"]
