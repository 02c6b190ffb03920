"""Whatever the service refuses, by a page, its API or the command line, is said whole, in the reader's units.

Every route of the app is given what it does not take.
"""

from __future__ import annotations

import html
import itertools
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.pour import Stage
from logger.store import people
from web import command
from web.security.access import COOKIE
from web.security.routes_table import ROUTES
from web.server.app import make_app
from web.views.reader_units import COOKIE as UNITS

PAGE = {"accept": "text/html", "sec-fetch-site": "same-origin"}
PROGRAM = {"accept": "application/json", "sec-fetch-site": "same-origin"}
#: What no field takes, or hardly any.
JUNK = ("banana", "-7", "")
#: A place of a phrase that nobody has filled: scripts and styles hold braces of their own.
_CODE = re.compile(r"<(script|style)\b.*?</\1>", re.DOTALL)
_PLACE = re.compile(r"\{\w+\}")


@pytest.fixture
def browser(service: Any) -> Iterator[TestClient]:
    """A browser of an owner who reads °F, inches, gallons and pounds; its clock lets it ask as often as it likes."""
    steady = itertools.count(0, 3600)
    with TestClient(make_app(service, seconds=lambda: float(next(steady)))) as client:
        with service.store.write() as tx:
            now_ms = service.timeline.now_ms()
            person = people.add_person(tx, "Ada", people.Role.OWNER, "not a hash", now_ms)
            token = people.start_sign_in(tx, person, now_ms, "test")
        client.cookies.set(COOKIE, token)
        client.cookies.set(UNITS, "f.in.gal.lb")
        yield client


def shown(answer: Any) -> str:
    """An answer's text as a person sees it, or as a program reads it."""
    return _CODE.sub("", html.unescape(answer.text))


def whole(answer: Any, asked: str) -> None:
    """Nothing of what words are made of is left in an answer."""
    text = shown(answer)
    if answer.text and answer.headers.get("content-type", "").startswith("application/json"):
        error = answer.json().get("error") if isinstance(answer.json(), dict) else None
        if error is None:
            return
        words = [error["message"], error["where"], error["remedy"], *error.get("obstacles", ())]
        text = " ".join(word for word in words if word)
        assert text.strip(), asked
    assert '{"say"' not in text, asked
    if answer.status_code >= 400:
        assert not _PLACE.search(text), (asked, _PLACE.findall(text))


def filled(path: str, pour: int, there: bool) -> str:
    """A route's path about what there is, or about what there is not."""
    values = {"pour_id": str(pour), "name": "bench-1", "key": "slow", "point": "peak", "section": "room"}
    return re.sub(
        r"\{(\w+)(?::\w+)?\}", lambda place: values.get(place[1], "1") if there else "9999999", path
    )


def fields_of(app: Any, method: str, path: str) -> list[str]:
    """The names of a route's fields, where it says them."""
    for route in app.routes:
        if getattr(route, "path", "") == path and method in getattr(route, "methods", ()):
            return [param.alias for param in (*route.dependant.body_params, *route.dependant.query_params)]
    return []


#: What would end the test's own sign-in.
LAST = ("/sign-out", "/me/leave")


@pytest.mark.parametrize("junk", JUNK)
def test_no_route_shows_what_words_are_made_of(browser: Any, shop: Any, plan_toml: str, junk: str) -> None:
    """Each address of the service, asked for what there is and what there is not, with what no field takes."""
    shop.plan(plan_toml)
    live = shop.plan(plan_toml)
    shop.go(live, Stage.READY, Stage.POURING)
    browser.app.state.later.load()
    token = browser.cookies[COOKIE]
    refused, wrong = 0, list[str]()
    for route, there in itertools.product(ROUTES, (True, False)):
        if route.path in LAST or route.path == "/live":
            continue
        browser.cookies.set(COOKIE, token)
        path = filled(route.path, live, there)
        asked = f"{route.method} {path} {junk!r}"
        names = fields_of(browser.app, route.method, route.path)
        for headers in (PAGE, PROGRAM):
            if route.method == "GET":
                answer = browser.get(
                    path, headers=headers, params=dict.fromkeys(names, junk), follow_redirects=False
                )
            elif route.path.startswith("/api"):
                answer = browser.request(route.method, path, headers=headers, json={junk: junk})
            else:
                answer = browser.request(
                    route.method,
                    path,
                    headers=headers,
                    data=dict.fromkeys(names, junk),
                    follow_redirects=False,
                )
            refused += answer.status_code >= 400
            try:
                assert answer.status_code != 500
                whole(answer, asked)
            except AssertionError as error:
                wrong.append(f"{asked}: {answer.status_code} {error}"[:600])
    assert not wrong, "\n".join(wrong)
    assert refused > 100


