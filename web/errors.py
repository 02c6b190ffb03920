"""What web refuses by itself, beside the domain's errors. How each is answered: web/server/error_answers.py."""

from __future__ import annotations

import math

from logger.errors import LoggerError


class SignInNeeded(LoggerError):
    """This needs somebody who is signed in."""


class LinkEnded(SignInNeeded):
    """A screen's link was ended: nobody there could sign in."""


class SetUpNeeded(LoggerError):
    """Nobody owns this service yet: only the first set-up is reachable."""


class Forbidden(LoggerError):
    """Whoever asks is known, and may not do this."""


class TooMany(LoggerError):
    """Too many requests or tries; wait."""

    def __init__(self, message: str, wait_s: float = 5.0) -> None:
        self.wait_s = max(1, math.ceil(wait_s))
        super().__init__(message)
