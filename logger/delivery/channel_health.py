"""How each channel does: one that fails is a fault of that channel alone, and is reported over the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from logger.delivery.channels import Outcome

#: A channel that has failed so often, for so long, is broken: a network that is away for a minute is not, ms.
BROKEN_TRIES, BROKEN_MS = 3, 600_000


@dataclass(frozen=True, slots=True)
class Failing:
    """A channel that has taken nothing since `since_ms`."""

    since_ms: int
    last_ms: int
    tries: int
    problem: str
    hopeless: bool = False


class ChannelHealth:
    """What each channel last did. In memory only: a channel that is broken shows it again after a restart."""

    def __init__(self) -> None:
        self._failing: dict[str, Failing] = {}
        self._taken_ms: dict[str, int] = {}

    def note(self, url: str, outcome: Outcome, now_ms: int) -> None:
        """Note how one try went."""
        if outcome.taken:
            self._failing.pop(url, None)
            self._taken_ms[url] = now_ms
            return
        before = self._failing.get(url)
        since_ms, tries = (now_ms, 0) if before is None else (before.since_ms, before.tries)
        self._failing[url] = Failing(since_ms, now_ms, tries + 1, outcome.problem, outcome.hopeless)

    def forget_others(self, urls: Sequence[str]) -> None:
        """Forget channels that are not among these: nobody is called there any more."""
        for url in [url for url in self._failing if url not in urls]:
            del self._failing[url]

    def broken(self, now_ms: int) -> dict[str, Failing]:
        """Return the channels that do not only fail for the moment, by URL."""
        return {
            url: failing
            for url, failing in list(self._failing.items())
            if failing.hopeless or (failing.tries >= BROKEN_TRIES and now_ms - failing.since_ms >= BROKEN_MS)
        }

    def broken_alone(self, now_ms: int) -> dict[str, Failing]:
        """Return those of them that have failed since another took something: it is not the network."""
        taken_ms = max(self._taken_ms.values(), default=None)
        return {
            url: failing
            for url, failing in self.broken(now_ms).items()
            if failing.hopeless or (taken_ms is not None and failing.last_ms >= taken_ms)
        }

    def hopeless(self, url: str) -> bool:
        """Return whether no later try can succeed."""
        failing = self._failing.get(url)
        return failing is not None and failing.hopeless

    def works(self, url: str) -> bool:
        """Return whether its last try did not fail."""
        return url not in self._failing


def groups_in_reach(groups: Mapping[str, Sequence[str]], works: Callable[[str], bool]) -> list[str]:
    """Return the groups of channels in which at least one works."""
    return [name for name, urls in groups.items() if any(works(url) for url in urls)]
