"""What is refused is said whole: every code has its words, and every place in them its value.

The web's own refusals, by its pages and its API: tests/web/test_refusals_on_pages.py.
"""

from __future__ import annotations

import ast
import copy
import pickle
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.daemon.station_file import station_from_file
from logger.errors import BadInput, BadPlan, LoggerError, MayNotEnd, NotFinite, NotReady
from logger.facts import Fact, fact
from logger.plan.file import plan_from_text, read_plan
from logger.quantities import length, temperature
from logger.settings import read_settings
from logger.words.english import ENGLISH, ROOMS, Plural
from logger.words.reader import METRIC, Reader, units_from
from logger.words.render import say
from tests.said_codes import places

ROOT = Path(__file__).resolve().parents[2]
AMERICAN = units_from("f.in.gal.lb")
#: What the words of a code have in braces that is no place.
NO_PLACE = {"toml-close-braces"}
#: Where places stay open: a page's script fills them.
FOR_SCRIPTS = {"web/views/script_words.py"}


def whole(text: str, code: str = "") -> None:
    """Nothing of what words are made of is left in them."""
    assert text.strip()
    assert '"say"' not in text
    if code not in NO_PLACE:
        assert "{" not in text, text
        assert "}" not in text, text


@pytest.mark.parametrize("code", [*ROOMS["refusals"], *ROOMS["input_errors"]])
@pytest.mark.parametrize("n", [0, 1, 2, 10_000])
def test_every_code_is_said_in_the_readers_units(code: str, n: int) -> None:
    """Whatever its values are: a length of a plan is in inches, an oven's heat in °F."""
    english = ENGLISH[code]
    given: dict[str, Any] = dict.fromkeys(places(english), length(25.4, 0)) | {
        "remedy": temperature(2000.0, 0)
    }
    if isinstance(english, Plural):
        given[english.by] = n
    text = say(Fact(code, given), AMERICAN)
    whole(text, code)
    assert not re.search(r"\d °C|\d mm\b", text), text


# ---- places and values, over all of the program ----------------------------------------------------


def calls() -> Iterator[tuple[str, str, str, set[str], bool]]:
    """Where, which function, the code or text that it is given, the values' names, whether there may be more."""
    for top in ("logger", "web"):
        for path in sorted((ROOT / top).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
                    continue
                if node.func.id not in ("fact", "phrase", "phrases"):
                    continue
                names = {word.arg for word in node.keywords if word.arg is not None}
                more = any(word.arg is None for word in node.keywords)
                texts = node.args[: 2 if node.func.id == "phrases" else 1]
                for text in texts:
                    for one in (text.body, text.orelse) if isinstance(text, ast.IfExp) else (text,):
                        if isinstance(one, ast.Constant):
                            at = f"{path.relative_to(ROOT)}:{node.lineno}"
                            more = more or str(path.relative_to(ROOT)) in FOR_SCRIPTS
                            yield at, node.func.id, str(one.value), names, more


def test_a_code_has_its_words_once() -> None:
    """Of two rooms that use one code for two things, one would say the other's."""
    owners: dict[str, list[str]] = {}
    for room, table in ROOMS.items():
        for code in table:
            owners.setdefault(code, []).append(room)
    assert {code: rooms for code, rooms in owners.items() if len(rooms) > 1} == {}


def test_every_fact_has_words_and_a_value_for_each_place_in_them() -> None:
    """A place that nobody fills would be read as a name in braces, by somebody in trouble."""
    wrong = []
    for at, function, text, names, more in calls():
        if function == "fact" and text not in ENGLISH:
            wrong.append(f"{at}: {text} has no English")
            continue
        asked = places(ENGLISH[text]) if function == "fact" else places(text)
        empty = asked - names - ({"n"} if function == "phrases" else set())
        if empty and not more:
            wrong.append(f"{at}: {text!r} leaves {', '.join(sorted(empty))} empty")
    assert wrong == []


# ---- refusals of files, whole ----------------------------------------------------------------------

PLAN = """
title = "A round top (invented)"
[resin]
name = "Slow casting system (invented)"
heat_of_cure_j_g = 330
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
[pour]
shape = "river"
depth_mm = 50
width_mm = 250
length_mm = 1800
[air]
room_c = 20
"""


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            PLAN.replace("= 50", "= 5000"),
            "[pour] depth_mm: is out of range; found 5000; allowed: at most 1000 mm",
        ),
        (PLAN.replace("room_c = 20", "room_c = 200"), "allowed: at most 150 °C"),
        (PLAN.replace("width_mm = 250\n", ""), "needs the river's width in mm"),
        (PLAN + "[[layer]]\nat_h = 20\ndepth_mm = 499\n[[layer]]\nat_h = 10\ndepth_mm = 5\n", "must rise"),
        ("x = " + "[" * 50, "brackets inside brackets"),
        ("title = 'x", "has text that does not end: line 1 (title)"),
        ("", "add"),
    ],
)
def test_a_refusal_about_a_key_of_the_plan_file_keeps_the_files_unit(text: str, said: str) -> None:
    """Somebody who reads inches still types millimetres there: the unit is in the key's name."""
    with pytest.raises(BadPlan) as refused:
        plan_from_text(text)
    for reader in (AMERICAN, METRIC):
        words = say(refused.value.fact, reader)
        whole(words)
        assert said in words
    assert str(refused.value) == words


