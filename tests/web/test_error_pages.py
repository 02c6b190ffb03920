"""A page that is not there, a request that is refused: the menu stays, and plain words say where to go."""

from __future__ import annotations

import socket
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.errors import BadSettings
from tests.web.page_text import words
from web.security.access import COOKIE
from web.server.app import make_app
from web.server.serve import serve

PAGE = {"accept": "text/html", "sec-fetch-site": "same-origin"}


def test_a_page_that_is_not_there_keeps_the_menu_and_says_where_to_go(maker: Any) -> None:
    """Somebody who is signed in mistyped an address on a phone."""
    for path in ("/purs", "/pours/999", "/static/no.css"):
        answer = maker.get(path, headers=PAGE)
        assert answer.status_code == 404, path
        assert '<nav class="top"' in answer.text, path
        assert "Not Found" not in answer.text
        assert 'href="/stations"' in answer.text


def test_a_stranger_is_sent_to_the_sign_in(maker: Any) -> None:
    """Nobody's menu is shown to nobody."""
    maker.cookies.clear()
    answer = maker.get("/purs", headers=PAGE)
    assert answer.status_code == 404
    assert 'href="/sign-in"' in answer.text
    assert "<nav" not in answer.text


def test_a_request_that_an_address_does_not_take_says_what_to_do(maker: Any) -> None:
    """405: somebody reloaded a form's address."""
    answer = maker.get("/sign-out", headers=PAGE)
    assert answer.status_code == 405
    assert '<nav class="top"' in answer.text
    assert "takes no such request" in words(answer)
    assert maker.put("/api/pours").json()["error"]["message"] == "this address takes no such request"


def test_the_programs_own_mistake_keeps_the_menu_and_the_guarding_headers(
    service: Any, maker: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """500: nothing of the fault is told, and the way back is."""

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("SELECT secret")

    monkeypatch.setattr("web.pages.stations._context", broken)
    with TestClient(make_app(service), raise_server_exceptions=False) as browser:
        browser.cookies.set(COOKIE, maker.cookies[COOKIE])
        answer = browser.get("/stations", headers=PAGE)
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert '<nav class="top"' in answer.text
    assert "The program has made a mistake" in words(answer)
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_the_api_names_the_field_in_plain_words_and_the_nearest_known_one(maker: Any) -> None:
    """422 of the shapes, not of the domain."""
    answer = maker.post("/api/pours", json={"plan_tom": "x"}, headers={"sec-fetch-site": "same-origin"})
    error = answer.json()["error"]
    assert answer.status_code == 422
    assert error["where"] == "plan_tom"
    assert "did you mean plan_toml?" in error["message"]
    answer = maker.get("/pours/0", headers=PAGE)
    assert "pour_id: is out of range; allowed: at least 1" in words(answer).lower()


def test_a_port_that_is_taken_is_said_before_anything_starts(service: Any) -> None:
    """Two services at one port: the second ends with a sentence, not with the system's number for it."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        object.__setattr__(service, "settings", service.settings.model_copy(update={"port": port}))
        with pytest.raises(BadSettings, match=f"another program listens there already; found {port}"):
            serve(service)
