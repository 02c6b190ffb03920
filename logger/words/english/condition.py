"""How a pour is: its state, headline, what to do, who is on it, what comes next, and how sure that is."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "stage-planned": "Planned",
    "stage-ready": "Ready to pour",
    "stage-pouring": "Pouring",
    "stage-watched": "First hour",
    "stage-curing": "Curing",
    "stage-released": "Out of the form",
    "stage-closed": "Record sealed",
    "stage-spoiled": "Cancelled",
    # ---- why a temperature is missing --------------------------------------------------------------
    "fault-missing": "unplugged or cut",
    "fault-empty-read": "no answer",
    "fault-malformed": "garbled answer",
    "fault-bad-crc": "disturbed by noise",
    "fault-all-zero": "data wire held low",
    "fault-power-on-85": "woke up without measuring",
    "fault-low-power-127": "starved of power",
    "fault-out-of-range": "outside what it can measure",
    "fault-io-error": "could not be read",
    "fault-stuck-read": "did not answer in time",
    "fault-open-wire": "broken wire",
    # ---- states ------------------------------------------------------------------------------------
    "not-watched": "Not watched",
    "go-to-the-pour": "Go to the pour now",
    "no-readings-now": "No readings",
    "check-soon": "Check soon",
    "too-early-to-know": "Too early to know",
    "nothing-wrong": "Nothing wrong",
    "alarm-cleared": "Alarm cleared, not acknowledged yet",
    "went-over-its-limit": "Went over its limit",
    "has-been-over": "Has been over its limit",
    "will-pass-its-limit": "Will pass its limit",
    "is-over-its-limit": "Over its limit",
    "was-over-its-limit": "Was over its limit",
    # ---- headlines ---------------------------------------------------------------------------------
    "core-is-over": "{place} at {now}, over its limit of {limit}",
    "place-is-over": "{place} at {now}, over the core's limit of {limit}",
    "place-was-over": "{place} was at {now}, over its limit of {limit}, when it was last read, {age}",
    "readings-not-judged": "Its readings are not judged",
    "probe-silent": "{place} gives no reading, last {last}",
    "probe-silent-why": "{place} gives no reading, last {last}: {why}",
    "hotter-than-planned": "Hotter than its plan allowed",
    "hotter-than-forecast": "Hotter than its forecast allowed",
    "peak-past-over": "Its peak is past; it reached {hottest}, over its limit of {limit}",
    "been-over-and-not-past": "It has been over {limit}, and its peak is not past",
    "plan-passes-limit": "The plan says that the core passes {limit}",
    "core-probably-passes": "The core will probably pass {limit}",
    "core-rather-passes": "The core more likely than not passes {limit}",
    "no-thermometer": "No thermometer reads: the core was at {core} {last}",
    "no-thermometer-why": "No thermometer reads ({why}): the core was at {core} {last}",
    "no-thermometer-ever": "No thermometer has been read: nobody sees how hot it gets",
    "no-core-probe": "No probe at the core reads: the core was at {core} {last}",
    "no-core-probe-why": "No probe at the core reads ({why}): the core was at {core} {last}",
    "no-core-probe-ever": "No probe at the core has been read: nobody sees how hot it gets",
    "never-read": "never",
    "ago": "{time} ago",
    # ---- what to do --------------------------------------------------------------------------------
    "go-and-look": "Go there and look: no alarm of it would come.",
    "helps-most": "What helps most: {remedy}.",
    "confirm-that-seen": "Acknowledge it on the alarm's page.",
    "right-either-way": (
        "Right either way: stay nearby, put the fans in place, keep covers, sun and heaters off it."
    ),
    "look-for-cracks": "Before you open the form, look for cracks, bubbles and yellowing; open it cold.",
    "next-check-at": "Next check of the form: {at}.",
    "next-check-now": "Next check of the form: now.",
    # ---- who ---------------------------------------------------------------------------------------
    "who-is-on-it": "{who} is on it",
    "who-is-on-it-since": "{who} is on it since {since}",
    "nobody-is-on-it": "Nobody is on it yet",
    # ---- what comes next ---------------------------------------------------------------------------
    "at-about": " at about {at}",
    "about-now": " about now",
    "by-about": " by about {at}",
    "with-next-forecast": " with the next forecast",
    "any-minute-now": " any minute now",
    "clear-by": " It will be clear{when}.",
    "peak-not-predicted": "The peak is not predicted yet.",
    "peak-past-unmeasured": "By the hour its peak is past; nobody has measured it.",
    "peak-past-measured": "The peak is past: {core}, {age} after pouring.",
    "peak-past-measured-over": "The peak is past: {core}, {age} after pouring, over its limit of {limit}.",
    "plan-outdone": (
        "The core has read {core}; the plan predicted a peak of {peak}. Do not rely on that plan: the next forecast "
        "takes the readings in."
    ),
    "forecast-outdone": (
        "The core has read {core}; its forecast allowed {most} at most. Do not rely on that forecast: the next "
        "forecast takes the readings in."
    ),
    "above-the-plans-peak": "The core has read {core}; the plan's peak was {peak}.",
    "plan-peak-over": "The plan predicts a peak of {peak}{when}, over its limit of {limit}.",
    "plan-peak-below": "The plan predicts a peak of {peak}{when}, below its limit of {limit}.",
    "forecast-below": "Peak about {middle} ({low} to {high}){when}, below its limit of {limit}.",
    "forecast-passed": "It has been at {core}, over its limit of {limit}: peak {low} to {high}{when}.",
    "forecast-open": (
        "Whether it passes {limit} is not known yet: its peak may be anywhere from {low} to {high} (chance over the "
        "limit {chance}).{clear}"
    ),
    "forecast-rather-over": (
        "More likely than not it passes {limit}{when} (chance {chance}): peak {low} to {high}.{clear}"
    ),
    "forecast-over": (
        "It will probably pass {limit}{when} (chance {chance}): peak about {middle} ({low} to {high})."
    ),
    # ---- how sure ----------------------------------------------------------------------------------
    "sure-measured": "measured",
    "sure-by-plan": "from the plan alone; the readings come into it with the first forecast",
    "sure-by-readings": "90 % range, from the readings until {age} after pouring",
}
