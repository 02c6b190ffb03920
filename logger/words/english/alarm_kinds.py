"""The kinds of alarm: title, short form for a lock screen, limit and its source, consequence, causes, what to do."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "core-will-overheat.title": "The core will overheat",
    "core-will-overheat.title.short": "Core will overheat",
    "core-will-overheat.limit": (
        "the chance that the core passes the resin's limit is 90 % or more, 50 % when it is near"
    ),
    "core-will-overheat.source": "the resin's datasheet, as in the plan; the chances are this program's choice",
    "core-will-overheat.consequence": "The resin yellows, cracks or boils; at worst it smokes and burns.",
    "core-will-overheat.cause.1": "the resin cures faster or gives more heat than its datasheet says",
    "core-will-overheat.cause.2": "the pour is deeper than planned, or the mix or the room is warmer",
    "core-will-overheat.cause.3": "still air: the fan is off, or the underside is closed",
    "core-will-overheat.do.1": "Look at the forecast again in half an hour.",
    "core-hot.title": "The core is too hot",
    "core-hot.title.short": "Core too hot",
    "core-hot.limit": (
        "a core probe is over the resin's limit (raised {early} early, so that noise cannot hide it)"
    ),
    "core-hot.source": (
        "the resin's datasheet, as in the plan; {early} is half of the probe's tolerance of {tolerance}"
    ),
    "core-hot.consequence": "The resin yellows, cracks or boils; at worst it smokes and burns.",
    "core-hot.cause.1": "poured too deep or too warm for this resin",
    "core-hot.cause.2": "wrong resin, wrong hardener or wrong ratio",
    "core-hot.cause.3": "sun or a heat gun on it; a warm room; no air moving over it",
    "core-hot.do.1": "Keep clear and look from a distance first.",
    "core-hot.do.2": "Do not breathe the vapour.",
    "core-hot.do.3": "Only if there is no smoke and no sharp smell, cool it:",
    "hotter-than-predicted.title": "Hotter than predicted",
    "hotter-than-predicted.title.short": "Hotter than predicted",
    "hotter-than-predicted.limit": (
        "the core is over the top of the predicted band (the prediction run 12 % faster, and the larger "
        "of {least} and 30 % of its rise on top)"
    ),
    "hotter-than-predicted.source": "the prediction frozen with the pour; the widths are this program's choice",
    "hotter-than-predicted.consequence": "What makes it run ahead now can take it over the limit later.",
    "hotter-than-predicted.cause.1": "wrong ratio, wrong hardener, or a faster batch than the datasheet's",
    "hotter-than-predicted.cause.2": "mix or room warmer than planned, or sun on the form",
    "hotter-than-predicted.cause.3": "deeper than planned",
    "hotter-than-predicted.do.1": "Look at the forecast: does it stay below the limit?",
    "hotter-than-predicted.do.2": "Check the mixing notes: right resin, right hardener, right ratio, right depth?",
    "hotter-than-predicted.do.3": "Shade it, cool the room, let air move over it.",
    "hotter-than-predicted.do.4": "Stay near until the curve bends down.",
    "spread-too-wide.title": "Core and surface too far apart",
    "spread-too-wide.title.short": "Core and surface far apart",
    "spread-too-wide.limit": "the core is {limit} or more above the surface",
    "spread-too-wide.source": "rule of thumb, from estimates of when resin cracks; no published source",
    "spread-too-wide.consequence": "The skin pulls against the core; the resin can crack or part from the wood.",
    "spread-too-wide.cause.1": "too much cold air on the top",
    "spread-too-wide.cause.2": "a thick pour that runs hot",
    "spread-too-wide.cause.3": "a probe out of its place",
    "spread-too-wide.do.1": "If the core is below its limit: turn the fan down and keep draughts off the surface.",
    "spread-too-wide.do.2": "If the core nears its limit: go on cooling. Cracks are the smaller loss.",
    "spread-too-wide.do.3": "When it is over, let it cool slowly; do not open the form while it is warm.",
    "surface-heated.title": "Something heats the surface",
    "surface-heated.title.short": "Surface is being heated",
    "surface-heated.limit": (
        "the surface is {above} warmer than both core and room, or warms {quick} in 10 min without the core"
    ),
    "surface-heated.source": (
        "heat of cure comes from inside: without a source outside, the surface lies between core and "
        "room; {above} and {quick} are this program's choice"
    ),
    "surface-heated.consequence": "Heat from outside speeds the cure of the whole pour, bubbles or wrinkles the skin.",
    "surface-heated.cause.1": "sun on the table",
    "surface-heated.cause.2": "a heat gun or lamp held too long",
    "surface-heated.cause.3": "a heater blowing on it",
    "surface-heated.do.1": "Shade it: close the blind or put a board up, clear of the resin.",
    "surface-heated.do.2": "Switch the heater or lamp off, or turn it away.",
    "surface-heated.do.3": "With a heat gun: keep it moving, brief passes only.",
    "cure-behind.title": "Not hard at the planned time",
    "cure-behind.title.short": "Not hard in time",
    "cure-behind.limit": "by the forecast it is hard 2 h or more after the planned time",
    "cure-behind.source": "the planned time to open the form; the 2 h are this program's choice",
    "cure-behind.consequence": "Opened too early it bends, prints or tears from the form.",
    "cure-behind.cause.1": "a cold room",
    "cure-behind.cause.2": "a slow batch, or too little hardener",
    "cure-behind.cause.3": "a thin pour that stays cool",
    "cure-behind.do.1": "Keep the room warm and steady, inside the resin's range.",
    "cure-behind.do.2": (
        "Put the release off to the forecast time; press with a gloved thumb before you open the form."
    ),
    "cure-behind.do.3": "Still tacky after that: check ratio and mixing before you add heat.",
    "fan-not-cooling.title": "The fan does not cool",
    "fan-not-cooling.title.short": "Fan does not cool",
    "fan-not-cooling.limit": (
        "the fan is meant to run, and does not turn or brings less than 30 % of the cooling it should"
    ),
    "fan-not-cooling.source": (
        "the fan's proof contact, or the forecast: how much of the fan's cooling arrives is an unknown of "
        "its own, judged from all probes once a still fan cannot well be a turning one; the 30 % are this "
        "program's choice"
    ),
    "fan-not-cooling.consequence": "The plan counts on moving air; without it the core can pass its limit.",
    "fan-not-cooling.cause.1": "fan unplugged, blocked or turned away",
    "fan-not-cooling.cause.2": "relay or fuse",
    "fan-not-cooling.cause.3": "a cover left over the pour",
    "fan-not-cooling.do.1": "Look: does it turn, and does it blow over the top face?",
    "fan-not-cooling.do.2": "Take covers off; point it across the surface.",
    "fan-not-cooling.do.3": "Plug in another fan. Leave mains wiring to an electrician.",
    "room-cold.title": "The room is too cold",
    "room-cold.title.short": "Room too cold",
    "room-cold.limit": "the room is below the resin's range for 15 min in all (an open door does not count)",
    "room-cold.source": "the resin's datasheet, as in the plan; the 15 min are this program's choice",
    "room-cold.consequence": "The cure stalls; the resin can stay soft, cloudy or tacky.",
    "room-cold.cause.1": "heating off or on its night setting",
    "room-cold.cause.2": "door or window left open",
    "room-cold.cause.3": "room probe on a cold wall",
    "room-cold.do.1": "Shut doors and windows.",
    "room-cold.do.2": (
        "Warm the room gently and evenly; no heater aimed at the pour, no gas or paraffin heater near it."
    ),
    "room-cold.do.3": "Leave no heater alone that has no thermostat and no cut-out of its own.",
    "room-hot.title": "The room is too hot",
    "room-hot.title.short": "Room too hot",
    "room-hot.limit": "the room is above the resin's range for 15 min in all",
    "room-hot.source": "the resin's datasheet, as in the plan; the 15 min are this program's choice",
    "room-hot.consequence": "The cure runs faster and hotter than planned.",
    "room-hot.cause.1": "sun through a window",
    "room-hot.cause.2": "heating too high",
    "room-hot.cause.3": "room probe in the sun or over a heater",
    "room-hot.do.1": "Turn the heating down, shade the windows, let cool air in.",
    "room-hot.do.2": "Look at the forecast of the core before you leave.",
    "air-damp.title": "The air is damp",
    "air-damp.title.short": "Air is damp",
    "air-damp.limit": "humidity is over 75 %, or the surface is less than {margin} above the dew point",
    "air-damp.source": (
        "{margin} above the dew point is coating practice, no published source; the 75 % are this "
        "program's choice"
    ),
    "air-damp.consequence": "The face can turn greasy or cloudy, and the next coat does not hold.",
    "air-damp.cause.1": "wet weather with a door open",
    "air-damp.cause.2": "a cold slab in warm air",
    "air-damp.cause.3": "a gas or paraffin heater",
    "air-damp.do.1": "Shut doors, run a dehumidifier, warm the room a little.",
    "air-damp.do.2": "Put out gas and paraffin heaters: they make water and carbon dioxide.",
    "air-damp.do.3": "Wash the cured face with water and a pad before the next coat.",
    "wet-under-form.title": "Resin under the form",
    "wet-under-form.title.short": "Leak under the form",
    "wet-under-form.limit": "a contact under the form is wet, or a check of the form found it leaking",
    "wet-under-form.source": "the wet contact, or a person",
    "wet-under-form.consequence": "The pour drains away: low level, voids, resin on the floor.",
    "wet-under-form.cause.1": "a seam or corner that was not sealed",
    "wet-under-form.cause.2": "a knot or check that goes through",
    "wet-under-form.cause.3": "a clamp worked loose",
    "wet-under-form.do.1": "Stop pouring. Gloves on.",
    "wet-under-form.do.2": "Catch what comes out in a clean tray: it can go back while it still flows and is clean.",
    "wet-under-form.do.3": (
        "Wipe the leak dry, then stop it from outside with hot glue or silicone, tape and a clamp over it."
    ),
    "wet-under-form.do.4": "Floor: absorb it first with dry sand or absorbent; no sawdust heaps, thin layers only.",
    "wet-under-form.do.5": "A full tray or pail heats up by itself: spread it thin, keep it in sight.",
    "wet-under-form.do.6": "Mark the level and look every 5 min until it holds.",
    "look-due.title": "A check of the form is due",
    "look-due.title.short": "Form check due",
    "look-due.limit": "a check of the form in the first hour is 2 min overdue",
    "look-due.source": "common practice, no source: stay for half an hour, better an hour",
    "look-due.consequence": "A leak, or a form that opens, goes on unseen.",
    "look-due.cause.1": "nobody by the form",
    "look-due.do.1": "Go and look: dry below, level as it was, no smell of heat.",
    "look-due.do.2": "Tap what you found. If it leaks, tap that first.",
    "core-unwatched.title": "Nobody sees the core",
    "core-unwatched.title.short": "Core not seen",
    "core-unwatched.limit": (
        "no core probe gives a reading that can be believed (lost for 90 s, stuck, slipped out, or in "
        "another's place), while the core can still get hotter: until its peak is past by the forecast "
        "and by the plan"
    ),
    "core-unwatched.source": "this program's choice, as for a lost or doubtful probe",
    "core-unwatched.consequence": "The core can pass its limit, and no alarm would come.",
    "core-unwatched.cause.1": "plug out or wire broken",
    "core-unwatched.cause.2": "probe slipped or pulled out of the resin",
    "core-unwatched.cause.3": "core and room probe changed places",
    "core-unwatched.cause.4": "dead or stuck probe",
    "core-unwatched.do.1": "Go to the pour and look from a distance first.",
    "core-unwatched.do.2": (
        "Read a thermometer on its top face every 10 min until the core is seen again; compare it with "
        "the plan's."
    ),
    "core-unwatched.do.3": (
        "Check plug and cable, from the station outwards, and that each probe is where its label says."
    ),
    "core-unwatched.do.4": "A probe cast into the resin stays there: put a new one on the surface beside it.",
    "core-unwatched.do.5": "Do not reach into hot resin.",
    "probe-lost.title": "Probe lost",
    "probe-lost.title.short": "Probe lost",
    "probe-lost.limit": "no good reading for 90 s and three sweeps; all lost probes of a station are one alarm",
    "probe-lost.source": "this program's choice: two sweeps of 30 s may fail, the third tells",
    "probe-lost.consequence": "Nobody sees what happens at that place.",
    "probe-lost.cause.1": "plug out or wire broken",
    "probe-lost.cause.2": "probe pulled out of the resin",
    "probe-lost.cause.3": "wet or corroded joint",
    "probe-lost.cause.4": "dead probe",
    "probe-lost.do.1": "Check plug and cable, from the station outwards.",
    "probe-lost.do.2": "Several lost at once: look at the joint that they share.",
    "probe-lost.do.3": (
        "Replace the probe. One cast into the resin stays there: put a new one on the surface beside it."
    ),
    "probe-lost.do.4": "Do not reach into hot resin.",
    "probe-doubtful.title": "A probe cannot be right",
    "probe-doubtful.title.short": "Probe in doubt",
    "probe-doubtful.limit": "it jumps, sticks at one value, fails often, or contradicts the others",
    "probe-doubtful.source": "this program's choice; the core cannot move faster than its heat lets it",
    "probe-doubtful.consequence": "Forecast and alarms may rest on a wrong number.",
    "probe-doubtful.cause.1": "loose plug",
    "probe-doubtful.cause.2": "probe slipped out of its place",
    "probe-doubtful.cause.3": "two probes that changed places",
    "probe-doubtful.cause.4": "weak supply",
    "probe-doubtful.cause.5": "failing probe",
    "probe-doubtful.do.1": "Look where the tip sits, and whether the plug is firm.",
    "probe-doubtful.do.2": "Compare with another thermometer beside it.",
    "probe-doubtful.do.3": "Take it out of service if it is wrong, and say why.",
    "station-silent.title": "The station is silent",
    "station-silent.title.short": "Station silent",
    "station-silent.limit": "nothing heard from the station for 50 s, or no readings for 150 s",
    "station-silent.source": "this program's choice: heard of within a minute",
    "station-silent.consequence": (
        "Nobody watches the pour. The station keeps its readings and sends them later, if it runs."
    ),
    "station-silent.cause.1": "station without power",
    "station-silent.cause.2": "network down",
    "station-silent.cause.3": "station program stopped",
    "station-silent.do.1": "Go to the pour and look; read a thermometer by hand until the station is back.",
    "station-silent.do.2": "Check the station's power and network.",
    "station-silent.do.3": "Restart the station. What it read meanwhile will be sent.",
    "clock-unset.title": "The station's clock is not set",
    "clock-unset.title.short": "Clock not set",
    "clock-unset.limit": "the station has not had the time of day for 10 min",
    "clock-unset.source": "this program's choice",
    "clock-unset.consequence": "Alarms go on; times of day in the record are not sure until it is set.",
    "clock-unset.cause.1": "no network time",
    "clock-unset.cause.2": "no clock battery",
    "clock-unset.do.1": "Connect the station to the network, or set its clock.",
    "clock-wrong.title": "The station's clock is wrong",
    "clock-wrong.title.short": "Clock wrong",
    "clock-wrong.limit": (
        "the station says that its clock is set, and it is more than 5 min from the service's for 10 min"
    ),
    "clock-wrong.source": (
        "this program's choice: longer than any request takes, shorter than the age up to which readings "
        "from before the pour count"
    ),
    "clock-wrong.consequence": (
        "Alarms go on, and readings are dated by when they arrive; those that waited at a station while "
        "it was started again may be dated wrongly."
    ),
    "clock-wrong.cause.1": "the time zone was set instead of the time, or the time by hand",
    "clock-wrong.cause.2": "a clock chip with an empty battery",
    "clock-wrong.cause.3": "the service's own clock is the wrong one",
    "clock-wrong.do.1": "Compare both clocks with a watch; the stations' page says how far they are apart.",
    "clock-wrong.do.2": "Connect both machines to the network, so that it sets them: timedatectl set-ntp true.",
    "clock-wrong.do.3": "Start the station again once its clock is right.",
    "power-low.title": "The station's supply is weak",
    "power-low.title.short": "Weak supply",
    "power-low.limit": "the station reports that its supply voltage is too low",
    "power-low.source": "the board's own under-voltage sign",
    "power-low.consequence": "Wrong or missing readings, and a station that stops.",
    "power-low.cause.1": "weak power supply",
    "power-low.cause.2": "long or thin cable",
    "power-low.cause.3": "too much hung on its USB ports",
    "power-low.do.1": "Use the supply made for the board, and a short cable.",
    "power-low.do.2": "Unplug what is not needed.",
    "pins-failed.title": "Lamp, buzzer, fan or contacts do not work",
    "pins-failed.title.short": "Lamp, buzzer or fan fails",
    "pins-failed.limit": "the station reports a pin that it cannot open or drive",
    "pins-failed.source": "what the station's own system says",
    "pins-failed.consequence": (
        "The lamp stays dark, the fan as it is, or water under the form is not noticed. The thermometers "
        "are read all the same."
    ),
    "pins-failed.cause.1": "another program uses the pin",
    "pins-failed.cause.2": "the station's user may not use the pins",
    "pins-failed.cause.3": "the pins' library is missing",
    "pins-failed.do.1": "Stay near the pour: do not count on lamp, buzzer and contacts.",
    "pins-failed.do.2": "Switch the fan by hand if it is needed.",
    "pins-failed.do.3": "Run sudo pourlog check on the station, and do what it says.",
    "disk-low.title": "The disk is nearly full",
    "disk-low.title.short": "Disk nearly full",
    "disk-low.limit": "less than 500 MB free",
    "disk-low.source": "this program's choice: years of readings, days of logs",
    "disk-low.consequence": "Readings can no longer be kept.",
    "disk-low.cause.1": "photos or backups on the same disk",
    "disk-low.cause.2": "logs that grow",
    "disk-low.do.1": "Move old backups and photos to another disk.",
    "disk-low.do.2": "Do not delete the database.",
    "message-undelivered.title": "A message did not get through",
    "message-undelivered.title.short": "Message not delivered",
    "message-undelivered.limit": "a message has waited for 2 min, or its channel has failed for good",
    "message-undelivered.source": "this program's choice",
    "message-undelivered.consequence": "An alarm may reach nobody's phone.",
    "message-undelivered.cause.1": "internet or mail server down",
    "message-undelivered.cause.2": "a wrong address or an expired password in the settings",
    "message-undelivered.do.1": "Stay near the pour, or have somebody stay.",
    "message-undelivered.do.2": "Check the network, then the channel's address in the settings.",
    "message-undelivered.do.3": "Send a test message.",
    "keep-clear.1": (
        "If it smokes, hisses or smells sharp: keep everybody out, do not touch it and do not move it."
    ),
    "keep-clear.2": (
        "If you can do it from outside: open doors and windows. Shut the door behind you, call the fire "
        "service."
    ),
    "keep-clear.3": "The maker's safety data sheet rules. This logger is no fire alarm and no gas alarm.",
    "cool-now.1": "Turn fans on the top face and open the form's underside to the air.",
    "cool-now.2": "Cool the room. Keep sun, lamps and heaters off it.",
    "cool-now.3": "Do not add resin. Do not put ice or water on it.",
}
