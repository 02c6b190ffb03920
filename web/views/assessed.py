"""What planning says about a pour's plan: a first answer at once, the whole of it worked out once for each plan text.

A whole answer takes from a second to half a minute (on a Pi): the service has it worked out by another process
(web/actions/plan_work.py), and pages show the first answer until it comes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from threading import Lock
from typing import Any

from logger import extremes
from logger.cure.solver.planned_band import QUICKLY
from logger.cure.solver.prediction import Prediction, predict
from logger.plan.file import Plan, plan_from_text
from logger.planning.assess import Assessment, assess, assess_fully
from logger.planning.chances import Chances, chances_of, quick_chances
from logger.planning.cure_answers import answers_of
from web.views.kept import Kept
from web.views.plan_effects import effects_of
from web.views.predicted import PredictedPour, course_kept, keep_course, predicted_of


@dataclass(frozen=True)
class WorkedOut:
    """Everything that a plan lets say. effects: what is not said yet → by how many kelvin it may move the peak."""

    course: PredictedPour
    assessment: Assessment
    effects: dict[str, float]


@dataclass(frozen=True)
class FirstAnswer:
    """What one quick solution says: the peak within some kelvin, and every topic that needs no more. chances: where
    they were asked for, or have come meanwhile.
    """

    plan: Plan
    prediction: Prediction
    assessment: Assessment
    chances: Chances | None = None

    def frozen(self) -> dict[str, Any]:
        """Return the prediction as it is kept with a pour until the whole one comes."""
        return {**self.prediction.to_json(), "release_at_h": None, "rough": True}


@dataclass(frozen=True)
class _Whole:
    assessment: Assessment
    effects: dict[str, float]


_WHOLE: Kept[_Whole] = Kept(32)
_CHANCES: Kept[Chances] = Kept(64)
_FIRST: Kept[FirstAnswer] = Kept(32)
_SOLVING = Lock()


def work_out(plan_toml: str, chances: Chances | None = None) -> WorkedOut:
    """Work everything out: seconds; chances: where they have been worked out. Raises BadPlan, DidNotConverge.

    Of a pour that runs away no figure holds: its long steps are enough, and a minute of finer meshes changes nothing.
    """
    course = predicted_of(plan_toml, rough=True)
    if not extremes.is_runaway(course.prediction.peak_c):
        course = predicted_of(plan_toml)
    assessment = assess_fully(course.plan, course.prediction, chances)
    return WorkedOut(course, assessment, effects_of(course.plan))


def keep(plan_toml: str, worked: WorkedOut) -> None:
    """Keep what another process has worked out."""
    keep_course(plan_toml, worked.course)
    _WHOLE.put(plan_toml, _Whole(worked.assessment, worked.effects))


def keep_chances(plan_toml: str, chances: Chances) -> None:
    """Keep chances that another process has worked out; what the first answer says of the heat is said by them."""
    _CHANCES.put(plan_toml, chances)
    first = _FIRST.get(plan_toml)
    if first is not None:
        assessment = assess(first.plan, answers=answers_of(first.plan, first.prediction, chances))
        _FIRST.put(plan_toml, replace(first, assessment=assessment, chances=chances))


def assessment_kept(plan_toml: str) -> Assessment | None:
    """Return the whole assessment, None where it has not been worked out."""
    whole = _WHOLE.get(plan_toml)
    return None if whole is None else whole.assessment


def assessment_of(plan_toml: str) -> Assessment:
    """Return the whole assessment, worked out here and now where it is not kept. Raises BadPlan, DidNotConverge."""
    whole = _WHOLE.get(plan_toml)
    if whole is None:
        course = predicted_of(plan_toml)
        chances = chances_kept(plan_toml)
        if chances is None:
            chances = chances_of(course.plan)
            keep_chances(plan_toml, chances)
        whole = _Whole(assess_fully(course.plan, course.prediction, chances), {})
        _WHOLE.put(plan_toml, whole)
    return whole.assessment


def effects_kept(plan_toml: str) -> dict[str, float]:
    """Return what may move the peak by how much, empty where it is not known."""
    whole = _WHOLE.get(plan_toml)
    return {} if whole is None else whole.effects


def chances_kept(plan_toml: str) -> Chances | None:
    """Return the plan's chances, None where they have not been worked out."""
    return _CHANCES.get(plan_toml)


def first_answer(plan_toml: str) -> FirstAnswer:
    """Return what can be said within a second. Raises BadPlan, DidNotConverge.

    Asked twice at once (a form answers while it is typed, and is sent meanwhile), it is solved once.
    """
    kept = _FIRST.get(plan_toml)
    if kept is None:
        with _SOLVING:
            kept = _FIRST.get(plan_toml)
            if kept is None:
                kept = _solved_quickly(plan_toml)
                _FIRST.put(plan_toml, kept)
    return kept


def _solved_quickly(plan_toml: str) -> FirstAnswer:
    plan = plan_from_text(plan_toml)
    prediction = predict(plan, fineness=QUICKLY.fineness, accuracy=QUICKLY.accuracy)
    chances = chances_kept(plan_toml)
    if chances is None and plan.resin.possible is not None:
        # One resin of many that the datasheet leaves possible says little, even for the moment.
        chances = quick_chances(plan)
    assessment = assess(plan, answers=answers_of(plan, prediction, chances))
    return FirstAnswer(plan, prediction, assessment, chances)


@lru_cache(maxsize=32)
def mixing_of(plan_toml: str) -> Assessment:
    """Return the assessment as far as weighing and mixing go: its cards and volume wait for no solution."""
    return assessment_kept(plan_toml) or assess(plan_from_text(plan_toml))


@lru_cache(maxsize=4)
def rough_course(plan_toml: str) -> PredictedPour:
    """Return the course by long steps, to draw until the whole one comes. Raises BadPlan, DidNotConverge."""
    return predicted_of(plan_toml, rough=True)


def course_to_draw(plan_toml: str) -> PredictedPour:
    """Return the whole course where it is kept, else a rough one."""
    return course_kept(plan_toml) or rough_course(plan_toml)


def work_out_chances(plan_toml: str) -> Chances:
    """Return what the plan comes to by chance: a second or two. Raises BadPlan, DidNotConverge."""
    return chances_of(plan_from_text(plan_toml))
