"""What a page says can be said in another language: it stands in `_()` or `{% trans %}`, or comes from Python."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment

from web.views.render import HERE

TEMPLATES = sorted((HERE / "templates").glob("*.html"))
SCRIPTS = sorted((HERE / "static").glob("*.js"))
#: Attributes that a person reads or hears.
SAID = {"placeholder", "aria-label", "title", "alt", "data-wait", "data-say"}
#: What stands in them is shown as it is: what is typed into a terminal or a file.
VERBATIM = {"script", "style", "code", "pre"}
#: Units, standards and names of the hardware, the same in every language.
ALLOWED = {"mm", "kg", "Pi", "GPIO", "GND", "kΩ", "MB"}
#: Texts that are examples, or the program's own codes, or for a terminal.
EXAMPLES = {
    "bench-1",
    "7-AB2C-D3EF",
    "Europe/Berlin, America/Denver, UTC",
    "pourlog verify FILE --seal ",
    "more used than received",
    "expires soon",
    "used up",
    "cup test",
    "alert high",
}
_WORD = re.compile(r"[^\W\d_]{2,}")
_TWO_WORDS = re.compile(r"[^\W\d_]{2,}[^\w]* [^\w]*[^\W\d_]{2,}")
#: Blocks of a page that hold names of its style and its script, no text.
_NAMES = {"look", "name"}
_SENTENCE = re.compile(r"""(["'`])([A-Z][a-z]+[ ,.:][^"'`]*)\1""")


def untranslated(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and text of what a person sees of a template that no translation reaches."""
    page = _Page()
    page.feed(_without_jinja(source))
    page.close()
    yield from page.found
    yield from _literals(source)


def _without_jinja(source: str) -> str:
    """Return a template's own text: a digit for each value, nothing for statements and what is translated."""
    kept, statement, translated, named = [], "", False, False
    for _line, kind, value in Environment().lex(source):
        if kind == "variable_begin":
            kept.append("0")
        if kind == "block_begin":
            statement = ""
        elif kind == "name" and not statement:
            statement = value
            translated = value == "trans" or (translated and value == "pluralize")
            named = named and value != "endblock"
        elif kind == "name" and statement == "block":
            named = value in _NAMES
        show = kind == "data" and not translated and not named
        kept.append(value if show else "\n" * value.count("\n"))
        if kind == "block_end":
            statement = " "
    return "".join(kept)


def _literals(source: str) -> Iterator[tuple[int, str]]:
    """Yield the strings of several words in expressions that are not in `_()`."""
    before: list[str] = []
    for line, kind, value in Environment().lex(source):
        if kind == "whitespace":
            continue
        inside = before[-2:] == ["_", "("]
        if kind == "string":
            if not inside and _TWO_WORDS.search(value) and value[1:-1] not in EXAMPLES:
                yield line, value[1:-1]
            if inside:
                continue  # a string next to it belongs to the same text
        before.append(value)


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name in SAID:
                self._see(value or "")
        if tag in VERBATIM:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._open:
            self._open.remove(tag)

    def handle_data(self, data: str) -> None:
        # What a macro adds to a tag is no text.
        if not self._open and '="' not in data:
            self._see(data)

    def _see(self, text: str) -> None:
        shown = text.strip()
        if shown not in EXAMPLES and set(_WORD.findall(shown)) - ALLOWED:
            self.found.append((self.getpos()[0], " ".join(shown.split())))


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_every_text_of_a_page_can_be_translated(path: Path) -> None:
    """A text of its own would stay English on a German page."""
    assert list(untranslated(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_a_script_says_what_came_with_the_page(path: Path) -> None:
    """No sentence of its own: `words.js` has them in the reader's language."""
    code = re.sub(r"^\s*//.*$|/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert [match[2] for match in _SENTENCE.finditer(code) if " " in match[2]] == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("<p>The core is hot.</p>", "The core is hot."),
        ('<p>{{ _("Fine.") }}</p>\n<p>limit {{ x }}</p>', "limit 0"),
        ('<input placeholder="your name">', "your name"),
        ('<button aria-label="Look at {{ _("x") }}">', "Look at 0"),
        ('<p>{{ "is on it" if true else _("seen") }}</p>', "is on it"),
        ("<p>{% trans n=2 %}one{% pluralize %}many{% endtrans %} pours</p>", "pours"),
    ],
)
def test_an_untranslated_text_is_found(source: str, found: str) -> None:
    """A text node, an attribute, a string in an expression, and what follows a translated text."""
    assert [text for _line, text in untranslated(source)] == [found]


@pytest.mark.parametrize(
    "source",
    [
        "<p>{% trans name=x %}Hello {{ name }}{% endtrans %} · {{ y }} °C</p>",
        '<p title="{{ _("A title") }}">{{ _("One "\n"text") }}</p>',
        '<code>pourlog check</code><script type="application/json">{"a b": "c d"}</script>',
        "{% block look %}alert high{% endblock %}{# a comment in English #}",
    ],
)
def test_what_is_translated_or_no_text_is_not_found(source: str) -> None:
    """Nor what is typed into a terminal, a class name or a comment."""
    assert list(untranslated(source)) == []
