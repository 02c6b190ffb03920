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
    "plan-flow-does-not-gel": (
        "exponent_a + exponent_b × gel_conversion = {at_gel} is not above 0; a resin thickens without bound as it gels"
    ),
    "plan-glass-does-not-rise": "tg_inf_c = {full} is not above tg0_c = {fresh}; a cure raises Tg",
    "plan-no-row-of-numbers": "is not a row of numbers; copy the whole table from the fit",
    "plan-factors-differ-in-length": "rate, first, energy and heat differ in length; copy the whole table from the fit",
    "plan-river-without-width": 'width_mm is missing: a "river" needs the river\'s width in mm',
    "plan-round-without-width": 'width_mm is missing: a "round" needs the form\'s diameter in mm',
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
    # ---- a station file (logger/daemon/station_file.py) ----
    "station-a-path": "a path",
    "station-name-signs": "letters, digits, . _ - (at most 63)",
    "station-name-without-spaces": 'a name without spaces, such as "bench-1"',
    "station-address-without-path": "http://host:port, without a path",
    "station-address-of-the-board": "give the address at which the board opens",
    "station-not-there": "is not there",
    "station-copy-certificate": "copy the service's certificate (PEM) there, or leave the line out",
    "station-no-folder": "its folder does not exist",
    "station-make-folder": "make the folder {folder}, or name another",
    "station-add": "add {key} = …",
    "station-correct-line": "correct that line",
    "station-remove-line": "remove the line",
    "station-text-in-quotes": "text in quotes",
    "station-range": "{low} to {high}",
    "station-no-gpio": "is no GPIO number",
    "station-gpio-numbers": "0 to 27",
    "station-no-flag": "is neither true nor false",
    "station-must-be-table": "must be a table",
    "station-two-brackets": "must be written with two brackets",
    "station-probe-id": "28- and twelve digits 0-9 a-f, as the folder's name",
    "station-chip-name": "the chip's name in the kernel, like sht4x",
    "station-place-signs": "core, surface, underside, room, or small letters, digits and -",
    "station-pin-twice": "is the pin of {other} too",
    "station-each-pin-once": "each pin once",
    "station-other-pin": "wire it to another pin",
    "station-probe-twice": "the same probe twice",
    "station-each-id-once": "each id once",
    "station-warm-a-probe": "warm one probe in your hand to see which id it has",
    "station-no-probe": "no probe at all",
    "station-one-probe": "at least one [[probe]], [[air]] or [[thermocouple]]",
    "station-add-one": "add one",
    "station-bench-trace": 'hardware = "bench" needs a trace for each probe',
    "station-bench-traces": 'bench = "21.5" or bench = "trace.csv:core"',
    "station-bench-add": 'add it, or write hardware = "pi"',
    # ---- a record from elsewhere (logger/record/shapes.py) ----
    "shape-is-none-of": "is none of {names}",
    "shape-seal-of-pour": "the seal's pour has not just {names}",
    "shape-uneven-lists": "lists that belong together are not of one length",
    "shape-addition-without-reason": "an addition says what it is about, and why, in words",
    "shape-event-about-another": "an event '{kind}' is about nothing else",
    "shape-answers-do-not-fit": "acknowledged_ms and answered_after_s do not fit each other",
    "shape-unlike-figures": "figures are not those of a record: {names}",
    "shape-wrong-figure": "figures.{name} is not what it should be: {value}",
}
