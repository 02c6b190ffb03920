"""The board: is any pour in trouble? One large tile a pour, trouble first."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.condition.condition_words import STAGE_WORDS
from logger.pour import Stage
from logger.probe_checks.cup import CupState
from logger.store import cup_tests, pours, resins
from logger.store.people import Role
from web.actions import cup_test, cup_water
from web.actions.first_steps import first_steps
from web.actions.message_test import nobody_reached
from web.security.access import OnlookerDep, ServiceDep
from web.views.render import page
from web.views.tiles import live_tiles, room_for

router = APIRouter(include_in_schema=False)
#: Finished pours listed on the board.
FINISHED_SHOWN = 12
#: Of a pour's alarms besides the one that leads, its tile lists this many.
OTHERS_SHOWN = 3


@router.get("/")
def board(request: Request, service: ServiceDep, who: OnlookerDep) -> Response:
    """Every pour that is watched, then what is planned, then what is done."""
    now_ms = service.timeline.true_ms()
    with service.store.read() as connection:
        tiles = live_tiles(service, connection, now_ms)
        ahead = pours.all_pours(connection, (Stage.PLANNED, Stage.READY))
        done = pours.all_pours(connection, (Stage.RELEASED, Stage.CLOSED, Stage.SPOILED), FINISHED_SHOWN)
        begun = cup_tests.running(connection)
        cups = [cup_test.look_at(service, connection, test) for test in begun if not test.water]
        names = {key: row.facts["name"] for key, row in resins.listed(connection).items()} if begun else {}
        waters = [cup_water.look_at(service, connection, test) for test in begun if test.water]
        steps = (
            first_steps(service, connection) if who.may(Role.MAKER) and not (tiles or ahead or done) else []
        )
    return page(
        request,
        "board.html",
        {
            "tiles": tiles,
            "room": room_for([tile.grave for tile in tiles]),
            "upcoming": next(
                (pour for pour in ahead if pour.stage == Stage.READY), ahead[0] if ahead else None
            ),
            "alarms_linked": [alarm for tile in tiles for alarm in tile.standing.linked(OTHERS_SHOWN)],
            "others_shown": OTHERS_SHOWN,
            "ahead": ahead,
            "done": done,
            "stage_words": STAGE_WORDS,
            "first_steps": steps,
            "nobody_reached": nobody_reached(service),
            "cups": sorted(cups, key=lambda cup: not cup.course.danger),
            "waters": waters,
            "cup_names": names,
            "cup_state": CupState,
        },
    )
