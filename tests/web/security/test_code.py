"""What the code must not contain, and what small answers must say; the rest of the ASVS table."""

from __future__ import annotations

import ast
import logging
import re
import socket
import ssl
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn

from logger.store import people
from web.security import passwords
from web.security.http_protocol import Connection
from web.server.app import make_app
from web.service.service import Service

REPO = Path(__file__).parents[3]
CODE = [path for folder in ("hardware", "logger", "web") for path in sorted((REPO / folder).rglob("*.py"))]
SCRIPTS = sorted((REPO / "web" / "static").glob("*.js"))


def calls() -> list[tuple[Path, str]]:
    """(file, name) of every call in the package."""
    trees = ((path, ast.parse(path.read_text(encoding="utf-8"))) for path in CODE)
    return [
        (path, ast.unparse(node.func))
        for path, tree in trees
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    ]


def test_no_input_becomes_a_pattern_or_code() -> None:
    """No eval, no exec, no pickle, no template from text, no pattern built from a request."""
    forbidden = {
        "eval",
        "exec",
        "compile",
        "pickle.loads",
        "pickle.load",
        "marshal.loads",
        "yaml.load",
        "os.system",
        "jinja2.Template",
        "Template",
        "from_string",
        "shelve.open",
    }
    assert [(path.name, name) for path, name in calls() if name in forbidden] == []


