"""Points derived from the plan, signatures, photos and overrides."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.errors import BadInput
from logger.facts import fact
from logger.plan.file import Plan, plan_from_text, read_plan
from logger.planning.assess import assess
from logger.planning.examples import EXAMPLES
from logger.planning.finding import Light
from logger.planning.readiness import (
    NO_EVIDENCE,
    PHOTO,
    Override,
    SecondCheck,
    Signature,
    SigningPoint,
    obstacles,
    with_unknown,
)
from logger.quantities import minutes
from logger.words.reader import METRIC
from logger.words.render import said, say

ASKED = fact("ask-sun")


@pytest.fixture
def ready_plan() -> Plan:
    """The fictional workshop's plan as it should be."""
    return read_plan(EXAMPLES / "wharf-lane-ready.toml")


def signed(points: list[SigningPoint], *names: str) -> list[Signature]:
    """Every point signed by each of those persons, with a photo."""
    return [Signature(point.id, name, has_photo=True) for point in points for name in names]


def test_the_points_follow_from_the_plan(ready_plan: Plan, plan_toml: str) -> None:
    """Slabs, voids and layers have points only where the plan has them."""
    rich = {point.id for point in assess(ready_plan).points}
    bare = {point.id for point in assess(plan_from_text(plan_toml)).points}

    assert {"slab-1-moisture", "slab-2-edge", "void-1", "layers", "clamps"} <= rich
    assert not {"slab-1-moisture", "void-1", "layers", "clamps"} & bare
    assert {"ratio", "form", "protection", "fire", "watch"} <= rich & bare


def test_ratio_and_form_need_two_persons(ready_plan: Plan) -> None:
    """The same person twice is one person, however the name is typed."""
    points = list(assess(ready_plan).points)
    ratio = next(point for point in points if point.id == "ratio")

    assert {point.id for point in points if point.people == 2} == {"ratio", "form", "seams"}
    once = obstacles([ratio], [Signature("ratio", "Ada", True), Signature("ratio", " ada ", True)])
    assert once == [
        fact(
            "left-at-point",
            question=ratio.question,
            left=fact("left-one-more-or-again", wait=minutes(10.0), again=fact("again-ratio")),
        )
    ]
    assert obstacles([ratio], signed([ratio], "Ada", "Ben")) == []


def test_nobody_starts_on_an_unsigned_point(ready_plan: Plan) -> None:
    """Every point without a signature stands in the way, experience or not."""
    points = list(assess(ready_plan).points)

    assert len(obstacles(points, [])) >= len(points)


def test_a_point_with_a_photo_waits_for_it() -> None:
    """Signed but without the picture: still open."""
    point = SigningPoint("edge", ASKED, 1, PHOTO, Light.OK)

    assert said(obstacles([point], [Signature("edge", "Ada")]), METRIC) == [
        "Is the form out of the sun all day long? The photo is missing."
    ]


def test_a_stop_needs_an_override_by_name_and_reason() -> None:
    """Signatures alone do not start a pour at stop; an override alone does not stand in for signatures."""
    point = SigningPoint("air", ASKED, 1, NO_EVIDENCE, Light.STOP, "It is not.")
    by_name = [Signature("air", "Ada")]

    (left,) = said(obstacles([point], by_name), METRIC)
    assert "Blocked: It is not. Fix it, or sign an exception by name and reason." in left
    assert obstacles([point], by_name, [Override("air", "Ben", "the dryer runs")]) == []
    (left,) = said(obstacles([point], [], [Override("air", "Ben", "the dryer runs")]), METRIC)
    assert "Not signed" in left


def test_one_person_alone_lets_the_second_pair_of_eyes_pass_by_name_and_reason() -> None:
    """On a Sunday there is no second person: signed once, and it is said who went without, and why."""
    point = SigningPoint("form", ASKED, 2, PHOTO, Light.OK)
    alone = [Override("form", "Ada", "nobody else is here, the camera is broken")]

    assert len(obstacles([point], [Signature("form", "Ada")])) == 2
    assert obstacles([point], [Signature("form", "Ada")], alone) == []
    assert said(obstacles([point], [], alone), METRIC) == [
        "Is the form out of the sun all day long? Not signed yet: needs two people."
    ]


@pytest.mark.parametrize(("person", "reason"), [("", "because"), ("Ben", "  ")])
def test_an_override_without_name_or_reason_is_refused(person: str, reason: str) -> None:
    """It goes into the record, so it must say who and why."""
    with pytest.raises(BadInput, match="exception at air"):
        Override("air", person, reason)


def test_one_person_alone_is_told_how_and_is_no_stop(ready_plan: Plan) -> None:
    """Two named persons are asked for; the same name twice is one, who looks twice."""
    alone = ready_plan.model_copy(update={"person": [ready_plan.person[0]] * 2})
    people = next(point for point in assess(alone).points if point.id == "people")

    assert people.light is Light.WATCH
    assert "at least 10 min later" in say(people.why, METRIC)


def test_the_second_check_may_be_made_by_the_same_person(ready_plan: Plan) -> None:
    """Looked at twice, as it stands in the record; once is not twice."""
    ratio = next(point for point in assess(ready_plan).points if point.id == "ratio")
    again = SecondCheck(12.4, 3)

    assert obstacles([ratio], [Signature("ratio", "Ada", True, again=again)]) == []
    assert say(again.words, METRIC) == "checked twice by the same person, 12 min apart, photo 3"


def test_a_point_whose_fact_is_not_known_is_signed_as_open_with_a_reason_only() -> None:
    """No channel for messages: a plain yes does not do; whoever gives the reason has signed it."""
    point = SigningPoint("watch", ASKED, 1, NO_EVIDENCE, Light.OK)
    (unknown,) = with_unknown([point], "watch", ["No address is set. Set one."])

    assert unknown.light is Light.WATCH
    assert unknown.why == "No address is set. Set one."
    (left,) = obstacles([unknown], [Signature("watch", "Ada")])
    assert "Not known: No address is set. Set one." in say(left, METRIC)
    assert obstacles([unknown], [], [Override("watch", "Ada", "Ben sits beside it")]) == []
    assert with_unknown([point], "watch", []) == (point,)


def test_every_finding_that_is_not_ok_belongs_to_a_point() -> None:
    """A stop that no point shows could be signed away: both examples' findings are all covered."""
    for path in sorted(Path(EXAMPLES).glob("*.toml")):
        assessment = assess(read_plan(path))
        told = [finding for point in assessment.points for finding in point.because]
        for finding in assessment.findings:
            if finding.light is not Light.OK:
                assert finding in told, finding.key
