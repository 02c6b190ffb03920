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
}
