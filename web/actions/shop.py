"""What the shop keeps for every plan: its usual room, form, pails, scale and people."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.plan.file import plan_to_table
from logger.store import events, shop_events
from logger.words.phrase import phrase
from logger.words.reader import Reader
from web.service.service import Service
from web.views.plan_fields import USUAL, Section
from web.views.plan_form import with_usual
from web.views.plan_sections import checked, edited, with_usual_part
from web.views.refused_fields import Gathered

#: The least that a plan says: what is usual is checked in it.
_LEAST: dict[str, Any] = {
    "title": "what is usual",
    "resin": {"name": "any", "heat_of_cure_j_g": 0.0, "rate": {"k1_per_s": 1e-6, "k2_per_s": 0.0}},
    "pour": {"shape": "sheet", "depth_mm": 1.0},
    "air": {"room_c": 20.0},
}


def keep_usual(service: Service, section: Section, table: Mapping[str, Any], by: str) -> None:
    """Keep what belongs to the shop of a plan's section as usual from now on."""
    with service.store.write() as tx:
        usual = with_usual_part(shop_events.usual_of(tx), section, table)
        events.add_event(tx, None, service.timeline.true_ms(), shop_events.USUAL, by, section.title, usual)


def change_usual(service: Service, given: Mapping[str, str], u: Reader, by: str) -> None:
    """Keep what was typed as usual. Raises RefusedFields."""
    wrong = Gathered()
    with service.store.read() as connection:
        usual = shop_events.usual_of(connection)
    changed, rows = edited(usual, USUAL, given, u, wrong)
    wrong.done()
    # The plan's model refuses what it would refuse in a plan.
    plan_to_table(checked(with_usual(_LEAST, changed), USUAL, rows, phrase("what is usual")))
    with service.store.write() as tx:
        events.add_event(tx, None, service.timeline.true_ms(), shop_events.USUAL, by, USUAL.title, changed)
