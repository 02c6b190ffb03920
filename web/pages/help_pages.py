"""Help: what each setting, key and command means. The same pages as in the program's repository."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request
from starlette.responses import Response

from web.security import access
from web.security.access import ViewerDep
from web.views.glossary import listed
from web.views.help_text import OFFERED, help_page, title_of
from web.views.reader_units import reader_of
from web.views.render import page

router = APIRouter(include_in_schema=False)


@router.get("/help")
def help_index(request: Request, _who: ViewerDep) -> Response:
    """Show what help there is."""
    language = reader_of(request).language
    offered = [(name, title_of(name, language), purpose) for name, purpose in OFFERED.items()]
    return page(request, "help.html", {"offered": offered})


@router.get("/glossary")
def glossary_page(request: Request) -> Response:
    """Show what each term means, to anybody: a client's record uses them, too."""
    request.state.who = access.who_is(request)  # whoever is signed in keeps the menu
    return page(request, "glossary.html", {"letters": listed(reader_of(request))})


@router.get("/help/{name}")
def one_page(
    name: Annotated[str, Path(pattern=r"^[a-z-]{1,40}$")], request: Request, _who: ViewerDep
) -> Response:
    """One page of help."""
    return page(request, "help-page.html", {"help": help_page(name, reader_of(request).language)})
