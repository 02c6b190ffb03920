"""A page as a browser shows its text: where a line of its template ends does not matter."""

from __future__ import annotations

from typing import Any


def words(answer: Any) -> str:
    """Return an answer's text, tags and all, with single plain spaces: also between a number and its unit."""
    return " ".join(str(answer.text).split())
