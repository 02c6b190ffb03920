"""A text that depends on a number."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Plural:
    """English for one and for more than one; `by` names the value that decides."""

    one: str
    many: str
    by: str
