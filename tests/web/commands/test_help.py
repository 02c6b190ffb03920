"""Every command helps itself: an example, JSON where it answers, a plain error with its remedy and its exit code."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer.main

from web.command import app

COMMANDS: dict[str, Any] = dict(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
#: These run until they are stopped, or ask somebody at the terminal, or have nothing to tell.
NO_ANSWER = {"serve", "station", "demo", "relay-safe", "place-probes"}


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_help_has_an_example_that_names_the_command(name: str) -> None:
    """What stands there can be typed: every option in it is one of the command's own."""
    command = COMMANDS[name]
    found = re.search(
        r"Example: `(?:sudo (?:-u \w+ )?)?pourlog ([\w-]+)([^`]*)`", command.help.replace("\n", " ")
    )
    assert found, command.help
    assert found[1] == name
    options = {option for parameter in command.params for option in parameter.opts}
    assert set(re.findall(r"(?<=\s)--[\w-]+", found[2])) <= options | {"--json"}


@pytest.mark.parametrize("name", sorted(set(COMMANDS) - NO_ANSWER))
def test_whatever_answers_answers_in_json_too(name: str) -> None:
    """For programs."""
    assert "--json" in {option for parameter in COMMANDS[name].params for option in parameter.opts}


def test_help_answers_at_once_on_a_pi() -> None:
    """Web framework, database and solver take seconds to load: only who gives a command that needs them waits."""
    found = subprocess.run(
        [sys.executable, "-c", "import sys, web.command; print(*sys.modules)"],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert not {"fastapi", "sqlalchemy", "numpy"} & set(found.stdout.split())


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "web.command", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_a_refusal_says_what_to_do_and_ends_with_two(tmp_path: Path, plan_toml: str) -> None:
    """And leaves standard output clean for whoever reads it."""
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_toml.replace("depth_mm = 40", "depth_mm = -4"), encoding="utf-8")
    told = run("predict", str(plan), "--json")
    assert told.returncode == 2
    assert told.stdout == ""
    assert "depth_mm" in told.stderr
    assert "-4" in told.stderr


def test_what_is_worked_at_is_not_written_between_the_json(tmp_path: Path, plan_toml: str) -> None:
    """The turning sign goes to a terminal alone."""
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_toml, encoding="utf-8")
    told = run("predict", str(plan), "--json")
    assert told.returncode == 0
    assert told.stderr == ""
    assert json.loads(told.stdout)["peak_c"] > 21
