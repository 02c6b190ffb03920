"""Which probe is the one in the hand, by the readings of the last minutes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from hardware.warmed import warmed
from logger.probe_checks.chip_reading import CheckReading

#: What a probe has risen is counted from its coldest of so long, s.
BACK_S = 180.0
#: A probe without a reading for so long is left out, s.
SILENT_S = 90.0


def in_hand(looks: Mapping[str, Sequence[CheckReading]], now_s: float) -> tuple[str | None, dict[str, float]]:
    """Return the probe that has warmed, None while that is not clear, and each probe's rise, K."""
    coldest: dict[str, float] = {}
    present: dict[str, float] = {}
    for probe, series in looks.items():
        recent = [look for look in series if now_s - BACK_S <= look.at_s <= now_s]
        if recent and now_s - recent[-1].at_s <= SILENT_S:
            coldest[probe] = min(look.celsius for look in recent)
            present[probe] = recent[-1].celsius
    rises = {probe: round(present[probe] - coldest[probe], 2) for probe in present}
    return warmed(coldest, present), rises
