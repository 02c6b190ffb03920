"""`pourlog self-test`: does this installation work on this machine? Asked before an installation counts.

Whatever goes wrong here, of whatever kind, is an answer: a new installation must not replace one that works.
"""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import importlib
import math
import sys
from collections.abc import Callable
from importlib.resources import as_file, files
from pathlib import Path
from typing import Annotated

import typer

from logger.diagnosis.machine_facts import CheckState, MachineFinding
from logger.quantities import temperature
from logger.words.phrase import phrase
from logger.words.reader import METRIC
from logger.words.render import say
from web.commands.extras import what_to_install
from web.commands.machine import show
from web.commands.terminal import json_line

#: What the units load, now or later. Packages with a part compiled for one Python and one processor are among them.
#: Not w1thermsensor, plain Python, which loads kernel modules when it is imported.
LOADED = (
    "web.server.app",
    "web.server.serve",
    "logger.daemon.main",
    "babel",
    "gpiozero",
    "gpiod",
    "httpx",
    "httptools",
    "uvicorn",
    "numpy",
    "sqlmodel",
    "alembic",
    "pydantic",
    "fastapi",
    "python_multipart",
    "argon2",
    "cryptography",
    "itsdangerous",
    "jinja2",
    "plotly",
    "PIL",
    "segno",
    "apprise",
    "tomli_w",
    "typer",
    "rich",
    "zoneinfo",
    "tzdata",
)
EXAMPLE = "wharf-lane-ready.toml"
#: A core that starts at room temperature and heats itself: outside of this, the arithmetic is wrong.
PEAK_C = (25.0, 120.0)


def add_to(app: typer.Typer) -> None:
    """Add this command."""

    @app.command("self-test")
    def self_test_command(
        station: Annotated[
            Path | None, typer.Option(metavar="STATION", help="A station file to read.")
        ] = None,
        settings: Annotated[
            Path | None,
            typer.Option(metavar="SETTINGS", help="A settings file, whose database is looked at."),
        ] = None,
        as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
    ) -> None:
        """Does this installation work on this machine? Its libraries, its arithmetic, its files and its database.

        An update runs it before the new program takes the old one's place. Exit code 1: a FAIL.
        Example: `pourlog self-test --settings /etc/pourlog/service.toml`
        """  # noqa: D401 - a question, as the help asks it
        findings = [
            tried("libraries", libraries),
            tried("arithmetic", arithmetic),
            tried("prediction", prediction),
            *([tried("station", lambda: station_file(station))] if station else []),
            *([tried("settings", lambda: database(settings))] if settings else []),
        ]
        failed = any(finding.state is CheckState.FAIL for finding in findings)
        if as_json:
            json_line({"works": not failed, "findings": [finding.says for finding in findings]})
        else:
            show(findings)
        sys.exit(1 if failed else 0)


def tried(topic: str, test: Callable[[], str]) -> MachineFinding:
    """Return what a test found. Whatever it raises is what is wrong."""
    try:
        return MachineFinding(topic, CheckState.OK, test())
    except ModuleNotFoundError as error:
        return MachineFinding(
            topic, CheckState.FAIL, what_to_install(error) or f"{type(error).__name__}: {error}"
        )
    except Exception as error:  # noqa: BLE001 - a broken library raises what it likes, and each of it is an answer
        return MachineFinding(topic, CheckState.FAIL, f"{type(error).__name__}: {error}")


def libraries() -> str:
    """Every library loads in this Python, on this processor. Raises what it raises."""
    for name in LOADED:
        try:
            importlib.import_module(name)
        except Exception as error:
            hint = what_to_install(error) if isinstance(error, ModuleNotFoundError) else None
            raise ImportError(f"{name}: {error}{f'; {say(hint, METRIC)}' if hint else ''}") from error
    return phrase("{n} libraries load", n=len(LOADED))


def arithmetic() -> str:
    """Matrices are multiplied as whole numbers are: some processors, real or emulated, do it wrongly."""
    import numpy as np

    size = 48
    left = [[(3 * i + 5 * j) % 17 - 8 for j in range(size)] for i in range(size)]
    right = [[(7 * i + 2 * j) % 13 - 6 for j in range(size)] for i in range(size)]
    true = [
        [sum(a * b for a, b in zip(row, column, strict=True)) for column in zip(*right, strict=True)]
        for row in left
    ]
    if (np.array(left, float) @ np.array(right, float)).tolist() != true:
        raise ArithmeticError("this processor multiplies matrices wrongly: predictions would be false")
    return phrase("matrices are multiplied correctly")


def prediction() -> str:
    """Check that an invented plan is solved to its end."""
    from logger.cure.solver.prediction import predict
    from logger.plan.file import read_plan

    with as_file(files("logger.planning.examples") / EXAMPLE) as path:
        peak_c = predict(read_plan(path)).peak_c
    if not (math.isfinite(peak_c) and PEAK_C[0] < peak_c < PEAK_C[1]):
        raise ArithmeticError(f"an invented plan is predicted to reach {peak_c:.1f} °C; {PEAK_C} is allowed")
    return phrase("an invented plan is solved: {peak} at the hottest", peak=temperature(peak_c))


def station_file(path: Path) -> str:
    """Check that this program takes the station file. Raises BadSettings."""
    from logger.daemon.station_file import station_from_file

    return f"{path}: {station_from_file(path).name}"


def database(path: Path) -> str:
    """Check that this program takes the settings, and knows their database's schema. Raises BadSettings,
    UnknownSchema.
    """
    from logger.settings import read_settings
    from logger.store.database import check_schema

    return phrase("{path}: {schema}", path=str(path), schema=check_schema(read_settings(path).database))
