"""Help: what each setting, key and command means. The same pages as in the program's repository."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from web.security.access import ViewerDep
from web.views.help_text import OFFERED, help_page, title_of
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/help")
def help_index(request: Request, _who: ViewerDep) -> Response:
    """Show what help there is."""
    offered = [(name, title_of(name), purpose) for name, purpose in OFFERED.items()]
    return page(request, "help.html", {"offered": offered})


@router.get("/help/{name}")
def one_page(
    name: Annotated[str, Path(pattern=r"^[a-z-]{1,40}$")], request: Request, _who: ViewerDep
) -> Response:
    """One page of help."""
    return page(request, "help-page.html", {"help": help_page(name)})
