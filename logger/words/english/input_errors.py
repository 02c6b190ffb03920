"""What a file, a form or a request cannot say: names, values and the text itself (input_errors.py, toml_text.py)."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {}
