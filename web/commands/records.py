"""`pourlog verify`, `export` and `import`: prove a record, take it out, bring one in."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.errors import BadInput, NotAllowed
from logger.facts import parsed
from logger.pour import Stage
from logger.quantities import quantity
from logger.words.phrase import phrase
from web.commands.terminal import json_line, line, working

if TYPE_CHECKING:
    from logger.record.import_log import Imported
    from logger.record.past_log import Column
    from logger.record.verify import Verdict
    from logger.settings import Settings
    from logger.store.database import Store

#: The tables of a record, for the help: logger/store/transfer.py has them too, but loads the whole database layer.
TABLES = ("readings", "events", "alarms", "forecasts", "boots")

SettingsPath = Annotated[
    Path | None, typer.Option("--settings", metavar="SETTINGS", help="The settings file (TOML).")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
# How a past log is written: the options of `pourlog import`. They are parameters of one function, since typer knows no
# model of options as a form has one.
LogPlan = Annotated[Path | None, typer.Option(metavar="PLAN", help="For a log: its plan file (TOML).")]
TimeColumn = Annotated[
    list[str] | None,
    typer.Option("--time", metavar="HEADING", help="Heading of the time; twice for date and time."),
]
TimeAs = Annotated[
    str,
    typer.Option(
        help="How times are written: s, min, h, ms, unix, iso, or a format such as '%d/%m/%Y %H:%M'."
    ),
]
Zone = Annotated[
    str | None, typer.Option(metavar="ZONE", help="The logger's time zone, such as Europe/Berlin.")
]
Start = Annotated[
    str,
    typer.Option(metavar="WHEN", help="When pouring began, such as 2026-06-25T08:00; needed for s, min, h."),
]
TemperatureColumn = Annotated[
    list[str] | None,
    typer.Option(
        "--column", metavar="HEADING=PLACE,UNIT", help="A temperature: 'T1=core,c'. Units: c, f, k."
    ),
]
LeaveOutBad = Annotated[
    bool, typer.Option("--leave-out-bad", help="Leave bad rows out, and list them in the record.")
]
OfShop = Annotated[
    str | None, typer.Option(metavar="NAME", help="Whose it is, where one service has several shops.")
]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command("verify")(verify_command)
    app.command("export")(export_command)
    app.command("import")(import_command)


def verify_command(
    what: Annotated[
        str, typer.Argument(metavar="POUR|BUNDLE", help="A pour's number, or an exported file (.zip).")
    ],
    seal: Annotated[
        str | None, typer.Option(metavar="HEX", help="The seal printed on the record, or its beginning.")
    ] = None,
    settings: SettingsPath = None,
    as_json: Json = False,
) -> None:
    """Prove a record: every row as it arrived, or the first that was altered, is missing or was put in.

    Example: `pourlog verify 7 --settings settings.toml`, or `pourlog verify pour-7.zip --seal 3fa29c01`.
    Exit code 0: it stands. 1: it does not.
    """
    from logger.record.bundle import prove
    from logger.record.verify import verify

    started = time.perf_counter()
    if what.isdigit():
        config = _settings(settings)
        store = _store(config)
        try:
            with working(phrase("proving every row …")), store.read() as connection:
                verdict = verify(connection, int(what), printed=seal, pictures=_photos(config))
        finally:
            store.close()
    else:
        path = Path(what)
        if not path.is_file():
            raise BadInput(what, phrase("is no pour's number and no file"), remedy=phrase("give one of them"))
        with working(phrase("proving every row …")), tempfile.TemporaryDirectory() as folder:
            verdict = prove(path, Path(folder), path.name, seal)
    if as_json:
        json_line(verdict.to_json() | {"seconds": round(time.perf_counter() - started, 3)})
    else:
        _show(verdict, time.perf_counter() - started)
    sys.exit(0 if verdict.ok else 1)


def export_command(
    pour: Annotated[int, typer.Argument(metavar="POUR", help="The pour's number.")],
    to: Annotated[
        Path, typer.Argument(metavar="FILE", help="Ends in .zip (all of it), .json, or .csv (one table).")
    ],
    table: Annotated[str, typer.Option(help=f"For .csv: {', '.join(TABLES)}.")] = "readings",
    settings: SettingsPath = None,
    as_json: Json = False,
) -> None:
    """Write a pour's record to a file: a bundle to keep and to prove, JSON, or one table as CSV.

    With --units a table is for reading: its temperatures are in those units, which the heading names.

    Example: `pourlog export 7 pour-7.zip --settings settings.toml`
    """
    from logger.record.bundle import write_bundle
    from logger.record.files import everything
    from logger.store import pours
    from logger.words.reader import current
    from web.commands.terminal import asked_units
    from web.views.csv_in_units import lines_for

    if to.exists():
        raise NotAllowed(
            phrase("{to} is there already, and is not overwritten; give another name", to=str(to))
        )
    config = _settings(settings)
    store = _store(config)
    part = to.with_name(to.name + ".part")
    try:
        with working(phrase("writing the record …")), store.read() as connection:
            pours.get_pour(connection, pour)
            if to.suffix == ".zip":
                with part.open("wb") as file:
                    write_bundle(connection, pour, config.workshop, _photos(config), file, _now_ms())
            elif to.suffix in (".json", ".csv"):
                asked = asked_units() or ""
                pieces = (
                    lines_for(connection, pour, table, asked, current())
                    if to.suffix == ".csv"
                    else everything(connection, pour, config.workshop)
                )
                with part.open("w", encoding="utf-8", newline="") as file:
                    file.writelines(pieces)
            else:
                raise BadInput(
                    "FILE",
                    phrase("has no ending that is known"),
                    value=to.name,
                    allowed=".zip, .json, .csv",
                    remedy=phrase("end the name in one of them"),
                )
        part.replace(to)
    finally:
        part.unlink(missing_ok=True)
        store.close()
    if as_json:
        print(json.dumps({"pour": pour, "path": str(to), "bytes": to.stat().st_size}))
        return
    size = quantity(to.stat().st_size / 1e6, "MB")
    line(phrase("pour {pour} is in {path} ({size})", pour=pour, path=str(to), size=size))


def import_command(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A bundle (.zip) or a past temperature log (.csv).")
    ],
    plan: LogPlan = None,
    time_column: TimeColumn = None,
    time_as: TimeAs = "",
    zone: Zone = None,
    start: Start = "",
    column: TemperatureColumn = None,
    delimiter: Annotated[str, typer.Option(help="What parts the columns.")] = ",",
    decimal_comma: Annotated[bool, typer.Option("--decimal-comma", help="Numbers are written 21,5.")] = False,
    skip: Annotated[int, typer.Option(help="Lines above the heading.")] = 0,
    leave_out_bad: LeaveOutBad = False,
    client: Annotated[str, typer.Option(help="Whose table it was.")] = "",
    shop: OfShop = None,
    by: Annotated[str, typer.Option(help="Who brings it in.")] = "command line",
    settings: SettingsPath = None,
    as_json: Json = False,
) -> None:
    """Bring in another workshop's record, or a past temperature log through a mapping.

    Example: `pourlog import old.csv --plan plan.toml --time Clock --time-as '%d/%m/%Y %H:%M' --zone Europe/Berlin
    --column 'Probe 1=core,f' --column 'Air=room,f' --settings settings.toml`
    """
    from logger.record.import_log import Imports, LogAsked
    from logger.record.past_log import Mapping
    from logger.store.shops import sees, shop_called
    from web.pages.import_page import start_of

    if not file.is_file():
        raise BadInput(str(file), phrase("is no file"), remedy=phrase("give the path of a bundle or a log"))
    read = _settings(settings)
    store = _store(read)
    imports = Imports(store, Path(read.data_dir), _now_ms)
    try:
        with sees(None if shop is None else shop_called(store, shop)):
            if file.suffix == ".zip":
                with working(phrase("checking and importing …")):
                    taken = imports.record(file, file.name, by)
            else:
                # From here on the options are one thing, as the record's own import takes them.
                plan_text = _plan_text(plan)
                times, temperatures = tuple(time_column or ()), tuple(_column(text) for text in column or ())
                parted_by = "\t" if delimiter == "\\t" else delimiter
                mapping = Mapping(times, time_as, temperatures, zone, parted_by, decimal_comma, skip)
                asked = LogAsked(mapping, plan_text, "", client[:200], start_of(start, zone), leave_out_bad)
                with working(phrase("solving its plan and bringing it in …")):
                    taken = imports.log(file, file.name, asked, by)
    finally:
        imports.close()
        store.close()
    _show_taken(taken, as_json=as_json)


def _show_taken(taken: Imported, *, as_json: bool) -> None:
    if taken.workshop is not None:
        if as_json:
            json_line({"pour": taken.pour_id, "workshop": taken.workshop})
        else:
            line(
                phrase("{summary}; it is pour {pour} here", summary=parsed(taken.summary), pour=taken.pour_id)
            )
        return
    if as_json:
        left_out = [{"line": line, "problem": problem, "row": row} for line, problem, row in taken.left_out]
        answer = {"pour": taken.pour_id, "told": taken.summary, "left_out": left_out}
        json_line(answer)
        return
    from logger.condition.condition_words import STAGE_WORDS

    released = STAGE_WORDS[Stage.RELEASED]
    line(
        phrase(
            "pour {pour} ({stage}): {summary}",
            pour=taken.pour_id,
            stage=released,
            summary=parsed(taken.summary),
        )
    )
    for number, problem, row in taken.left_out:
        line(
            phrase(
                "skipped: line {number}: {problem}: {row}",
                number=number,
                problem=parsed(problem),
                row=row[:100],
            )
        )


def _plan_text(path: Path | None) -> str:
    if path is None:
        raise BadInput(
            "--plan",
            phrase("is missing"),
            remedy=phrase("a log needs the plan it was poured by: depth, resin, form"),
        )
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(
            str(path),
            phrase("cannot be read ({error})", error=str(error)),
            remedy=phrase("give the path of a plan file"),
        ) from error


def _column(text: str) -> Column:
    from logger.record.past_log import Column

    heading, equals, rest = text.rpartition("=")
    place, comma, unit = rest.partition(",")
    if not equals or not comma:
        raise BadInput(
            "--column",
            phrase("is not written as HEADING=PLACE,UNIT"),
            value=text,
            allowed=phrase("such as 'T1=core,c'"),
            remedy=phrase("say what the column is; units are c, f or k"),
        )
    return Column(heading.strip(), place.strip(), unit.strip())


def _show(verdict: Verdict, took_s: float) -> None:
    why = parsed(verdict.sentence)
    line(phrase("It stands: {why}.", why=why) if verdict.ok else phrase("It does NOT stand: {why}.", why=why))
    for note in verdict.notes:
        line(phrase("Note: {note}.", note=parsed(note)))
    if verdict.seal_sha256:
        line(phrase("Seal: {seal}", seal=verdict.seal_sha256))
    line(phrase("({took} s)", took=quantity(took_s, "", 2)))


def _settings(path: Path | None) -> Settings:
    from logger.settings import Settings, read_settings

    return Settings() if path is None else read_settings(path)


def _store(settings: Settings) -> Store:
    from logger.store.database import Store

    path = Path(settings.data_dir) / "pourlog.sqlite3"
    if settings.database_url is None and not path.exists():
        raise BadInput(
            str(path),
            phrase("is no database"),
            remedy=phrase("give the settings of the service with --settings"),
        )
    return Store(settings.database)


def _photos(settings: Settings) -> Path:
    return Path(settings.data_dir) / "photos"


def _now_ms() -> int:
    return time.time_ns() // 1_000_000
