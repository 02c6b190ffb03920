"""`pourlog self-test`, as the installation asks it of a program that is to take another's place."""

from __future__ import annotations

import json
import re
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from sqlalchemy import create_engine
from typer.testing import CliRunner

from logger.errors import UnknownSchema
from logger.store.database import check_schema, latest_revision
from logger.words.reader import METRIC
from logger.words.render import say
from web.command import app
from web.commands import self_test

ROOT = Path(__file__).parents[3]


def run(*words: str) -> tuple[int, str]:
    """(exit code, what was printed)."""
    done = CliRunner().invoke(app, ["self-test", *words])
    return done.exit_code, done.stdout


def test_a_sound_installation_works(tmp_path: Path, service: Any) -> None:
    """With the files of this machine, read as the units will read them."""
    (tmp_path / "service.toml").write_text(f'data_dir = "{service.settings.data_dir}"\n')
    (tmp_path / "station.toml").write_text(
        'name = "bench-1"\nservice_url = "http://127.0.0.1:9"\nhardware = "pi"\n'
        '[[air]]\nname = "sht4x"\nplace = "room"\n'
    )
    files = ("--station", str(tmp_path / "station.toml"), "--settings", str(tmp_path / "service.toml"))
    code, told = run(*files)
    assert code == 0, told
    assert told.count("OK ") == 5
    assert f"its database has the schema {latest_revision()}" in told
    assert json.loads(run("--json")[1])["works"] is True


def test_every_library_that_is_asked_for_is_loaded() -> None:
    """A new dependency is proven like the others."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names: dict[str, set[str]] = {}
    for module, distributions in packages_distributions().items():
        for distribution in distributions:
            names.setdefault(canonicalize_name(distribution), set()).add(module)
    for asked in project["dependencies"]:
        distribution = canonicalize_name(Requirement(asked).name)
        if distribution != "w1thermsensor":  # it loads kernel modules when it is imported
            assert names[distribution] & set(self_test.LOADED), asked


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ("library", "FAIL  libraries   ImportError: no_such_library: No module named"),
        ("processor", "FAIL  arithmetic  ArithmeticError: this processor multiplies matrices wrongly"),
        ("station", "FAIL  station     BadSettings: .*hardware"),
        ("prediction", "FAIL  prediction  ArithmeticError: an invented plan is predicted to reach"),
    ],
)
def test_what_does_not_work_is_said_and_ends_with_1(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str, said: str
) -> None:
    """A library made for another Python, a processor that reckons wrongly, a file that it does not take."""
    words = []
    if broken == "library":
        monkeypatch.setattr(self_test, "LOADED", ("no_such_library",))
    elif broken == "processor":
        array = np.array
        monkeypatch.setattr(np, "array", lambda values, kind: array(values, kind) * (1 + 1e-15))
        monkeypatch.setattr(self_test, "prediction", lambda: "")
    elif broken == "prediction":
        monkeypatch.setattr(self_test, "PEAK_C", (200.0, 300.0))
    else:
        (tmp_path / "station.toml").write_text('hardware = "none"\n')
        words = ["--station", str(tmp_path / "station.toml")]
    code, told = run(*words)
    assert code == 1
    assert re.search(said, told), told


def test_a_database_of_a_newer_program_is_said_and_not_touched(tmp_path: Path, service: Any) -> None:
    """Going back to this program would leave the service standing."""
    url = service.settings.database
    service.close()
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0999_later'")
    engine.dispose()
    path = Path(url.removeprefix("sqlite:///"))
    before = path.read_bytes()
    with pytest.raises(UnknownSchema, match="0999_later"):
        check_schema(url)
    (tmp_path / "service.toml").write_text(f'data_dir = "{path.parent}"\n')
    code, told = run("--settings", str(tmp_path / "service.toml"))
    assert (code, "UnknownSchema" in told) == (1, True)
    assert path.read_bytes() == before
    assert say(check_schema(f"sqlite:///{tmp_path}/none.sqlite3"), METRIC) == "no database yet"
    assert not (tmp_path / "none.sqlite3").exists()
