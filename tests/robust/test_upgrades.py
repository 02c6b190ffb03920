"""An earlier database comes along whole; an unknown newer one, and a migration that stops half-way, harm none."""

from __future__ import annotations

import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config
from alembic.operations import Operations
from needs import needs_program
from power_cuts import Disk, Luck, record_process
from sqlalchemy import create_engine

from hardware.bench.clock import SteppedClock
from logger.errors import UnknownSchema
from logger.record.verify import verify
from logger.settings import Settings
from logger.store import alarms, pours
from logger.store.database import MIGRATIONS, Store, known_revisions, latest_revision
from web.service.service import Service

DUMP = Path(__file__).with_name("schema-0001.sql")
READINGS = 24


@pytest.fixture
def of_schema(tmp_path: Path) -> Callable[[str], Path]:
    """Makes the database of the dump, brought to some schema."""

    def make(revision: str) -> Path:
        path = tmp_path / "service" / "pourlog.sqlite3"
        path.parent.mkdir()
        with closing(sqlite3.connect(path)) as database:
            database.executescript(DUMP.read_text(encoding="utf-8"))
        engine = create_engine(f"sqlite:///{path}")
        config = Config()
        config.set_main_option("script_location", str(MIGRATIONS))
        with engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, revision)
        engine.dispose()
        return path

    return make


def contents(path: Path) -> dict[str, Any]:
    """Every table of the first schema, row by row, as far as it had columns then."""
    with closing(sqlite3.connect(":memory:")) as first, closing(sqlite3.connect(path)) as now:
        first.executescript(DUMP.read_text(encoding="utf-8"))
        found = {}
        for (name,) in first.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            columns = ", ".join(f'"{row[1]}"' for row in first.execute(f'PRAGMA table_info("{name}")'))
            if name != "alembic_version":
                found[name] = now.execute(f'SELECT {columns} FROM "{name}" ORDER BY 1').fetchall()
        return found


def revision_of(path: Path) -> str:
    """The schema that a file says it has."""
    with closing(sqlite3.connect(path)) as database:
        return str(database.execute("SELECT version_num FROM alembic_version").fetchone()[0])


@pytest.mark.parametrize("revision", known_revisions())
def test_a_database_of_each_schema_comes_along_with_all_its_data(of_schema: Any, revision: str) -> None:
    """Same rows, same chain, the open alarm is still open, and the watch goes on over it."""
    path = of_schema(revision)
    before = contents(path)
    assert len(before["reading"]) == READINGS
    clock = SteppedClock(1_795_624_200_000 + 3_600_000, boot_id="after-the-upgrade")
    store = Store(f"sqlite:///{path}")
    assert revision_of(path) == latest_revision()
    assert contents(path) == before
    store.close()
    service = Service.open(Settings(data_dir=str(path.parent)), clock)
    with service.store.read() as connection:
        (pour,) = pours.all_pours(connection)
        assert verify(connection, pour.id).ok
        assert [row.kind for row in alarms.open_alarms(connection)] == ["core-hot"]
    service.watch.judge_all()
    assert service.watch.trouble is None
    service.close()


def test_a_screens_link_from_before_kinds_stays_one_and_a_records_as_well(of_schema: Any) -> None:
    """What it showed, it shows; neither names a client on a wall."""
    path = of_schema("0019_reading")
    insert = "INSERT INTO shared_link (pour_id, label, token_hash, by, made_ms, shop_id) VALUES (?, ?, ?, 'Ada', 0, 1)"
    with closing(sqlite3.connect(path)) as database:
        (pour,) = database.execute("SELECT min(id) FROM pour").fetchone()
        database.executemany(insert, [(None, "the screen", "a"), (pour, "the client", "b")])
        database.commit()
    Store(f"sqlite:///{path}").close()
    with closing(sqlite3.connect(path)) as database:
        links = database.execute("SELECT label, kind, clients FROM shared_link ORDER BY id").fetchall()
    assert links[-2:] == [("the screen", "screen", 0), ("the client", "record", 0)]


def test_a_record_that_was_brought_in_before_the_mark_is_marked_and_closed(of_schema: Any) -> None:
    """It claimed to cure, and the program of then believed it."""
    names = known_revisions()
    path = of_schema(names[next(at for at, name in enumerate(names) if name.endswith("_foreign")) - 1])
    with closing(sqlite3.connect(path)) as database:
        (live,) = database.execute(
            "SELECT id FROM pour WHERE stage IN ('pouring', 'watched', 'curing')"
        ).fetchone()
        database.execute(
            "INSERT INTO event (pour_id, at_ms, kind, by, text, data, link) VALUES "
            "(?, 9, 'imported', 'Cleo', 'from Elsewhere', '{\"seal_sha256\": \"ab\"}', 'x')",
            (live,),
        )
        database.commit()
    store = Store(f"sqlite:///{path}")
    with store.read() as connection:
        pour = pours.get_pour(connection, live)
        assert (pour.stage, pour.origin) == (
            "closed",
            {"workshop": "Elsewhere", "by": "Cleo", "at_ms": 9, "seal_sha256": "ab"},
        )
        assert pours.live_pours(connection) == pours.all_pours(connection) == []
        assert alarms.open_alarms(connection) == []
    store.close()


