"""People: asked in by a code, seen, signed out, removed; the last owner stays."""

from __future__ import annotations

import re
from typing import Any

from logger.store import people
from web.security.routes_table import ROUTES

RIGHT = "three plain words"
FRESH = "plane shavings on tuesday"


def code_in(page: Any) -> str:
    """The invitation's code on the owner's page."""
    found = re.search(r'id="code">([^<]+)<', page.text)
    assert found is not None, page.text
    return found[1]


def ask_in(house: Any, name: str = "Emil", role: str = "maker") -> str:
    """An invitation's code."""
    return code_in(house.browser("owner").post("/people/invitations", data={"name": name, "role": role}))


def test_somebody_comes_in_by_a_code_with_a_password_of_their_own(house: Any) -> None:
    """The owner never knows it; the code is used up."""
    code = ask_in(house)
    browser = house.browser()
    assert browser.post("/join", data={"code": code, "password": FRESH}).status_code == 200
    assert "Signed in as maker" in browser.get("/settings").text
    again = house.browser().post("/join", data={"code": code, "password": FRESH})
    assert again.status_code == 422
    other = house.browser()
    assert (
        other.post("/sign-in", data={"name": "Emil", "password": FRESH}, follow_redirects=False).status_code
        == 303
    )


def test_a_code_runs_out_and_is_withdrawn(house: Any, clock: Any) -> None:
    """After a day, or when the owner thinks better of it."""
    late, withdrawn = ask_in(house, "Emil"), ask_in(house, "Fritz")
    owner = house.browser("owner")
    number = withdrawn.split("-")[0]
    owner.post(f"/people/invitations/{number}/withdraw")
    assert house.browser().post("/join", data={"code": withdrawn, "password": FRESH}).status_code == 422
    clock.move(24 * 3600)
    assert house.browser().post("/join", data={"code": late, "password": FRESH}).status_code == 422
    assert owner.post(f"/people/invitations/{number}/withdraw").status_code == 404


def test_a_new_code_for_the_same_name_ends_the_one_before(house: Any) -> None:
    """Asked in twice because the first paper was lost: whoever finds it gets nowhere."""
    first, second = ask_in(house), ask_in(house)
    assert house.browser().post("/join", data={"code": first, "password": FRESH}).status_code == 422
    assert house.browser().post("/join", data={"code": second, "password": FRESH}).status_code == 200


def test_codes_are_typed_as_people_type_and_guessed_ten_times_a_minute(guarded: Any, seconds: Any) -> None:
    """Small letters and spaces are fine; an eleventh guess waits."""
    code = ask_in(guarded)
    for number in range(10):
        wrong = guarded.browser().post("/join", data={"code": f"1-0000-000{number}", "password": FRESH})
        assert wrong.status_code == 422
    typed = {"code": f" {code.lower()} ", "password": FRESH}
    assert guarded.browser().post("/join", data=typed).status_code == 429
    seconds.now_s += 60
    assert guarded.browser().post("/join", data=typed, follow_redirects=False).status_code == 303


def test_an_invitation_does_not_name_a_role_that_is_none(house: Any) -> None:
    """A wall screen is no person, and a superuser does not exist."""
    for role in ("screen", "root", ""):
        answer = house.browser("owner").post("/people/invitations", data={"name": "Emil", "role": role})
        assert answer.status_code == 422
    with house.service.store.read() as connection:
        assert people.invitations(connection, house.service.timeline.now_ms()) == []


def test_a_name_belongs_to_one_person_for_good(house: Any) -> None:
    """Records keep the name of whoever has left; nobody takes it over."""
    owner = house.browser("owner")
    owner.post(f"/people/{house.ids['maker']}/remove")
    answer = owner.post("/people/invitations", data={"name": "Ben", "role": "maker"})
    assert answer.status_code == 422
    assert "already" in answer.text


def test_somebody_who_forgot_the_password_gets_a_code(house: Any) -> None:
    """The role stays, every sign-in ends, and the owner never knows the new password."""
    before = house.browser("maker")
    page = house.browser("owner").post(f"/people/{house.ids['maker']}/new-password")
    browser = house.browser()
    browser.post("/join", data={"code": code_in(page), "password": FRESH})
    assert "Signed in as maker" in browser.get("/settings").text
    assert before.get("/api/pours").status_code == 401
    assert house.browser().post("/sign-in", data={"name": "Ben", "password": RIGHT}).status_code == 401


def test_whoever_is_removed_is_out_at_once(house: Any) -> None:
    """Every sign-in ends, the password no longer opens, the hash is gone."""
    ben, owner = house.browser("maker"), house.browser("owner")
    assert ben.get("/api/pours").status_code == 200
    owner.post(f"/people/{house.ids['maker']}/remove")
    assert ben.get("/api/pours").status_code == 401
    assert house.browser().post("/sign-in", data={"name": "Ben", "password": RIGHT}).status_code == 401
    with house.service.store.read() as connection:
        row = connection.exec_driver_sql("SELECT password_hash FROM person WHERE name = 'Ben'").one()
    assert row.password_hash == "left"


def test_the_last_owner_cannot_go(house: Any) -> None:
    """A service without an owner could never be changed again."""
    owner, me = house.browser("owner"), house.ids["owner"]
    assert owner.post(f"/people/{me}/remove").status_code == 409
    assert owner.post(f"/people/{me}/role", data={"role": "viewer"}).status_code == 409
    assert owner.post("/me/leave", data={"present": RIGHT}).status_code == 422
    owner.post(f"/people/{house.ids['maker']}/role", data={"role": "owner"})
    assert owner.post("/me/leave", data={"present": RIGHT}, follow_redirects=False).status_code == 303


