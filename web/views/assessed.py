"""What planning says about a pour's plan, asked once for each plan text."""

from __future__ import annotations

from functools import lru_cache

from logger.planning.assess import Assessment, assess_fully
from web.views.predicted import predicted_of


@lru_cache(maxsize=32)
def assessment_of(plan_toml: str) -> Assessment:
    """Return the assessment of a plan's text; some tenths of a second the first time. Raises BadPlan,
    DidNotConverge.
    """
    course = predicted_of(plan_toml)
    return assess_fully(course.plan, course.prediction)
