"""The cure model: runaways, assumptions, predictions, causes, what-ifs, advice, and what it refuses."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- a runaway ----
    "runaway-caution": (
        "Expect smoke, harmful fumes, cracks, and fire where it touches what burns. Do not pour it like this. If a "
        "pour ever smokes or boils: leave it, keep everybody out of the fumes, call the fire service. The safety data "
        "sheet and local codes rule."
    ),
    "runaway": "This is a runaway. {caution}",
    "runaway-unknown": (
        "This is a runaway, and outside what the model knows: no figure over {limit} holds. {caution}"
    ),
    # ---- what is assumed ----
    "law-left-small-top": "The top is so small that still air over it was never measured: what it gives off is "
    "rough.",
    "law-left-large-top": "The top is so large and warm that still air over it was never measured: what it gives off "
    "is rough.",
    "law-left-small-underside": "The underside is so small that still air under it was never measured: what it gives "
    "off is rough.",
    "law-left-large-underside": "The underside is so large and warm that still air under it was never measured: what "
    "it gives off is rough.",
    "law-left-large-side": "The side is so high and warm that the air along it becomes turbulent: it gives off more "
    "than is worked out here.",
    "law-left-driven": "The fan's air is so fast over so long a top that it was never measured: what the top gives off "
    "is rough.",
    "law-left-air": "The air at its faces gets so hot or cold that what they give off is more than 6 % off.",
    "underside-unsaid": (
        "What is under the form is not said: it is taken to stand on a bench, which is hotter than free air below."
    ),
    "widest-section": "The heat is worked out for the widest section: {place}.",
    "widest-bottom": "{across} across at the bottom of the form",
    "widest-station": "{width} at {along} along",
    "widest-top": "{width} at the top",
    "widest-below": "{top}, and {below} below, where the edges recede",
    "widest-disc": "a disc {across} across, as large as what was traced",
    "widest-traced": "{across} across at the traced place ({x}, {y})",
    # ---- warnings of a prediction ----
    "still-warming": (
        "It is still warming after the {run} that are predicted (run.hours): its peak comes later. Predict for longer."
    ),
    "solved-coarsely": (
        "So many layers in one another's heat were solved on a coarse mesh only: take the peak as rough, and plan "
        "fewer layers or longer waits."
    ),
    "hottest-spot-rough": (
        "The hottest spot, a thin edge that reacts last, is known to {within} only; the core is not affected."
    ),
    "liquid-moves": (
        "Liquid resin is taken to move until it gels ([resin.flow] of the plan), which keeps it cooler. Simulations "
        "show it; no measured pour backs it yet. At rest it would get hotter: leave room for that."
    ),
    "layer-after-run": (
        "Layer {layer} at {at} is poured after the {run} that are predicted (run.hours): it is not in this prediction. "
        "Predict for longer."
    ),
    "layer-too-deep": (
        "Layer {layer} is {depth} deep; the datasheet allows {allowed} a pour. Pour it in thinner layers."
    ),
    "room-below-sheet": (
        "The room falls to {room}; the datasheet asks for at least {least}. It may stay soft."
    ),
    "room-above-sheet": ("The room reaches {room}; the datasheet allows {most}. It runs hotter and faster."),
    "unusual-energy": (
        "{name} = {value} is outside {low} to {high}, usual for resins that cure at room temperature. Check the fit."
    ),
    # ---- how hard it is ----
    "hardness-liquid": "not gelled yet: it still flows; leave it level and covered",
    "hardness-soft": "gelled but rubbery: leave it in the form",
    "hardness-fingernail": "a thumbnail still marks it: leave it in the form",
    "hardness-hard": "a thumbnail no longer marks it: it can leave the form once it has cooled",
    "hardness-full": "as hard as it gets in this room",
    # ---- causes of a pour that goes otherwise than planned: parts of a list ----
    "cures-faster": "the resin cures faster than planned ({size})",
    "cures-slower": "the resin cures slower than planned ({size})",
    "gives-more-heat": "the cure gives more heat than planned ({size})",
    "gives-less-heat": "the cure gives less heat than planned ({size})",
    "starts-sooner": "the cure starts sooner than planned ({size})",
    "starts-later": "the cure starts later than planned ({size})",
    "warmth-speeds-more": "warmth speeds the cure more than planned ({size})",
    "warmth-speeds-less": "warmth speeds the cure less than planned ({size})",
    "surface-cools-more": "more cooling at the surface than planned ({size})",
    "surface-cools-less": "less cooling at the surface than planned ({size})",
    "surface-like-still-air": "the surface cools as in still air ({now} instead of {planned})",
    "underside-cools-more": "more cooling at the underside than planned ({size})",
    "underside-cools-less": "less cooling at the underside than planned ({size})",
    "edges-cool-more": "more cooling at the edges than planned ({size})",
    "edges-cool-less": "less cooling at the edges than planned ({size})",
    "poured-warmer": "the mix was poured warmer than planned ({size})",
    "poured-cooler": "the mix was poured cooler than planned ({size})",
    "air-warmer": "the air is warmer than the room probe says ({size})",
    "air-cooler": "the air is cooler than the room probe says ({size})",
    "core-probe-high": "the core probe sits above mid-depth ({size})",
    "core-probe-low": "the core probe sits below mid-depth ({size})",
    "liquid-moves-more": "the liquid resin stirs itself more than planned ({size})",
    "liquid-moves-less": "the liquid resin stirs itself less than planned ({size})",
    "core-probe-aside": "the core probe sits off the centre line ({size})",
    "surface-probe-low": "the surface probe sits below the face ({size})",
    "surface-probe-high": "the surface probe sits above the face ({size})",
    "underside-probe-warm": "the underside probe reads warmer than the face ({size})",
    "underside-probe-cool": "the underside probe reads cooler than the face ({size})",
    "surface-heated": "sun or a heater warms the surface ({size})",
    "surface-in-draught": "a draught cools the surface ({size})",
    "fan-cools-more": "the fan cools more than it should ({part} of it)",
    "fan-cools-less": "the fan cools less than it should ({part} of it)",
    # ---- a probe that is hardly believed ----
    "core-probe-doubted": (
        "the core probe does not agree with the other probes and the plan: check its position"
    ),
    "surface-probe-doubted": (
        "the surface probe does not agree with the other probes and the plan: check its position"
    ),
    "underside-probe-doubted": (
        "the underside probe does not agree with the other probes and the plan: check its position"
    ),
    "probe-doubted": (
        "the probe {probe} does not agree with the other probes and the plan: check its position"
    ),
    # ---- what would help now ----
    "what-if-nothing": "as it is: {now}",
    "what-if-fans": "fans now: {now} → {then}",
    "what-if-underside": "underside opened now: {now} → {then}",
    "what-if-room": "room {cooler} cooler within the hour: {now} → {then}",
    "what-if-shade": "surface shaded now: {now} → {then}",
    # ---- when the next layer bonds ----
    "bond-glass-ungelled": (
        "The surface turns to glass after about {closes} without having gelled: it is only half cured. Warm the room "
        "until it has cured before any next layer."
    ),
    "bond-never-gels": ("The surface does not gel within 60 days: do not pour a next layer; warm the room."),
    "bond-glass-first": (
        "The surface turns to glass before it gels: after about {opens} scuff it, wash and dry it, then pour the next "
        "layer."
    ),
    "bond-open-ended": "From about {opens} on the next layer bonds without sanding.",
    "bond-window": (
        "From about {opens} to about {closes} the next layer bonds without sanding, as long as a thumbnail still sinks "
        "in. Later: scuff, wash and dry the surface first."
    ),
    "layer-too-early": (
        "Layer {layer} at {at}: the surface has not gelled (about {gels}): the layers run together and their heat adds "
        "up."
    ),
    "layer-never-gels": (
        "Layer {layer} at {at}: the surface has not gelled (it does not gel): the layers run together and their heat "
        "adds up."
    ),
    "layer-bonds": (
        "Layer {layer} at {at}: it bonds without sanding, as long as a thumbnail still sinks in."
    ),
    "layer-bonds-until": (
        "Layer {layer} at {at}: it bonds without sanding, as it would until about {closes}, as long as a thumbnail "
        "still sinks in."
    ),
    "layer-needs-scuff": (
        "Layer {layer} at {at}: the surface has turned to glass: scuff, wash and dry it before pouring."
    ),
    # ---- how deep, in which room, with what cooling ----
    "no-safe-depth": (
        "Even {depth} reaches {peak}, over the limit of {limit}: this resin is not for casting in this room."
    ),
    "every-depth-safe": "Up to {depth}, the deepest tried, it stays under {limit}.{sheet}",
    "deepest-safe": (
        "Deepest safe single layer: {depth} (peak {peak}). {deeper} already reaches {reached}; limit {limit}.{sheet}"
    ),
    "no-depth-at-chance": (
        "Even {depth} passes the limit of {limit} with a chance of {chance} or more: too little is known of this resin "
        "to cast it in this room."
    ),
    "deepest-at-chance": (
        "Deepest single layer: {depth}, with a chance below {chance} to pass {limit}. {deeper} has more.{sheet}"
    ),
    "deeper-at-chances": "{quarter_depth} passes it in up to 1 of 4 cases, {half_depth} in up to half of them.",
    "keep-to-sheet-depth": " The datasheet allows {depth}: keep to that.",
    "no-room-suits": (
        "No room suits this pour: where it is hard within {within} it goes over {limit}. Pour thinner layers, or take "
        "a slower or faster system."
    ),
    "rooms-that-work": (
        "Works in a constant room from {coolest} ({tried_cool}hard everywhere after {hard}) to {warmest} "
        "({tried_warm}peak {peak}, limit {limit})."
    ),
    "rooms-at-chance": (
        "Works in a constant room from {coolest} ({tried_cool}hard everywhere after {hard}) to {warmest} "
        "({tried_warm}chance below {chance} to pass {limit})."
    ),
    "coolest-tried": "the coolest tried; ",
    "warmest-tried": "the warmest tried; ",
    "room-at-most": "at most {most}",
    "room-at-least": "at least {least}",
    "room-between": "at most {most} and at least {least}",
    "in-sheet-room": "in a room of {room}, as the datasheet asks",
    "advice-in-sheet-room": "In a room of {room}, as the datasheet asks: {answer}",
    "remedy-free-air": "free air under the form (raise it on bearers)",
    "remedy-fan": "a fan over it, {air}, from pouring until it has cooled",
    "remedy-fan-and-free-air": (
        "a fan over it, {air}, from pouring until it has cooled, and free air under the form"
    ),
    "remedy-room": "a room of {room}",
    "remedy-cooler-room": "a room {cooler} cooler at every hour",
    # ---- what the model refuses ----
    "range": "{low} to {high}",
    "range-is-usual": "{low} to {high} is usual",
    "above": "above {least}",
    "at-least": "{least} or above",
    "cannot-be-used": "cannot be used",
    "is-out-of-range": "is out of range",
    "is-before-pouring": "is before pouring",
    "hours-from-pouring": "0 h or more",
    "depth-of-pour": "depth of the pour",
    "deepest-layer": "deepest layer",
    "above-depth": "above {least}",
    "take-from-sheet-or-prediction": "take it from the datasheet or the prediction",
    "no-depths-to-search": "leave nothing to search",
    "rising-depths": "0 < from_mm < most_mm, step_mm above 0",
    "give-other-depths": "give other depths",
    "is-no-time": "is no time",
    "above-no-time": "above 0 h",
    "give-hours": "give hours",
    "nothing-safe-confirmed": "no safe setting was confirmed near {setting}; ask again with a wider bracket",
    "nothing-unsafe-confirmed": (
        "no unsafe setting was confirmed near {setting}; ask again with a wider bracket"
    ),
    "leaves-no-rise": "leaves no room for any rise",
    "limit-above-room": "above the room's {room}, at most {most}",
    "take-highest-core": "take the datasheet's highest core temperature",
    "is-no-plausible-factor": "is no plausible factor",
    "take-rate-factor-range": "take the fit's rate_factor_range",
    "checkpoint-of-other-mesh": "does not fit this plan's mesh",
    "start-from-same-plan": "start from a checkpoint of the same plan",
    "too-many-steps": Plural(
        "{n} step did not reach {until}; check the rate constants",
        "{n} steps did not reach {until}; check the rate constants",
        "n",
    ),
    "step-too-short": (
        "the step fell below {step} at {at} without reaching the accuracy; check the rate constants and the heat of "
        "cure"
    ),
    "lengths-differ": "their lengths differ ({error})",
    "give-m-values": "give M values each",
    "finite-factors": "finite, factors not negative",
    "correct-the-prior": "correct the prior",
    "is-not-after-start": "is not after the start",
    "above-hours": "above {least}",
    "hours-and-celsius-differ": "hours and celsius do not fit",
    "hours-must-rise": "its hours must rise",
    "sort-readings": "sort the readings, drop repeated times",
    "do-not-rise": "do not rise",
    "temperature-missing": ("a temperature in this history is missing; fill or drop it before integrating"),
    "warmer-stops-earlier": "would make a warmer resin stop earlier",
    "check-the-sign": "check the sign",
    "cure-hardly-starts": "puts the critical conversion at {at} so low that the cure hardly starts",
    "check-ac0": "check ac0, or leave [resin.diffusion] out: it is then taken from [resin.glass]",
    "amine-ratio": "mixing ratio (amine hydrogens per epoxide, 1 = right)",
    "never-gels": "never gels",
    "third-to-three": "1/3 to 3",
    "weigh-a-fresh-batch": "do not pour it; weigh a fresh batch",
    "is-no-share": "is no share of the mix",
    "between-0-and-1": "between 0 and 1",
    "hardener-share": "hardener mass over mass of the mix",
    "heat-per-equivalent": "heat per equivalent",
    "is-no-epoxy-with-amine": "is no epoxy with amine",
    "is-no-weight": "is no weight",
    "take-from-datasheet": "take it from the datasheet",
}
