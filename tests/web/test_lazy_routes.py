"""After a power cut the watch stands before the pages are loaded; whoever asks for a page sooner is answered too."""

from __future__ import annotations

import gc
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from hardware.clock import SystemClock
from logger.settings import Settings
from web.server import lazy_routes, startup
from web.server.app import make_app
from web.service.service import Service


@pytest.fixture
def asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[TestClient, list[str]]]:
    """A service that has just been started, and how often its pages were loaded."""
    loads, the_rest = [], lazy_routes.the_rest

    def counted() -> list[lazy_routes.BaseRoute]:
        loads.append("loaded")
        return the_rest()

    monkeypatch.setattr(lazy_routes, "the_rest", counted)
    service = Service.open(Settings(data_dir=str(tmp_path)), SystemClock())
    with TestClient(make_app(service, pages_later=True), follow_redirects=False) as client:
        yield client, loads
    service.close()


def test_health_and_batches_are_answered_before_the_pages_are_loaded(
    asked: tuple[TestClient, list[str]],
) -> None:
    """What a station and a supervisor ask for does not wait."""
    client, loads = asked
    assert client.get("/api/health").status_code == 200
    assert client.post("/api/batches", json={}).status_code == 401
    assert loads == []


def test_a_page_asked_for_at_once_is_answered_and_the_pages_are_loaded_once(
    asked: tuple[TestClient, list[str]],
) -> None:
    """The first visitor waits; the second does not."""
    client, loads = asked
    first = client.get("/set-up", headers={"accept": "text/html"})
    assert (first.status_code, "code" in first.text) == (200, True)
    style = client.get("/static/look.css")
    assert (style.status_code, style.headers["content-type"].partition(";")[0]) == (200, "text/css")
    assert client.get("/set-up").status_code == 200
    assert loads == ["loaded"]


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("POST", "/api/health", 405), ("PUT", "/set-up", 405), ("GET", "/static/no", 404)],
)
def test_what_is_not_served_is_refused_as_ever(
    asked: tuple[TestClient, list[str]], method: str, path: str, status: int
) -> None:
    """Neither a wrong method nor an unknown file is taken for something that is still to come."""
    client, _loads = asked
    assert [client.request(method, path).status_code for _ in range(2)] == [status, status]


def test_a_start_loads_neither_pages_nor_forecasts() -> None:
    """They are half of all that the service imports; a Pi takes seconds for them."""
    told = "import sys, web.server.serve; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", told], capture_output=True, text=True, check=True
    ).stdout.split()
    heavy = (
        "web.pages",
        "logger.live.forecaster",
        "logger.cure.solver.march",
        "logger.record.refit_offers",
        "jinja2",
        "plotly",
    )
    assert "web.server.serve" in loaded
    assert [name for name in loaded if name.startswith(heavy)] == []


def test_garbage_is_collected_again_after_the_start() -> None:
    """A service that runs for years must not grow."""
    startup.begin()
    assert not gc.isenabled()
    startup.done()
    assert gc.isenabled()
