"""Slows down whoever asks too often. Pure: `now_s` is an argument, nothing is kept on disk.

Buckets of tries, refilled steadily: a try costs one, and a try that turns out to be good is given back.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

#: Who is remembered at most: addresses and names beyond push out those seen longest ago, so memory stays bounded.
MOST_KEYS = 4096


@dataclass(frozen=True, slots=True)
class RequestRate:
    """So many at once, and so many a minute afterwards."""

    burst: int
    per_min: float


@dataclass(slots=True)
class Bucket:
    """Tries left for each key. Safe from any thread."""

    rate: RequestRate
    _left: OrderedDict[Hashable, tuple[float, float]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def take(self, key: Hashable, now_s: float) -> float:
        """Take one try. Gives 0, or the seconds until there is one again."""
        with self._lock:
            left = self._now_left(key, now_s)
            if left < 1:
                self._keep(key, left, now_s)
                return (1 - left) * 60 / self.rate.per_min
            self._keep(key, left - 1, now_s)
            return 0.0

    def give_back(self, key: Hashable, now_s: float) -> None:
        """Give a try back: it was a good one, and does not count."""
        with self._lock:
            self._keep(key, min(self.rate.burst, self._now_left(key, now_s) + 1), now_s)

    def empty(self, key: Hashable, now_s: float) -> bool:
        """Whether nothing is left, without taking anything."""
        with self._lock:
            return self._now_left(key, now_s) < 1

    def _now_left(self, key: Hashable, now_s: float) -> float:
        left, at_s = self._left.get(key, (float(self.rate.burst), now_s))
        return min(self.rate.burst, left + max(0.0, now_s - at_s) * self.rate.per_min / 60)

    def _keep(self, key: Hashable, left: float, now_s: float) -> None:
        self._left[key] = (left, now_s)
        self._left.move_to_end(key)
        while len(self._left) > MOST_KEYS:
            self._left.popitem(last=False)


@dataclass(slots=True)
class Throttle:
    """Every limit of the service on who asks how often.

    Passwords: an address, and a name from browsers that never signed in as that person, each have their own tries.
    A browser that did sign in as that person before has tries of its own: whoever guesses at the owner's password
    uses up the strangers' tries and never the owner's (OWASP, "Slow Down Online Guessing Attacks with Device
    Cookies").
    """

    #: Any request, by address. A page takes about six; a wall of twenty tiles far fewer than this.
    requests: Bucket = field(default_factory=lambda: Bucket(RequestRate(600, 3600)))
    #: Refused batches, by address: a station that is let in is never slowed.
    refused_batches: Bucket = field(default_factory=lambda: Bucket(RequestRate(60, 60)))
    #: Passwords and codes, by address.
    tries_of_address: Bucket = field(default_factory=lambda: Bucket(RequestRate(20, 10)))
    #: Passwords, by name, from browsers unknown to that person.
    tries_at_name: Bucket = field(default_factory=lambda: Bucket(RequestRate(30, 6)))
    #: Passwords, by a browser known to that person.
    tries_of_known: Bucket = field(default_factory=lambda: Bucket(RequestRate(10, 10)))
    #: The set-up code and invitations, from anywhere together.
    codes: Bucket = field(default_factory=lambda: Bucket(RequestRate(10, 10)))


def unlimited() -> Throttle:
    """No limit at all, for tests and measurements of something else."""
    wide = RequestRate(10**9, 10**9)
    return Throttle(*(Bucket(wide) for _ in range(6)))


def address_key(scope: Mapping[str, Any]) -> str:
    """Where a request comes from: an IPv4 address, or the /64 of an IPv6 one, of which a machine has 2^64 addresses."""
    host = str((scope.get("client") or ("nowhere",))[0])
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return host
    if address.version == 4:
        return host
    return str(address.ipv4_mapped or ipaddress.ip_network((int(address) >> 64 << 64, 64)))