def test_a_schema_of_a_newer_program_is_refused_and_left_alone(of_schema: Any) -> None:
    """Somebody went back to an older program: nothing is touched, and the remedy is said."""
    path = of_schema(latest_revision())
    with closing(sqlite3.connect(path)) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999_from_the_future'")
        database.commit()
    before = path.read_bytes()
    with pytest.raises(UnknownSchema, match=r"upgrade the program, or restore a backup"):
        Store(f"sqlite:///{path}")
    assert path.read_bytes()[100:] == before[100:], "only its header says that the log is used"


def test_a_migration_that_fails_half_way_leaves_the_old_database_as_it_was(
    of_schema: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is tried again by the next start, and then it is whole."""
    path = of_schema("0001_first")
    before = contents(path)
    made: list[str] = []
    create_table = Operations.create_table

    def fails_at_the_third(self: Any, name: str, *columns: Any, **options: Any) -> Any:
        made.append(name)
        if len(made) == 3:
            raise RuntimeError("the power trips")
        return create_table(self, name, *columns, **options)

    monkeypatch.setattr(Operations, "create_table", fails_at_the_third)
    with pytest.raises(RuntimeError):
        Store(f"sqlite:///{path}")
    assert (revision_of(path), contents(path)) == ("0001_first", before)
    monkeypatch.undo()
    Store(f"sqlite:///{path}").close()
    assert (revision_of(path), contents(path)) == (latest_revision(), before)


@needs_program("gcc", "gcc libc6-dev")
def test_the_power_may_fail_at_any_moment_of_a_migration(of_schema: Any, in_memory: Path) -> None:
    """After each of 300 cuts the database has the old schema or the new one, and all of its data."""
    old = of_schema("0001_first")
    before = contents(old)
    on_disk = in_memory / "migration" / "disk" / "pourlog.sqlite3"
    on_disk.parent.mkdir(parents=True)
    shutil.copyfile(old, on_disk)
    was = {"pourlog.sqlite3": (on_disk.stat().st_ino, on_disk.read_bytes())}
    program = "import sys; from logger.store.database import Store; Store(f'sqlite:///{sys.argv[1]}').close()"
    events = record_process(in_memory / "migration", ["-c", program, str(on_disk)])
    disk, chance, found = Disk(events, was), random.Random(1), set()
    for number, at in enumerate(sorted(chance.randint(1, len(events)) for _ in range(300))):
        disk.go_to(at)
        folder = in_memory / "cut"
        folder.mkdir()
        disk.cut(folder, tuple(Luck)[number % 3], chance)
        assert contents(folder / "pourlog.sqlite3") == before
        found.add(revision_of(folder / "pourlog.sqlite3"))
        shutil.rmtree(folder)
    assert found == {"0001_first", latest_revision()}, "never something between"


def test_a_kept_forecast_that_never_ends_becomes_json_and_a_sealed_one_stays_as_it_was_sealed(
    of_schema: Any,
) -> None:
    """An older program kept Infinity where the core may not be hard within the run; no other program reads that."""
    path = of_schema("0012_pin_faults")
    kept = '{"at_h": 5.0, "release_at_h": {"p05": 60.1, "p50": 66.0, "p95": Infinity}}'
    with closing(sqlite3.connect(path)) as database:
        (live,) = database.execute("SELECT min(id) FROM pour WHERE seal IS NULL").fetchone()
        names = [
            row[1] for row in database.execute("PRAGMA table_info(pour)") if row[1] not in ("id", "seal")
        ]
        columns = ", ".join(f'"{name}"' for name in names)
        sealed = database.execute(
            f"INSERT INTO pour ({columns}, seal) SELECT {columns}, '{{}}' FROM pour WHERE id = ?",
            (live,),
        ).lastrowid
        for pour in (live, sealed):
            database.execute(
                "INSERT INTO forecast (pour_id, at_h, made_ms, body) VALUES (?, 5.0, 0, ?)", (pour, kept)
            )
        database.commit()
    Store(f"sqlite:///{path}").close()
    with closing(sqlite3.connect(path)) as database:
        found = dict(database.execute("SELECT pour_id, body FROM forecast WHERE made_ms = 0").fetchall())
    assert found[live] == kept.replace("Infinity", "null")
    assert found[sealed] == kept