def test_the_linter_for_security_has_nothing_new_to_say() -> None:
    """What bandit would find in the rough: shells, SQL from strings, temporary names, unverified connections."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in CODE)
    assert not re.search(
        r"shell\s*=\s*True|verify\s*=\s*False|mktemp\(|_create_unverified_context|check_hostname\s*=", text
    )
    queries = re.findall(r"exec_driver_sql\(\s*f\"[^\"]*\"", text)
    # A table's name cannot be a parameter; these two come from our own schema, never from a request.
    ours = re.compile(r"\{(month\.table|table\.name)\}")
    assert [
        query
        for query in queries
        if not re.search(r"f\"(PRAGMA|VACUUM INTO|SELECT count|SELECT max)", query)
        and "{" in ours.sub("", query)
    ] == []


def test_no_weak_hash_is_used() -> None:
    """SHA-256 and BLAKE2, Argon2id for passwords; never MD5 or SHA-1 (ASVS 5.0, appendix C)."""
    names = {name for _, name in calls()}
    assert not {
        name for name in names if re.search(r"\b(md5|sha1|new)\b", name) and name.startswith("hashlib")
    }
    assert {"hashlib.sha256", "hashlib.blake2b"} <= names


def test_secrets_come_from_the_systems_secure_source() -> None:
    """The module random serves simulations; nothing in doors, stores of people, stations and links uses it."""
    for name in (
        "web/actions/sign_in.py",
        "web/service/service.py",
        "web/security/passwords.py",
        "logger/store/people.py",
        "logger/store/stations.py",
        "logger/store/shared_links.py",
        "logger/store/message_links.py",
        "logger/delivery/signed_links.py",
    ):
        text = (REPO / name).read_text(encoding="utf-8")
        assert "import random" not in text, name
        assert "uuid" not in text, name


def test_scripts_of_ours_write_no_html_from_data() -> None:
    """Text by textContent; what live.js swaps comes whole from our own pages; storage holds choices only."""
    for path in SCRIPTS:
        text = path.read_text(encoding="utf-8")
        assert "eval(" not in text
        assert "document.write" not in text
        assert "new Function" not in text
        assert "insertAdjacentHTML" not in text, path
        for kept in re.findall(r"(?:localStorage|sessionStorage)\.setItem\(([^,]+),", text):
            assert "token" not in kept, path


def test_no_other_site_may_read_an_answer(house: Any) -> None:
    """No CORS header at all, whoever asks."""
    browser = house.browser("owner")
    for path in ("/api/pours", "/", "/api/health"):
        headers = browser.get(path, headers={"origin": "http://elsewhere.example"}).headers
        assert not [name for name in headers if name.startswith("access-control-")]
    asked = {"origin": "http://elsewhere.example", "access-control-request-method": "POST"}
    assert browser.options("/api/pours", headers=asked).status_code == 405


def test_every_answer_says_what_it_is(house: Any) -> None:
    """Type, charset, and not to be kept."""
    browser = house.browser("owner")
    for path in ("/", "/people", "/sign-in", "/nowhere"):
        headers = browser.get(path, headers={"accept": "text/html"}).headers
        assert headers["content-type"] == "text/html; charset=utf-8", path
        assert headers["cache-control"] == "no-store", path
    answer = browser.get("/api/pours").headers
    assert answer["content-type"] == "application/json"  # JSON is UTF-8 by RFC 8259, and knows no charset
    assert answer["cache-control"] == "no-store"


def test_nothing_beside_the_static_files_is_served(house: Any) -> None:
    """No listing, no .git, no way out of the folder, no TRACE."""
    browser = house.browser("owner")
    for path in (
        "/static/",
        "/static",
        "/.git/config",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/static//etc/passwd",
        "/web/server/app.py",
        "/pyproject.toml",
        "/docs",
        "/redoc",
        "/openapi.json",
        "/server-status",
    ):
        assert browser.get(path).status_code in (404, 405), path
    assert browser.get("/metrics").status_code == 401, "its figures are for this machine and for the token"
    assert browser.request("TRACE", "/").status_code in (404, 405)


def test_password_fields_are_masked_and_take_a_pasted_password(house: Any) -> None:
    """With the words that password managers look for, and no script in the way."""
    for path, hint in (("/sign-in", "current-password"), ("/join", "new-password"), ("/me", "new-password")):
        text = house.browser("viewer" if path == "/me" else None).get(path).text
        fields = re.findall(r"<input[^>]*name=\"(?:password|present)\"[^>]*>", text)
        assert fields, path
        assert all('type="password"' in field for field in fields)
        assert all("maxlength" not in field for field in fields)
        assert hint in text
        assert "onpaste" not in text


def test_a_password_is_taken_exactly_as_typed() -> None:
    """Capitals, spaces at both ends, the two-hundredth character: nothing is trimmed."""
    typed = "  Plane Shavings " + "x" * 180 + " "
    hashed = passwords.hash_of(typed)
    assert passwords.right(hashed, typed)
    for other in (typed.strip(), typed.lower(), typed[:-2], typed + "x"):
        assert not passwords.right(hashed, other)


def test_signing_out_clears_what_the_browser_kept(house: Any) -> None:
    """Over HTTPS the browser is told to; pages are not kept at all anyway."""
    answer = house.browser("viewer").post("/sign-out", follow_redirects=False)
    assert answer.headers["clear-site-data"] == '"cache"'
    assert 'pourlog_sign_in=""' in answer.headers["set-cookie"]


def test_a_field_that_is_not_asked_for_is_refused(house: Any) -> None:
    """Nobody sets a stage or a person beside what a form asks; the first of two values does not win by luck."""
    browser = house.browser("owner")
    assert browser.post("/api/stations", json={"name": "b", "revoked": False}).status_code == 422
    browser.post("/people/invitations", data={"name": "Emil", "role": ["viewer", "owner"], "left_ms": "0"})
    with house.service.store.read() as connection:
        asked = people.invitations(connection, house.service.timeline.now_ms())
    assert [row.role for row in asked] in ([], ["owner"], ["viewer"])
    assert browser.get("/api/pours?role=owner&role=viewer").status_code == 200


def test_a_refusal_is_logged(house: Any, caplog: pytest.LogCaptureFixture) -> None:
    """Who, what, in one line."""
    with caplog.at_level(logging.WARNING):
        house.browser("viewer").post("/people/1/remove%0AERROR")
        house.browser("viewer").get("/people")
    lines = [record.getMessage() for record in caplog.records]
    assert "GET '/people' refused: 'only an owner may do this; Cleo is a viewer'" in lines
    assert all("\n" not in line for line in lines)


def test_a_photo_is_served_under_a_name_of_ours(house: Any, shop: Any, plan_toml: str) -> None:
    """Whatever it was called when it came."""
    from PIL import Image  # heavy, needed here alone

    picture = Path(house.service.settings.data_dir) / "p.png"
    Image.new("RGB", (8, 8)).save(picture)
    pour = shop.plan(plan_toml)
    browser = house.browser("maker")
    evil = 'a"; filename="evil.html'
    browser.post(f"/pours/{pour}/photos", files={"photo": (evil, picture.read_bytes())})
    address = re.search(rf"/pours/{pour}/photos/[0-9a-f]{{64}}", browser.get(f"/pours/{pour}").text)
    assert address is not None
    said = browser.get(address[0]).headers["content-disposition"]
    assert re.fullmatch(r'inline; filename="photo-[0-9a-f]{12}\.jpg"', said)


def test_a_title_with_a_line_break_is_one_line(house: Any, shop: Any, plan_toml: str) -> None:
    """A table's name reaches the head of a mail: it cannot start another header."""
    title = 'title = "River\\nBcc: everybody@elsewhere.example"'
    pour = shop.plan(plan_toml.replace('title = "River table for a fictional client"', title))
    with house.service.store.read() as connection:
        kept = connection.exec_driver_sql(f"SELECT title FROM pour WHERE id = {pour}").scalar_one()
    from email.message import EmailMessage

    with pytest.raises(ValueError, match=r"linefeed|newline"):
        EmailMessage()["Subject"] = kept


def _serve(service: Service, **more: Any) -> tuple[uvicorn.Server, threading.Thread, int]:
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    config = uvicorn.Config(make_app(service), log_level="critical", lifespan="off", http=Connection, **more)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    while not server.started:
        thread.join(0.01)
    return server, thread, listening.getsockname()[1]


