"""The fan relay of a station, by hand."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form
from starlette.responses import RedirectResponse, Response

from web import attend
from web.access import MakerDep, ServiceDep
from web.shapes import Name

router = APIRouter(include_in_schema=False)


@router.post("/stations/{name}/fan")
def switch(
    name: Name, service: ServiceDep, who: MakerDep, on: Annotated[str, Form(max_length=3)] = ""
) -> Response:
    """On or off."""
    attend.fan(service, name, on=on == "on", by=who.name)
    return RedirectResponse("/stations", 303)
