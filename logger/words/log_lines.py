"""Log lines in English: what a line says by facts is said, in SI and °C, wherever the program writes its log."""

from __future__ import annotations

import logging

from logger.facts import BEGINS
from logger.words.reader import METRIC
from logger.words.render import say

#: How a line of text begins.
LINE = "%(levelname)s %(name)s: %(message)s"


def in_english(text: str) -> str:
    """Return a line with its facts in words; any other line as it is."""
    return say(text, METRIC) if BEGINS in text else text


class InEnglish(logging.Formatter):
    """A line of text, and the trace of an error."""

    def format(self, record: logging.LogRecord) -> str:
        """Return one line."""
        return in_english(super().format(record))


def log_in_english(level: int | str) -> None:
    """Write log lines of this level and above to standard error, where nothing writes them yet."""
    root = logging.getLogger()
    if root.handlers:
        return
    handler = logging.StreamHandler()
    handler.setFormatter(InEnglish(LINE))
    root.addHandler(handler)
    root.setLevel(level)
