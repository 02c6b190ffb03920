"""Events: what was done and seen, as it is kept with a pour or the shop."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "event-plan-changed": "the plan was changed; signed points are asked again",
    "event-undone": "taken back: {step}, by {who}",
    "cup-added-to-datasheet": "added to the datasheet",
    "conflicting-row": "station {station}: row {row} is stored with {name} = {before} but came again with "
    "{now}; two spools share an identity, or one was altered: give the station a new spool file",
    "event-planned": "planned: {title}",
    "event-imported": "from {workshop}",
    "event-record-deleted": "{title}, from {workshop}",
    "event-probe-elsewhere": "{rom} was reported by {others} before",
    "cup-without-result": "without a result",
}
