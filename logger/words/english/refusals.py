"""What is refused, and why: the errors of logger/errors.py."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- what every refusal of a value says: where, what is wrong, what was found, what may be, what to do ----
    "refused": "{where}: {problem}{found}{allowed}{remedy}",
    "refused-found": "; found {value}",
    "refused-allowed": "; allowed: {allowed}",
    "refused-remedy": "; {remedy}",
    "in-a-row": "{first} {rest}",
    # ---- errors of their own ----
    "not-finite": "{where}: was worked out as {value}; allowed: a finite number, or none; this is a fault of the "
    "program: report it with the plan and the readings",
    "not-ready": Plural(
        "{pour}: {n} thing stands in the way. {obstacles}",
        "{pour}: {n} things stand in the way. {obstacles}",
        "n",
    ),
    "things-in-the-way": Plural(
        "{pour}: {n} thing stands in the way:", "{pour}: {n} things stand in the way:", "n"
    ),
    "may-not-end": "{pour}: the watch goes on. {obstacles} {remedy}",
    "sign-to-end-the-watch": "Find out how hot the core is. If the watch must end all the same, sign an exception with "
    "name and reason.",
    "cool-before-the-watch-ends": "Cool it if that is safe, and wait: this can be done once the core is below its "
    "limit and falls.",
    # ---- a plan file (logger/plan) ----
    "plan-key-at": "{file}: [{table}] {key}",
    "plan-first-key-at": "{file}: {key}",
    "plan-problem-and-more": Plural(
        "{problem} ({n} more mistake in this file)", "{problem} ({n} more mistakes in this file)", "n"
    ),
    "plan-add-to-table": "add {key} to [{table}]",
    "plan-add-table": "add the table [{table}]",
    "plan-add-before-tables": "add {key} = … before the first [table]",
    "plan-check-the-spelling": "check the spelling; every name is listed in the help (/help/plan-file)",
    "plan-correct-the-number": "correct the number; the unit is part of its name",
    "plan-tables-too-deep": "has tables inside tables too deep",
    "plan-tables-in-tables": "a plan has tables, and tables in them",
    "plan-fewer-layers": "pour fewer, deeper layers, or plan the rest as a pour of its own",
    "plan-fewer-room-hours": "keep the hours at which the room changes",
    "plan-fewer-points": "trace fewer points: a curve needs one every few centimetres",
    "plan-fewer-stations": "measure at fewer places: a river needs one every few centimetres",
    "plan-rate-never-starts": "a purely autocatalytic rate (k1_per_s = 0) never starts from zero conversion; give a "
    "k1_per_s above 0 (fit it from the datasheet's working time)",
    "plan-glass-does-not-rise": "tg_inf_c = {full} is not above tg0_c = {fresh}; a cure raises Tg",
    "plan-no-row-of-numbers": "is not a row of numbers; copy the whole table from the fit",
    "plan-factors-differ-in-length": "rate, first, energy and heat differ in length; copy the whole table from the fit",
    "plan-river-without-width": 'width_mm is missing: a "river" needs the river\'s width in mm',
    "plan-round-without-width": 'width_mm is missing: a "round" needs the mould\'s diameter in mm',
    "plan-room-empty": "room_c is an empty schedule; give [[hours, °C], …] or one number",
    "plan-room-hours-fall": "room_c: the schedule's hours must rise, found {hours}; sort its rows",
    "plan-ends-before-it-starts": "to_h = {end} is not after from_h = {begin}; swap the two",
    "plan-layers-do-not-rise": "at_h must rise from layer to layer, found {hours}; sort the layers",
    "plan-too-deep": "all layers together are {total} deep; allowed: at most {most}; plan the rest as a pour of its "
    "own",
    "plan-fan-times-overlap": "the fan's times must follow each other, found {times} h; sort them, join what overlaps",
    "plan-shape-given-twice": "stations_mm and points_mm describe the same shape twice; keep one of them",
    "plan-sag-limits-swapped": "stop_sag_mm {stop} is below watch_sag_mm {watch}; give a stop limit that is not below "
    "the watch limit",
}
