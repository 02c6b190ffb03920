"""What one process counts of its stations' batches, for operators."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

#: Upper bounds of the time from a batch's last byte to its answer, s.
BUCKETS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0)


@dataclass(slots=True)
class Counted:
    """What this process has counted since it started. Safe to call from any thread."""

    batches: dict[str, int] = field(default_factory=lambda: {"stored": 0, "refused": 0, "failed": 0})
    stored: int = 0
    repeated: int = 0
    seconds: float = 0.0
    within: list[int] = field(default_factory=lambda: [0] * (len(BUCKETS_S) + 1))
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def batch(self, seconds: float, stored: int, repeated: int) -> None:
        """Count a batch that was stored and answered."""
        with self._lock:
            self.batches["stored"] += 1
            self.stored += stored
            self.repeated += repeated
            self.seconds += seconds
            self.within[
                next((at for at, most in enumerate(BUCKETS_S) if seconds <= most), len(BUCKETS_S))
            ] += 1

    def refused(self) -> None:
        """Count a batch that was refused."""
        with self._lock:
            self.batches["refused"] += 1

    def failed(self) -> None:
        """Count a batch that could not be stored: the service's fault, and the station sends it again."""
        with self._lock:
            self.batches["failed"] += 1
