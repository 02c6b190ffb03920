"""Help in each language says the same things in the same order as in English: sections, tables, names and commands."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from logger.words.catalogues import TRANSLATED
from web.views.help_text import FOLDER, OFFERED, help_page

#: References to what stays English: the keys of a file, and the commands.
ENGLISH_ALONE = {"plan-file", "commands"}
PAGES = [(name, language) for name in OFFERED if name not in ENGLISH_ALONE for language in TRANSLATED]


def skeleton(path: Path) -> list[str]:
    """Return what no translation changes: headings' ranks, rows of tables, code, and where links lead."""
    tokens = MarkdownIt("commonmark", {"html": False}).enable("table").parse(path.read_text(encoding="utf-8"))
    kept = []
    for opening, inline in pairwise(tokens):
        if opening.type in ("heading_open", "tr_open", "td_open", "list_item_open"):
            kept.append(opening.tag)
        if opening.type in ("fence", "code_block"):
            kept.append(opening.content)
        links = (part for part in inline.children or () if part.type == "link_open")
        kept += [str(part.attrGet("href")) for part in links]
    return kept


def names(path: Path) -> list[str]:
    """Return the names and commands that are written in a text, sorted: a sentence may name them in another order."""
    return sorted(re.findall(r"`[^`]+`", path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(("name", "language"), PAGES)
def test_a_help_page_says_the_same_in_every_language(name: str, language: str) -> None:
    """A setting that is missing in one language is not found by whoever reads it."""
    english, translated = FOLDER / f"{name}.md", FOLDER / language / f"{name}.md"
    assert skeleton(translated) == skeleton(english)
    assert names(translated) == names(english)
    assert help_page(name, language).language == language
    assert [anchor for anchor, _ in help_page(name, language).sections] == [
        anchor for anchor, _ in help_page(name).sections
    ]


@pytest.mark.parametrize("name", sorted(ENGLISH_ALONE))
def test_a_page_that_is_in_english_alone_says_so(name: str) -> None:
    """And its text is marked as English for whoever has it read aloud."""
    assert help_page(name, "de").language == "en"
