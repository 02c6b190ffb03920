"""`pourlog move`, `add-shop` and `drop-readings`, as somebody types them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from logger.errors import BadInput, NotAllowed
from logger.pour import Stage
from logger.settings import read_settings
from web.command import app
from web.server.app import make_app
from web.service.service import Service


def run(*words: str) -> str:
    """What was printed. Errors of the program are raised, as `main` wants them."""
    done = CliRunner().invoke(app, list(words))
    if done.exception is not None:
        raise done.exception
    return done.stdout


@pytest.fixture
def database() -> str:
    """Where a service begins."""
    return "sqlite"


def test_from_the_pi_to_a_server_with_two_shops(
    service: Any, shop: Any, clock: Any, plan_toml: str, tmp_path: Path, on_server: str
) -> None:
    """Moved by one command and one setting; a second shop joins by its code; an old month goes by name."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.1, 30, lambda h: {"core": 21 + h, "room": 20.0})
    shop.go(pour, Stage.RELEASED, Stage.CLOSED)
    service.store.close()
    path = tmp_path / "settings.toml"
    table = {"data_dir": service.settings.data_dir}
    path.write_text(tomli_w.dumps(table), encoding="utf-8")
    with pytest.raises(NotAllowed, match="PostgreSQL"):
        run("add-shop", str(path), "The north", "Nora")
    assert "1 pours and 24 readings are on the server" in run("move", str(path), on_server)
    path.write_text(tomli_w.dumps(table | {"database_url": on_server}), encoding="utf-8")
    with pytest.raises(BadInput, match="no database of the service's own"):
        run("move", str(path), on_server)
    assert "It stands" in run("verify", str(pour), "--settings", str(path))
    told = json.loads(run("add-shop", str(path), "The north", "Nora", "--json"))
    moved = Service.open(read_settings(path), clock)
    nora = TestClient(make_app(moved))
    with moved.store.write() as tx:
        tx.exec_driver_sql("UPDATE person SET role = 'owner'")
        tx.exec_driver_sql(
            "INSERT INTO person (name, role, password_hash, created_ms) VALUES ('Ada', 'owner', 'x', 0)"
        )
    answer = nora.post("/join", data={"code": told["code"], "password": "planks of the other side"})
    assert answer.status_code == 200
    assert re.search("Nora", nora.get("/people").text)
    assert nora.get(f"/pours/{pour}").status_code == 404
    moved.close()
    with pytest.raises(NotAllowed, match="sealed pours"):
        run("drop-readings", str(path), "2026-11")
    assert "24 readings of 2026-11 are gone" in run("drop-readings", str(path), "2026-11", "--also-sealed")
    with pytest.raises(BadInput, match="YYYY-MM"):
        run("drop-readings", str(path), "November")
