"""Sends one message to one channel URL through the message library, in bounded time."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Protocol
from urllib.parse import parse_qsl, urlencode, urlsplit, urlunsplit


@dataclass(frozen=True, slots=True)
class Outcome:
    """Whether a channel took the message, and what it said if not."""

    taken: bool
    problem: str = ""


class Channel(Protocol):
    """Anything that takes a message: the message library, or a test's receiver."""

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """Sends; never raises for a channel that fails."""


#: A channel gets so many times its time-out for the whole exchange: to connect, to send, to answer.
WHOLE = 3.0


class MessageChannels:
    """The message library, one URL at a time: several at once cannot be retried apart."""

    def __init__(self, timeout_s: float) -> None:
        self._timeout_s = timeout_s
        self._hanging: dict[str, threading.Thread] = {}

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """Sends in at most three times the time-out.

        The library bounds each wait, not their sum: a receiver that answers a byte at a time would hold it for ever.
        So it works in a thread that is left behind then, and a channel that still hangs is not tried again.
        """
        before = self._hanging.get(url)
        if before is not None and before.is_alive():
            return Outcome(False, f"{shown(url)}: still hangs in an earlier message")
        answers: list[Outcome] = []
        thread = threading.Thread(
            target=lambda: answers.append(self._send(url, title, body)), name="channel", daemon=True
        )
        thread.start()
        thread.join(WHOLE * self._timeout_s)
        if answers:
            self._hanging.pop(url, None)
            return answers[0]
        if not thread.is_alive():
            return Outcome(False, f"{shown(url)}: the message library failed; see the log")
        self._hanging[url] = thread
        return Outcome(False, f"{shown(url)}: no answer within {WHOLE * self._timeout_s:g} s")

    def _send(self, url: str, title: str, body: str) -> Outcome:
        # Imported when first needed: it costs 60 ms and 27 MB, and a service without channels never pays.
        import apprise

        sender = apprise.Apprise()
        if not sender.add(_bounded(url, self._timeout_s)):
            return Outcome(
                False, f"{shown(url)}: not a channel that the message library knows; correct its URL"
            )
        result = sender.notify(title=title, body=body)
        return Outcome(bool(result), "" if result else f"{shown(url)}: did not take the message")


def shown(url: str) -> str:
    """A channel's URL without its secrets, for pages and logs."""
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.hostname or '…'}"


def _bounded(url: str, timeout_s: float) -> str:
    parts = urlsplit(url)
    query = dict(parse_qsl(parts.query, keep_blank_values=True))
    for name in ("rto", "cto"):  # read and connect time-outs of the message library
        query.setdefault(name, f"{timeout_s:g}")
    return urlunsplit(parts._replace(query=urlencode(query)))
