"""The verdict on a plan."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    "plan-must-change": Plural(
        "Do not pour it like this: {n} thing must change first.",
        "Do not pour it like this: {n} things must change.",
        "n",
    ),
    "plan-let-pass": Plural(
        "{n} thing should change; an exception is signed for it.",
        "{n} things should change; exceptions are signed for them.",
        "n",
    ),
    "plan-look-first": Plural(
        "It may work: look at {n} thing first.", "It may work: look at {n} things first.", "n"
    ),
    "plan-works": "As planned, this pour should work.",
}