def test_a_role_holds_from_the_next_request_on(house: Any) -> None:
    """Nobody goes on with rights of yesterday's sign-in."""
    ben, owner = house.browser("maker"), house.browser("owner")
    assert ben.get("/links").status_code == 200
    owner.post(f"/people/{house.ids['maker']}/role", data={"role": "viewer"})
    assert ben.get("/links").status_code == 403


def test_another_password_ends_every_other_sign_in(house: Any) -> None:
    """And gives this browser a new token: whoever had a copy is out (ASVS 5.0, 7.2.4 and 7.4.3)."""
    here, there = house.browser("viewer"), house.browser("viewer")
    before = here.cookies["pourlog_sign_in"]
    answer = here.post("/me/password", data={"present": RIGHT, "password": FRESH}, follow_redirects=False)
    assert answer.status_code == 303
    assert here.cookies["pourlog_sign_in"] != before
    assert here.get("/me").status_code == 200
    assert there.get("/api/pours").status_code == 401
    copy = house.browser()
    copy.cookies.set("pourlog_sign_in", before)
    assert copy.get("/api/pours").status_code == 401


def test_the_present_password_is_asked_first_and_guessing_it_is_slowed(guarded: Any) -> None:
    """A phone that was left lying about changes nothing."""
    browser = guarded.browser("viewer")
    for _ in range(10):
        assert browser.post("/me/password", data={"present": "a guess", "password": FRESH}).status_code == 422
    assert browser.post("/me/password", data={"present": RIGHT, "password": FRESH}).status_code == 429


def test_people_see_and_end_their_own_sign_ins_and_owners_anybodys(house: Any) -> None:
    """A lost phone is signed out from the desk, by whoever knows the password; one left lying about ends nothing."""
    phone, desk, owner = house.browser("viewer"), house.browser("viewer"), house.browser("owner")
    with house.service.store.read() as connection:
        rows = people.sign_ins_of(connection, house.ids["viewer"], house.service.timeline.now_ms())
    desk_id, phone_id = rows[0].id, rows[1].id
    assert desk.get("/me").text.count("viewer&#39;s browser") == 2
    for present in ({}, {"present": "a guess"}):
        assert desk.post(f"/sign-ins/{phone_id}/end", data=present).status_code == 422
        assert owner.post(f"/sign-ins/{desk_id}/end", data=present).status_code == 422
    assert phone.get("/api/pours").status_code == 200
    secret = {"present": RIGHT}
    ended = desk.post(f"/sign-ins/{phone_id}/end", data=secret, follow_redirects=False)
    assert ended.headers["location"] == "/me"
    assert phone.get("/api/pours").status_code == 401
    assert house.browser("maker").post(f"/sign-ins/{desk_id}/end", data=secret).status_code == 403
    assert desk.get("/api/pours").status_code == 200
    assert "viewer&#39;s browser" in owner.get("/people").text
    owner.post(f"/sign-ins/{desk_id}/end", data=secret)
    assert desk.get("/api/pours").status_code == 401


def test_ending_all_others_keeps_this_one(house: Any) -> None:
    """One press and the password after a lost phone."""
    here, there = house.browser("maker"), house.browser("maker")
    assert here.post("/me/sign-ins/end-others", data={"present": "a guess"}).status_code == 422
    assert there.get("/api/pours").status_code == 200
    here.post("/me/sign-ins/end-others", data={"present": RIGHT})
    assert here.get("/api/pours").status_code == 200
    assert there.get("/api/pours").status_code == 401


def test_every_page_has_the_way_out_but_not_for_a_screen_on_the_wall(house: Any) -> None:
    """At the foot of each page, away from an alarm's button; a screen was never signed in."""
    owner = house.browser("owner")
    pages = [route.path for route in ROUTES if route.method == "GET" and "{" not in route.path]
    seen = 0
    for path in pages:
        answer = owner.get(path) if path != "/live" else None
        if answer is None or not answer.headers["content-type"].startswith("text/html"):
            continue
        body = answer.text.partition("</main>")[2]
        # A part of a page, and the wall, have no foot of their own.
        if answer.url.path in ("/join", "/sign-in", "/set-up", "/offline", "/wall", "/pours/new/answer"):
            continue
        seen += 1
        assert 'action="/sign-out"' in body, path
    assert seen >= 8
    link = owner.post("/links", data={"label": "Wall"}).text
    screen = house.browser()
    board = screen.get(re.search(r"/shared/[\w-]+", link)[0])  # type: ignore[index]
    assert board.url.path == "/"
    assert "/sign-out" not in board.text


def test_no_page_shows_a_hash_or_a_token(house: Any) -> None:
    """Not even to the owner."""
    owner = house.browser("owner")
    code = code_in(owner.post("/people/invitations", data={"name": "Emil", "role": "viewer"}))
    pages = "".join(owner.get(path).text for path in ("/people", "/me", "/links", "/stations", "/settings"))
    assert "argon2" not in pages
    assert code not in pages
    assert house.station_token not in pages
    with house.service.store.read() as connection:
        hashes = connection.exec_driver_sql(
            "SELECT token_hash FROM sign_in UNION SELECT token_hash FROM station"
        ).all()
    assert all(row[0] not in pages for row in hashes)
