"""What the alarms say: reasons, what people did about them, what keeps a watch from ending, the fan, the first hour."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- places: within a sentence, as a label, and at the head of a sentence -----------------------
    "at-core": "the core",
    "at-core-n": "core {n}",
    "at-surface": "the surface",
    "at-surface-n": "surface {n}",
    "at-underside": "the underside",
    "at-underside-n": "underside {n}",
    "at-room": "the room",
    "at-room-n": "room {n}",
    "label-core": "Core",
    "label-core-n": "Core {n}",
    "label-surface": "Surface",
    "label-surface-n": "Surface {n}",
    "label-underside": "Underside",
    "label-underside-n": "Underside {n}",
    "label-room": "Room",
    "label-room-n": "Room {n}",
    "head-core": "The core",
    "head-core-n": "Core {n}",
    "head-surface": "The surface",
    "head-surface-n": "Surface {n}",
    "head-underside": "The underside",
    "head-underside-n": "Underside {n}",
    "head-room": "The room",
    "head-room-n": "Room {n}",
    # ---- who ---------------------------------------------------------------------------------------
    "somebody": "Somebody",
    "the-station": "the station",
    # ---- the core over its limit -------------------------------------------------------------------
    "core-over": "The core reads {core}: it is over the resin's limit of {limit}.{trend}",
    "core-at": "The core reads {core}: it is at the resin's limit of {limit}.{trend}",
    "trend-rising": " It is rising by {by}.",
    "trend-falling": " It is falling by {by}.",
    "core-above-band": (
        "The core reads {core}, {age} after pouring; {predicted} was predicted, and up to {top} would be in the band."
        "{trend}"
    ),
    "core-will-pass": "The core will probably pass {limit}: chance {chance}{peak}{when}.{why}{help}",
    "core-likely-passes": (
        "The core more likely than not passes {limit}: chance {chance}{peak}{when}.{why}{help}"
    ),
    "overheats-about": ", peak about {middle} ({low} to {high})",
    "overheats-anywhere": ", peak anywhere from {low} to {high}",
    "overheats-at": ", peak about {middle}",
    "overheats-in": ", in about {time}",
    "overheats-any-minute": ", any minute now",
    "overheats-why": " Why: {causes}.",
    "overheats-help": " What would help: {remedies}.",
    "helps-fans": "fans now",
    "helps-underside-open": "underside opened now",
    "helps-cooler-room": "a cooler room within the hour",
    "helps-shade": "surface shaded now",
    "helps-as-it-is": "nothing",
    "peak-is-past": "The peak is past.",
    "chance-is-down": "The chance to pass {limit} is down to {chance}.",
    # ---- surface, cure, fan ------------------------------------------------------------------------
    "core-and-surface-apart": ("The core reads {core}, the surface {surface}: {apart} apart, limit {limit}."),
    "surface-above-all": (
        "The surface reads {surface}, {above} above both core and room: heat comes from outside."
    ),
    "surface-warms-alone": (
        "The surface warmed by {surface} in 10 min, the core by {core}: sun, a lamp or a heat gun, or the fan has "
        "stopped."
    ),
    "surface-back": "The surface is back between core and room.",
    "hard-later-than-planned": (
        "It will be hard about {hard} after pouring; {planned} was planned: {later} later."
    ),
    "hard-as-planned": "It will be hard about {hard} after pouring; {planned} was planned.",
    "hard-not-within": "It may not be hard within {within} after pouring; {planned} was planned.",
    "fan-not-meant": "The fan is not meant to run.",
    "fan-does-not-turn": "The fan is switched on, and its contact says that it does not turn.",
    "fan-turns": "The fan turns.",
    "fan-brings": "The fan brings {share} of the cooling that it should.",
    # ---- room, air, form ---------------------------------------------------------------------------
    "room-below": "The room is at {room}; this resin needs {limit} or more.",
    "room-above": "The room is at {room}; this resin bears {limit} at most.",
    "surface-near-dew-point": (
        "A surface at {surface} is only {margin} above the dew point; {least} is the least."
    ),
    "surface-below-dew-point": "A surface at {surface} is {margin} below the dew point: water settles on it.",
    "air-too-humid": "The air has {humidity} humidity; {most} is the most.",
    "air-back": "The air is back at {humidity} humidity.",
    "contacts-wet": "Wet under the form: {contacts}.",
    "found-leaking": "{who} found it leaking{note}.",
    "what-was-noted": " ({note})",
    "level-went-down": "the level fell",
    "dry-under-form": "Dry under the form.",
    "first-hour-over": "The first hour is over.",
    "form-checked": "Somebody has checked the form.",
    "check-overdue": "The check of the form is {late} late.",
    # ---- probes ------------------------------------------------------------------------------------
    "no-reading-from": "No reading from {place}.",
    "nobody-sees-the-core": "{why} Nobody sees how hot the core gets.",
    "core-heats-no-more": "The core can hardly heat any more: its peak is past.",
    "core-seen-again": "The core is seen again.",
    "core-cooler-than-elsewhere": (
        "The probe at {place} reads {there}, over the core's limit, and the core's only {here}: the two may have "
        "changed places."
    ),
    "core-cooler-than-room": (
        "The room's probe reads {room} and the core's only {here}, where {predicted} was predicted: the two may have "
        "changed places."
    ),
    "core-in-the-air": (
        "The core reads {here}, like the room, and the surface {surface}: its probe has slipped out of the resin."
    ),
    "probes-read-again": "All probes give readings again.",
    "no-probe-reads": "None of the {n} probes has given a reading for {time}: look at the wire they share.",
    "no-reading-for": "No reading from {places} for {time}.",
    "probe-jumps": "The probe at {place} jumps: {n} readings that nothing around them explains.",
    "probe-fails-often": "The probe at {place} fails in {share} of its readings.",
    "probe-steady-again": "The probe at {place} reads steadily again.",
    "probe-stuck": "The probe at {place} has read {value} for {time}, while {others} moved by {moved}.",
    "core-below-its-faces": (
        "The core reads {core}, but both faces are warmer ({surface} and {underside}): it has slipped out of its "
        "place, or one of them is wrong."
    ),
    "core-below-underside": (
        "The underside reads {underside} and the core only {core}, but the heat of the cure comes from inside: the two "
        "have changed places, or something heats the form from below."
    ),
    # ---- station and service -----------------------------------------------------------------------
    "station-not-stored": ("Readings come from {station}, and none could be stored for {time}: {why}."),
    "station-not-heard": "Nothing heard from {station} for {time}.",
    "station-sends-nothing": "No reading has come from {station} for {time}, though it answers.",
    "station-heard-again": "Heard from {station} again.",
    "clock-is-set": "The clock of {station} is set.",
    "clock-not-set": "The clock of {station} is not set: it does not know the time of day.",
    "clock-ahead": "The clock of {station} is {off} ahead of the service's; readings are dated by their arrival.",
    "clock-behind": "The clock of {station} is {off} behind the service's; readings are dated by their arrival.",
    "clock-agrees": "The clock of {station} agrees with the service's.",
    "supply-weak": "The supply of {station} is too weak.",
    "supply-good-again": "The supply of {station} is good again.",
    "pins-fail": "Pins of {station} do not work: {why}.",
    "pins-work-again": "All pins of {station} work again.",
    "disk-nearly-full": "The disk of {owner} has {free} free; {least} is the least.",
    "messages-failed": Plural(
        "{n} message could not be delivered by any channel.",
        "{n} messages could not be delivered by any channel.",
        "n",
    ),
    "message-waits": "A message has waited for {time} to be sent.",
    "messages-sent": "All messages have been sent.",
    # ---- what happened to an alarm -----------------------------------------------------------------
    "alarm-in-hand": "{who} is on it: {reason}",
    "alarm-confirmed-over": "{who} has acknowledged it; it has cleared: {reason}",
    "alarm-shelved": "{who} snoozed it for {time}{why}",
    "alarm-unshelved": "{who} ended the snooze",
    "alarm-out": "{who} took it out of service: {reason}{time}",
    "alarm-out-for": " (for {time})",
    "alarm-back": "{who} put it back in service",
    "alarm-back-in-time": "Back in service: the time that {who} gave it is over.",
    "alarm-why": ": {why}",
    "shelf-over": "Its snooze is over.",
    "shelf-over-still-true": "Its snooze is over, and it has not cleared: {reason}",
    "shelf-ended-worse": "The snooze has ended, because it got worse: {reason}",
    "alarm-still-true": "Not cleared {time} after {who} acknowledged it: {reason}",
    "alarm-worse": "It got worse: {reason}",
    "alarm-no-longer": "Cleared: “{title}”.",
    "alarm-back-inside": "Back inside: {value} (limit {limit}).",
    # ---- what keeps a watch from ending ------------------------------------------------------------
    "end-alarm-up": "An alarm is up: {title}.",
    "end-alarm-up-because": "An alarm is up: {title}. {reason}",
    "end-hardness-unknown": "Nobody knows when the core is hard enough to open the form.",
    "end-not-hard": "The core is not hard yet: the form can be opened in about {left}.",
    "end-check-missed": "The check of the form is {ago} overdue.",
    "end-check-to-come": "Checks of the first hour are still to come: the next is due in {left}.",
    "end-rising-over": "{place} is at {core}, over its limit of {limit}, and rises by {by}.",
    "end-rising-towards": (
        "{place} is at {core} and rises by {by}: as it goes now it passes its limit of {limit} in {left}."
    ),
    "end-over": "{place} is at {core}: its limit is {limit}.",
    "end-doubted-over": "The probe at {place} reads {core}, is doubted, and its limit is {limit}.",
    "end-was-over": "{place} was at {core} when it was last read, {ago} ago: its limit is {limit}.",
    "end-not-back-yet": (
        "The alarm that the core is too hot is still up: the core is not back far enough below its limit of {limit}, "
        "or not for long enough."
    ),
    "end-plan-passes": "By its plan the core gets to {peak}, {age} after pouring: its limit is {limit}.",
    "end-trend-unknown": "{place} has not been read for long enough to know whether it rises.",
    "end-never-read": "No core probe has ever been read: nobody knows how hot the core is.",
    "end-doubted": "What the probe at {place} reads is doubted: nobody knows how hot the core is.",
    "end-last-read": "The core was last read {ago} ago, at {core}: nobody knows how hot it is now.",
    # ---- why the fan is switched -------------------------------------------------------------------
    "fan-planned": "planned for {time} from now on",
    "fan-plan-over": "its planned time is over",
    "fan-needed": "without it the core would probably pass {limit}: chance {chance}",
    "fan-not-needed": "the core stays below {limit} without it, too",
    "fan-core-cooled": "the peak is past and the core is at {core}",
    "fan-unasked": "nothing asks for it any more",
    # ---- the first hour ----------------------------------------------------------------------------
    "look-other.do.1": "Write down what you saw, and look again in 5 min.",
    "level-fell": "The level fell by {fall} in {time}; wood and bubbles take {soak} or so.",
    "level-fell-volume": "The level fell by {fall} in {time}, about {volume}; wood and bubbles take {soak} or so.",
    "poured-more": (
        "{poured} went in and {planned} were planned, {share} more than planned: a leak, a void, or a deeper pour that "
        "runs hotter than predicted."
    ),
    "poured-less": (
        "{poured} went in and {planned} were planned, {share} less than planned: check the level before you call it "
        "done."
    ),
    # ---- what is refused ---------------------------------------------------------------------------
    "act-on-an-alarm": "an act on an alarm",
    "has-no-name": "has no name to it",
    "say-who-you-are": "say who you are",
    "raised-again-since": (
        "{title}: this acknowledges alarm number {this}, and the last one is number {last}; open the alert page and "
        "acknowledge that one"
    ),
    "snooze-of": "snoozing of “{title}”",
    "too-long-or-not-above-0": "is too long or not above 0",
    "snooze-at-most": "above 0 to {most} from the first snooze on",
    "snooze-shorter": "give a shorter time; it can be snoozed again after it has been heard again",
    "out-of-service-of": "“{title}” out of service",
    "out-without-reason": "has no reason",
    "say-why-in-short": "say why in a few words",
    "above-0-h": "above 0 h",
    "out-at-most": "above 0 to {most} from the first time on",
    "ends-too-late": "has no end, or one that is too late",
    "ends-wrong": "has a wrong end",
    "give-hours-until-checked": "give the hours until it must be looked at again",
    "predicted-curve": "predicted curve",
    "curve-hours-and-temperatures": "needs hours that do not fall and one finite temperature each",
    "curve-has": "{hours} hours, {temperatures} temperatures",
    "predict-again": "predict the pour again",
    "no-such-alarm-key": "no alarm is named {key}; give <kind>/<subject>, such as core-hot/pour",
    "rhythm-of-looks": "rhythm of checks: {name}",
    "rhythm-out-of-range": "is out of range",
    "minutes-from-to": "{low} to {high} min",
    "look-more-or-less-often": "check more or less often",
    "poured-volume": "volume",
    "volume-above-0": "must be above 0 planned and not negative poured",
    "correct-the-number": "correct the number",
    "no-priority-row": "no row of the priority matrix for {minutes} min; give a number of minutes",
    "no-such-kind": "no kind of alarm is named {name}; known: {known}",
    # ---- how the alarms behave ---------------------------------------------------------------------
    "rate-hour": "alarms an hour",
    "rate-day": "alarms a day",
    "rate-ten-min": "most alarms in 10 min",
    "rate-busy": "10-min intervals with more than 10",
    "rate-flood": "time in flood",
    "rate-chattering": "chattering alarms",
    "rate-fleeting": "fleeting alarms",
    "rate-stale": "stale alarms (over 24 h)",
    "rate-high": "high priority",
    "rate-medium": "medium priority",
    "rate-low": "low priority",
    "rate-about-most": "about {about}, at most {most}",
    "rate-ten-or-fewer": "10 or fewer",
    "rate-below": "below {most}",
    "rate-none": "none",
    "rate-fewer": "fewer than {most}",
    "rate-about": "about {about}",
    "source-second-hand": "ISA-18.2-2016, as others cite it",
    "source-from-memory": "a usual figure of alarm management, not checked against a publication",
}
