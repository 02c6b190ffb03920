"""Whatever is refused is refused in a maker's words."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import _pydantic_core as core

from logger.cure.fit.datasheet import Datasheet, datasheet_from_text
from logger.daemon.station_file import station_from_file
from logger.errors import BadInput, BadPlan, BadSettings
from logger.input_errors import InputProblem, input_problem, models_in, most_telling
from logger.plan.file import Plan, plan_from_text
from logger.settings import Settings, read_settings
from logger.toml_text import toml_problem
from logger.words.reader import METRIC
from logger.words.render import say
from web.schemas import RequestShape

#: What only a programmer would say.
RAW = (
    "input should",
    "extra inputs",
    "not permitted",
    "should have at",
    "should match",
    "field required",
    "valid dictionary",
    "valid string",
    "unable to parse",
    "instance of",
    "immutable namespace",
    "the top]",
    "value error",
    "assertion failed",
    "nonetype",
    "pydantic",
    "tuple",
    "dict",
    "{",
)
PLAN = """
title = "A round top"
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
"""


def sentence(problem: InputProblem) -> str:
    """Return all that is said of a value but its name."""
    whole = BadInput("it", problem.problem, allowed=problem.allowed, remedy=problem.remedy)
    return str(whole).removeprefix("it: ")


def plain(text: str) -> None:
    """No sentence of the library's own, and some sentence."""
    assert text.strip()
    assert not [raw for raw in RAW if raw in text.lower()], text


@pytest.mark.parametrize("known", core.list_all_errors(), ids=lambda known: known["type"])
def test_every_kind_of_error_that_the_library_has_is_told_in_plain_words(known: Any) -> None:
    """The list is the library's own: a kind that a newer one adds is in it."""
    context = dict(known.get("example_context") or {})
    error = {"type": known["type"], "loc": ("pour", "depth_mm"), "input": "deep", "ctx": context}
    told = input_problem(error)
    assert told.path == ("pour", "depth_mm")
    plain(sentence(told))
    first_words = known["message_template_python"].split("{")[0].strip().lower()
    assert not first_words or first_words not in sentence(told).lower()


class Every(BaseModel):
    """A field for each way in which our shapes constrain a value."""

    model_config = ConfigDict(extra="forbid", strict=True)

    whole: int = Field(default=1, ge=0, le=9)
    part: float = Field(default=1.0, gt=0, lt=9, allow_inf_nan=False)
    text: str = Field(default="a", min_length=1, max_length=3, pattern=r"^[0-2]\d:[0-5]\d$|a")
    word: Literal["river", "sheet", "round"] = "river"
    yes: bool = True
    rows: Annotated[list[tuple[float, float]], Field(max_length=2)] = []
    inner: Every | None = None


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"whole": "1"}, "is not a whole number"),
        ({"whole": 12}, "allowed: at most 9"),
        ({"part": float("inf")}, "is not a number"),
        ({"part": 0}, "allowed: above 0"),
        ({"text": ""}, "is empty"),
        ({"text": "abcd"}, "at most 3 characters"),
        ({"text": 5}, "is not text"),
        ({"text": "x"}, "is not written as it should be"),
        ({"word": "rivr"}, "did you mean river?"),
        ({"yes": "maybe"}, "true or false"),
        ({"rows": [(0.0, 1.0)] * 3}, "at most 2"),
        ({"rows": 4}, "is not a list"),
        ({"inner": 4}, "is not a table"),
        ({"inner": {"hole": 4}}, "did you mean whole?"),
        ({"zzz": 4}, "leave zzz out"),
    ],
)
def test_each_constraint_says_what_is_allowed(given: dict[str, Any], said: str) -> None:
    """By a real refusal of a real model."""
    with pytest.raises(ValidationError) as refused:
        Every.model_validate(given)
    whole = sentence(input_problem(most_telling(refused.value.errors()), Every))
    plain(whole)
    assert said in whole


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLAN.replace("depth_mm", "dept_mm"), "did you mean depth_mm?"),
        (PLAN.replace("[pour]", "[por]"), "did you mean pour?"),
        ("depth_mm = 50\n" + PLAN, "depth_mm belongs under [pour]"),
        (PLAN.replace("[pour]", "[pour]\ntitle = 'x'"), "title belongs at the beginning of the file"),
        (PLAN.split("[pour]")[0], "add the table [pour]"),
        (PLAN.replace('title = "A round top"', ""), "add title = … before the first [table]"),
        (PLAN.replace('"river"', '"rivers"'), "did you mean river?"),
        (PLAN.replace("= 50", '= "50 mm"'), "a number in mm"),
        (
            "slab = []\n" + PLAN + "[[slab]]\nspecies = 'oak'\n",
            "gives slab a second time: line 15 ([[slab]])",
        ),
        (PLAN.replace("5e-7", "0"), "never starts from zero conversion"),
        (PLAN + "[pour]\n", "has the table [pour] twice"),
        (PLAN + "depth_mm = \n", "has a value that cannot be read"),
    ],
)
def test_a_plan_file_names_the_nearest_known_name_or_what_to_add(text: str, said: str) -> None:
    """A typing mistake is mended without looking anything up."""
    with pytest.raises(BadPlan) as refused:
        plan_from_text(text)
    plain(str(refused.value).replace(repr(refused.value.value), ""))
    assert said in str(refused.value)


