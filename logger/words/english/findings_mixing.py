"""Findings on ratio, pails and scale; the mixing bench: what weights look like, and what to do."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- the ratio ----
    "ratio-by-weight": "{a} : {b} by weight",
    "ratio-by-volume": "{a} : {b} by volume",
    "mix-unknown": "The plan does not say how the two parts are mixed.",
    "give-ratio": "Give the datasheet's ratio, and whether it is by weight or by volume.",
    "measure-by-weight-alone": "Measure {ratio} (by volume it is another ratio, which only both densities tell).",
    "measure-by-volume-alone": "Measure {ratio} (by weight it is another ratio, which only both densities tell).",
    "measure-ratio-either-way": "Measure {ratio} ({weight} is the same as {volume}).",
    "measure-ratio": "Measure {ratio}.",
    "weigh-or-measure-ratio": "Weigh {weight}, or measure {volume}.",
    "measures-too-much-hardener": "Measuring {ratio} would put in {off} too much hardener; the datasheet means "
    "{right}.",
    "measures-too-little-hardener": "Measuring {ratio} would put in {off} too little hardener; the datasheet means "
    "{right}.",
    "looks-like": "This looks like {mistake}.",
    "mix-stays-softer": "Such a mix gives {less_heat} less heat, and its glass transition ends about {softer} lower: "
    "it stays softer.",
    "mix-never-gels": "Such a mix never gels: it stays a syrup.",
    "chemistry-unknown": "Whether the ratio fits the equivalent weights is not known: they speak of weight, it is by "
    "volume.",
    "add-both-densities": "Add both densities to have it checked.",
    "ratio-against-chemistry": "The stated ratio is {stated} parts of hardener to 100 by weight; the equivalent "
    "weights ask for {asked} ({off}).",
    "ask-which-ratio": "Ask the maker which ratio holds, and mix a small cup first.",
    "density-apart": "The plan's mix weighs {mix}, its parts come to {parts}.",
    "correct-densities": "Correct the density of the mix, or those of its parts.",
    # ---- pails and scale ----
    "pails-of-pour": Plural(
        "{n} pail of {litres} ({mass}) in a {pail} pail; it is workable for about {working} and needs {needed} to mix "
        "and pour.",
        "{n} pails of {litres} ({mass}) in {pail} pails; each is workable for about {working} and needs {needed} to "
        "mix and pour.",
        "n",
    ),
    "pails-of-layer": Plural(
        "Layer {layer}: {n} pail of {litres} ({mass}) in a {pail} pail; it is workable for about {working} and needs "
        "{needed} to mix and pour.",
        "Layer {layer}: {n} pails of {litres} ({mass}) in {pail} pails; each is workable for about {working} and needs "
        "{needed} to mix and pour.",
        "n",
    ),
    "take-smaller-pails": "Take smaller pails, cool the parts, or pour with more hands: it may set in the pail.",
    "scale-unknown": "The scale is not named.",
    "give-scale-step": "Give the smallest step that the scale shows: it stands on its plate.",
    "scale-steps-of-layer": "Layer {layer}: the scale's {step} steps put the ratio off by {off} at worst.",
    "use-finer-scale": "Use a finer scale, or mix more at once.",
    # ---- the steps of a card ----
    "bench-weigh-and-stir": "Weigh A, then B, in the second person's sight. Type both weights in. Start stirring.",
    "bench-scrape": "Scrape the sides, the bottom and the stick; go on stirring.",
    "bench-change-pail": "Scrape once more. Tip into a clean pail; do not scrape this one out.",
    "bench-stir-on": "Stir on in the second pail.",
    "bench-pour-without-streaks": "No streaks against the light? Pour. Streaks: stir on.",
    "mixing-safety-data-sheet": "The maker's safety data sheet rules: gloves, eye protection, air. Uncured parts can "
    "sensitise for life.",
    "mixing-pail-can-smoke": "A pail left standing can smoke. Pour it out thin; never lean over a hot pail and never "
    "carry one.",
    "mixing-if-it-smokes": "If it smokes: leave, close the door, keep people out, call the fire service.",
    # ---- one batch by its weights ----
    "weights-of-parts": "{a} A and {b} B",
    "batch-right": "{weights}: the right ratio (right is {ratio}).",
    "batch-too-much-b": "{weights}: {off} too much part B (right is {ratio}).",
    "batch-too-little-b": "{weights}: {off} too little part B (right is {ratio}).",
    "weigh-batch-again": "It must not meet the wood. Weigh again, and type what the scale shows. If the weights are as "
    "typed, leave this batch, mix a new one, and ask the resin's maker about it.",
    "check-weights-as-typed": "Look at the numbers first: were they typed as the scale showed them?",
    "whole-volume-mixed-before": "The plan's whole volume was mixed before this batch.",
    "find-where-resin-went": "Find out where the resin went before you pour more: a leak, a void, a wrong measure?",
    "small-batch": "A small batch, {part} of the planned one: did the scale show that?",
    "add-part-and-stir": "Add {more} of part {part} and stir.",
    "add-part-and-stir-again": "Add {more} of part {part} now and stir again in full.",
    "nothing-weighed": "Nothing has been weighed yet.",
    "weigh-a-then-b": "Weigh part A, then part B.",
    "part-not-in": "Part {part} is not in yet.",
    "weigh-part-again": "Weigh part {there} again, and type what the scale shows, before part {missing} goes in.",
    "batch-too-thick": "Too thick to pour: {age} since the parts met, and this pail can be worked for {working}. "
    "Spread it thin in a tray outdoors to cure, and mix a new batch.",
    "batch-too-late": "Too late to correct: {age} since the parts met, and this pail can be worked for {working}. "
    "Spread it thin in a tray outdoors to cure, and mix a new batch.",
    "batch-poured-wrong": "It has been poured: too late to correct. Do not pour more on it. Scoop out what is still "
    "liquid, mark the place, and look at it before the next layer; it will stay soft where it is far off.",
    # ---- what wrong weights look like: after "This looks like" ----
    "slip-against-plan": "{slip}: {weights} instead of {planned}",
    "slip-of-size": "{slip}: {total} in all; the planned batch weighs {planned}",
    "slip-in-part": "{slip}, for part {part}",
    "parts-swapped": "the parts swapped",
    "twice-planned-batch": "twice the planned batch",
    "part-put-in-twice": "part {part} put in twice",
    "half-of-part": "half of part {part}",
    "next-to-nothing": "next to nothing",
    "batch-too-large": "{times} times the planned batch: {total} in all instead of {planned}, and one batch may weigh "
    "{most}",
    "kilograms-typed-as-pounds": "kilograms typed as pounds",
    "grams-typed-as-pounds": "grams typed as pounds",
    "ounces-typed-as-pounds": "ounces typed as pounds",
    "kilograms-typed-as-ounces": "kilograms typed as ounces",
    "grams-typed-as-ounces": "grams typed as ounces",
    "pounds-typed-as-ounces": "pounds typed as ounces",
    "kilograms-typed-as-grams": "kilograms typed as grams",
    "pounds-typed-as-grams": "pounds typed as grams",
    "ounces-typed-as-grams": "ounces typed as grams",
    "thousand-times": "a factor of 1000, such as another unit or a lost decimal point",
    "hundred-times": "a factor of 100, such as a lost decimal point",
    "ten-times": "a factor of 10, such as a digit too many",
    "a-tenth": "a tenth, such as a digit too few",
    "a-hundredth": "a hundredth, such as a decimal point in the wrong place",
    "a-thousandth": "a thousandth, such as a decimal point in the wrong place",
    "one-to-one-by-weight": "one to one by weight instead of {ratio}",
    "one-to-one-by-volume": "one to one by volume instead of {ratio}",
    "two-to-one-by-weight": "two to one by weight instead of {ratio}",
    "two-to-one-by-volume": "two to one by volume instead of {ratio}",
    "ratio-by-volume-weighed": "the ratio {ratio}, weighed as if it were by weight",
    "ratio-by-weight-measured": "the ratio {ratio}, measured by volume",
    "parts-swapped-in-ratio": "the parts swapped: as much A as there should be B",
    "twice-b-or-half-a": "part B put in twice, or half of part A",
    "twice-a-or-half-b": "part A put in twice, or half of part B",
}
