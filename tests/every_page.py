"""Every page of the routes table, by addresses that show something: for pictures and measures of all of them."""

from __future__ import annotations

import re
import string
from dataclasses import dataclass

from tests.filled_shop import LIVE, FilledShop
from web.security.routes_table import ROUTES

#: Routes that answer with no page: data, files, scripts, and what stays open.
NO_PAGES = (
    "/api/",
    "/app.webmanifest",
    "/calendar/",
    "/charts/",
    "/live",
    "/metrics",
    "/pours/{pour_id}/photos/",
    "/pours/{pour_id}/section",
    "/pours/new/answer",
    "/service-worker.js",
)
#: Route → the addresses by which it is shown, where the route alone does not say it or says too little.
ADDRESSES: dict[str, tuple[str, ...]] = {
    "/a/{token}": ("/a/{one-tap}",),
    "/card/{token}": ("/card/{card}",),
    "/compare": ("/compare", "/compare?pour={sealed}&pour={live}"),
    "/help/{name}": ("/help/running", "/help/plan-file"),
    "/look/{token}": ("/look/{look}",),
    "/phone": ("/phone", "/phone?kind=mail"),
    "/pours/{pour_id}": (
        "/pours/{live}",
        "/pours/{young}",
        "/pours/{planned}",
        "/pours/{ready}",
        "/pours/{sealed}",
    ),
    "/pours/{pour_id}/annex": ("/pours/{sealed}/annex",),
    "/pours/{pour_id}/first-hour": ("/pours/{young}/first-hour",),
    "/pours/{pour_id}/label": ("/pours/{sealed}/label",),
    "/pours/{pour_id}/mix": ("/pours/{ready}/mix",),
    "/pours/{pour_id}/plan": (
        "/pours/{planned}/plan",
        "/pours/{mistaken}/plan?open=slabs",
        "/pours/{planned}/plan?open=form",
    ),
    "/pours/{pour_id}/ready": ("/pours/{planned}/ready", "/pours/{mistaken}/ready"),
    "/pours/{pour_id}/record": ("/pours/{sealed}/record", "/pours/{live}/record"),
    "/pours/{pour_id}/record/paper": ("/pours/{sealed}/record/paper",),
    "/pours/{pour_id}/sheet": ("/pours/{sealed}/sheet",),
    "/pours/{pour_id}/step": ("/pours/{live}/step?to=released", "/pours/{live}/step?to=spoiled"),
    "/shared/{token}": ("/shared/{screen}", "/shared/{shared}"),
    "/to-phone/{token}": ("/to-phone/{phone}", "/to-phone/{phone}?kind=mail"),
}
#: Routes that look the same whatever the pours do: shown calm, and empty where they are there then.
STEADY = (
    "/alarms/rates",
    "/alarms/table",
    "/card/",
    "/compare",
    "/glossary",
    "/help",
    "/join",
    "/links",
    "/me",
    "/offline",
    "/people",
    "/phone",
    "/placing",
    "/pours/{pour_id}/annex",
    "/pours/{pour_id}/label",
    "/pours/{pour_id}/mix",
    "/pours/{pour_id}/plan",
    "/pours/{pour_id}/ready",
    "/pours/{pour_id}/record/paper",
    "/pours/{pour_id}/sheet",
    "/pours/new",
    "/resins",
    "/screen-elements",
    "/settings",
    "/shop",
    "/sign-in",
    "/to-phone/",
    "/wiring",
)
#: Pages of whom nobody knows yet; every other one is shown to the owner.
STRANGERS = ("/a/", "/card/", "/join", "/look/", "/shared/", "/sign-in", "/to-phone/", "/set-up")
#: A refusal is a page as well.
NOT_FOUND = "/nowhere"


@dataclass(frozen=True, slots=True)
class Page:
    """A page to be shown: of which route, by which address, to whom, and its name among pictures."""

    route: str
    address: str
    stranger: bool
    name: str


def pages_of(shop: FilledShop) -> list[Page]:
    """Return every page of a workshop in its state. Raises KeyError for a route that nothing is there to fill."""
    routes = [
        route.path
        for route in ROUTES
        if route.method == "GET" and not route.path.startswith(NO_PAGES) and not route.path.endswith(".pdf")
    ]
    return [page for route in [*routes, NOT_FOUND] if _has(shop, route) for page in _of_route(shop, route)]


def _has(shop: FilledShop, route: str) -> bool:
    if route == "/set-up":
        return shop.state == "unowned"
    if shop.state == "unowned":
        return False
    steady = route.startswith(STEADY) or route == NOT_FOUND
    return not steady or shop.state in ("calm", "empty")


def _of_route(shop: FilledShop, route: str) -> list[Page]:
    made = []
    for address in ADDRESSES.get(route, (route,)):
        names = [name for _, name, _, _ in string.Formatter().parse(address) if name]
        if names and shop.state not in LIVE:
            continue
        ids = {"pour_id": shop.ids.get("live", ""), **shop.ids}
        try:
            path = address.format(**ids)
        except KeyError as error:
            raise KeyError(
                f"what is shown of {route}? say in tests/every_page.py what stands for {error}"
            ) from error
        slug = re.sub(r"[^a-z0-9]+", "-", address.lower()).strip("-") or "board"
        made.append(Page(route, path, route.startswith(STRANGERS), slug))
    return made
