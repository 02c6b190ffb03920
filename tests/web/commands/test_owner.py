"""`pourlog owner-code`: a sole owner who forgot the password comes back in at the machine, and nobody else does."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from fastapi.testclient import TestClient
from sqlalchemy import select
from typer.testing import CliRunner

from logger.errors import BadInput, NotAllowed
from logger.store import people
from logger.store.events import EVENT
from logger.words.reader import METRIC
from logger.words.render import say
from web.command import app
from web.security import passwords
from web.security.setup_code import new_setup_code
from web.server.app import make_app

OLD, NEW = "three plain words", "plane shavings on tuesday"


@pytest.fixture
def settings(service: Any, tmp_path: Path) -> Path:
    """The settings file of a service without people."""
    path = tmp_path / "settings.toml"
    path.write_text(tomli_w.dumps({"data_dir": service.settings.data_dir}), encoding="utf-8")
    return path


def add(service: Any, name: str, role: people.Role = people.Role.OWNER) -> None:
    """Somebody with a password."""
    with service.store.write() as tx:
        people.add_person(tx, name, role, passwords.hash_of(OLD), service.timeline.now_ms())


def owner_code(*words: str) -> dict[str, Any]:
    """What the command prints. Errors of the program are raised, as `main` wants them."""
    done = CliRunner().invoke(app, ["owner-code", *words, "--json"])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    told: dict[str, Any] = json.loads(done.stdout)
    return told


def test_the_only_owner_comes_in_again_with_a_new_password(
    service: Any, settings: Path, stranger: TestClient
) -> None:
    """The service runs on; the old password and its sign-ins are over; who gave the code is noted."""
    add(service, "Ada")
    with TestClient(make_app(service)) as before:
        assert before.post("/sign-in", data={"name": "Ada", "password": OLD}).status_code == 200
        told = owner_code(str(settings))
        assert told["owner"] == "Ada"
        assert told["page"].endswith("/join")
        assert before.get("/settings").status_code == 200, "a code alone changes nothing"
        answer = stranger.post("/join", data={"code": told["code"], "password": NEW})
        assert answer.status_code == 200
        assert "Signed in as owner" in stranger.get("/settings").text
        assert before.get("/settings").status_code == 401, "the earlier sign-in is over"
        assert before.post("/sign-in", data={"name": "Ada", "password": OLD}).status_code == 401
    again = stranger.post("/join", data={"code": told["code"], "password": "another few words"})
    assert again.status_code == 422, "the code works once"
    with service.store.read() as connection:
        noted = [
            (row.kind, row.by, say(row.text, METRIC))
            for row in connection.execute(select(EVENT).order_by(EVENT.c.id))
        ]
    assert ("asked-in", "the console of this machine", "Ada, owner") in noted
    assert ("password-changed", "Ada", "by a code from the console of this machine") in noted


def test_of_several_owners_one_is_named_and_nobody_else_gets_a_code(service: Any, settings: Path) -> None:
    """A maker's new password is an owner's business."""
    for name, role in (("Ada", "owner"), ("Ben", "owner"), ("Cleo", "maker")):
        add(service, name, people.Role(role))
    with pytest.raises(BadInput, match="several owners; allowed: Ada, Ben"):
        owner_code(str(settings))
    assert owner_code(str(settings), "--name", "Ben")["owner"] == "Ben"
    with pytest.raises(BadInput, match="is no owner here"):
        owner_code(str(settings), "--name", "Cleo")


def test_before_there_is_an_owner_the_set_up_code_is_the_way_in(settings: Path) -> None:
    """No second door."""
    with pytest.raises(NotAllowed, match="open /set-up"):
        owner_code(str(settings))


def test_only_the_machine_that_holds_the_database_gives_a_code(tmp_path: Path) -> None:
    """Neither a database server elsewhere, nor a new database where there is none."""
    path = tmp_path / "elsewhere.toml"
    path.write_text(
        tomli_w.dumps({"database_url": "postgresql+psycopg://pourlog:x@db.example/pourlog"}), encoding="utf-8"
    )
    with pytest.raises(BadInput, match="is on another machine"):
        owner_code(str(path))
    path.write_text(tomli_w.dumps({"data_dir": str(tmp_path / "none")}), encoding="utf-8")
    with pytest.raises(BadInput, match="is not there"):
        owner_code(str(path))
    assert not (tmp_path / "none").exists()


def test_a_new_code_of_the_first_set_up_is_shown_until_there_is_an_owner(
    service: Any, settings: Path, stranger: TestClient
) -> None:
    """Beside the running service; the code that was shown before no longer holds."""

    def shown() -> dict[str, Any]:
        told: dict[str, Any] = json.loads(
            CliRunner().invoke(app, ["set-up-code", str(settings), "--json"]).stdout
        )
        return told

    first, second = shown(), shown()
    assert second["page"].endswith(f"/set-up?code={second['code']}")
    # The installation shows one, and then the Pi is restarted.
    assert new_setup_code(service) is not None
    me = {"name": "Ada", "password": NEW}
    assert stranger.post("/set-up", data=me | {"code": first["code"]}).status_code == 422
    assert stranger.post("/set-up", data=me | {"code": second["code"]}).status_code == 200
    assert shown()["code"] is None
    told = CliRunner().invoke(app, ["set-up-code", str(settings)]).stdout
    assert "There is an owner already" in told
    assert service.settings.link_base in told
