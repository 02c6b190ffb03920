"""Planning's findings: what is so with a plan, and what to change."""

from __future__ import annotations

from logger.words.english import (
    findings_air,
    findings_constants,
    findings_form,
    findings_layers,
    findings_mixing,
    findings_refused,
    findings_volume,
    findings_wood,
)
from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "figure": "{name} {value}",
    "constant": "{name} {value} ({source})",
    "measured": "{number} {unit}",
    **findings_constants.ENGLISH,
    **findings_air.ENGLISH,
    **findings_volume.ENGLISH,
    **findings_layers.ENGLISH,
    **findings_mixing.ENGLISH,
    **findings_form.ENGLISH,
    **findings_refused.ENGLISH,
    **findings_wood.ENGLISH,
}
