"""First start: nothing but set-up is reachable, for an hour, for whoever reads the console (ETSI EN 303 645, 5.1)."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from processes import Process

from logger.store import people
from web.security.routes_table import ROUTES
from web.security.setup_code import new_setup_code
from web.security.throttle import Throttle
from web.server.app import make_app
from web.service.service import Service

GOOD = {"name": "Ada", "password": "plane shavings on tuesday"}


@pytest.fixture
def fresh(service: Service, seconds: Any) -> Iterator[TestClient]:
    """A browser at a service that nobody owns."""
    with TestClient(make_app(service, Throttle(), seconds), follow_redirects=False) as client:
        yield client


def code_of(service: Service) -> str:
    """The console's code."""
    code = new_setup_code(service)
    assert code is not None
    return code


def test_only_set_up_answers_before_there_is_an_owner(fresh: TestClient, seconds: Any) -> None:
    """Neither sign-in nor invitations nor links; a batch would need a token that only an owner gives."""
    open_ones = {"/set-up", "/api/health", "/api/ready", "/api/batches", "/metrics"}
    for route in ROUTES:
        if route.path in open_ones:
            continue
        seconds.now_s += 5
        answer = fresh.request(route.method, route.path.replace("{", "").replace("}", ""), json={})
        if route.path.startswith("/api/"):
            assert answer.status_code == 403, route
        else:
            assert (answer.status_code, answer.headers["location"]) == (303, "/set-up"), route
    assert fresh.get("/set-up").status_code == 200
    assert fresh.get("/metrics").status_code == 401, "figures are for the machine itself and for a token"
    assert fresh.post("/api/batches", json={}, headers={"authorization": "Bearer guess"}).status_code in (
        401,
        422,
    )


def test_the_code_makes_an_owner_once(fresh: TestClient, service: Service) -> None:
    """And is no password: it is used up."""
    code = code_of(service)
    answer = fresh.post("/set-up", data=GOOD | {"code": code})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert fresh.get("/").status_code == 200
    stranger = TestClient(fresh.app, follow_redirects=False)
    again = stranger.post("/set-up", data={"name": "Mallory", "password": GOOD["password"], "code": code})
    assert again.status_code == 422
    assert "has an owner already" in again.text
    with service.store.read() as connection:
        assert [row.name for row in people.everybody(connection)] == ["Ada"]


def test_the_code_may_be_typed_with_spaces_or_without_its_hyphen(fresh: TestClient, service: Service) -> None:
    """People read it from a screen across the room."""
    code = code_of(service).replace("-", " ")
    assert fresh.post("/set-up", data=GOOD | {"code": f" {code} "}).status_code == 303


def test_the_code_runs_out_after_an_hour(fresh: TestClient, service: Service, clock: Any) -> None:
    """A service that was left at set-up over night is not there for the taking."""
    code = code_of(service)
    clock.move(3600)
    assert fresh.post("/set-up", data=GOOD | {"code": code}).status_code == 422


def test_a_restart_makes_another_code(fresh: TestClient, service: Service) -> None:
    """The code before it no longer opens."""
    first = code_of(service)
    second = code_of(service)
    assert first != second
    assert fresh.post("/set-up", data=GOOD | {"code": first}).status_code == 422
    assert fresh.post("/set-up", data=GOOD | {"code": second}).status_code == 303


def test_ten_tries_a_minute_from_all_together(service: Service, seconds: Any) -> None:
    """Ten million codes an hour would find it; six hundred do not. The addresses of a botnet share the ten."""
    app = make_app(service, Throttle(), seconds)
    code = code_of(service)
    statuses = []
    for number in range(14):
        browser = TestClient(app, client=(f"10.0.0.{number}", 1), follow_redirects=False)
        statuses.append(browser.post("/set-up", data=GOOD | {"code": "0000-0001"}).status_code)
    assert statuses == [422] * 10 + [429] * 4
    late = TestClient(app, follow_redirects=False)
    refused = late.post("/set-up", data=GOOD | {"code": code})
    assert refused.status_code == 429
    assert 1 <= int(refused.headers["retry-after"]) <= 6
    seconds.now_s += 6
    assert late.post("/set-up", data=GOOD | {"code": code}).status_code == 303


def test_no_secret_exists_before_it_is_made(service: Service) -> None:
    """A fresh database holds neither people nor tokens nor keys: nothing that two devices could share."""
    with service.store.read() as connection:
        for table in ("person", "sign_in", "secret", "station", "invitation", "shared_link"):
            assert connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one() == 0


def test_codes_are_kept_by_a_slow_hash(service: Service) -> None:
    """Eight digits behind a fast one are read from a stolen database in a second (ASVS 5.0, 6.5.2)."""
    code_of(service)
    with service.store.read() as connection:
        kept = people.get_secret(connection, "set-up")
    assert kept is not None
    assert kept.startswith(b"$argon2id$v=19$m=19456,t=2,p=1$")


def test_the_readmes_command_shows_address_and_code_on_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Under systemd the output is no terminal: not wrapped, and there while the service runs, not after its end."""
    for name in ("COLUMNS", "PYTHONUNBUFFERED"):
        monkeypatch.delenv(name, raising=False)
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    (command,) = re.findall(r"`sudo journalctl -u pourlog-service \| (grep set-up[^`]*)`", readme)
    address = "http://a-workshop-with-a-name-that-fills-half-of-a-line.local:8080"
    process = Process(tmp_path / "data", None, [], public_url=address)
    try:
        process.ready()
        shown = subprocess.run(
            ["sh", "-c", command], input=process.log.read_text(), capture_output=True, text=True, check=True
        ).stdout
        code = re.search(rf"^First set-up: open {address}/set-up and give the code (\S+) ", shown)
        assert code is not None, shown
        answer = process.client.post(
            "/set-up", data={"code": code[1], **GOOD}, headers={"Origin": str(process.client.base_url)}
        )
        assert answer.status_code == 303, answer.text
    finally:
        process.stop()
