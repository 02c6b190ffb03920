"""The words that makers stumbled on are gone from every text that a person can see, and none comes back."""

from __future__ import annotations

from functools import cache

import pytest

from logger.words import catalogues

#: What stood there, each as it was written.
GONE = (
    "It is over",
    "nobody has said that they saw it",
    "Look at it",
    "Go there now",
    "I have it",
    "True since",
    "It ends the buzzer",
    "Quiet it for a while",
    "project choice",
    "A look is due",
    "It is no longer true",
    "A cut through it",
    "Take it on",
    "The resin goes in now",
    "It is out of the form",
    "Nobody sits by it",
    "Does the fan run?",
    "takes its peak as past",
    "hardly believed",
    "its misfit is",
    "sheds less heat",
    "Give this pour up",
    "What was done and seen",
    "What was before",
    "be in reach",
    "promised for the first hour",
    "forecast, 9 of 10",
    "forecast, middle",
    "Add [scale] resolution_g",
    "The mixing bench",
    "peak bearable",
    "Stands at stop",
    "stands at ok",
    "Let it pass",
    "let pass",
    "still stand in the way",
    "does the form let go",
    "two persons",
    "Is this batch right?",
    "since they met",
    "refused batches",
    "Left out:",
    "left out,",
    "of this much mix",
    "refused, by name",
    "nothing for a sheet",
    "Room through the night",
    "It stands on alarms",
    "Fit it and keep it",
    "How far the numbers may be off",
    "Take it off the list",
    "Mind:",
    "What do mistakes cost us?",
    "Nothing that was told",
    "Mending",
    "more used than received",
    "beside the predicted one",
    "Who may come in?",
    "May do",
    "Ask somebody in",
    "Another password",
    "Present password",
    "do not belong together:",
    "those that are tried first",
    "Bring in",
    "bring it in",
    "brought in",
    "Columns are parted by",
    "Lines above the heading",
    "Do all probes read?",
    "Heard {",
    "Say where it stands",
    "Withdraw its token",
    "not told by the readings",
    "Warmth the core had",
    "Told by",
    "On two sheets",
    "it still grows",
    "Keep them for",
    "Sound while an alarm",
    "from memory",
    "mould's",
    "Round mould",
    "Given up",
    "Shelved",
)


@cache
def texts() -> tuple[str, ...]:
    """Every English text: codes, phrases, pages."""
    found: list[str] = []
    for source in catalogues.sources().values():
        for message in source:
            found += [message.id] if isinstance(message.id, str) else list(message.id or ())
    return tuple(found)


@pytest.mark.parametrize("words", GONE)
def test_no_text_has_the_words_that_makers_stumbled_on(words: str) -> None:
    """Whole texts are looked through, whatever page or message shows them."""
    assert len(texts()) > 3000
    assert [text for text in texts() if words in text] == []
