"""Signing in: guessing does not pay, the owner is never locked out, a sign-in ends when it should."""

from __future__ import annotations

import itertools
import logging
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import Any

import pytest
from fastapi.testclient import TestClient

from logger.errors import BadInput
from logger.store import people
from logger.store.people import SIGN_IN
from web.actions import sign_in as sign_in_actions
from web.errors import TooMany
from web.pages.sign_in import own_path
from web.security import passwords
from web.security.access import COOKIE

RIGHT = "three plain words"


def sign_in(browser: Any, name: str = "Ada", password: str = RIGHT, **extra: str) -> Any:
    """Tries it."""
    return browser.post(
        "/sign-in", data={"name": name, "password": password, **extra}, follow_redirects=False
    )


def test_each_sign_in_has_a_token_of_its_own(guarded: Any) -> None:
    """256 random bits, never the one that the browser brought along (session fixation), kept as a hash."""
    browser = guarded.browser()
    browser.cookies.set(COOKIE, "fixed-by-somebody-else")
    first = sign_in(browser).cookies[COOKIE]
    second = sign_in(guarded.browser()).cookies[COOKIE]
    assert first != second
    assert "fixed-by-somebody-else" not in (first, second)
    assert len(first) >= 43
    with guarded.service.store.read() as connection:
        kept = connection.execute(SIGN_IN.select()).all()
    assert all(first not in str(row) and second not in str(row) for row in kept)


def test_the_cookie_is_for_our_pages_alone(guarded: Any) -> None:
    """No script reads it, no other site sends it; over HTTPS it cannot be set by a plain page or another host."""
    plain = sign_in(guarded.browser()).headers.get_list("set-cookie")
    assert all("HttpOnly" in line and "SameSite=strict" in line for line in plain)
    safe = sign_in(guarded.browser(base_url="https://shop.example")).headers.get_list("set-cookie")
    mine = next(line for line in safe if COOKIE in line)
    assert mine.startswith(f"__Host-{COOKIE}=")
    assert "Secure" in mine
    assert "Path=/" in mine
    assert "domain" not in mine.lower()
    assert all("Secure" in line for line in safe)


def test_a_wrong_name_and_a_wrong_password_sound_the_same(guarded: Any) -> None:
    """Nobody learns who works here."""
    wrong_password, wrong_name = (
        sign_in(guarded.browser(), "Ada", "x" * 9),
        sign_in(guarded.browser(), "Zoe", "x" * 9),
    )
    assert wrong_password.status_code == wrong_name.status_code == 401
    # Each page has the name that was typed on it, and nothing else of it.
    assert wrong_password.text.replace("Ada", "Zoe") == wrong_name.text


