"""What planning says about a pour's plan: a first answer at once, the whole of it worked out once for each plan text.

A whole answer takes from a second to half a minute (on a Pi): the service has it worked out by another process
(web/actions/plan_work.py), and pages show the first answer until it comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import Any

import numpy as np

from logger import extremes
from logger.cure.forecast.parameters import members_at, parameters_of
from logger.cure.solver.ensemble import EnsembleRun, run_ensemble
from logger.cure.solver.march import COARSE
from logger.cure.solver.planned_band import QUICKLY, PlannedBand, planned_band
from logger.cure.solver.prediction import Prediction, predict
from logger.plan.file import Plan, plan_from_text
from logger.planning.assess import Assessment, assess, assess_fully
from logger.planning.cure_answers import answers_of
from web.views.kept import Kept
from web.views.plan_effects import effects_of
from web.views.predicted import PredictedPour, course_kept, keep_course, predicted_of

#: Plans of the band: half of them mirror the others, so that its middle does not wander with the dice.
BAND_PAIRS = 20


@dataclass(frozen=True, slots=True)
class PeakBand:
    """The hottest point over all that the plan cannot know, °C: 5 %, middle, 95 %."""

    low_c: float
    middle_c: float
    high_c: float


@dataclass(frozen=True)
class WorkedOut:
    """Everything that a plan lets say. effects: what is not said yet → by how many kelvin it may move the peak."""

    course: PredictedPour
    assessment: Assessment
    effects: dict[str, float]


@dataclass(frozen=True)
class FirstAnswer:
    """What one quick solution says: the peak within some kelvin, and every topic that needs no more."""

    plan: Plan
    prediction: Prediction
    assessment: Assessment

    def frozen(self) -> dict[str, Any]:
        """Return the prediction as it is kept with a pour until the whole one comes."""
        return {**self.prediction.to_json(), "release_at_h": None, "rough": True}


@dataclass(frozen=True)
class _Whole:
    assessment: Assessment
    effects: dict[str, float]


_WHOLE: Kept[_Whole] = Kept(32)
_BANDS: Kept[PeakBand] = Kept(64)
_FIRST: Kept[FirstAnswer] = Kept(32)
_SOLVING = Lock()


def work_out(plan_toml: str) -> WorkedOut:
    """Work everything out: seconds. Raises BadPlan, DidNotConverge.

    Of a pour that runs away no figure holds: its long steps are enough, and a minute of finer meshes changes nothing.
    """
    course = predicted_of(plan_toml, rough=True)
    if not extremes.is_runaway(course.prediction.peak_c):
        course = predicted_of(plan_toml)
    assessment = assess_fully(course.plan, course.prediction)
    return WorkedOut(course, assessment, effects_of(course.plan))


def keep(plan_toml: str, worked: WorkedOut) -> None:
    """Keep what another process has worked out."""
    keep_course(plan_toml, worked.course)
    _WHOLE.put(plan_toml, _Whole(worked.assessment, worked.effects))


def keep_band(plan_toml: str, band: PeakBand) -> None:
    """Keep a band that another process has worked out."""
    _BANDS.put(plan_toml, band)


def assessment_kept(plan_toml: str) -> Assessment | None:
    """Return the whole assessment, None where it has not been worked out."""
    whole = _WHOLE.get(plan_toml)
    return None if whole is None else whole.assessment


def assessment_of(plan_toml: str) -> Assessment:
    """Return the whole assessment, worked out here and now where it is not kept. Raises BadPlan, DidNotConverge."""
    whole = _WHOLE.get(plan_toml)
    if whole is None:
        course = predicted_of(plan_toml)
        whole = _Whole(assess_fully(course.plan, course.prediction), {})
        _WHOLE.put(plan_toml, whole)
    return whole.assessment


def effects_kept(plan_toml: str) -> dict[str, float]:
    """Return what may move the peak by how much, empty where it is not known."""
    whole = _WHOLE.get(plan_toml)
    return {} if whole is None else whole.effects


def band_kept(plan_toml: str) -> PeakBand | None:
    """Return the peak's band, None where it has not been worked out."""
    return _BANDS.get(plan_toml)


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
    answers = answers_of(plan, prediction)
    if answers.band is not None:
        keep_band(plan_toml, _peak_band(answers.band))
    return FirstAnswer(plan, prediction, assess(plan, answers=answers))


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


def _peak_band(planned: PlannedBand) -> PeakBand:
    return PeakBand(planned.hottest_c(0.05), planned.hottest_c(0.5), planned.hottest_c(0.95))


def band_of(plan_toml: str) -> PeakBand:
    """Return the peak over what a datasheet leaves open of its resin, or over the unknowns of a pour before it is
    poured (parameters.py): a second. Raises BadPlan, DidNotConverge.
    """
    plan = plan_from_text(plan_toml)
    planned = planned_band(plan)
    if planned is not None:
        return _peak_band(planned)
    unknowns = parameters_of(plan)
    half = np.random.default_rng(20).standard_normal((BAND_PAIRS, len(unknowns)))
    run = EnsembleRun(resolution=COARSE, output_hours=(0.0, plan.run.hours))
    peaks = run_ensemble(plan, members_at(unknowns, np.concatenate([half, -half])), run).hottest_peak_c
    low, middle, high = (float(value) for value in np.quantile(peaks, (0.05, 0.5, 0.95)))
    return PeakBand(low, middle, high)
