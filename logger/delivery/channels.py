"""Sends one message to one channel URL through the message library, in bounded time.

Whatever a channel does, and whatever its URL is, comes out as an `Outcome` of that channel: nothing is raised.
"""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit

from logger.facts import Fact
from logger.quantities import seconds
from logger.words.phrase import phrase

if TYPE_CHECKING:
    import apprise

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Whether a channel took the message, and what it said if not. `hopeless`: no later try can succeed.

    status: what an HTTP server answered, where the library says it.
    """

    taken: bool
    problem: str = ""
    hopeless: bool = False
    status: int | None = None


class Channel(Protocol):
    """Anything that takes a message: the message library, or a test's receiver."""

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """Send; raise nothing for a channel that fails."""


class Pushes(Protocol):
    """Sends to browsers (web_push.py)."""

    def send(self, url: str, title: str, body: str) -> Outcome:
        """Send; raise nothing for a browser that cannot be reached."""

    def problem_of(self, url: str) -> str | None:
        """Return what is wrong with an address that no try can reach."""


#: How a browser's address begins.
WEB_PUSH = "webpush://"
#: Signs that end a name or password in a URL unless they are written as percent codes.
_SPECIAL = re.compile(r"[][#/?@]")
#: A channel gets this many times its time-out for the whole exchange: to connect, to send, to answer.
WHOLE = 3.0


class MessageChannels:
    """The message library, one URL at a time: several at once cannot be retried apart."""

    def __init__(self, timeout_s: float, pushes: Pushes | None = None) -> None:
        self._timeout_s = timeout_s
        #: Sends to browsers, where that is set up.
        self._pushes = pushes
        self._hanging: dict[str, threading.Thread] = {}

    def prepare(self, urls: Sequence[str]) -> dict[str, str]:
        """Load what sending needs, so that it works without the disk from then on.

        Return what is wrong with each URL that the library does not understand.
        """
        return {url: problem for url in urls if (problem := self._problem_of(url)) is not None}

    def __call__(self, url: str, title: str, body: str) -> Outcome:
        """Send in at most three times the time-out.

        The library bounds each wait, not their sum: a receiver that answers a byte at a time would hold it for ever.
        So it works in a thread that is left behind then, and a channel that still hangs is not tried again.
        """
        before = self._hanging.get(url)
        if before is not None and before.is_alive():
            return Outcome(False, phrase("{way}: still hangs in an earlier message", way=shown(url)))
        answers: list[Outcome] = []
        thread = threading.Thread(
            target=lambda: answers.append(self._send(url, title, body)), name="channel", daemon=True
        )
        try:
            thread.start()
        except (
            RuntimeError
        ) as error:  # the machine has no thread left: a fault of this moment, not of the channel
            return Outcome(
                False, phrase("{way}: cannot be tried now ({why})", way=shown(url), why=str(error))
            )
        thread.join(WHOLE * self._timeout_s)
        if answers:
            self._hanging.pop(url, None)
            return answers[0]
        self._hanging[url] = thread
        late = phrase("{way}: no answer within {time}", way=shown(url), time=seconds(WHOLE * self._timeout_s))
        return Outcome(False, late)

    def _send(self, url: str, title: str, body: str) -> Outcome:
        try:
            if self._pushes is not None and url.startswith(WEB_PUSH):
                return self._pushes.send(url, title, body)
            sender, problem = self._sender_for(url)
            if sender is None:
                return Outcome(False, problem, hopeless=True)
            with _answers() as answers:
                result = sender.notify(title=title, body=body)
        except Exception as error:
            log.exception("the message library failed at %s", shown(url))
            return Outcome(False, _failed(url, error))
        if result:
            return Outcome(True)
        status = answers[-1] if answers else None
        return Outcome(False, not_taken(url, status), status=status)

    def _problem_of(self, url: str) -> str | None:
        try:
            if self._pushes is not None and url.startswith(WEB_PUSH):
                return self._pushes.problem_of(url)
            sender, problem = self._sender_for(url)
        except Exception as error:
            log.exception("the message library failed at %s", shown(url))
            return _failed(url, error)
        return None if sender is not None else problem

    def _sender_for(self, url: str) -> tuple[apprise.Apprise | None, str]:
        """Return the library's sender for a URL; None, and what is wrong, for one that it does not understand."""
        # Imported when first needed: it costs half a second and 27 MB, and a service without channels never pays.
        import apprise

        _hide_secrets()
        sender = apprise.Apprise()
        if sender.add(_bounded(url, self._timeout_s)):
            return sender, ""
        if _SPECIAL.search(_login(url)):
            return None, phrase(
                "{way}: not a channel that the message library knows (in a name or password [ is written %5B, ] %5D, "
                "# %23, / %2F, ? %3F and @ %40)",
                way=shown(url),
            )
        return None, phrase("{way}: not a channel that the message library knows", way=shown(url))


