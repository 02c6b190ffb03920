"""Planning's sentences in customary units: nothing metric is left, and every number is the same quantity."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import pytest

from logger.facts import Bound, Fact, Quantity, Value
from logger.plan.file import plan_from_table, plan_to_text
from logger.planning.assess import Assessment
from logger.planning.examples import EXAMPLES
from logger.words.old_text import in_units
from logger.words.reader import Reader
from logger.words.render import planned, say
from web.demo.scenarios import SCENARIOS
from web.views.assessed import assessment_of
from web.views.reader_units import COOKIE

AMERICAN = Reader("f", "in", "gal", "lb")
CHOICES = ("f", "in", "gal", "lb")


@pytest.mark.parametrize(
    ("metric", "customary"),
    [
        # 25.4 mm an inch, 0.45359237 kg a pound, 3.785411784 L a US gallon of 128 fl oz, °F = 1.8 °C + 32, exact
        # (NIST SP 811, 2008, B.8).
        (
            "50.8 mm in one pour is too deep: 25.4 mm is allowed.",
            "2 in in one pour is too deep: 1 in is allowed.",
        ),
        ("The room stays between 15 and 25 °C.", "The room stays between 59 and 77 °F."),
        ("differ by up to 10 K: at most", "differ by up to 18 °F: at most"),
        ("-40 °C outside", "-40 °F outside"),
        ("5 pails of 3.785411784 L (4.5359237 kg)", "5 pails of 1 US gal (10 lb)"),
        ("loses 29.5735295625 mL a minute", "loses 1 US fl oz a minute"),
        ("Add 453.59237, 907.18474 g in turn", "Add 1, 2 lb in turn"),
        (
            "from about 20.7 h to 36.4 h, 6 readings, 1100 kg/m³",
            "from about 20.7 h to 36.4 h, 6 readings, 1100 kg/m³",
        ),
        ('"beam, 100 mm" sags 25.4 mm', '"beam, 100 mm" sags 1 in'),
    ],
)
def test_a_sentence_keeps_its_meaning(metric: str, customary: str) -> None:
    """Numbers with a unit are converted; counts, hours, densities and somebody's own names are not."""
    assert in_units(metric, *CHOICES) == customary
    assert in_units(metric, "mm", "l", "kg") == metric


def assessments() -> list[Assessment]:
    """Every shipped plan: both examples and the demo's deep table."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(EXAMPLES.glob("*.toml"))]
    return [assessment_of(text) for text in (*texts, plan_to_text(plan_from_table(SCENARIOS["hot"].plan)))]


def test_no_metric_number_is_left_in_any_finding_of_the_shipped_plans() -> None:
    """Sentence, advice and constants; and what a figure says is what the sentence says, converted."""
    left = re.compile(r"\d (mm|°C|K|L|mL|kg|g)(?![\w/·²³])")
    compared = 0
    for assessment in assessments():
        for finding in assessment.findings:
            told = say(finding.sentence, AMERICAN)
            texts = [
                told,
                say(finding.change, AMERICAN),
                *(say(c.said, AMERICAN) for c in finding.constants),
            ]
            for text in texts:
                assert not left.search(re.sub(r'"[^"]*"', "", text)), text
            for one in quantities_in(finding.sentence):
                # 25.4 mm an inch, °F = 1.8 °C + 32, exact (NIST SP 811, 2008, B.8); an inch is read to a sixteenth.
                words = say(one, AMERICAN)
                if one.unit == "mm":
                    off = inches_of(words) - one.value / 25.4
                    # A most is read off below it, a least above it: a sixteenth at most, on its own side.
                    low = {Bound.NONE: -1 / 32, Bound.MOST: -1 / 16, Bound.LEAST: 0}[one.bound]
                    high = {Bound.NONE: 1 / 32, Bound.MOST: 0, Bound.LEAST: 1 / 16}[one.bound]
                    assert low - 1e-6 <= off <= high + 1e-6, words
                elif one.unit == "°C":
                    assert float(words.split()[0]) == pytest.approx(one.value * 1.8 + 32, rel=5e-3), words
                else:
                    continue
                assert words in told
                compared += 1
    assert compared > 15


def quantities_in(text: Value) -> list[Quantity]:
    """Every quantity of a fact and of the facts in it."""
    if isinstance(text, Quantity):
        return [text]
    within = text.values.values() if isinstance(text, Fact) else text if isinstance(text, tuple) else ()
    return [one for value in within for one in quantities_in(value)]


def inches_of(words: str) -> float:
    """The number of "1 15/16 in"."""
    return float(sum(Fraction(part) for part in words.removesuffix(" in").split()))


def test_a_refusal_keeps_the_plan_files_units() -> None:
    """It names a key such as thickness_mm, its value and its range: converting half of it would mislead."""
    text = "[form.bottom] thickness_mm: is outside; found 5000.0; allowed: 0.1 to 2000 mm; measure the panel"
    assert planned(text, AMERICAN) == text


def test_plan_and_ready_pages_speak_the_devices_units_and_the_api_does_not(maker: Any, shop: Any) -> None:
    """The cookie of this device decides for pages; programs always get SI."""
    pour = shop.plan((EXAMPLES / "wharf-lane-not-ready.toml").read_text(encoding="utf-8"))
    maker.cookies.set(COOKIE, AMERICAN.cookie)
    for page in ("plan", "ready"):
        text = maker.get(f"/pours/{pour}/{page}").text
        # 75 mm and 50 mm, to a sixteenth of an inch (25.4 mm an inch: NIST SP 811, 2008, B.8)
        assert "A single pour of 2 15/16 in is too deep: by the model 1 " in text
        assert "the datasheet allows 1 15/16 in." in text
        assert "The room reaches 87.8 °F; 78.8 °F is the most." in text
    points = maker.get(f"/api/pours/{pour}/ready").json()["points"]
    assert "A single pour of 75 mm is too deep" in points[0]["why"]
