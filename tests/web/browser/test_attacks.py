"""Attacks in a real browser: a stored script, a frame around our pages, a forged post, old sessions. All refused."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from logger.store import people
from web.security.access import COOKIE

pytestmark = pytest.mark.browser
EVIL = "<script>window.stolen = 1</script><img src=x onerror='window.stolen = 2'>\"'><svg onload='window.stolen = 3'>"


@pytest.fixture
def elsewhere(address: str) -> Iterator[str]:
    """Another site, whose pages attack ours: /frame shows our board in a frame, /post sends us a form."""
    forged = (
        f"<form id=f method=post action='{address}/pours/1/notes'><input name=text value='forged'></form>"
        "<script>document.getElementById('f').submit()</script>"
    )
    pages = {
        "/frame": f"<iframe id=victim src='{address}/'></iframe>",
        "/post": forged,
        "/link": f"<a href='{address}/me'>go</a>",
    }

    class Site(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = f"<!doctype html>{pages.get(self.path, '')}".encode()
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: Any) -> None:
            """Says nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Site)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    # Another name for the same machine: another site to the browser.
    yield f"http://localhost:{server.server_address[1]}"
    server.shutdown()
    thread.join(5)
    server.server_close()


@pytest.fixture
def victim(chromium: Any, address: str, owner: str) -> Iterator[Any]:
    """A browser with the owner's cookie, in which our own pages' complaints about blocked content are kept."""
    context = chromium.new_context(base_url=address)
    context.add_cookies(
        [{"name": COOKIE, "value": owner, "url": address, "sameSite": "Strict", "httpOnly": True}]
    )
    page = context.new_page()
    page.complaints = []
    page.on("console", lambda line: _complain(page.complaints, line))
    yield page
    context.close()


def _complain(complaints: list[str], line: Any) -> None:
    if line.type == "error":
        complaints.append(line.text)


def notes(service: Any) -> list[str]:
    """Every note that was kept."""
    with service.store.read() as connection:
        return list(connection.exec_driver_sql("SELECT text FROM event WHERE kind = 'note'").scalars())


def test_a_stored_script_does_not_run(victim: Any, shop: Any, service: Any, plan_toml: str) -> None:
    """In a note, a table's name, a client's name, a person's name, a link's label."""
    title = EVIL.replace("\\", "\\\\").replace('"', '\\"')
    pour = shop.plan(plan_toml.replace("River table for a fictional client", title), client=EVIL)
    with service.store.write() as tx:
        people.invite(tx, EVIL, people.Role.VIEWER, "x", "Ada", service.timeline.now_ms())
    victim.goto(f"/pours/{pour}")
    victim.evaluate(
        "text => fetch(location.pathname + '/notes', {method: 'POST', body: new URLSearchParams({text})})",
        EVIL,
    )
    assert notes(service) == [EVIL]
    for path in (
        "/",
        f"/pours/{pour}",
        f"/pours/{pour}/record",
        f"/pours/{pour}/plan",
        f"/pours/{pour}/label",
        "/people",
    ):
        victim.goto(path)
        victim.wait_for_load_state("load")
        assert victim.evaluate("window.stolen") is None, path
        assert victim.locator("img[src=x]").count() == 0, path


def test_a_script_that_gets_into_a_page_is_not_run_either(victim: Any) -> None:
    """The second wall: the policy stops what escaping would have let through."""
    victim.goto("/settings")
    victim.evaluate("html => { document.querySelector('main').innerHTML = html }", EVIL)
    added = "const s = document.createElement('script'); s.textContent = 'window.stolen = 4'; document.body.append(s)"
    victim.evaluate(f"() => {{ {added} }}")
    victim.wait_for_timeout(100)
    assert victim.evaluate("window.stolen") is None
    assert any("Content Security Policy" in line for line in victim.complaints)


def test_our_own_pages_break_no_rule_of_the_policy(victim: Any, shop: Any, plan_toml: str) -> None:
    """The chart is drawn without a single blocked style or script."""
    pour = shop.plan(plan_toml)
    for path in (
        "/",
        f"/pours/{pour}",
        f"/pours/{pour}/plan",
        "/stations",
        "/people",
        "/me",
        "/links",
        "/settings",
    ):
        victim.goto(path)
        victim.wait_for_load_state("load")
        if path.endswith("/plan"):
            victim.wait_for_selector("#curve[data-drawn]", state="attached")
    assert [line for line in victim.complaints if "Content Security Policy" in line] == []


def test_nobody_shows_our_pages_in_a_frame(victim: Any, elsewhere: str) -> None:
    """No press can be stolen through a transparent frame (clickjacking)."""
    victim.goto(f"{elsewhere}/frame")
    victim.wait_for_load_state("load")
    for _ in range(50):  # the frame's own end may come after the page's
        framed = [frame.url for frame in victim.frames[1:]]
        if framed != [""]:
            break
        victim.wait_for_timeout(100)
    assert framed == ["chrome-error://chromewebdata/"]
    assert any("frame-ancestors" in line for line in victim.complaints)


def test_a_forged_post_changes_nothing(
    victim: Any, elsewhere: str, shop: Any, service: Any, plan_toml: str
) -> None:
    """Neither the cookie comes along nor would it help."""
    shop.plan(plan_toml)
    with victim.expect_navigation(url="**/pours/1/notes"):
        victim.goto(f"{elsewhere}/post")
    assert notes(service) == []


def test_an_expired_and_a_replayed_session_open_nothing(
    victim: Any, service: Any, clock: Any, address: str
) -> None:
    """Signed out here, the copied cookie is worth nothing there; a month later neither is a forgotten one."""
    victim.goto("/settings")
    assert victim.url == f"{address}/settings"
    copied = victim.context.cookies()
    victim.get_by_role("button", name="Sign out").click()
    victim.context.add_cookies(copied)
    victim.goto("/settings")
    victim.wait_for_url("**/sign-in?then=/settings&again=1")
    with service.store.write() as tx:
        token = people.start_sign_in(tx, 1, service.timeline.now_ms(), "forgotten")
    victim.context.add_cookies([{"name": COOKIE, "value": token, "url": address}])
    victim.goto("/settings")
    assert victim.url == f"{address}/settings"
    clock.move(31 * 24 * 3600)
    victim.goto("/settings")
    victim.wait_for_url("**/sign-in?then=/settings&again=1")


def test_a_link_from_another_site_arrives_signed_in(victim: Any, elsewhere: str, address: str) -> None:
    """The strict cookie stays at home on the first step; the sign-in page asks once more by itself."""
    victim.goto(f"{elsewhere}/link")
    victim.get_by_text("go").click()
    victim.wait_for_url(f"{address}/me")
    assert victim.locator("h1").inner_text() == "Ada"
