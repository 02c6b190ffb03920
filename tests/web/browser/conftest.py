"""A real service on a loopback port and a real Chromium, at a phone's and a desktop's width."""

from __future__ import annotations

import fcntl
import os
import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from needs import missing

from logger.store import people
from tests.filled_shop import STATES, FilledShop, make_shops, open_shop
from web.security import passwords
from web.security.access import COOKIE
from web.server.app import make_app
from web.service.service import Service

CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
PASSWORD = "three plain words"
SIZES = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1440, "height": 900}}


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for all tests."""
    if shutil.which(CHROMIUM) is None:
        missing(f"{CHROMIUM} is not installed; apt install chromium")
    from playwright.sync_api import sync_playwright  # slow to import, and needed here alone

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def axe() -> str:
    """The script of axe-core, from the package that carries it."""
    spec = find_spec("axe_playwright_python")
    if spec is None or spec.origin is None:
        missing("axe-playwright-python is not installed; pip install 'pourlog[test]'")
    return (Path(spec.origin).parent / "axe.min.js").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def made_shops(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A filled workshop in each state (tests/filled_shop.py): made once for all workers, and copied for each."""
    mine = tmp_path_factory.mktemp("shops")
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    with (shared / "shops.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / "shops" / "made").exists():
            make_shops(shared / "shops", *STATES)
            (shared / "shops" / "made").touch()
    return shutil.copytree(shared / "shops", mine, dirs_exist_ok=True)


@pytest.fixture(scope="session")
def filled(made_shops: Path) -> Iterator[Callable[[str], tuple[FilledShop, str]]]:
    """Opens the workshop of a state, once: filled("calm") gives it and the address where it answers."""
    with ExitStack() as held:

        @cache
        def opened(state: str) -> tuple[FilledShop, str]:
            shop = open_shop(made_shops, state)
            held.callback(shop.service.close)
            return shop, held.enter_context(shop.served())

        yield opened


@pytest.fixture
def address(service: Service) -> Iterator[str]:
    """Where the app answers: a free loopback port."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    config = uvicorn.Config(make_app(service), log_level="error", lifespan="off", timeout_graceful_shutdown=2)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, name="http")
    thread.start()
    yield f"http://127.0.0.1:{port}"
    service.news.close()
    server.should_exit = True
    thread.join(10)
    listening.close()
    assert not thread.is_alive(), "the server did not stop"


@pytest.fixture(scope="session")
def kept_password() -> str:
    """The slow hash of PASSWORD, made once."""
    return passwords.hash_of(PASSWORD)


@pytest.fixture
def owner(service: Service, kept_password: str) -> str:
    """Ada, who owns the service; gives a token that signs her in."""
    with service.store.write() as tx:
        person = people.add_person(tx, "Ada", people.Role.OWNER, kept_password, service.timeline.now_ms())
        return people.start_sign_in(tx, person, service.timeline.now_ms(), "test")


@pytest.fixture
def browse(chromium: Any, address: str, owner: str) -> Iterator[Callable[..., Any]]:
    """Opens a page in a browser of its own: browse("phone", dark=True). Outside requests and errors fail the test."""
    contexts, wrong = [], []

    def open_page(size: str = "phone", *, dark: bool = False, signed_in: bool = True, width: int = 0) -> Any:
        view = SIZES[size] | ({"width": width} if width else {})
        context = chromium.new_context(
            viewport=view, color_scheme="dark" if dark else "light", base_url=address
        )
        context.set_default_timeout(20_000)
        contexts.append(context)
        if signed_in:
            context.add_cookies([{"name": COOKIE, "value": owner, "url": address}])
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(f"script error: {error}"))
        page.on("console", lambda said: _refused(said.text, wrong))
        page.on("request", lambda asked: _outside(asked.url, address, wrong))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not wrong, wrong


def _refused(said: str, wrong: list[str]) -> None:
    if "Content Security Policy" in said:
        wrong.append(f"the page did what its policy refuses: {said[:300]}")


def _outside(url: str, address: str, wrong: list[str]) -> None:
    if not url.startswith((address, "data:", "blob:")):
        wrong.append(f"asked outside: {url}")
