"""`pourlog verify`, `export` and `import`, as somebody types them."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from forged import kept
from typer.testing import CliRunner

from logger.errors import BadInput, NotAllowed, NotFound
from logger.pour import Stage
from logger.store.transfer import COLUMNS
from web.command import app
from web.commands.records import TABLES


@pytest.fixture
def place(service: Any, shop: Any, plan_toml: str, tmp_path: Path) -> dict[str, Any]:
    """A sealed pour and the settings of its service."""
    pour = shop.plan(plan_toml)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING)
    shop.feed(0.5, 60, lambda h: {"core": 21 + h, "surface": 21.0, "room": 20.0})
    shop.go(pour, Stage.RELEASED, Stage.CLOSED)
    settings = tmp_path / "settings.toml"
    settings.write_text(tomli_w.dumps({"data_dir": service.settings.data_dir}), encoding="utf-8")
    elsewhere = tmp_path / "elsewhere.toml"
    elsewhere.write_text(tomli_w.dumps({"data_dir": str(tmp_path / "elsewhere")}), encoding="utf-8")
    return {
        "pour": str(pour),
        "settings": str(settings),
        "folder": tmp_path,
        "service": service,
        "elsewhere": str(elsewhere),
    }


def run(*words: str) -> tuple[int, str]:
    """(exit code, what was printed). Errors of the program are raised, as `main` wants them."""
    done = CliRunner().invoke(app, list(words))
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, done.stdout


def test_a_sealed_pour_is_proven_and_an_altered_row_named(place: dict[str, Any]) -> None:
    """Exit code 0, then 1 with the row."""
    code, told = run("verify", place["pour"], "--settings", place["settings"])
    assert code == 0
    assert told.startswith("It stands: pour 1: 90 readings")
    database = sqlite3.connect(place["service"].store.url.database)
    with database:
        database.execute("UPDATE reading SET milli_c = 20000 WHERE id = 31")
    database.close()
    code, told = run("verify", place["pour"], "--settings", place["settings"], "--json")
    assert code == 1
    found = json.loads(told)
    assert (found["ok"], found["table"], found["row_id"]) == (False, "reading", 31)


def test_a_bundle_goes_out_is_proven_by_its_printed_seal_and_comes_in_elsewhere(
    place: dict[str, Any],
) -> None:
    """No database is needed to prove it."""
    bundle = str(place["folder"] / "pour.zip")
    assert run("export", place["pour"], bundle, "--settings", place["settings"])[0] == 0
    code, told = run("verify", bundle, "--json")
    assert code == 0
    seal = json.loads(told)["seal_sha256"]
    assert run("verify", bundle, "--seal", seal[:12])[0] == 0
    assert run("verify", bundle, "--seal", "0" * 12)[0] == 1
    with pytest.raises(NotAllowed, match="not overwritten"):
        run("export", place["pour"], bundle, "--settings", place["settings"])
    with pytest.raises(BadInput, match="is no database"):
        run("import", bundle, "--settings", place["elsewhere"])
    Path(place["folder"] / "elsewhere").mkdir()
    sqlite3.connect(place["folder"] / "elsewhere" / "pourlog.sqlite3").close()
    code, told = run("import", bundle, "--settings", place["elsewhere"])
    assert code == 0
    assert "it is pour 1 here" in told
    assert run("verify", "1", "--settings", place["elsewhere"], "--seal", seal)[0] == 0


@pytest.mark.parametrize(
    ("name", "begins"), [("all.json", '{"files_version":1,'), ("readings.csv", "spool,seq,")]
)
def test_json_and_csv_are_written_whole(place: dict[str, Any], name: str, begins: str) -> None:
    """The ending of the name says which."""
    path = place["folder"] / name
    assert run("export", place["pour"], str(path), "--settings", place["settings"])[0] == 0
    assert path.read_text(encoding="utf-8").startswith(begins)
    with pytest.raises(BadInput, match="no ending that is known"):
        run("export", place["pour"], str(place["folder"] / "x.docx"), "--settings", place["settings"])
    assert not list(place["folder"].glob("*.part"))


def test_a_past_log_comes_in_through_its_mapping(place: dict[str, Any], plan_toml: str) -> None:
    """Bad rows are printed with their lines; without a mapping nothing is guessed."""
    log, plan = place["folder"] / "old.csv", place["folder"] / "plan.toml"
    log.write_text(
        "T1,Clock\n69.8,2026-06-25 08:00\nwarm,2026-06-25 08:30\n86.0,2026-06-25 09:00\n", encoding="utf-8"
    )
    plan.write_text(plan_toml, encoding="utf-8")
    given = [
        "import",
        str(log),
        "--plan",
        str(plan),
        "--time",
        "Clock",
        "--time-as",
        "%Y-%m-%d %H:%M",
        "--zone",
        "UTC",
        "--column",
        "T1=core,f",
        "--settings",
        place["settings"],
    ]
    with pytest.raises(BadInput, match=r"old\.csv: line 3: T1 'warm' is not a number"):
        run(*given)
    code, told = run(*given, "--leave-out-bad")
    assert code == 0
    assert "2 rows read, 0 fields without a value, 1 bad rows" in told
    assert "skipped: line 3" in told
    with pytest.raises(BadInput, match="HEADING=PLACE,UNIT"):
        run("import", str(log), "--plan", str(plan), "--column", "T1", "--settings", place["settings"])


def test_an_import_names_the_shop_that_it_is_for(place: dict[str, Any], tmp_path: Path) -> None:
    """Where one service has several; one that is not there is told with those that are."""
    bundle = tmp_path / "theirs.zip"
    bundle.write_bytes(kept())
    given = ["import", str(bundle), "--settings", place["settings"], "--json"]
    with pytest.raises(NotFound, match="no shop called 'The south'; there is: The first shop"):
        run(*given, "--shop", "The south")
    code, told = run(*given, "--shop", "The first shop")
    assert (code, json.loads(told)["workshop"]) == (0, "The workshop")


def test_the_help_of_export_names_every_table_that_there_is() -> None:
    """One that it did not name, nobody would take out."""
    assert tuple(COLUMNS) == TABLES
