"""The glossary: every term that a page links to is there, once, in one sentence, in the reader's order."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from logger.words.numbers import LANGUAGES
from logger.words.reader import METRIC, US, Reader
from logger.words.render import say
from tests.web.page_text import words
from web.views import glossary
from web.views.glossary import TERMS, first_letter, in_order, listed

TEMPLATES = Path(glossary.__file__).parents[1] / "templates"


def test_every_term_of_the_trade_and_of_the_science_is_there(maker: Any) -> None:
    """For anybody: a client reads them in a record. Each has an anchor of its own."""
    assert 'href="/settings"' in maker.get("/glossary").text
    maker.cookies.clear()
    answer = maker.get("/glossary")
    assert answer.status_code == 200
    assert "/settings" not in answer.text
    assert len(TERMS) >= 60
    anchors = re.findall(r'<dt id="([^"]+)"', answer.text)
    assert sorted(anchors) == sorted(TERMS)
    assert "The heat that a curing mix gives off" in words(answer)


@pytest.mark.parametrize("anchor", list(TERMS))
def test_a_term_is_said_in_one_plain_sentence(anchor: str) -> None:
    """It ends in a full stop, has no second one, and fits on a phone."""
    word, means = say(TERMS[anchor].word, METRIC), say(TERMS[anchor].means, METRIC)
    assert means.endswith(".")
    assert not re.search(r"[.?!] [A-Z]", means), means
    assert len(means) <= 160, f"{len(means)} characters"
    assert word[:1].isupper() or word[:1].isdigit()
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", anchor)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_terms_stand_in_the_order_of_the_language(language: str) -> None:
    """Each below its letter."""
    letters = listed(Reader(language=language))
    flat = [term.word for _, terms in letters for term in terms]
    assert flat == sorted(flat, key=lambda word: in_order(word, language))
    assert len({letter for letter, _ in letters}) == len(letters)
    for letter, terms in letters:
        assert {first_letter(term.word, language) for term in terms} == {letter}


def test_accents_do_not_part_what_belongs_together() -> None:
    """German ä is sorted as a (DIN 5007-1), French é as e, Spanish ñ after n (RAE)."""
    ordered = sorted(["Zapfen", "Ähre", "Aal", "Azur"], key=lambda word: in_order(word, "de"))
    assert ordered == ["Aal", "Ähre", "Azur", "Zapfen"]
    assert sorted(["nube", "ñandú", "oro"], key=lambda word: in_order(word, "es")) == ["nube", "ñandú", "oro"]
    assert first_letter("échelle", "fr") == "E"
    assert first_letter("ñandú", "es") == "Ñ"
    assert first_letter("90 % range", "en") == "0–9"


def test_what_a_page_links_to_is_in_the_glossary() -> None:
    """Whichever template names a term."""
    linked = {
        anchor
        for path in TEMPLATES.glob("*.html")
        for call in re.findall(r"\bterms?\(([^)]*)\)", path.read_text(encoding="utf-8"))
        for anchor in re.findall(r'"([a-z0-9-]+)"', call.partition("=")[0])[: 1 if "," in call else 20]
    }
    assert linked <= set(TERMS), linked - set(TERMS)


def test_a_quantity_in_it_is_in_the_readers_units() -> None:
    """Ice melts at 32 °F (t/°F = 1.8 t/°C + 32, NIST SP 811, 2008, B.8)."""
    assert "32.0 °F" in say(TERMS["ice-point"].means, US)


def test_help_leads_to_it(maker: Any) -> None:
    """From the page that the menu names."""
    assert 'href="/glossary"' in maker.get("/help").text
