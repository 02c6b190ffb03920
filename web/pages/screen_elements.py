"""The components of every page, shown together: for whoever changes one, and for the pictures that tests compare."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from logger.quantities import temperature
from logger.words.phrase import phrase
from web.security.access import ViewerDep
from web.views.render import page

router = APIRouter(include_in_schema=False)

#: Invented figures of no pour.
SAMPLES = {
    "rows": [
        {"at": "13:05", "text": phrase("Poured"), "tone": "past"},
        {
            "at": "14:20",
            "text": phrase("The core peaks, at about {peak}", peak=temperature(47.0, 0)),
            "tone": "next",
        },
        {"at": "14:10", "text": phrase("Leak check"), "note": phrase("overdue"), "tone": "late"},
        {"at": "08:00", "text": phrase("Hard enough to open the form"), "tone": ""},
    ],
    "points": [
        {"tone": "ok", "text": phrase("Two coats of release agent"), "side": "12:40"},
        {
            "tone": "watch",
            "text": phrase("The room is warmer than planned"),
            "note": phrase("Open the door first."),
        },
        {"tone": "stop", "text": phrase("No probe in the core")},
        {"tone": "open", "text": phrase("Fans within reach")},
    ],
}
DRAWINGS = (
    *(
        "drop",
        "thermometer",
        "clock",
        "fan",
        "camera",
        "note",
        "bell",
        "phone",
        "person",
        "form",
        "pail",
        "scale",
    ),
    *("wood", "curve", "print", "link", "key", "eye", "sound", "screen", "plus", "undo", "wrench", "list"),
)


@router.get("/screen-elements")
def screen_elements(request: Request, _who: ViewerDep) -> Response:
    """Show every component in each of its states."""
    return page(request, "screen-elements.html", {**SAMPLES, "drawings": DRAWINGS})