def test_a_message_with_two_lengths_is_refused(service: Service) -> None:
    """No request is smuggled past a proxy (RFC 9112, 6.3)."""
    server, thread, port = _serve(service)
    try:
        for head in (
            "Content-Length: 4\r\nContent-Length: 40",
            "Content-Length: 4x",
            "Transfer-Encoding: chunked, gzip",
            "Transfer-Encoding: chunked",
            "Content-Length: 4\r\nTransfer-Encoding: chunked",
            "Transfer-Encoding : chunked",
            "Content-Length: 4\r\n Transfer-Encoding: chunked",
        ):
            with socket.create_connection(("127.0.0.1", port), 5) as asking:
                asking.sendall(f"POST /sign-in HTTP/1.1\r\nHost: x\r\n{head}\r\n\r\nabcd".encode())
                assert asking.recv(99).startswith((b"HTTP/1.1 400", b"HTTP/1.1 501")), head
    finally:
        server.should_exit = True
        thread.join(10)


def _sent_until_refused(asking: socket.socket, again: bytes, most: int = 64_000_000) -> int:
    sent = 0
    try:
        while sent < most:
            asking.sendall(again)
            sent += len(again)
    except ConnectionError:
        pass  # cut off; what the system's buffers took was never read
    return sent


@pytest.mark.parametrize(
    "endless",
    [
        b"X-A: b\r\n",  # ever more headers
        b"aaaaaaaa",  # one that never ends
        b"\r\n",  # not even a first word
    ],
)
def test_a_head_that_does_not_end_is_cut_off(service: Service, endless: bytes) -> None:
    """Whoever sends for ever fills no memory; whoever asks next is answered."""
    server, thread, port = _serve(service)
    try:
        with socket.create_connection(("127.0.0.1", port), 10) as asking:
            if endless != b"\r\n":
                asking.sendall(b"GET /api/health HTTP/1.1\r\nHost: x\r\nX-B: ")
            assert _sent_until_refused(asking, endless * 4000) < 64e6
        with socket.create_connection(("127.0.0.1", port), 5) as speaking:
            speaking.sendall(b"GET /api/health HTTP/1.1\r\nHost: x\r\n\r\n" * 2)
            assert speaking.recv(15) == b"HTTP/1.1 200 OK"
    finally:
        server.should_exit = True
        thread.join(10)


def test_a_second_request_on_a_connection_has_a_head_of_its_own(service: Service) -> None:
    """A station keeps its connection for weeks: what it has sent before does not count."""
    server, thread, port = _serve(service)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}") as station:
            padded = {"X-Padding": "a" * 3000}
            for _ in range(40):
                assert station.get("/api/health", headers=padded).status_code == 200
                assert station.post("/api/batches", content=b"x" * 40_000).status_code == 401
    finally:
        server.should_exit = True
        thread.join(10)


def test_only_present_versions_of_tls_are_spoken() -> None:
    """Python's server context: TLS 1.2 and 1.3, no anonymous and no export ciphers (ASVS 5.0, 12.1)."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)  # as uvicorn makes it
    assert context.minimum_version >= ssl.TLSVersion.TLSv1_2
    names = [cipher["name"] for cipher in context.get_ciphers()]
    assert not [name for name in names if re.search(r"NULL|EXPORT|RC4|DES|MD5|anon|ADH", name)]


def _closed(connection: socket.socket) -> bool:
    try:
        return connection.recv(10) == b""
    except ConnectionResetError:
        return True


def test_one_address_holds_only_its_share_of_connections(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The fourth of three is closed at once; one that ends makes room."""
    monkeypatch.setattr("web.security.http_protocol.MOST_OF_ADDRESS", 3)
    server, thread, port = _serve(service)
    try:
        held = [socket.create_connection(("127.0.0.1", port), 5) for _ in range(3)]
        with socket.create_connection(("127.0.0.1", port), 5) as fourth:
            assert _closed(fourth)
        for one in held:
            one.close()
    finally:
        server.should_exit = True
        thread.join(10)


def test_a_connection_that_says_nothing_is_closed(service: Service, monkeypatch: pytest.MonkeyPatch) -> None:
    """Idle connections would take every file descriptor, and then no alarm could be sent."""
    monkeypatch.setattr("web.security.http_protocol.FIRST_WORD_S", 0.05)
    server, thread, port = _serve(service)
    try:
        with socket.create_connection(("127.0.0.1", port), 5) as silent:
            assert _closed(silent)
        with socket.create_connection(("127.0.0.1", port), 5) as speaking:
            speaking.sendall(b"GET /api/health HTTP/1.1\r\nHost: x\r\n\r\n")
            assert speaking.recv(15) == b"HTTP/1.1 200 OK"
    finally:
        server.should_exit = True
        thread.join(10)
