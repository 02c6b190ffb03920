"""The written table of alarms is the one that the program uses."""

from __future__ import annotations

from logger.alarms.registry import KINDS
from logger.words.reader import METRIC
from logger.words.render import say
from web.alarm_document import TABLE, table_markdown


def test_the_file_is_what_the_tool_writes() -> None:
    """Changed the table? Run python -m web.documents"""
    assert TABLE.read_text(encoding="utf-8") == table_markdown()


def test_every_kind_and_every_step_is_on_it() -> None:
    """A page that leaves out what to do is worth little at three in the morning."""
    page = table_markdown()
    for kind in KINDS.values():
        assert f"## {kind.name}: {say(kind.title, METRIC)}" in page
        for words in (kind.limit, kind.limit_source, kind.consequence, *kind.causes, *kind.what_to_do):
            assert say(words, METRIC) in page
