"""Which shop a request is for: that of whoever is signed in, or of the screen whose link it is. Asked at the gate.

Everything that the request then reads or writes is that shop's (logger/store/shops.py). Routes that are open to anybody
work by a secret of their own and name no shop.
"""

from __future__ import annotations

from fastapi import Request

from logger.store import shared_links
from logger.store.shared_links import LinkKind
from web.security import access
from web.security.routes_table import ROUTES
from web.service.service import Service

_ANYBODY = [route.path for route in ROUTES if route.may == "anybody"]
#: Paths open to anybody, and beginnings of such paths that end in a secret.
OPEN = frozenset(path for path in _ANYBODY if "{" not in path)
OPEN_BEFORE_SECRET = tuple(path.partition("{")[0] for path in _ANYBODY if "{" in path)


def open_to_anybody(path: str) -> bool:
    """Whether a path needs no sign-in."""
    return path in OPEN or path.startswith(OPEN_BEFORE_SECRET)


def shop_of(request: Request, service: Service) -> int | None:
    """Return the shop of whoever asks; None: of nobody who is known, and then only what is open to anybody answers."""
    who = access.who_is(request)
    if who is not None:
        return who.shop_id
    for cookie, kind in ((access.SCREEN_COOKIE, LinkKind.SCREEN), (access.WALL_COOKIE, LinkKind.WALL)):
        token = request.cookies.get(cookie)
        if token:
            with service.store.read() as connection:
                link = shared_links.by_token(connection, token, service.timeline.now_ms(), kind)
            if link is not None:
                return int(link.shop_id)
    return None