def test_a_bound_of_the_plan_is_a_quantity_for_a_form() -> None:
    """Where somebody types inches on a page, the same bound is in inches (NIST SP 811, 2008, B.8: 25.4 mm)."""
    with pytest.raises(BadPlan) as refused:
        plan_from_text(PLAN.replace("= 50", "= 5000"))
    assert say(refused.value.allowed, METRIC) == "at most 1000 mm"
    assert say(refused.value.allowed, Reader(length="in")).startswith("at most 39 3/8")


@pytest.mark.parametrize(
    "content", [b"\xff\xfe", b"x = 1", b"= 3", b'port = "x"\n', b"[https]\ncertificate = 'a'\n"]
)
def test_a_file_that_cannot_be_meant_is_refused_in_whole_words(tmp_path: Path, content: bytes) -> None:
    """A plan, the settings and a station file."""
    path = tmp_path / "file.toml"
    path.write_bytes(content)
    for read in (read_plan, read_settings, station_from_file):
        for there in (path, tmp_path / "gone.toml"):
            with pytest.raises(BadInput) as refused:
                read(there)
            whole(say(refused.value.fact, AMERICAN))
            whole(str(refused.value))


@pytest.mark.parametrize(
    "error",
    [
        BadInput("depth", fact("input-out-of-range"), value=length(3, 0), allowed=fact("input-empty")),
        BadPlan("plan.toml", fact("input-missing"), path=("pour", "depth_mm"), more=2),
        NotReady("pour 3 (a top)", ["One thing.", "Another."]),
        MayNotEnd("pour 3 (a top)", ["It is hot."], signable=True),
        MayNotEnd("pour 3 (a top)", ["It is hot."], signable=False),
        NotFinite("peak", float("inf")),
    ],
)
def test_an_error_from_another_process_is_the_same_error(error: LoggerError) -> None:
    """The heavy work is done in a process of its own, and what it refuses is read by a person."""
    for copied in (pickle.loads(pickle.dumps(error)), copy.copy(error)):
        assert type(copied) is type(error)
        assert copied.fact == error.fact
        assert copied.__dict__ == error.__dict__
        whole(say(copied.fact, AMERICAN))


def test_what_was_typed_comes_back_as_it_was_typed() -> None:
    """In quotation marks, whatever the reader's units are; the range is in theirs."""
    error = BadInput("Depth", fact("input-out-of-range"), value="2 in", allowed=length(50.8, 0))
    assert say(error.fact, Reader(length="in")) == "Depth: is out of range; found '2 in'; allowed: 2 in"
    assert say(error.fact, METRIC) == "Depth: is out of range; found '2 in'; allowed: 51 mm"
