"""Headline, list and count of stops agree, wherever they are read. Common practice, no source."""

from __future__ import annotations

import re
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from logger.plan.file import Plan, plan_from_table, read_plan
from logger.planning.assess import Assessment, assess
from logger.planning.cure_answers import CureAnswers
from logger.planning.examples import EXAMPLES
from logger.planning.finding import Light
from logger.planning.verdict import verdict_of
from logger.words.reader import METRIC
from logger.words.render import say
from web.views.plan_report import plan_report

PLANS = [read_plan(path) for path in sorted(EXAMPLES.glob("*.toml"))]


def changed(plan: Plan, **tables: Any) -> Plan:
    """The plan with other tables."""
    table = plan.model_dump(mode="json", exclude_none=True)
    for name, values in tables.items():
        if values is None:
            table.pop(name, None)
        elif isinstance(values, dict):
            table[name] = table.get(name, {}) | values
        else:
            table[name] = values
    return plan_from_table(table, "a plan")


plans = st.builds(
    changed,
    st.sampled_from(PLANS),
    pour=st.fixed_dictionaries({"depth_mm": st.floats(5, 120)}),
    air=st.fixed_dictionaries({"room_c": st.floats(12, 32)}),
    person=st.lists(st.sampled_from([{"name": "Ada"}, {"name": "Ben"}]), max_size=2),
    scale=st.none() | st.fixed_dictionaries({"resolution_g": st.sampled_from([0.1, 1.0, 50.0])}),
    mix=st.fixed_dictionaries({"mix_min": st.sampled_from([4.0, 6.0, 100.0])}),
)


def stops_of(assessment: Assessment) -> int:
    """How many things stand at stop, counted from what planning found: not from the verdict."""
    stops = [finding for finding in assessment.findings if finding.light is Light.STOP]
    alone = [
        point
        for point in assessment.points
        if point.light is Light.STOP and not any(finding in point.because for finding in stops)
    ]
    return len(stops) + len(alone)


@settings(max_examples=60, deadline=None)
@given(plan=plans, peak_c=st.floats(25, 150))
def test_head_list_and_count_agree_in_text_and_json(plan: Plan, peak_c: float) -> None:
    """ "Do not pour" where something must change and nowhere else, with as many things as are listed.

    Too deep and too hot are two things, and stand at one point to sign.
    """
    assessment = assess(plan, answers=CureAnswers(peak_c=peak_c, peak_at_h=10.0))
    verdict, count = assessment.verdict, stops_of(assessment)
    headline = say(verdict.headline, METRIC)
    number = re.search(r"(\d+) things? must change", headline)
    assert ("Do not pour" in headline) is (count > 0)
    assert (int(number[1]) if number else 0) == count == len(verdict.stops)
    assert assessment.ready is (count == 0)
    told = assessment.to_json()
    assert (told["headline"], len(told["stops"])) == (verdict.headline, count)
    lines = plan_report(plan, assessment).splitlines()
    assert lines[2] == headline
    assert sum(line.startswith("  STOP ") for line in lines) == count
    assert "".join(lines).count("STOP") == count


def test_what_is_let_pass_is_no_stop_and_is_said() -> None:
    """Both counts come from one list: three that must change, all of them let pass."""
    assessment = assess(read_plan(EXAMPLES / "wharf-lane-not-ready.toml"))
    everything = {point.id for point in assessment.points}
    verdict = verdict_of(assessment.findings, assessment.points, everything)
    assert verdict.stops == ()
    assert len(verdict.passed) == len(assessment.verdict.stops) > 2
    assert "exceptions are signed for them" in say(verdict.headline, METRIC)
    assert verdict.light is Light.WATCH


def test_a_plan_in_which_nothing_is_wrong_is_said_to_work() -> None:
    """The example that is as it should be."""
    verdict = assess(read_plan(EXAMPLES / "wharf-lane-ready.toml")).verdict
    assert (verdict.stops, verdict.passed) == ((), ())
    assert "Do not pour" not in say(verdict.headline, METRIC)
