"""The answer at once: a first one while the whole plan is worked out elsewhere, and no page waits for it."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor
from typing import Any

import pytest
from starlette.testclient import TestClient

from logger.errors import DidNotConverge
from logger.store import pours
from tests.web.page_text import words
from web.actions.plan_work import PlanWork
from web.service.service import Service
from web.views.assessed import work_out


class Away:
    """The other process, in a test: it works once it may, and can be ended."""

    def __init__(self) -> None:
        self.may, self.ended, self.closed = threading.Event(), threading.Event(), False
        self.asked: list[str] = []
        self.fails: Exception | None = None

    def __call__(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """Do as OwnProcess does."""
        self.asked.append(function.__name__)
        if function is work_out:
            assert self.may.wait(30)
        if self.closed:
            raise BrokenExecutor("closed")
        if self.fails is not None:
            raise self.fails
        return function(*arguments)

    def close(self) -> None:
        """End what is under way."""
        self.closed = True
        self.may.set()
        self.ended.set()


@pytest.fixture
def processes(service: Service) -> Iterator[list[Away]]:
    """The processes that the service has made, oldest first."""
    made: list[Away] = []

    def make() -> Away:
        made.append(Away())
        return made[-1]

    work = PlanWork(service, make)
    service.plan_work = work
    yield made
    for process in made:
        process.may.set()
    work.close()


def plan_it(maker: TestClient, text: str) -> str:
    """Hand a plan in; return the pour's address."""
    answer = maker.post("/pours/new", data={"plan_toml": text}, follow_redirects=False)
    assert answer.status_code == 303, words(answer)
    return str(answer.headers["location"]).removesuffix("/plan")


def finish(service: Service, processes: list[Away], pour: int) -> None:
    """Let the work go on, and wait until it is done."""
    processes[-1].may.set()
    assert service.plan_work is not None
    with service.store.read() as connection:
        text = pours.get_pour(connection, pour).plan_toml
    service.plan_work.wait(pour, text)


def test_a_first_answer_stands_at_once_and_the_whole_one_takes_its_place(
    maker: TestClient, service: Service, processes: list[Away], plan_toml: str
) -> None:
    """Nobody looks at an empty page for the length of a search."""
    pour = plan_it(maker, plan_toml.replace("for a fictional client", "to be answered at once"))
    page = words(maker.get(f"{pour}/plan"))
    assert "First answer." in page
    assert re.search(r"Expected peak</span> <span class=\"stat-value\">about \d", page)
    assert "still being worked out" in words(maker.get(f"{pour}/ready"))
    assert maker.get(pour).status_code == 200
    number = int(pour.rsplit("/", 1)[1])
    finish(service, processes, number)
    page = words(maker.get(f"{pour}/plan"))
    assert "First answer." not in page
    assert "90 % range</span>" in page
    assert "points done" in words(maker.get(f"{pour}/ready"))
    with service.store.read() as connection:
        kept = pours.get_pour(connection, number).prediction
    assert kept is not None
    assert "rough" not in kept
    assert kept["release_at_h"] is not None


def test_a_changed_plan_ends_the_work_on_the_one_before(
    maker: TestClient, service: Service, processes: list[Away], plan_toml: str
) -> None:
    """Four saved sections do not queue four searches."""
    pour = plan_it(maker, plan_toml.replace("for a fictional client", "to be changed"))
    maker.get(f"{pour}/plan")
    numbers = {"depth": "32", "room": "21", "width": "250", "layers": "1"}
    assert maker.post(f"{pour}/plan/numbers", data=numbers).status_code == 200
    assert len(processes) == 2
    assert processes[0].closed
    number = int(pour.rsplit("/", 1)[1])
    finish(service, processes, number)
    assert "First answer." not in words(maker.get(f"{pour}/plan"))
    assert processes[1].asked.count("work_out") == 1


def test_an_idle_process_is_ended_and_the_next_plan_gets_another(
    maker: TestClient, service: Service, plan_toml: str
) -> None:
    """A small machine has its memory back; the next plan is worked out all the same."""
    made: list[Away] = []

    def make() -> Away:
        made.append(Away())
        return made[-1]

    work = service.plan_work = PlanWork(service, make, idle_s=0.01)
    try:
        for number, title in enumerate(("and then idle", "after a rest"), start=1):
            for process in made:
                process.may.set()
            pour = plan_it(maker, plan_toml.replace("for a fictional client", title))
            finish(service, made, int(pour.rsplit("/", 1)[1]))
            assert "First answer." not in words(maker.get(f"{pour}/plan"))
            assert made[number - 1].ended.wait(30)
    finally:
        work.close()


def test_a_plan_that_cannot_be_worked_out_says_so_and_is_not_tried_for_ever(
    maker: TestClient, service: Service, processes: list[Away], plan_toml: str
) -> None:
    """The first answer stays, with what is missing."""
    processes[0].fails = DidNotConverge("the steps became too small")
    pour = plan_it(maker, plan_toml.replace("for a fictional client", "that cannot be solved"))
    finish(service, processes, int(pour.rsplit("/", 1)[1]))
    page = words(maker.get(f"{pour}/plan"))
    assert "could not be worked out in full: the steps became too small" in page
    assert "First answer." not in page
