"""Translations: one gettext catalogue (.po) a language and room under `locale/`, made and checked with Babel.

`python -m logger.words.catalogues` brings the catalogues up to date with the English (codes, phrases, templates) and
says what is missing; with `--check` it changes nothing and fails where a catalogue is behind.
"""

from __future__ import annotations

import gettext
import io
import logging
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.words.numbers import LANGUAGES

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog, Message

log = logging.getLogger(__name__)

HERE = Path(__file__).resolve().parent
LOCALE = HERE / "locale"
#: A plan file's keys, each with its sentence.
PLAN_FILE = HERE.parent.parent / "web" / "help" / "plan-file.toml"
#: What is translated: everything but the English itself.
TRANSLATED = tuple(language for language in LANGUAGES if language != "en")


class Words:
    """A language's translations; a text that has none stays English."""

    def __init__(self, translations: gettext.NullTranslations) -> None:
        self._all = translations

    def gettext(self, english: str) -> str:
        """Return a text's translation."""
        return self._all.gettext(english)

    def one(self, context: str | None, english: str) -> str:
        """Return the translation of a code's text, or of a phrase (no context)."""
        return self._all.gettext(english) if context is None else self._all.pgettext(context, english)

    def plural(self, context: str | None, one: str, many: str, n: int) -> str:
        """Return the translation of the text for this number."""
        if context is None:
            return self._all.ngettext(one, many, n)
        return self._all.npgettext(context, one, many, n)


@cache
def of(language: str) -> Words:
    """Return a language's translations; read once, all rooms together."""
    if language not in TRANSLATED:
        return Words(gettext.NullTranslations())
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po
    from babel.support import Translations

    merged = Translations()
    for path in sorted((LOCALE / language).glob("*.po")):
        compiled = io.BytesIO()
        try:
            with path.open("rb") as file:
                write_mo(compiled, read_po(file, locale=language))
            compiled.seek(0)
            merged.merge(Translations(compiled))
        except (OSError, ValueError):
            # An alarm in English is an alarm; a page that fails over a damaged file is none.
            log.exception("%s cannot be read: its texts stay English", path)
    return Words(merged)


# ---- what is to be translated ----------------------------------------------------------------------


def sources() -> dict[str, Catalog]:
    """Return what is to be translated now, room by room: codes, phrases in Python, texts of templates."""
    from babel.messages.catalog import Catalog

    from logger.words.english import ROOMS, Plural
    from logger.words.english.units import PHRASES

    found = {room: Catalog(domain=room, charset="utf-8") for room in [*ROOMS, "phrases", "pages"]}
    for room, table in ROOMS.items():
        for code, text in table.items():
            text_id = (text.one, text.many) if isinstance(text, Plural) else text
            found[room].add(text_id, context=code)
    for text in PHRASES:
        found["units"].add(text)
    for text in _of_plan_file():
        found["phrases"].add(text)
    for room, text_id, context in _extracted():
        found[room].add(text_id, context=context)
    return found


def _of_plan_file() -> Iterator[str]:
    """Yield what each key of a plan file means, as the fields of a plan's page say it."""
    waiting: list[Any] = [tomllib.loads(PLAN_FILE.read_text(encoding="utf-8"))]
    while waiting:
        entry = waiting.pop()
        if isinstance(entry, str):
            yield entry
        else:
            waiting += entry.values()


def _extracted() -> Iterator[tuple[str, str | tuple[str, str], str | None]]:
    from babel.messages.extract import extract_from_dir

    root = HERE.parent.parent
    for top, room, method in (
        ("logger", "phrases", "python"),
        ("web", "phrases", "python"),
        ("web", "pages", "jinja2"),
    ):
        pattern = "**.py" if method == "python" else "templates/**.*"
        for _file, _line, text, _comments, context in extract_from_dir(
            root / top,
            method_map=[(pattern, method)],
            options_map={pattern: {"trimmed": "true", "newstyle_gettext": "true", "silent": "false"}},
            keywords={
                "phrase": None,
                "phrases": (1, 2),
                "_": None,
                "gettext": None,
                "ngettext": (1, 2),
            },
        ):
            yield room, text if isinstance(text, str) else (text[0], text[1]), context


def kept(language: str, room: str) -> Catalog:
    """Return a language's catalogue of a room as it is kept; empty where there is none."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import read_po

    path = LOCALE / language / f"{room}.po"
    if not path.exists():
        return Catalog(locale=language, domain=room, charset="utf-8")
    with path.open("rb") as file:
        return read_po(file, locale=language, domain=room)


def brought_up(language: str, room: str, source: Catalog) -> Catalog:
    """Return a kept catalogue with exactly the texts of the source: a changed text loses its translation."""
    catalogue = kept(language, room)
    catalogue.update(source, no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    return catalogue


def written(catalogue: Catalog) -> bytes:
    """Return a catalogue as its file holds it: sorted, with no dates and no places, so that a change is a change."""
    from babel.messages.pofile import write_po

    out = io.BytesIO()
    write_po(out, catalogue, omit_header=True, no_location=True, sort_output=True, width=0)
    header = f'msgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n"Language: {catalogue.locale}\\n"\n'
    header += f'"Plural-Forms: {catalogue.plural_forms}\\n"\n\n'
    return header.encode() + out.getvalue()


def untranslated(catalogue: Catalog) -> list[Message]:
    """Return the messages of a catalogue that have no translation, or only one of their forms."""
    missing = []
    for message in catalogue:
        forms = message.string if isinstance(message.string, list | tuple) else [message.string]
        if message.id and not all(forms):
            missing.append(message)
    return missing


def main(arguments: list[str]) -> int:
    """Bring the catalogues up to date, or check them; say what is missing. Return the exit status."""
    check, behind, missing = "--check" in arguments, [], 0
    for room, source in sources().items():
        for language in TRANSLATED:
            catalogue, path = brought_up(language, room, source), LOCALE / language / f"{room}.po"
            lacks = len(untranslated(catalogue))
            missing += lacks
            if not len(catalogue):
                continue
            text = written(catalogue)
            if not path.exists() or path.read_bytes() != text:
                behind.append(str(path.relative_to(HERE)))
                if not check:
                    path.parent.mkdir(parents=True, exist_ok=True)
                    path.write_bytes(text)
            sys.stdout.write(f"{language} {room}: {len(catalogue)} texts, {lacks} without a translation\n")
    sys.stdout.write(f"{missing} translations are missing\n")
    if check and behind:
        sys.stdout.write(f"behind: {', '.join(behind)}; run python -m logger.words.catalogues\n")
    return int(check and bool(behind))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
