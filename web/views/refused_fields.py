"""Fields of a form that cannot be used: all of them at once, each beside its own words. Pure."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from logger.errors import BadInput

T = TypeVar("T")


class RefusedFields(BadInput):
    """Some fields of a form cannot be used. fields: the field's name → what is wrong with it and what to do."""

    def __init__(self, fields: dict[str, str]) -> None:
        self.fields = fields
        count = len(fields)
        many = f" {count} fields are marked below." if count > 1 else ""
        super().__init__("this form", f"{next(iter(fields.values()), '')}{many}")

    def __str__(self) -> str:
        """Return the first thing that is wrong, and how many more there are."""
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
            self.refuse(name, str(error))
            return None

    def refuse(self, name: str, words: str) -> None:
        """Keep what is wrong with a field; the first thing said of it stays."""
        self.wrong.setdefault(name, words)

    def done(self) -> None:
        """Raise RefusedFields where any field was refused."""
        if self.wrong:
            raise RefusedFields(self.wrong)
