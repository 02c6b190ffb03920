"""The help pages that `python -m web.documents` writes, as they are shown in the app."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

from logger.errors import NotFound
from logger.words.phrase import phrase

FOLDER = Path(__file__).resolve().parent.parent / "help"
#: What each page is for, in the order in which they are offered.
OFFERED = {
    "running": phrase("HTTPS, backups, the fan, records from other workshops."),
    "installation": phrase("Options, updates, going back, removing, a station on another machine."),
    "plan-file": phrase("Every key of a plan: what it means, its unit, its default and its range."),
    "settings": phrase("What can be set: channels, HTTPS, the first hour, the fan."),
    "station-file": phrase("Probes, pins and periods of a station."),
    "commands": phrase("Everything that `pourlog` does on the command line."),
}


#: What a cell says of a key without a default, in each language.
REQUIRED = {"required", "erforderlich", "obligatorio", "obligatoire"}


@dataclass(frozen=True, slots=True)
class HelpPage:
    """One page of help: its title, its sections by their anchors, and its body as HTML."""

    title: str
    sections: tuple[tuple[str, str], ...]
    body: Markup
    language: str


@cache
def help_page(name: str, language: str = "en") -> HelpPage:
    """Return the page of that name, rendered once; in English where a language has none. Raises NotFound."""
    if name not in OFFERED:
        raise NotFound(
            phrase("there is no help page '{name}'; there are: {pages}", name=name, pages=", ".join(OFFERED))
        )
    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    path, spoken = _file_of(name, language)
    tokens = _tokens(markdown, path)
    # A link to a section leads there in every language.
    anchors = [anchor_of(heading) for heading in _headings(_tokens(markdown, FOLDER / f"{name}.md"))]
    sections = _anchored(tokens, anchors)
    _labelled(tokens)
    title = title_of(name, language)
    body = markdown.renderer.render(tokens[3:], markdown.options, {})
    body = body.replace("<table>", '<div class="scroll"><table class="keys">').replace(
        "</table>", "</table></div>"
    )
    # What is wider than a phone moves in its own box, which a keyboard has to reach.
    body = body.replace("<pre>", '<pre tabindex="0">')
    # The project's own files, rendered with raw HTML switched off.
    return HelpPage(title, tuple(sections), Markup(body), spoken)


def title_of(name: str, language: str = "en") -> str:
    """Return a page's title: its file's first line."""
    with _file_of(name, language)[0].open(encoding="utf-8") as file:
        return file.readline().removeprefix("# ").strip()


def _file_of(name: str, language: str) -> tuple[Path, str]:
    """Return a page's file and the language that it is in."""
    translated = FOLDER / language / f"{name}.md"
    return (translated, language) if translated.exists() else (FOLDER / f"{name}.md", "en")


def _tokens(markdown: MarkdownIt, path: Path) -> list[Token]:
    # The notice to whoever would edit the file is not for readers; raw HTML is not rendered.
    return markdown.parse(re.sub(r"<!--.*?-->\n*", "", path.read_text(encoding="utf-8")))


def _headings(tokens: list[Token]) -> list[str]:
    return [
        inline.content
        for opening, inline in itertools.pairwise(tokens)
        if opening.type == "heading_open" and opening.tag == "h2"
    ]


def anchor_of(heading: str) -> str:
    """Return where a section of an English page is linked to."""
    return re.sub(r"[^a-z0-9]+", "-", heading.lower()).strip("-")


def _anchored(tokens: list[Token], anchors: list[str]) -> list[tuple[str, str]]:
    """Give each section its anchor; return the sections as (anchor, heading)."""
    openings = [token for token in tokens if token.type == "heading_open" and token.tag == "h2"]
    for opening, anchor in zip(openings, anchors, strict=True):
        opening.attrSet("id", anchor)
    return list(zip(anchors, _headings(tokens), strict=True))


def _labelled(tokens: list[Token]) -> None:
    """Give each cell its column's heading: on a phone a row stands as a block, and each value says what it is."""
    headings: list[str] = []
    column = 0
    for opening, inline in itertools.pairwise(tokens):
        if opening.type == "table_open":
            headings = []
        elif opening.type == "tr_open":
            column = 0
        elif opening.type == "th_open":
            headings.append(inline.content)
        elif opening.type == "td_open":
            # A name and its meaning speak for themselves, and so does "required".
            if column > 1 and inline.content not in REQUIRED:
                opening.attrSet("data-label", headings[column])
            column += 1
