"""What went wrong with a request, as facts, and the one body in which programs read it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from logger.facts import NOTHING
from logger.words.reader import METRIC
from logger.words.render import say, shown
from web.answers import ErrorBody, FactAnswer


@dataclass(frozen=True, slots=True)
class Refusal:
    """What went wrong, as facts. signable: whether an exception may be signed; None where nothing ends."""

    kind: str
    message: str
    where: str | None = None
    remedy: str | None = None
    obstacles: tuple[str, ...] = ()
    signable: bool | None = None
    #: What leads a list of obstacles.
    lead: str = NOTHING


def error_body(refusal: Refusal) -> dict[str, Any]:
    """Return what programs read: English, SI and °C, with the fact that the message is."""
    whole = shown(refusal.message, METRIC)
    body = ErrorBody(
        kind=refusal.kind,
        message=whole.words,
        where=_said(refusal.where),
        remedy=_said(refusal.remedy),
        fact=None if whole.code is None else FactAnswer(code=whole.code, values=whole.values),
        obstacles=[say(text, METRIC) for text in refusal.obstacles] or None,
        signable=refusal.signable,
    )
    left_out = {name for name in ("obstacles", "signable") if getattr(body, name) is None}
    return body.model_dump(exclude=left_out)


def _said(text: str | None) -> str | None:
    return None if text is None else say(text, METRIC)
