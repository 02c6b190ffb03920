"""The way to a shop's first pour: what comes in which order, and what comes next."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from logger.store import pours, resins, stations
from logger.words.phrase import phrase
from web.actions.message_test import nobody_reached
from web.service.service import Service

#: Asked on the new pour's own page where no resin is listed yet.
_WITH_THE_POUR = "/resins/new?then=/pours/new"


@dataclass(frozen=True, slots=True)
class FirstStep:
    """One step on the way to the first pour: where it is done, in the order of need."""

    path: str
    words: str
    why: str
    done: bool


def first_steps(service: Service, connection: Connection) -> list[FirstStep]:
    """Return the way to the first pour: probes, phone, resin, pour; each done or not."""
    return [
        FirstStep(
            "/stations",
            phrase("Probes"),
            phrase("the thermometers that watch it. At least the core and the room"),
            stations.any_reads(connection),
        ),
        FirstStep(
            "/phone",
            phrase("Your phone"),
            phrase("where an alarm reaches you, day and night"),
            nobody_reached(service) is None,
        ),
        FirstStep(
            _WITH_THE_POUR,
            phrase("The resin"),
            phrase("copied from its datasheet, once"),
            bool(resins.listed(connection)),
        ),
        FirstStep(
            "/pours/new",
            phrase("The pour"),
            phrase(
                "its size and its room. You see at once how hot it is predicted to get. Nothing is fixed "
                "before it flows"
            ),
            False,
        ),
    ]


def next_step(service: Service, here: str) -> FirstStep | None:
    """Return what comes next on the way to the first pour, on the page of one step; None once there is a pour.

    The resin is asked with the pour: it is no step of its own here.
    """
    with service.store.read() as connection:
        if pours.all_pours(connection, most=1):
            return None
        steps = first_steps(service, connection)
    return next(step for step in steps if not step.done and step.path not in (here, _WITH_THE_POUR))
