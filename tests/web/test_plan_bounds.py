"""A plan that would cost too much is refused in words on every way in: page, upload, API, import, command line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from logger.errors import BadPlan
from web.command import app

PAGE = {"accept": "text/html"}
DOTS, LAYERS = "a key with too many dots", "at most 19"


def bombs(plan_toml: str) -> dict[str, str]:
    """Two plans of some kilobytes, and words of their refusal."""
    layers = "".join(f"[[layer]]\nat_h = {0.5 * (n + 1)}\ndepth_mm = 10\n" for n in range(50))
    return {DOTS: ".".join(["a"] * 20_000) + " = 1\n" + plan_toml, LAYERS: plan_toml + layers}


@pytest.mark.parametrize("told", [DOTS, LAYERS])
def test_every_way_in_refuses_it_in_words(
    maker: TestClient, plan_toml: str, told: str, tmp_path: Path
) -> None:
    """And nothing is stored."""
    bomb = bombs(plan_toml)[told]
    ways: dict[str, dict[str, Any]] = {
        "/pours/new": {"data": {"plan_toml": bomb}},
        "/api/pours": {"json": {"plan_toml": bomb}},
    }
    for path, body in ways.items():
        answer = maker.post(path, headers=PAGE, **body)
        assert (answer.status_code, told in answer.text) == (422, True), path
    answer = maker.post("/pours/new", headers=PAGE, files={"file": ("plan.toml", bomb.encode())})
    assert (answer.status_code, told in answer.text) == (422, True)
    assert maker.get("/api/pours").json() == []
    path = tmp_path / "plan.toml"
    path.write_text(bomb, encoding="utf-8")
    for command in ("predict", "plan", "advise"):
        refused = CliRunner().invoke(app, [command, str(path)]).exception
        assert isinstance(refused, BadPlan)
        assert told in str(refused)


@pytest.mark.parametrize("told", [DOTS, LAYERS])
def test_a_planned_pour_keeps_its_plan_when_another_is_refused(
    maker: TestClient, shop: Any, plan_toml: str, told: str
) -> None:
    """On its page and through the API."""
    pour = shop.plan(plan_toml)
    bomb = bombs(plan_toml)[told]
    page = maker.post(f"/pours/{pour}/plan", headers=PAGE, data={"plan_toml": bomb})
    assert (page.status_code, told in page.text) == (422, True)
    answer = maker.put(f"/api/pours/{pour}/plan", json={"plan_toml": bomb})
    assert (answer.status_code, told in answer.text) == (422, True)
    assert maker.get(f"/api/pours/{pour}").json()["plan_toml"] == plan_toml
