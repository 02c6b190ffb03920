"""Fits: what a datasheet states, what disagrees in it, what is assumed, and the shop's own pours."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- what a datasheet states ----
    "says-working-time": "a working time of {time} for {mass} at {at}",
    "says-gel-time": "a gel time of {time} for {mass} at {at}",
    "says-gel-time-of-film": "a gel time of {time} for a {film} film at {at}",
    "says-peak": "a peak of {peak} in {what} at {at}",
    "says-peak-and-time": "a peak of {peak} after {time} in {what} at {at}",
    "says-hard": "hard after {time} at {at}{depth}",
    "says-fully-cured": "fully cured after {time} at {at}{depth}",
    "says-for-depth": " for {depth}",
    "says-deepest-pour": "a {depth} pour at {at} that stays under {below}",
    # ---- which of it disagrees ----
    "unlike-usual-system": (
        "{statement} does not fit a usual system of this kind: {off_by}. All are kept, and the fit is so much wider; "
        "check mass, temperature and units"
    ),
    "unlike-other-statements": (
        "{statement} does not fit {others}: {off_by}. All are kept, and the fit is so much wider; check mass, "
        "temperature and units"
    ),
    "unlike-agreeing-statements": (
        "{statement} does not fit {others}, which agree with each other: {off_by}. All are kept, and the fit is so "
        "much wider; check mass, temperature and units"
    ),
    "comes-to-not": "by the others it comes to {value}, not {stated}",
    "comes-to-not-under": "by the others it comes to {value}, not under {stated}",
    "comes-to-longer": "by the others it comes to {value}, {times} times as long",
    "comes-to-shorter": "by the others it comes to {value}, {times} times as short",
    # ---- notes on a fit ----
    "energy-unusual": (
        "the statements ask for an activation energy of {energy}, outside {low} to {high} that room-temperature "
        "epoxies have: check the temperatures"
    ),
    "one-temperature": (
        "every statement is at one temperature: how the cure changes with the room rests on the usual {energy} ± "
        "{within} alone; state one at another temperature"
    ),
    "fit-not-settled": "the fit had not fully settled when it was stopped; take the ranges as too narrow",
    # ---- what a fit assumes ----
    "assumed-cup": (
        "a stated mass stands in a thin plastic cup as wide as the mix is deep, on a bench, in still air (assumption: "
        "common practice, no source)"
    ),
    "assumed-wide": (
        "a stated depth without a width is a wide pour on a {panel} panel with free air below; with width_mm it is a "
        "river between slabs of wood (assumption: common practice, no source)"
    ),
    "assumed-kept": (
        "the deepest single pour is its maker's choice: the limit is kept, with a margin that is not known (most "
        "likely {part} of the rise that it allows; this project's judgement, no source)"
    ),
    "assumed-spread": (
        "a mix counts as workable up to {workable} conversion, as gelled from about {gelled}, as hard once its glass "
        "transition is {above} above the room; what these words leave open is added to each tolerance"
    ),
    "system-as-named": (
        "a {system} system, as it is named: usually workable for about {workable} at {at}, within a factor of {factor} "
        "(common practice, no source)"
    ),
    "system-by-depth": (
        "a {system} system, as its depth suggests: usually workable for about {workable} at {at}, within a factor of "
        "{factor} (common practice, no source)"
    ),
    "system-slow": "slow",
    "system-medium": "medium",
    "system-quick": "quick",
    "heat-before-fit": "heat of cure before the fit: {source}",
    "heat-stated": "stated",
    "heat-from-equivalents": "from the equivalent weights",
    "heat-usual": "usual for room-temperature systems",
    # ---- fitted to the shop's own pours ----
    "refit": (
        "This shop's batches cure {rate} times as fast as the resin as planned ({rate_low} to {rate_high}), with "
        "{heat} times its heat ({heat_low} to {heat_high}). {proof}"
    ),
    "refit-one-pour": "One pour alone cannot show that the prediction gets better: record another.",
    "refit-better": "On pours left out of the fit the error falls from {before} to {after}: take it.",
    "refit-no-better": (
        "On pours left out of the fit the error does not fall ({before} to {after}): keep the resin as it was."
    ),
    # ---- what is refused ----
    "range-lower-end-first": "the range {low} to {high} needs its lower end first, above 0",
    "gel-time-needs-specimen": (
        "a gel time needs its specimen: give either mass_kg (a cup) or film_mm (a thin film)"
    ),
    "peak-beyond-epoxy": "a peak of {peak} is hotter than any epoxy gets; give at most {most}",
    "peak-needs-specimen": (
        "a peak needs its specimen: give either mass_kg (a cup) or depth_mm (and diameter_mm)"
    ),
    "peak-not-above-room": "peak_c = {peak} is not above at_c = {at}; a cure warms the mix",
    "depth-outside": "a depth of {depth} is outside {low} to {high}",
    "nothing-says-how-fast": (
        "nothing here says how fast it cures: state a working time, a gel time, a time to peak, a cure time, the "
        "deepest single pour or the kind of system"
    ),
    "needs-two-heating-rates": "needs at least two heating rates with different peaks",
    "add-a-dsc-peak": "add the peak at another heating_k_min, or leave them out",
    "no-pours-given": "none were given",
    "record-a-pour": "record a pour first",
    "pours-of-different-resins": "their plans have different [resin] tables",
    "fit-one-resin": "fit one resin at a time, from plans with the same [resin]",
    "hours-and-core-differ": "hours and core_c differ in length",
    "too-few-readings-to-fit": "has too few readings of the core to fit",
    "so-many-or-more": "{n} or more",
    "leave-this-pour-out": "leave this pour out",
    "hours-do-not-rise": "its hours do not rise",
    "names-no-possible-resins": "names no other resins that its datasheet leaves possible",
    "fit-datasheet-again": "fit its datasheet again",
    "working-time": "working time",
    "never-thickens": "{mass} does not thicken within two weeks",
    "room-that-cures": "a room in which the resin cures",
    "warm-the-room": "warm the room or check the rate constants",
    "mass-or-room-out-of-range": "mass or temperature is out of range",
    "range-and-range": "{low} to {high}, {coldest} to {warmest}",
    "give-mass-of-pail": "give the mass of one pail in kg",
}
