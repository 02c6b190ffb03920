"""Checks of probes: in ice water and by a dip."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "dip-too-few-readings": "too few readings: wait",
    "dip-still-moving": "still moving: keep it in the water, and stir",
    "dip-no-step": "no step of {step} yet: dip it now",
    "dip-quicker-than-readings": "faster than the readings can show: below {gap}",
    "dip-response": "63 % of the way in {response}",
    "ice-no-reading": "no reading in the last two minutes",
    "ice-still-moving": "still moving: {spread} in the last {span}; stir and wait",
    "ice-is-no-ice-water": "{mean} is no ice water: take crushed ice, fill its gaps with water, stir; if it "
    "really is, the probe is bad",
    "ice-steady-so-far": "steady for {span}; {needed} are needed",
    "ice-steady": "steady at {mean}",
}
