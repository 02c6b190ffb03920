"""In which units and language the command line answers: as asked, as the workshop reads, or as the machine is set."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

import pytest
from typer.testing import CliRunner

from logger.planning.examples import EXAMPLES
from logger.store import events
from logger.store.database import Store
from logger.store.shop_events import UNITS_CHOSEN
from logger.words.numbers import LANGUAGES
from logger.words.reader import current
from web.command import app
from web.commands.terminal import (
    Language,
    Units,
    of_the_whole_program,
    read_by,
    reader_of_workshop,
    who_reads,
)

PLAN = str(EXAMPLES / "wharf-lane-ready.toml")


@pytest.mark.parametrize(
    ("words", "in_order"),
    [
        (["predict", "p.toml", "--units", "us"], ["--units", "us", "predict", "p.toml"]),
        (["predict", "--units=us", "p.toml"], ["--units=us", "predict", "p.toml"]),
        (["--language", "de", "plan", "p.toml", "--json"], ["--language", "de", "plan", "p.toml", "--json"]),
        (["plan", "--", "--units"], ["plan", "--", "--units"]),
        (["plan", "--units"], ["plan", "--units"]),
    ],
)
def test_an_option_of_the_whole_program_may_stand_anywhere(words: list[str], in_order: list[str]) -> None:
    """Before the command or behind it."""
    assert of_the_whole_program(words) == in_order


@pytest.mark.parametrize(
    ("environment", "language", "degree"),
    [
        # POSIX.1-2017, XBD 8.2: LC_ALL before LC_MESSAGES and LC_MEASUREMENT, those before LANG; C is no language.
        ({}, "en", "°C"),
        ({"LANG": "C.UTF-8"}, "en", "°C"),
        ({"LANG": "POSIX"}, "en", "°C"),
        ({"LANG": "de_DE.UTF-8"}, "de", "°C"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "C"}, "en", "°C"),
        ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "fr_FR"}, "fr", "°C"),
        ({"LANG": "fi_FI.UTF-8"}, "en", "°C"),
        ({"LANG": "en_US.UTF-8"}, "en", "°C"),
        ({"LANG": "en_GB.UTF-8", "LC_MEASUREMENT": "en_US.UTF-8"}, "en", "°F"),
        ({"LC_ALL": "es_US.UTF-8"}, "es", "°F"),
    ],
)
def test_the_machines_setting_is_the_last_word(
    environment: Mapping[str, str], language: str, degree: str
) -> None:
    """Whatever was asked for goes before it."""
    reader = who_reads(None, None, environment)
    assert (reader.language, reader.degree) == (language, degree)
    asked = who_reads(Units.US, "fr", environment)
    assert (asked.language, asked.degree) == ("fr", "°F")
    assert who_reads(Units.METRIC, None, {"LC_ALL": "en_US"}).degree == "°C"


def test_every_language_may_be_asked_for() -> None:
    """As many as there are."""
    assert tuple(Language) == LANGUAGES


def test_a_prediction_is_read_in_the_units_that_were_asked_for() -> None:
    """40.0 °C is 104 °F (NIST SP 811, 2008, B.8); JSON stays in SI, and nothing lasts beyond the command."""
    runner = CliRunner()
    metric = runner.invoke(app, ["predict", PLAN]).stdout
    assert "40.0 °C" in metric
    us = runner.invoke(app, ["--units", "us", "--language", "de", "predict", PLAN]).stdout
    assert "104,1 °F" in us
    assert "°C" not in us
    assert " mm" not in us
    asked, plain = (
        json.loads(runner.invoke(app, [*words, "predict", PLAN, "--json"]).stdout)
        for words in (["--units", "us", "--language", "de"], [])
    )
    assert asked == plain
    assert current().degree == "°C"
    assert runner.invoke(app, ["--units", "imperial", "predict", PLAN]).exit_code == 2


def test_a_workshops_own_units_hold_where_none_were_asked_for(tmp_path: Path, empty_database: Path) -> None:
    """Units and language each by itself."""
    store = Store(f"sqlite:///{tmp_path / 'pourlog.sqlite3'}")
    (tmp_path / "pourlog.sqlite3").write_bytes(empty_database.read_bytes())
    with store.write() as tx:
        data = {"units": "f.in.gal.oz", "language": "es"}
        events.add_event(tx, None, 0, UNITS_CHOSEN, "Ada", data=data)
    with read_by(None, None, {"LANG": "de_DE"}):
        reader = reader_of_workshop(store)
        assert (reader.language, reader.cookie) == ("es", "f.in.gal.oz")
    with read_by(Units.METRIC, "fr", {}):
        reader = reader_of_workshop(store)
        assert (reader.language, reader.cookie) == ("fr", "c.mm.l.kg")
    store.close()
