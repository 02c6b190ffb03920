"""What the running watch says of itself and of the pours that it looks after."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- what keeps the watch from its work --------------------------------------------------------
    "readings-not-stored": "readings that arrive cannot be stored: {why}",
    "not-deciding-now": "this service process does not decide now",
    "pours-not-read": "the live pours cannot be read: {why}",
    "fan-not-switched": "the fan cannot be switched: {why}",
    "database-refuses": (
        "the database refuses to be written{why}, most likely because the disk is full: make room. Alarms go "
        "on; new readings wait at their station; a core's limit is watched as they come."
    ),
    "in-brackets": " ({what})",
    "pour-not-judged": "pour {pour} cannot be judged: {why}",
    "prediction-unusable": (
        "the prediction of pour {pour} cannot be used ({why}): its limits are watched, and nothing is compared with "
        "its prediction"
    ),
    # ---- the plain limit check, from memory --------------------------------------------------------
    "plain-core-over": "The core reads {core}: it is over the resin's limit of {limit}.",
    "plain-core-over-unknown": (
        "The core reads {core}: it is over the limit for a pour of unknown plan, {limit}."
    ),
    "plain-core-back": "The core is back below its limit of {limit}.",
    "plain-just-ended": "its watch was ended a moment ago; take that back on its page",
    "plain-not-called": "the usual judgement has not called it",
    "plain-told": "{reason} Found by the plain check of its limit, since {why}.",
    "plain-cannot-be-acknowledged": (
        "Found by the plain check of its limit, since {why}. It cannot be acknowledged."
    ),
    "plain-watch-fails-title": "URGENT: Pours are not watched as usual - {workshop}",
    "plain-watch-back-title": "Cleared: Pours are not watched as usual - {workshop}",
    "plain-watch-back": "Every pour is judged again, and its alarms are sent as usual.",
    "plain-pours-not-watched": "{pours}: {why}.",
    "plain-watch-fails": (
        "Go there and look; read a thermometer by hand until this is mended. Only a core over its limit is still "
        "reported: no forecast, no lost probe, no leak. Where a disk or card has failed, do not "
        "restart the service: it might not start again."
    ),
    "plain-not-watched": "Not watched as usual: {why}.",
    # ---- the fan -----------------------------------------------------------------------------------
    "fan-off": "Fan off: {why}",
    "fan-on": "Fan on: {why}",
    "fan-stays-on": "Fan stays on: {why}",
    # ---- cups --------------------------------------------------------------------------------------
    "a-resin": "a resin",
    "cup-hot-title": "Cup test dangerously hot - {resin}",
    "cup-hot": (
        "The cup of {resin} is at {cup}. Do not touch or move it; keep people out of the fumes. It smokes or burns: "
        "call the fire service. {link}"
    ),
    # ---- checks of the form ------------------------------------------------------------------------
    "asked-for-check": "asked for the check of the form that is due now",
    "asked-for-check-in": "asked for the check of the form that is due in {time}",
}