def test_both_cost_one_slow_hash(guarded: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """So the time tells nothing either (ASVS 5.0, 6.3.8)."""
    passwords.nobodys_hash()
    asked: list[str] = []
    monkeypatch.setattr(passwords, "right", lambda hashed, _password: bool(asked.append(hashed)))
    for name in ("Ada", "Zoe"):
        sign_in(guarded.browser(), name, "x" * 9)
    assert len(asked) == 2
    assert asked[0].split("$")[:4] == asked[1].split("$")[:4]


def test_a_guesser_gets_six_tries_a_minute_at_one_name(guarded: Any, seconds: Any) -> None:
    """However many addresses he has. Of 300 tries in five minutes, 30 and then 6 a minute are looked at."""
    looked_at = 0
    for number in range(300):
        seconds.now_s += 1
        looked_at += guess(TestClient(guarded.app, client=(f"10.0.{number % 250}.7", 1)), guarded)
    assert looked_at == 30 + 6 * 5 - 1


def guess(browser: Any, guarded: Any) -> int:
    """One wrong try; 1 when it was looked at. Only the limits are measured here, not the slow hash."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "right", lambda *_: False)
        return int(sign_in(browser, "Ada", "guess-guess").status_code == 401)


def test_one_address_gets_ten_tries_a_minute_at_all_names(guarded: Any, seconds: Any) -> None:
    """Trying one common password at everybody is slowed as well."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passwords, "right", lambda *_: False)
        browser = guarded.browser()
        tried = [sign_in(browser, f"person {number}", "guess-guess").status_code for number in range(60)]
    assert tried.count(401) == 20
    seconds.now_s += 6
    assert sign_in(guarded.browser()).status_code == 303


def test_the_owner_comes_in_while_somebody_guesses_at_the_owners_password(guarded: Any) -> None:
    """From a browser that was signed in before, even at the guesser's own address."""
    owners = guarded.browser()
    sign_in(owners)
    owners.post("/sign-out")
    guesser = guarded.browser()
    for _ in range(60):
        guess(guesser, guarded)
    assert sign_in(guesser).status_code == 429
    assert sign_in(owners).status_code == 303


def test_nobody_makes_a_known_browser_up(guarded: Any) -> None:
    """The cookie that says so is signed; a forged one gives no tries."""
    guesser = guarded.browser()
    guesser.cookies.set(sign_in_actions.DEVICE_COOKIE, '{"browser":"x","people":[1]}.forged')
    for _ in range(31):
        guess(guesser, guarded)
    assert guess(guesser, guarded) == 0


def test_a_right_password_costs_no_try(guarded: Any) -> None:
    """A crew that signs in every morning is never slowed."""
    for _ in range(40):
        assert sign_in(guarded.browser()).status_code == 303


def test_two_hashes_at_once_however_many_ask(monkeypatch: pytest.MonkeyPatch) -> None:
    """20 at a time would take 400 MB; more than 20 are told to wait instead of holding every thread."""
    gate, lock = threading.Event(), threading.Lock()
    now = most = 0

    class Slow:
        def verify(self, _hashed: str, _password: str) -> bool:
            nonlocal now, most
            with lock:
                now += 1
                most = max(most, now)
            gate.wait(20)
            with lock:
                now -= 1
            return True

    monkeypatch.setattr(passwords, "_hasher", Slow)
    with ThreadPoolExecutor(30) as pool:
        asked = [pool.submit(passwords.right, "h", "p") for _ in range(30)]
        refused = list(itertools.islice(as_completed(asked, timeout=20), 10))
        gate.set()
    assert all(isinstance(future.exception(), TooMany) for future in refused)
    assert sum(future.exception() is None for future in asked) == 20
    assert most == 2


def test_signing_out_ends_the_sign_in_in_the_service(guarded: Any) -> None:
    """A cookie that was copied before is worth nothing afterwards (a replayed session)."""
    browser = guarded.browser()
    token = sign_in(browser).cookies[COOKIE]
    browser.post("/sign-out")
    thief = guarded.browser()
    thief.cookies.set(COOKIE, token)
    assert thief.get("/api/pours").status_code == 401


def test_a_sign_in_ends_by_itself(guarded: Any, clock: Any) -> None:
    """After 30 days at the latest, after 14 without use (ASVS 5.0, 7.3.1 and 7.3.2)."""
    used, unused = guarded.browser(), guarded.browser()
    sign_in(used)
    sign_in(unused)
    for day in range(1, 30):
        clock.move(24 * 3600)
        assert used.get("/api/pours").status_code == 200, day
    assert unused.get("/api/pours").status_code == 401
    clock.move(24 * 3600)
    assert used.get("/api/pours").status_code == 401


def test_every_use_is_not_a_write(guarded: Any, clock: Any) -> None:
    """A page a second would otherwise wear the card out; ten minutes are near enough."""
    browser = guarded.browser("viewer")
    seen = []
    for _ in range(3):
        clock.move(300)
        browser.get("/api/pours")
        with guarded.service.store.read() as connection:
            seen.append(connection.exec_driver_sql("SELECT seen_ms FROM sign_in").scalar_one())
    assert seen[0] == seen[1] < seen[2]


def test_somebody_has_twenty_sign_ins_at_most(guarded: Any) -> None:
    """The oldest end: the list stays one that a person can look through."""
    first = guarded.browser("viewer")
    for _ in range(people.MOST_SIGN_INS):
        guarded.browser("viewer")
    assert first.get("/api/pours").status_code == 401
    with guarded.service.store.read() as connection:
        mine = people.sign_ins_of(connection, guarded.ids["viewer"], guarded.service.timeline.now_ms())
    assert len(mine) == people.MOST_SIGN_INS


@pytest.mark.parametrize(
    "then",
    [
        "//elsewhere.example",
        "https://elsewhere.example",
        "/\\elsewhere.example",
        "/\t/elsewhere.example",
        "javascript:alert(1)",
        "/%2f/elsewhere",
        "\n/",
        "/a//b",
    ],
)
def test_signing_in_leads_nowhere_else(then: str) -> None:
    """Only to a plain path of our own."""
    assert own_path(then) == "/"
    assert own_path("/pours/12/first-hour") == "/pours/12/first-hour"


def test_a_refused_sign_in_is_logged_in_one_line(guarded: Any, caplog: pytest.LogCaptureFixture) -> None:
    """With the name as it was sent, made harmless, and never the password (ASVS 5.0, 16.3.1 and 16.4.1)."""
    with caplog.at_level(logging.DEBUG):
        sign_in(guarded.browser(), "Ada\nERROR all is lost", "the-secret-they-typed")
    lines = [record.getMessage() for record in caplog.records if "refused" in record.getMessage()]
    assert lines == ["sign-in refused: name 'Ada\\nERROR all is lost' from testclient"]
    assert "the-secret-they-typed" not in caplog.text


def test_a_link_from_a_mail_finds_the_sign_in_that_is_there(guarded: Any) -> None:
    """The strict cookie does not come along with a link from another site: the page asks once more by itself."""
    page = guarded.browser().get("/sign-in?then=/alarms/3")
    assert 'content="0;url=/sign-in?then=/alarms/3&amp;again=1"' in page.text
    assert "http-equiv" not in guarded.browser().get("/sign-in?then=/alarms/3&again=1").text
    known = guarded.browser("viewer").get("/sign-in?then=/alarms/3&again=1", follow_redirects=False)
    assert (known.status_code, known.headers["location"]) == (303, "/alarms/3")


# Each is a dressed-up word of the published list (tests/bench/make_common_passwords.py names it), or a run of keys.
@pytest.mark.parametrize(
    "common",
    [
        "password",
        "Password1!",
        "P@ssw0rd",
        "qwerty123",
        "12345678",
        "abcabcabc",
        "iloveyou",
        "sunshine2026",
        "11111111",
        "dragon.dragon",
        "asdfghjkl",
        "19700101",
        "epoxyresin",
        "Rivertable1",
        "Adaadaada",
        "theworkshop1",
    ],
)
def test_what_is_tried_first_is_refused(common: str) -> None:
    """Dressed up or not, and what the name and the trade suggest."""
    with pytest.raises(BadInput, match="too common"):
        passwords.check_new(common, "Ada", "The workshop")


@pytest.mark.parametrize(
    "good",
    [
        "three plain words",
        "plane shavings on tuesday",
        "kettle-harbour-29",
        "xk4lampquietstone",
        "ein Stück Nussbaum, hell",
        "ééééçàùü",
        "correct answers rarely rhyme",
        "w" * 3 + "alnut under glass " * 4,
    ],
)
def test_a_few_words_are_taken_whatever_they_are_made_of(good: str) -> None:
    """No rule about digits or capitals; spaces, accents and 64 characters and more are welcome (ASVS 5.0, 6.2.5-9)."""
    passwords.check_new(good, "Ada", "The workshop")


@pytest.mark.parametrize("bad", ["", "short7!", "w" * 201])
def test_too_short_or_endless_is_refused(bad: str) -> None:
    """Eight to two hundred characters."""
    with pytest.raises(BadInput, match=r"too (short|long)"):
        passwords.check_new(bad)


def test_the_list_is_as_long_as_the_standard_asks() -> None:
    """3000 and more (ASVS 5.0, 6.2.4); a few entries that every published list has, from memory."""
    assert len(passwords._digests()) >= 3000
    assert all(
        passwords.is_common(word) for word in ("football", "letmein1", "trustno1", "baseball", "superman")
    )
