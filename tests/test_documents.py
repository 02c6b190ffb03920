"""The documents say what the program is: every command, setting and key of the plan file."""

from __future__ import annotations

from pathlib import Path

from web.documents import rewritten

README = Path(__file__).parent.parent / "README.md"


def test_the_readme_tables_are_what_the_program_says() -> None:
    """Changed a command, setting or key? Run python -m web.documents README.md"""
    text = README.read_text(encoding="utf-8")
    assert text == rewritten(text)


def test_the_first_paragraph_states_the_job() -> None:
    """A stranger knows what this is before the first command."""
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    for word in ("epoxy", "how hot the middle will get", "thermometers", "forecast", "record"):
        assert word in first.replace("\n", " ")


def test_no_document_names_an_outside_recording_or_this_machine() -> None:
    """The owner's rules on what is never cited."""
    for path in README.parent.glob("*.md"):
        text = path.read_text(encoding="utf-8").lower()
        for word in ("transcript", "youtube", "/work/", "video"):
            assert word not in text, f"{path.name}: {word}"
