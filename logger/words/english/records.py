"""Records: what is wrong with one, or with a file from elsewhere; what a record's parts are called."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {}
