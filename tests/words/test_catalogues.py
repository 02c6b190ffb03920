"""Each language's catalogues hold exactly the program's texts, all translated, with every place for a value."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message

from logger.words import catalogues
from logger.words.catalogues import LOCALE, TRANSLATED, brought_up, untranslated, written

#: Places for values: of a fact or phrase, of a template; a percent sign in a template; an element of a page.
PLACE = re.compile(r"\{\w+\}|%\(\w+\)s|%%|</?[a-z][^>]*>")
#: A screen holds words half as long again; short words may be longer by a few letters.
LONGER, LETTERS = 1.5, 16
SOURCES = catalogues.sources()
WORD = re.compile(r"[^\W\d_]{2,}")


def texts(language: str) -> Iterator[tuple[str, Message]]:
    """Yield room and message of every text in a language."""
    for room, source in SOURCES.items():
        for message in brought_up(language, room, source):
            if message.id:
                yield room, message


def forms(message: Message) -> list[str]:
    """Return a message's translations: one, or one a plural form."""
    return list(message.string) if isinstance(message.string, list | tuple) else [str(message.string)]


def english(message: Message) -> list[str]:
    """Return a message's English: one text, or the one for one and the one for many."""
    return list(message.id) if isinstance(message.id, list | tuple) else [str(message.id)]


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_catalogues_are_those_of_the_program_as_it_is(language: str) -> None:
    """A text that was added or changed is in them: python -m logger.words.catalogues puts it there."""
    behind = [
        room
        for room, source in SOURCES.items()
        if len(source)
        and (
            not (path := LOCALE / language / f"{room}.po").exists()
            or path.read_bytes() != written(brought_up(language, room, source))
        )
    ]
    assert behind == []
    assert sorted(path.stem for path in (LOCALE / language).glob("*.po")) == sorted(
        room for room, source in SOURCES.items() if len(source)
    )


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_translation_is_missing(language: str) -> None:
    """A text without one is shown in English; here it is counted."""
    missing = [
        f"{room}: {message.id}"
        for room, source in SOURCES.items()
        for message in untranslated(brought_up(language, room, source))
    ]
    assert missing == [], f"{len(missing)} texts have no translation"


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_value_has_its_place_in_the_translation(language: str) -> None:
    """A place that is lost loses a temperature; one that is mistyped is shown as it stands."""
    wrong = []
    for _room, message in texts(language):
        wanted = sorted(set(PLACE.findall(" ".join(english(message)))))
        for form in filter(None, forms(message)):
            places = sorted(set(PLACE.findall(form)))
            # The form for one may do without the number: "one batch".
            few = (
                len(english(message)) > 1
                and set(places) <= set(wanted)
                and set(wanted) - set(places) <= {"{n}", "%(n)s", "%(num)s"}
            )
            if places != wanted and not few:
                wrong.append((message.id, form))
    assert wrong == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_translation_is_more_than_half_as_long_again(language: str) -> None:
    """Screens are laid out for so much."""
    long = [
        (message.id, form)
        for _room, message in texts(language)
        for form in forms(message)
        if len(form) > LONGER * max(map(len, english(message))) + LETTERS
    ]
    assert long == []


@pytest.mark.parametrize("language", TRANSLATED)
def test_no_sentence_is_left_in_english(language: str) -> None:
    """A single word may be the same in two languages, and so may a name or a unit; a sentence may not."""
    left = [
        message.id
        for _room, message in texts(language)
        for form in forms(message)
        if form in english(message) and len(WORD.findall(PLACE.sub("", form))) > 3
    ]
    assert left == []


def test_a_text_without_translation_stays_english_and_is_counted() -> None:
    """The reader of a half-finished language reads something."""
    catalogue = Catalog(locale="de")
    catalogue.add("The core is hot.")
    catalogue.add("Cool it.", "Kühlen.")
    assert [message.id for message in untranslated(catalogue)] == ["The core is hot."]
    assert catalogues.of("de").gettext("No such text in any catalogue.") == "No such text in any catalogue."


@pytest.mark.parametrize("language", TRANSLATED)
def test_the_catalogues_load_and_know_the_languages_plural(language: str) -> None:
    """One damaged line of a header would leave the whole language unread."""
    words = catalogues.of(language)
    one, many = (words.plural("signatures", "{n} signature", "{n} signatures", n) for n in (1, 7))
    assert one != many
    assert "signature" not in one or language == "fr"


def test_a_damaged_catalogue_leaves_its_texts_english(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card that fails loses words, never an alarm."""
    (tmp_path / "de").mkdir()
    whole = (LOCALE / "de" / "alarms.po").read_text(encoding="utf-8")
    (tmp_path / "de" / "alarms.po").write_text(whole.replace("plural=", "plural=\u00a0?"), encoding="utf-8")
    monkeypatch.setattr(catalogues, "LOCALE", tmp_path)
    assert catalogues.of.__wrapped__("de").one("core-over", "The core is over.") == "The core is over."
