"""What planning says of a plan, for programs."""

from __future__ import annotations

from typing import Any

from logger.planning.assess import Assessment
from logger.words.reader import METRIC
from logger.words.render import said, shown


def assessment_json(assessment: Assessment) -> dict[str, Any]:
    """Return an assessment in English and SI; each finding with the codes and values of what it says."""
    body: dict[str, Any] = said(assessment.to_json(), METRIC)
    for finding, table in zip(assessment.findings, body["findings"], strict=True):
        table["fact"] = {"sentence": _code(finding.sentence), "change": _code(finding.change)}
    return body


def _code(text: str) -> dict[str, Any] | None:
    """Return a fact's code and values; None where there is none."""
    fact = shown(text, METRIC)
    return None if fact.code is None else {"code": fact.code, "values": fact.values}