def test_datasheet_settings_and_station_file_name_the_nearest_too(tmp_path: Path) -> None:
    """One translation, everywhere."""
    with pytest.raises(BadInput, match=r"did you mean working_time\?") as refused:
        datasheet_from_text('name = "A"\n[[working_tim]]\ntime_min = 5\n')
    plain(str(refused.value).replace(repr(refused.value.value), ""))
    path = tmp_path / "settings.toml"
    path.write_text('prot = 8080\n[messages]\nurls = ["mailto://me:secret@x"]\n', encoding="utf-8")
    with pytest.raises(BadSettings, match=r"prot: is not a setting.*did you mean port\?"):
        read_settings(path)
    path.write_text('name = "bench-1"\nservice_urll = "http://a:1"\nhardware = "bench"\n', encoding="utf-8")
    with pytest.raises(BadSettings, match=r"service_url: is missing"):
        station_from_file(path)
    path.write_text(
        'name = "bench-1"\nservice_url = "http://a:1"\nhardware = "bench"\ntokn_file = "x"\n'
        '[[probe]]\nid = "28-0000000000a1"\nplace = "core"\n',
        encoding="utf-8",
    )
    with pytest.raises(BadSettings, match=r"did you mean token_file\?"):
        station_from_file(path)


def test_a_broken_line_is_shown_without_what_may_be_secret(tmp_path: Path) -> None:
    """Settings hold passwords, and their mistakes go to a journal."""
    path = tmp_path / "settings.toml"
    path.write_text('[messages]\nurls = ["mailto://me:hunter2@x"\nwho = "Ada"\n', encoding="utf-8")
    with pytest.raises(BadSettings, match="line") as refused:
        read_settings(path)
    assert "hunter2" not in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        "a = [1",
        "a = {b = 1",
        "a = 'b",
        'a = "\\q"',
        "[a",
        "[[a",
        "a",
        "= 1",
        "a = 1 b",
        "a = 2026-13-40",
        "a.b = 1\na = 2",
    ],
)
def test_what_is_no_toml_is_told_by_its_line(text: str) -> None:
    """By the parser's own refusals, whatever its version says."""
    with pytest.raises(tomllib.TOMLDecodeError) as refused:
        tomllib.loads(text)
    problem, remedy = (say(part, METRIC) for part in toml_problem(str(refused.value), text))
    plain(problem.partition(": line")[0])
    assert "line" in problem
    assert not problem.startswith("cannot be read")
    assert remedy


#: Values that no field takes, or hardly any: of every kind that TOML and JSON have.
WRONG: tuple[Any, ...] = (
    "",
    "x" * 5000,
    "…",
    -1e9,
    1e12,
    float("nan"),
    True,
    [],
    [[]],
    [1, 2, 3],
    {},
    {"zzz": 1},
    None,
)


def places(model: type[BaseModel], path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The way to every field of a model, through its tables."""
    for name, field in model.model_fields.items():
        here = (*path, field.alias or name)
        yield here
        for inner in models_in(field.annotation):
            if len(path) < 4:
                yield from places(inner, here)


@pytest.mark.parametrize("model", [Plan, Datasheet, Settings, *RequestShape.__subclasses__()])
def test_no_field_of_any_file_or_request_is_refused_in_the_librarys_own_words(model: type[BaseModel]) -> None:
    """Every field of every model, given every kind of value that it does not take; and a name that is unknown."""
    refused = 0
    for path in places(model):
        for wrong in WRONG:
            for given in (nested(path, wrong), nested((*path[:-1], f"{path[-1]}x"), wrong)):
                try:
                    model.model_validate(given)
                except ValidationError as error:
                    for one in error.errors():
                        told = input_problem(one, model)
                        plain(sentence(told))
                    refused += 1
    assert refused > 20


def nested(path: tuple[str, ...], value: Any) -> dict[str, Any]:
    """A table that holds one value at the end of a path."""
    for name in reversed(path):
        value = {name: value}
    found: dict[str, Any] = value
    return found
