"""Findings on depth, peak, room and layers."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- how deep ----
    "depth-unknown": "No deepest pour is known: neither datasheet nor model gave one.",
    "give-deepest-pour": "Give the deepest single pour with the resin: it stands in its datasheet.",
    "depth-held-by-model": "By the model {depth} stays under {limit}; the datasheet names no depth.",
    "depth-allowed": "{depth} is within the {most} allowed.",
    "depth-over-datasheet": "A single pour of {depth} is too deep: {most} is allowed.",
    "depth-over-model": "A single pour of {depth} is too deep: by the model {most} stays under {limit} in 19 of 20 "
    "cases{where}{sheet}.",
    "where-room": " {room}",
    "datasheet-allows": "; the datasheet allows {depth}",
    # ---- layers that hold ----
    "pour-thinner-and-predict": "Pour it in thinner layers, and predict them: a layer on warm resin gets hotter than "
    "one alone.",
    "holds-in-that-room": "This is {room}; any other may change it.",
    "no-layers-hold": "No layers were found that keep {limit} however they are timed. Cool the room, give the form "
    "more air, or take a slower resin; ask its maker.",
    "pour-equal-layers": Plural("Pour {n} layer of {depth}.", "Pour {n} layers of {depth}.", "n"),
    "pour-layers": Plural("Pour {n} layer: {depths}.", "Pour {n} layers: {depths}.", "n"),
    "wait-before-each-layer": "Wait {opens} to {closes} h before each next one.",
    "layer-after-scuffing": "Layer {layer}: not before {opens} after layer {below}; scuff it with {grit} grit, the "
    "walls above it too (dried runs do not bond), wash, let it dry, then pour.",
    "layer-within-window": "Layer {layer}: {opens} to {closes} h after layer {below}.",
    "layer-bonds-by-itself": "Within that time it bonds by itself, as long as a thumbnail still sinks in; later scuff "
    "it with {grit} grit, the walls above it too (dried runs do not bond), wash, let it dry, then pour.",
    "layers-stay-under": "Followed so, it stays under {peak} in 19 of 20 cases.",
    "scuff-before-layer": "Before the next layer: scuff this one with {grit} grit, the walls above it too (dried runs "
    "do not bond), wash, let it dry, then pour.",
    "glass-open": "How hard this resin gets in the end is not stated. With a glass transition from {low} to {high} its "
    "surface turns to glass after {closes} to {closes_late}, and takes no thumbnail after {hard} to {hard_late}.",
    "glass-open-ended": "How hard this resin gets in the end is not stated. With a glass transition from {low} to "
    "{high} its surface turns to glass after {closes} h at the soonest, and takes no thumbnail after {hard} h or much "
    "later.",
    "state-glass-transition": "Its datasheet's glass transition (Tg), on the resin's page, narrows this; until then a "
    "thumbnail on the piece decides.",
    "joint-unknown": "When the next layer bonds without sanding is not known.",
    "predict-or-scuff": "Predict the cure first, or wait until it is hard and scuff it, the walls above it too.",
    # ---- how hot ----
    "peak-predicted": "The resin is predicted to reach {peak}{when}{open}; {limit} is the limit.",
    "after-hours": " after {hours}",
    "nine-in-ten": " (90 % range {low} to {high})",
    "unknown.resin": "how fast the resin cures and how much heat it gives",
    "unknown.form": "how form and air take the heat away",
    "unknown.mix": "how warm the mix is as poured",
    "unknown.room": "how warm the room will be",
    "unknown.flow": "how far the liquid moves before it gels",
    "passes-limit-nearly-always": "It passes it in nearly every case.",
    "passes-limit-in-cases": "It passes it in {cases} of 10 cases.",
    "passes-limit-by-a-little": "It passes it by a little.",
    "datasheet-allows-this": "The datasheet allows this depth in this room.",
    "open-most-by": "What leaves it open most: {unknown}.",
    "too-uncertain": "That is too uncertain to pour on; what leaves it open most: {unknown}.",
    "narrow-resin": "To know, test a cup of it with one probe: it is on the resin's page.",
    "narrow-form": "To know, plan a fan over it from pouring on: what a fan takes away is known better than what still "
    "air does.",
    "narrow-mix": "To know, measure the mix before pouring, and put its temperature in the plan.",
    "narrow-room": "To know, let a thermometer stand in the room for a day and a night, and put its hours in the plan.",
    "narrow-flow": "To know, put the mix's viscosity in the plan: it stands in the datasheet.",
    "sure-depth": "A single layer of {depth}{where} passes the limit in less than 1 of 20 cases.",
    "sure-with-remedy": "With {remedy}{where} this pour passes it in less than 1 of 20 cases.",
    "fan-ready": "Have a fan ready and watch it through the peak.",
    "reaches-in-room": "It reaches {peak} {room}.",
    "reaches-with-remedy": "With {remedy}{where} it reaches {peak}, and passes the limit in less than 1 of 20 cases.",
    "or-pour-in-layers": "Or pour it in layers, as said above.",
    "pour-in-layers": "Pour it in layers, as said above.",
    "pour-shallower": "Pour shallower layers, cool the room or give it more air, and predict again.",
    "runaway-can-burn": "A pour that runs away can smoke and burn.",
    "void-hot": '"{void}" is deeper than the first layer that fills it: by itself it would reach {peak}; {limit} is '
    "the limit.",
    "fill-void-before": "Fill it in layers of its own before, and plan them as a pour of their own.",
    "look-under-form": "Look under the form, and say whether air moves there or it stands on a bench.",
    "core-over-surface": "Core and surface differ by up to {spread}: at most {stress} in the skin if it were already "
    "hard.",
    "core-far-over-surface": "Core and surface differ by more than {spread}.",
    "slow-surface-cooling": "Slow the cooling of the surface after the peak, or pour shallower layers.",
    # ---- the room ----
    "room-too-warm": "The room reaches {room}; {most} is the most. A warm room speeds the cure and raises the peak.",
    "cool-room": "Cool the room to {most} or below.",
    "room-too-cold": "The room falls to {room}; {least} is the least. It would stay soft.",
    "heat-room": "Heat the room gently to {least}, through the night too; no flame heater.",
    "warmer-runs-hotter": "Warmer runs hotter: predict it first.",
    "room-stays-between": "The room stays between {coldest} and {warmest}.",
    "room-stays-at": "The room stays at {room}.",
    "pour-then-reaches": "This pour then reaches {peak}.",
    "pour-still-open": "That alone is not enough: this pour would then reach {peak}, with a chance of {chance} to pass "
    "the limit.",
    "pour-still-reaches": "That alone is not enough: this pour would still reach {peak}.",
}
