"""Sends one message to one channel URL through the message library, in bounded time."""

from __future__ import annotations

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


class MessageChannels:
    """The message library, one URL at a time: several at once cannot be retried apart."""

    def __init__(self, timeout_s: float) -> None:
        self._timeout_s = timeout_s

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """Sends in at most about twice the time-out."""
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
