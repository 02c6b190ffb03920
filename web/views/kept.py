"""A few answers that took long, by what was asked: the least used goes first. Safe to call from any thread."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Generic, TypeVar

T = TypeVar("T")


class Kept(Generic[T]):
    """At most so many answers."""

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._answers: OrderedDict[str, T] = OrderedDict()

    def get(self, asked: str) -> T | None:
        """Return the answer, None where it is not kept."""
        with self._lock:
            if asked in self._answers:
                self._answers.move_to_end(asked)
            return self._answers.get(asked)

    def put(self, asked: str, answer: T) -> None:
        """Keep an answer."""
        with self._lock:
            self._answers[asked] = answer
            self._answers.move_to_end(asked)
            while len(self._answers) > self._most:
                self._answers.popitem(last=False)

    def clear(self) -> None:
        """Forget them all."""
        with self._lock:
            self._answers.clear()