def not_taken(url: str, status: int | None = None) -> Fact:
    """Say that a channel did not take a message, and what it answered, where it did."""
    if status is None:
        return phrase("{way}: did not take the message", way=shown(url))
    return phrase(
        "{way}: did not take the message (it answered {status})", way=shown(url), status=str(status)
    )


def _failed(url: str, error: Exception) -> Fact:
    return phrase("{way}: the message library failed ({error})", way=shown(url), error=type(error).__name__)


def shown(url: str) -> str:
    """Return a channel's URL without its secrets, for pages and logs; of one that cannot be read, its scheme.

    Many services take a key where others have a host, so only what looks like a host's name is shown.
    """
    scheme, _, _rest = url.partition("://")
    scheme = scheme.lower() if re.fullmatch(r"[A-Za-z][A-Za-z0-9+.-]{0,19}", scheme) else "…"
    try:
        host = urlsplit(url).hostname or ""
    except ValueError:
        host = ""
    named = "." in host or ":" in host or host == "localhost"
    return f"{scheme}://{host if named else '…'}"


def _login(url: str) -> str:
    """Return name and password in a URL."""
    rest = url.partition("://")[2]
    return rest.rpartition("@")[0]


def _bounded(url: str, timeout_s: float) -> str:
    """Return the URL with the library's read and connect time-outs, where it has none.

    They go in front of its other parameters, and those stay as they are: each kind of channel reads them in its way.
    """
    head, mark, query = url.partition("?")
    there = {part.partition("=")[0] for part in query.split("&")}
    added = [f"{name}={timeout_s:g}" for name in ("rto", "cto") if name not in there]
    if not added:
        return url
    return f"{head}?{'&'.join([*added, *([query] if mark and query else [])])}"


#: The statuses that the library logs in this thread while it sends; None: nobody listens.
_ANSWERS: ContextVar[list[int] | None] = ContextVar("answers", default=None)


@contextmanager
def _answers() -> Iterator[list[int]]:
    """Yield a list that takes the HTTP statuses of which the library's log speaks in this block."""
    answers: list[int] = []
    token = _ANSWERS.set(answers)
    try:
        yield answers
    finally:
        _ANSWERS.reset(token)


class _Hidden(logging.Filter):
    """Takes addresses out of the library's own lines: they hold passwords, and our line says which channel it was."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Pass every line, without what may be an address; note the status that a server has answered."""
        answers, match = _ANSWERS.get(), re.search(r"\berror=(\d{3})\b", record.getMessage())
        if answers is not None and match:
            answers.append(int(match[1]))
        text = re.sub(r"URL:?\s.*|\S*://\S*", "URL …", record.getMessage(), flags=re.DOTALL)
        record.msg, record.args = text, None
        return True


_HIDDEN = _Hidden()


def _hide_secrets() -> None:
    logging.getLogger("apprise").addFilter(_HIDDEN)  # once: the same filter is not added twice
