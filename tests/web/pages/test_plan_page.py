"""The plan's page: one verdict, its reason, and each finding once, by what is to be done about it."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from logger.planning import examples
from logger.store import pours
from logger.words.render import say
from tests.web.page_text import words
from web.views.assessed import assessment_of

#: In which order the groups are read.
ORDER = ["change", "passed-by-name", "check-desk", "check-bench", "check-form", "assumed", "passed"]


def example(name: str) -> str:
    """A plan of the invented workshop."""
    return (Path(next(iter(examples.__path__))) / name).read_text(encoding="utf-8")


@pytest.fixture(params=["good", "stop", "silent"])
def planned(request: Any, shop: Any, plan_toml: str) -> int:
    """A plan that works, one with five mistakes, one that leaves most unsaid."""
    texts = {
        "good": example("wharf-lane-ready.toml"),
        "stop": example("wharf-lane-not-ready.toml"),
        "silent": plan_toml,
    }
    return int(shop.plan(texts[request.param]))


def spaced(text: str) -> str:
    """A text with plain spaces, as a page's text is compared."""
    return " ".join(text.split())


def test_no_finding_stands_twice_on_the_page(maker: Any, service: Any, planned: int) -> None:
    """With the verdict or in its group, never in both."""
    page = re.sub(r"<svg.*?</svg>|<[^>]+>", " ", maker.get(f"/pours/{planned}/plan").text)
    page = spaced(page.replace("&#34;", '"').replace("&#39;", "'").replace("&quot;", '"'))
    with service.store.read() as connection:
        assessment = assessment_of(pours.get_pour(connection, planned).plan_toml)
    sentences = {spaced(say(finding.sentence)) for finding in assessment.findings}
    assert {sentence: page.count(sentence) for sentence in sentences} == dict.fromkeys(sentences, 1)


def test_the_verdict_counts_what_stands_below_it(maker: Any, planned: int) -> None:
    """As many as it names: what it hangs on itself, and the open groups."""
    page = maker.get(f"/pours/{planned}/plan").text
    head = words(maker.get(f"/pours/{planned}/plan")).split("<strong>")[1].split("</strong>")[0]
    stop = "must change" in head
    tone = "stop" if stop else "watch"
    shown = [part.split("</li>")[0] for part in page.split(f'<li class="finding {tone}">')[1:]]
    main = page.split(f'<div class="finding {tone}">')[1:2]
    main = [one.split("</div>")[0] for one in main]
    counted = sum(len(re.findall(r"<p>", part)) for part in main + shown)
    assert counted == int((re.findall(r"\d+", head) or ["0"])[0])


def test_groups_come_in_the_order_of_the_work_and_what_is_fine_is_folded(maker: Any, planned: int) -> None:
    """Change, then check on paper, at the bench, at the form; the rest waits folded."""
    page = maker.get(f"/pours/{planned}/plan").text
    groups = re.findall(r'<(details|section)[^>]* id="group-([\w-]+)"', page)
    names = [name for _, name in groups]
    assert names == [name for name in ORDER if name in names]
    assert all(tag == ("details" if name in ORDER[5:] else "section") for tag, name in groups)
    assert re.search(r"\d+ checks? passed", words(maker.get(f"/pours/{planned}/plan")))


def test_the_same_advice_for_two_layers_is_given_once(maker: Any, shop: Any) -> None:
    """Both come too early; what to do instead is one thing, with one button."""
    early = example("wharf-lane-ready.toml").replace(
        "at_h = 45.0\ndepth_mm = 37.5",
        "at_h = 20.0\ndepth_mm = 25.0\n\n[[layer]]\nat_h = 40.0\ndepth_mm = 25.0",
    )
    page = words(maker.get(f"/pours/{shop.plan(early.replace('depth_mm = 37.5', 'depth_mm = 25.0'))}/plan"))
    assert "2 things must change" in page
    assert page.count("Plan these") == 1
    assert page.count("before each next one") == 1


def test_the_verdict_leads_to_the_field_that_changes_it(maker: Any, shop: Any, plan_toml: str) -> None:
    """From the head of the page to the depth."""
    pour = shop.plan(plan_toml.replace("depth_mm = 40", "depth_mm = 60"))
    head = maker.get(f"/pours/{pour}/plan").text.split('class="verdict stop"')[1].split("</section>")[0]
    assert f"/pours/{pour}/plan?open=numbers#f-numbers-depth" in head


def test_a_planned_peak_never_stands_alone(maker: Any, shop: Any) -> None:
    """Range and chance to pass the limit stand beside it, in its time line too, and its chart draws the range."""
    page = maker.get(f"/pours/{shop.plan(example('wharf-lane-ready.toml'))}/plan").text
    text = spaced(re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ")
    assert re.search(r"90 % range \d+ °C to \d+ °C", text)
    assert re.search(r"Chance to pass the limit (below 1|\d+) %", text)
    assert re.search(r"At its hottest, about \d+ °C \(90 % range \d+ °C to \d+ °C\)", text)
    chart = json.loads(re.search(r'id="chart-data"[^>]*>(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    band = chart["planned_band"]
    assert len(band["hours"]) == len(band["p05"]) == len(band["p95"]) > 50
    assert all(low < high for low, high in zip(band["p05"], band["p95"], strict=True))
