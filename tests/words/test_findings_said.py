"""What planning finds is said whole, in the reader's own units, whatever its numbers are.

Factors: 25.4 mm an inch, 0.45359237 kg a pound, 3.785411784 L a US gallon, °F = 1.8 °C + 32 (NIST SP 811, 2008, B.8).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.facts import Fact, Quantity, fact
from logger.plan.file import plan_from_text, read_plan
from logger.planning import finding
from logger.planning.assess import Assessment, assess, assess_fully
from logger.planning.examples import EXAMPLES
from logger.planning.finding import Constant
from logger.quantities import difference, length, mass, percent, rate, temperature, volume
from logger.words.english import ENGLISH, ROOMS, Plural
from logger.words.reader import METRIC, Reader
from logger.words.render import say
from web.views.plan_json import assessment_json

AMERICAN = Reader("f", "in", "gal", "lb")
PLACE = re.compile(r"\{(\w+)\}")
#: A metric unit after a number; kg/m³, W/(m²·K) and their like are units of science, the same for every reader.
METRIC_LEFT = re.compile(r"\d\s?(°C|K|mm|mL|L|kg|g)(?![\w/·²³°])")
EXTREMES = [
    length(0.004, None),
    length(1e6, None),
    length(-12.7, 1),
    temperature(-273.15, None),
    temperature(1e5, 1),
    difference(1e4, None),
    rate(0.01, None),
    volume(1e-6, None),
    volume(1e6, None),
    mass(1e-6, None),
    mass(1e6, 2),
    Quantity(0.001, "g", None),
    Quantity(1e9, "g", 0),
    Quantity(1e-4, "mL", None),
    Quantity(1e6, "mL", None),
    percent(-1e6),
    Quantity(float("nan"), "mm", None),
    Quantity(float("inf"), "mm", None),
]
#: Where a text itself speaks of a metric unit: a source's own range, or what the datasheet is written in.
NAMED_AFTER_A_UNIT = {
    "kilograms-typed-as-pounds",
    "grams-typed-as-pounds",
    "kilograms-typed-as-grams",
    "pounds-typed-as-grams",
    "ounces-typed-as-grams",
    "source.air-at-20-c",
}


def places(english: str | Plural) -> set[str]:
    """The names of the values that a text asks for."""
    texts = (english.one, english.many) if isinstance(english, Plural) else (english,)
    return {name for text in texts for name in PLACE.findall(text)}


@pytest.mark.parametrize("value", EXTREMES, ids=repr)
def test_every_code_says_extreme_quantities_in_customary_units(value: Quantity) -> None:
    """No metric unit is left beside a number, and no place is left empty."""
    for code, english in ROOMS["findings"].items():
        given: dict[str, Any] = dict.fromkeys(places(english), value)
        if isinstance(english, Plural):
            given[english.by] = 3
        text = say(Fact(code, given), AMERICAN)
        assert text.strip(), code
        assert "{" not in text, text
        assert "}" not in text, text
        if code not in NAMED_AFTER_A_UNIT:
            assert not METRIC_LEFT.search(text), text


@pytest.mark.parametrize("n", [0, 1, 2, 10_000])
def test_a_number_of_things_is_said_as_one_or_as_many(n: int) -> None:
    """ "1 pail", "2 pails"."""
    for code, english in ROOMS["findings"].items():
        if isinstance(english, Plural):
            text = say(Fact(code, dict.fromkeys(places(english), "x") | {english.by: n}), METRIC)
            assert str(n) in text.replace(",", "")


def test_a_sentence_is_a_sentence() -> None:
    """A capital, or a name or a number, in front, and a full stop: as it stands alone on a page."""

    for one in assessments():
        for found in one.findings:
            for text in (found.sentence, found.change):
                assert not text or re.match(r'^["0-9A-Z].*[.?]$', say(text, METRIC), re.S), say(text, METRIC)


def assessments() -> Iterator[Assessment]:
    """Both shipped examples, and a bare plan that lacks most tables."""
    for path in sorted(EXAMPLES.glob("*.toml")):
        yield assess(read_plan(path))


def test_every_finding_is_made_of_facts() -> None:
    """Sentence, change, names and sources: nothing was put into words below the rim."""
    for one in assessments():
        for found in one.findings:
            assert isinstance(found.sentence, Fact), found.key
            assert found.change == "" or isinstance(found.change, Fact), found.key
            for named in (*found.figures, *found.constants):
                assert isinstance(named.name, Fact), named
                assert '"say"' not in say(named.said, AMERICAN)


def test_a_program_reads_code_values_and_the_same_english() -> None:
    """The words as they always were, and beside them what they are made of."""
    bad = assess_fully(read_plan(EXAMPLES / "wharf-lane-not-ready.toml"))
    body = assessment_json(bad)
    (deep,) = [one for one in body["findings"] if one["key"] == "too-deep"]
    assert deep["sentence"].startswith("A single pour of 75 mm is too deep: by the model")
    assert deep["fact"]["sentence"]["code"] == "depth-over-model"
    assert deep["fact"]["sentence"]["values"]["depth"] == {"value": 75.0, "unit": "mm", "kind": "length"}
    assert deep["constants"][0]["name"] == "deepest single pour"
    (calm,) = [one for one in body["findings"] if one["key"] == "walls"]
    assert calm["fact"]["change"] is None
    assert '"say"' not in str(body)


def test_a_refused_value_is_said_in_the_readers_units(plan_toml: str) -> None:
    """A panel that is no panel stops the form's topic: value, range and remedy in inches for who reads inches."""
    with pytest.raises(finding.OutOfRange) as refused:
        finding.above(fact("quantity.free-span"), 0.0, 0.0127, "m", fact("mend.measure-panel"))
    assert say(refused.value.fact, AMERICAN) == (
        "free span: cannot be used; found 0 in; allowed: above 1/2 in; measure the panel"
    )
    plan = plan_from_text(plan_toml + '\n[form.support]\nspan_mm = 300\npanel = "cardboard"\n')
    (form,) = [one for one in assess(plan).findings if one.key == "refused-form"]
    assert isinstance(form.sentence, Fact)
    assert "'cardboard'" in say(form.sentence, METRIC)
    assert isinstance(form.change, Fact)


def test_every_constant_of_planning_is_said(tmp_path: Path) -> None:
    """Those that only a table of sources shows, too."""
    import importlib
    import pkgutil

    from logger import planning

    seen = 0
    for module in pkgutil.walk_packages(planning.__path__, "logger.planning."):
        for value in vars(importlib.import_module(module.name)).values():
            if isinstance(value, Constant):
                text = say(value.said, AMERICAN)
                assert "{" not in text, text
                assert text.endswith(")"), text
                seen += 1
    assert seen > 60


def test_no_code_of_a_finding_is_left_without_a_use() -> None:
    """A text that nothing says would still be translated three times."""
    root = Path(finding.__file__).parent
    used = {
        node.value
        for path in root.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert set(ROOMS["findings"]) - used == set()
    assert set(ROOMS["findings"]) <= set(ENGLISH)
