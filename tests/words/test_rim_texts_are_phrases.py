"""What pages, views and actions show is written in phrases: found by extraction, said in a reader's language.

No literal of two words or more stands beside them, but docstrings, log lines, SQL, patterns, markup, what the API's
description says, and what is told to a programmer.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.facts import Fact
from logger.words.catalogues import sources
from logger.words.english import ENGLISH
from tests.words.test_no_sentence_below_the_rim import sentences
from web.views.plan_fields import SECTIONS, help_of, keys_of

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("web/views", "web/pages", "web/actions", "web/commands", "web/service", "logger/diagnosis")
#: What makes words of its first arguments: `phrase("…")`, `phrases("…", "…", n)`.
PHRASES = {"phrase": 1, "phrases": 2}
#: Told to nobody who reads pages: the API's description, a command's help.
DESCRIBED = {
    "Field",
    "Query",
    "Header",
    "Path",
    "Form",
    "typer.Option",
    "typer.Argument",
    "APIRouter",
    "typer.Typer",
}
#: Markup, media types, headers, and commands that are typed as they are.
_MARKUP = re.compile(
    r"<[a-z!/]|^\w+/[\w.+-]+;|^(private|public), |; filename=|^event: |^: |^(sudo|pip) |^pourlog \{\}"
)
#: Texts that are no phrase: the program's own names of things, which are compared and kept; a plan of its own.
ALLOWED = {
    "as it is",
    "command line",
    "cooler room",
    "cup test",
    "one phone",
    "the console of this machine",
    "this machine's administrator",
    "too early",
    "underside open",
    # units, read as well as shown
    "US fl oz",
    "US gal",
    "US gallons",
    # how texts of before facts begin
    "Back inside: ",
    # a machine's name, signs of a terminal, a file's endings and tables
    ".zip, .json, .csv",
    "Raspberry Pi",
    "[bold red]FAIL[/bold red]",
    '\n[[probe]]\nid = "{}"\nplace = "{}"\n{}',
    # classes and attributes of a drawing
    "resin shade-{}",
    ' data-layer="{}" data-times="{}"',
}
#: Told to whoever runs the program: figures for a monitor, a processor's fault, the hardware's own errors, a help text,
#: a plan file.
FOR_OPERATORS = {
    "web/service/metrics.py",
    "web/commands/self_test.py",
    "web/pages/wiring.py",
    "logger/diagnosis/place_probes.py",
    "logger/diagnosis/look.py",
}


def files() -> list[Path]:
    """Every module of the rooms."""
    return sorted(path for room in ROOMS for path in (ROOT / room).rglob("*.py"))


def called(node: ast.Call) -> str:
    """The dotted name of what is called."""
    return ast.unparse(node.func)


def of_no_reader(tree: ast.AST) -> Iterator[ast.AST]:
    """What is said in phrases, or to nobody who reads pages."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = called(node)
            if name in PHRASES:
                yield from node.args[: PHRASES[name]]
            elif name in DESCRIBED:
                yield from ast.walk(node)
        if isinstance(node, ast.AsyncFunctionDef | ast.FunctionDef):
            for decorator in node.decorator_list:
                yield from ast.walk(decorator)


def unsaid(path: Path) -> list[str]:
    """Line and text of each sentence that is no phrase."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    quiet = set()
    for node in of_no_reader(tree):
        if isinstance(node, ast.Constant):
            quiet.add(str(node.value))
        elif isinstance(node, ast.JoinedStr):
            quiet.add(
                "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
            )
    return [
        f"{line}: {text}"
        for line, text in sentences(path)
        if text not in quiet and text not in ALLOWED and not _MARKUP.search(text)
    ]


CLEAN = [path for path in files() if str(path.relative_to(ROOT)) not in FOR_OPERATORS]


@pytest.mark.parametrize("path", CLEAN, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_shown_is_a_phrase(path: Path) -> None:
    """Anything else would be read in English, whoever reads it."""
    assert unsaid(path) == []


def phrases_in(path: Path) -> Iterator[tuple[int, ast.expr]]:
    """Line and text of each phrase of a module."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and called(node) in PHRASES:
            for text in node.args[: PHRASES[called(node)]]:
                yield text.lineno, text


def test_every_phrase_is_a_literal_that_is_found_and_is_no_code() -> None:
    """A phrase that extraction misses is never translated; one that is a code's name is said in the code's words."""
    have = set()
    for message in sources()["phrases"]:
        have |= {message.id} if isinstance(message.id, str) else set(message.id)
    wrong = []
    for path in sorted((*ROOT.glob("web/**/*.py"), *ROOT.glob("logger/**/*.py"))):
        for line, text in phrases_in(path):
            where = f"{path.relative_to(ROOT)}:{line}: {ast.unparse(text)[:80]}"
            if not isinstance(text, ast.Constant) or text.value not in have:
                wrong.append(f"{where} is not found")
            elif text.value in ENGLISH:
                wrong.append(f"{where} is a code")
    assert wrong == []


#: Phrases whose places a page's script fills.
BY_SCRIPTS = ROOT / "web/views/script_words.py"


def test_each_place_of_a_phrase_has_its_value() -> None:
    """And no value without a place."""
    wrong = []
    for path in sorted({*ROOT.glob("web/**/*.py"), *ROOT.glob("logger/**/*.py")} - {BY_SCRIPTS}):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or called(node) not in PHRASES:
                continue
            if any(each.arg is None for each in node.keywords):
                continue  # given as a table
            given = {str(each.arg) for each in node.keywords} | (
                {"n"} if called(node) == "phrases" else set()
            )
            for text in node.args[: PHRASES[called(node)]]:
                places = set(re.findall(r"\{(\w+)\}", str(ast.literal_eval(text))))
                if places - given or (called(node) == "phrase" and given - places):
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}: {ast.unparse(text)[:80]}")
    assert wrong == []


def test_a_sentence_that_is_no_phrase_is_found(tmp_path: Path) -> None:
    """And a phrase, its docstring and a header are none."""
    path = tmp_path / "page.py"
    path.write_text(
        '"""Doc of it."""\n'
        'a = phrase("The core reads {y}.", y=y)\n'
        'b = {"Content-Disposition": f\'inline; filename="{name}"\'}\n'
        'c = f"The core reads {y}."\n'
    )
    assert unsaid(path) == ["4: The core reads {}."]


def test_what_a_plans_fields_mean_can_be_translated() -> None:
    """The sentences beside the fields stand in the plan file's own help: each is in the catalogues, and no code."""
    catalogue = sources()["phrases"]
    helps = [help_of(key) for section in SECTIONS.values() for part in section.parts for key in keys_of(part)]
    said = {text.code for text in helps if isinstance(text, Fact)}
    assert len(said) > 100
    assert [text for text in said if catalogue.get(text) is None or text in ENGLISH] == []
