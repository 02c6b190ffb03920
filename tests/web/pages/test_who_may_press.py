"""Nobody sees a button or a link that answers them "you may not"."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.pour import Stage
from logger.store import people, shared_links
from logger.store.people import Role
from web.security.access import COOKIE, SCREEN_COOKIE
from web.security.routes_table import ROUTES
from web.server.app import make_app

#: What each role of the table lets in.
LETS_IN = {
    "anybody": {"screen", "viewer", "maker", "owner"},
    "onlooker": {"screen", "viewer", "maker", "owner"},
    "viewer": {"viewer", "maker", "owner"},
    "reader": {"viewer", "maker", "owner"},
    "person": {"viewer", "maker", "owner"},
    "maker": {"maker", "owner"},
    "owner": {"owner"},
}
PATTERNS = [
    (route.method, re.compile(re.sub(r"\{\w+\}", "[^/]+", route.path) + "$"), route.may) for route in ROUTES
]
FORM = re.compile(r"<form\b[^>]*?>")
LINK = re.compile(r'<a\b[^>]*?href="(/[^"#?]*)')


def may(role: str, method: str, path: str) -> bool:
    """Whether the table lets a role ask for that path; "/pours/new" comes before "/pours/{id}" in it."""
    if path.startswith("/static/"):
        return True
    found = next(who for verb, pattern, who in PATTERNS if verb == method and pattern.match(path))
    return role in LETS_IN[found]


@pytest.fixture
def busy(shop: Any, plan_toml: str) -> list[str]:
    """A planned and a hot pour; gives every page that shows something of them."""
    planned, hot = shop.plan(plan_toml), shop.plan(plan_toml)
    shop.go(hot, Stage.READY, Stage.POURING)
    shop.feed(0.03, 5, lambda _h: {"core": 66.5, "surface": 50.0, "room": 21.0})
    pages = ["", "/plan", "/ready", "/mix", "/record"]
    each = [f"/pours/{pour}{page}" for pour in (planned, hot) for page in pages]
    each += [f"/pours/{hot}/first-hour", f"/pours/{hot}/label"]
    return [
        "/",
        "/alarms/1",
        "/alarms/rates",
        "/stations",
        "/resins",
        "/shop",
        "/compare",
        "/settings",
        "/me",
        "/messages",
        "/phone",
        *each,
    ]


def browser(service: Any, role: str) -> TestClient:
    """A browser of somebody with that role, or a wall screen."""
    client = TestClient(make_app(service))
    now_ms = service.timeline.now_ms()
    with service.store.write() as tx:
        people.add_person(tx, "Ada", Role.OWNER, "not a hash", now_ms)
        if role == "screen":
            _row, token = shared_links.share(tx, None, "the wall", "Ada", now_ms)
            client.cookies.set(SCREEN_COOKIE, token)
        else:
            person = people.add_person(tx, "Cleo", Role(role), "not a hash", now_ms)
            client.cookies.set(COOKIE, people.start_sign_in(tx, person, now_ms, "test"))
    return client


@pytest.mark.parametrize("role", ["screen", "viewer", "maker"])
def test_every_button_and_link_of_every_page_may_be_pressed(service: Any, busy: list[str], role: str) -> None:
    """What would be refused is not offered: not to whoever only looks, and not on the wall."""
    client = browser(service, role)
    wrong = []
    for path in [path for path in busy if may(role, "GET", path)]:
        answer = client.get(path)
        assert answer.status_code == 200, path
        for form in FORM.findall(answer.text):
            action = re.search(r'action="([^"]+)"', form)
            to = action[1] if action else path
            method = "POST" if 'method="post"' in form else "GET"
            if not may(role, method, to):
                wrong.append(f"{path}: {method} {to}")
        wrong += [f"{path}: {to}" for to in LINK.findall(answer.text) if not may(role, "GET", to)]
    assert wrong == []


def test_a_wall_screen_says_where_an_alarm_is_taken(service: Any, busy: list[str]) -> None:
    """It shows the alarm whole, and no button that it may not press."""
    page = browser(service, "screen").get("/alarms/1").text
    assert "What to do" in page
    assert "Nobody is on it yet" in page
    assert "<form" not in page
