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
    "settings": phrase("What the service can be told: channels, HTTPS, the first hour, the fan."),
    "station-file": phrase("Probes, pins and periods of a station."),
    "commands": phrase("Everything that `pourlog` does on the command line."),
}


@dataclass(frozen=True, slots=True)
class HelpPage:
    """One page of help: its title, its sections by their anchors, and its body as HTML."""

    title: str
    sections: tuple[tuple[str, str], ...]
    body: Markup


@cache
def help_page(name: str) -> HelpPage:
    """Return the page of that name, rendered once. Raises NotFound."""
    if name not in OFFERED:
        raise NotFound(
            phrase("there is no help page '{name}'; there are: {pages}", name=name, pages=", ".join(OFFERED))
        )
    markdown = MarkdownIt("commonmark", {"html": False}).enable("table")
    text = (FOLDER / f"{name}.md").read_text(encoding="utf-8")
    # The notice to whoever would edit the file is not for readers; raw HTML is not rendered.
    tokens = markdown.parse(re.sub(r"<!--.*?-->\n*", "", text))
    sections = _anchored(tokens)
    _labelled(tokens)
    title = title_of(name)
    body = markdown.renderer.render(tokens[3:], markdown.options, {})
    body = body.replace("<table>", '<div class="scroll"><table class="keys">').replace(
        "</table>", "</table></div>"
    )
    # The project's own files, rendered with raw HTML switched off.
    return HelpPage(title, tuple(sections), Markup(body))


def title_of(name: str) -> str:
    """Return a page's title: its file's first line."""
    with (FOLDER / f"{name}.md").open(encoding="utf-8") as file:
        return file.readline().removeprefix("# ").strip()


def _anchored(tokens: list[Token]) -> list[tuple[str, str]]:
    """Give each section an anchor; return the sections as (anchor, heading)."""
    sections = []
    for opening, inline in itertools.pairwise(tokens):
        if opening.type == "heading_open" and opening.tag == "h2":
            anchor = re.sub(r"[^a-z0-9]+", "-", inline.content.lower()).strip("-")
            opening.attrSet("id", anchor)
            sections.append((anchor, inline.content))
    return sections


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
            if column > 1 and inline.content != "required":
                opening.attrSet("data-label", headings[column])
            column += 1
