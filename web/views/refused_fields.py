"""Fields of a form that cannot be used: all of them at once, each beside its own words. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from logger.errors import BadInput
from logger.facts import parsed
from logger.words.phrase import phrase

T = TypeVar("T")


class RefusedFields(BadInput):
    """Some fields of a form cannot be used. fields: the field's name → what is wrong with it and what to do."""

    def __init__(self, fields: dict[str, str]) -> None:
        self.fields = fields
        count = len(fields)
        problem = parsed(next(iter(fields.values()), ""))
        if count > 1:
            problem = phrase("{count} fields are marked below. {first}", first=problem, count=count)
        super().__init__(phrase("this form"), problem)

    @property
    def fact(self) -> str:
        """The first thing that is wrong, and how many more there are."""
        return self.problem


class Gathered:
    """What is wrong with a form's fields, gathered while it is read, so that all of it is said at once."""

    def __init__(self) -> None:
        self.wrong: dict[str, str] = {}

    def read(self, name: str, what: Callable[[], T]) -> T | None:
        """Return what a field says, None where it cannot be used: that is kept for `done`."""
        try:
            return what()
        except BadInput as error:
            self.refuse(name, error.fact)
            return None

    def refuse(self, name: str, words: str) -> None:
        """Keep what is wrong with a field; the first thing said of it stays."""
        self.wrong.setdefault(name, words)

    def done(self) -> None:
        """Raise RefusedFields where any field was refused."""
        if self.wrong:
            raise RefusedFields(self.wrong)