def test_a_program_reads_english_and_the_fact_that_it_is_made_of(
    browser: Any, shop: Any, plan_toml: str
) -> None:
    """Code and values, quantities with value, unit and kind; the words are in SI, whatever the person reads."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    answer = browser.post(f"/pours/{pour}/measured", data={"level": "400"}, headers=PROGRAM)
    body = answer.json()["error"]
    assert body["message"].startswith("level: is out of range; found '400'; allowed: -1000 mm to 1000 mm;")
    assert body["where"] == "level"
    assert body["fact"]["code"] == "refused"
    most = body["fact"]["values"]["allowed"]["allowed"]["most"]
    assert most == {"value": 1000.0, "unit": "mm", "kind": "length"}


@pytest.mark.parametrize("typed", ["400", "1200 cm", "100 1/2 in"])
def test_a_refused_value_comes_back_as_it_was_typed_with_its_range_in_the_persons_unit(
    browser: Any, shop: Any, plan_toml: str, typed: str
) -> None:
    """1000 mm are 39.37 in (NIST SP 811, 2008, B.8)."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING)
    answer = browser.post(f"/pours/{pour}/measured", data={"level": typed}, headers=PAGE)
    main = " ".join(shown(answer).split()).partition("<main")[2].partition("</main")[0]
    assert answer.status_code == 422
    assert f"found '{typed}'" in main
    assert "39 3/8 in" in main
    assert " mm" not in main


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"name": "Ada", "password": "not it at all"}, "wrong name or password"),
        ({"name": "", "password": ""}, "wrong name or password"),
    ],
)
def test_a_wrong_sign_in_is_said_in_words(browser: Any, data: dict[str, str], said: str) -> None:
    """And not which of the two is wrong."""
    browser.cookies.delete(COOKIE)
    answer = browser.post("/sign-in", data=data, headers=PAGE)
    whole(answer, "sign-in")
    assert said in shown(answer).lower()


@pytest.mark.parametrize("language", ["en", "de", "es", "fr"])
def test_a_service_without_its_database_says_so_in_the_browsers_language(
    service: Any, browser: Any, language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whole words, also where a translation is behind."""

    def dead(*_: Any) -> Any:
        from sqlalchemy.exc import OperationalError

        raise OperationalError("BEGIN", None, Exception("disk I/O error"))

    monkeypatch.setattr("web.server.app.owner_exists", dead)
    answer = browser.get("/", headers=PAGE | {"accept-language": language})
    assert answer.status_code == 503
    assert f'lang="{language}"' in answer.text
    whole(answer, "emergency")


def test_the_command_line_refuses_in_whole_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plan, settings, a datasheet and a station file that cannot be used."""
    bad = tmp_path / "bad.toml"
    bad.write_text("x = [1\n", encoding="utf-8")
    for words in (
        ("predict", str(bad)),
        ("plan", str(tmp_path / "gone.toml")),
        ("fit", str(bad)),
        ("serve", str(bad)),
        ("station", str(bad)),
        ("import", str(bad), "--settings", str(bad)),
    ):
        monkeypatch.setattr(sys, "argv", ["pourlog", *words])
        with pytest.raises(SystemExit) as ended:
            command.main()
        printed = capsys.readouterr().err
        assert ended.value.code == 2, words
        assert printed.startswith(f"pourlog: {tmp_path}"), (words, printed)
        assert "{" not in printed, printed
