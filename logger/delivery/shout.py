"""Messages straight from memory to every channel, when the usual way by the outbox may not work: no database.

A message is tried at each channel until that has taken it, or until a newer one about the same thing replaces it. What
was sent is remembered as long as the process lives: a restart may send it once more.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from logger.delivery.channels import Channel, Outcome, shown
from logger.delivery.wording import in_words
from logger.words.reader import Reader, units_from

log = logging.getLogger(__name__)

#: Waits between tries at one channel, s.
BACK_OFF_S = (5, 15, 30, 60)


@dataclass(slots=True)
class _Call:
    title: str
    body: str
    left: list[str]
    next_ms: int
    tries: int = 0
    units: str | None = None


class Shouter:
    """Messages in memory and the channels that they go to. For one thread."""

    def __init__(
        self,
        channel: Channel,
        urls: Sequence[str] | Callable[[], Sequence[str]],
        reader_of: Callable[[str, str | None], Reader] = lambda _url, units: units_from(units),
    ) -> None:
        self._channel = channel
        #: Who reads what comes to an address; by the shop's units where the person has chosen none.
        self._reader_of = reader_of
        self._urls = urls if callable(urls) else lambda: urls
        self._calls: dict[str, _Call] = {}

    def post(self, about: str, title: str, body: str, now_ms: int, units: str | None = None) -> None:
        """Have a message sent to every channel; it replaces what still waits about the same thing.

        units: the shop's whose it is.
        """
        self._calls[about] = _Call(title, body, list(dict.fromkeys(self._urls())), now_ms, units=units)

    def withdraw(self, about: str) -> None:
        """Drop what no channel has taken yet."""
        self._calls.pop(about, None)

    def send_due(self, now_ms: int) -> int:
        """Try what is due, once at each channel. Return how often a channel took a message."""
        taken = 0
        for about, call in list(self._calls.items()):
            if now_ms < call.next_ms:
                continue
            for url in list(call.left):
                outcome = self._try(url, call)
                if outcome.taken or outcome.hopeless:
                    call.left.remove(url)
                if outcome.taken:
                    taken += 1
                else:
                    log.warning("not delivered from memory: %s", outcome.problem)
            call.next_ms = now_ms + 1000 * BACK_OFF_S[min(call.tries, len(BACK_OFF_S) - 1)]
            call.tries += 1
            if not call.left:
                self._calls.pop(about, None)
        return taken

    def _try(self, url: str, call: _Call) -> Outcome:
        try:
            said = in_words(call.title, call.body, self._reader_of(url, call.units))
            return self._channel(url, said.title, said.body)
        except Exception as error:
            log.exception("%s failed", shown(url))
            return Outcome(False, f"{shown(url)}: failed ({type(error).__name__})")
