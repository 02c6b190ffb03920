"""The `pourlog` command: predict, replay, station, serve, demo and the rest. A composition root.

Exit codes: 0 done; 2 the input was refused (message on standard error, nothing stored); 1 anything else.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from hardware.clock import SystemClock
from hardware.errors import HardwareError
from logger.errors import BadInput, BadReadings, DidNotConverge, LoggerError
from logger.facts import Fact, Value
from logger.json_text import json_text
from logger.quantities import chance, difference, grams, hours, length, peak, percent, quantity, temperature
from logger.store.backup import MOST_BACKUPS, back_up, restore
from logger.words.log_lines import log_in_english
from logger.words.phrase import phrase
from logger.words.reader import METRIC, current, reading
from logger.words.render import said
from logger.words.render import say as words
from web.commands import machine, owner, records, self_test, server, watched
from web.commands.extras import what_to_install
from web.commands.terminal import (
    Language,
    Units,
    add_row,
    line,
    of_the_whole_program,
    plain,
    read_by,
    say,
    table_of,
    working,
)
from web.demo.scenarios import SCENARIOS
from web.server import startup
from web.views.words import hours_minutes, release_words

if TYPE_CHECKING:
    from logger.cure.fit.datasheet_fit import Fit
    from logger.cure.fit.refit import RecordedPour
    from logger.cure.fit.what_it_means import Narrowing
    from logger.cure.solver.prediction import Prediction
    from logger.plan.file import Plan
    from logger.planning.chances import Chances

# Here and in commands/, what a command works with is imported inside its function: solver, database and web framework
# take seconds to load, more on a Pi, and neither --help nor the station needs any of them.

app = typer.Typer(
    name="pourlog",
    help="Plans, watches, forecasts and records thick epoxy pours.\n\nStart with `pourlog serve`: it shows a link. "
    "`pourlog demo` plays a pour to look at.",
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)

#: Who reads this terminal, for what the command refuses after it has ended.
_reader = METRIC


@app.callback()
def whole_program(
    context: typer.Context,
    units: Annotated[
        Units | None,
        typer.Option(help="Units of what is printed; else as the workshop reads. JSON stays metric."),
    ] = None,
    language: Annotated[
        Language | None, typer.Option(help="Its language; else as the workshop or LANG says.")
    ] = None,
) -> None:
    """Take what goes for every command, before it or behind it."""
    global _reader
    context.with_resource(read_by(units, language, os.environ))
    _reader = current()


Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of a table.")]
PlanPath = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan file (TOML).")]


def print_json(value: Any) -> None:
    """One JSON object on standard output. Raises NotFinite."""
    print(json_text(value))


@app.command("predict")
def predict_command(
    plan: PlanPath,
    still: Annotated[
        bool, typer.Option("--still", help="With liquid resin at rest, whatever the plan says of it.")
    ] = False,
    flowing: Annotated[
        bool, typer.Option("--flowing", help="With liquid resin in motion until it gels. Both options: both.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Solve a plan's cure: how hot its middle gets and when, when it gels, how far it cures.

    Liquid resin moves where the plan has [resin.flow]; else it is taken to be at rest, which is the hotter of the two.
    Example: `pourlog predict plan.toml`
    """
    from logger.cure.solver.prediction import predict
    from logger.plan.file import read_plan
    from logger.planning.chances import chances_of

    planned = read_plan(plan)
    asked = [name for name, wanted in (("still", still), ("flowing", flowing)) if wanted] or ["as-planned"]
    factors = {"still": 0.0, "flowing": 1.0, "as-planned": None}
    with working(phrase("solving the cross-section …")):
        predictions = {name: predict(planned, flow_factor=factors[name]) for name in asked}
        # What is predicted of the plan as it is stands even where one of the others cannot be solved; --still and
        # --flowing compare two solutions.
        chances, refused = _tried(chances_of, planned) if asked == ["as-planned"] else (None, "")
    if as_json:
        told = {name: said(each.to_json(), METRIC) for name, each in predictions.items()}
        if asked == ["as-planned"]:
            chance = {"refused": refused} if chances is None else chances.to_json()
            told["as-planned"] |= said({"chance": chance}, METRIC)
        print_json(told if len(told) > 1 else next(iter(told.values())))
        return
    _show_predictions(planned, predictions, chances)
    if refused:
        say(phrase("Its chances could not be worked out: {problem}", problem=refused))


@app.command("plan")
def plan_command(plan: PlanPath, as_json: Json = False) -> None:
    """Will this pour work? Volume, batches, layers, form, wood, air, colour, heat, and what must change.

    Example: `pourlog plan plan.toml`
    """
    from logger.plan.file import read_plan
    from logger.planning.assess import assess_fully
    from web.views.plan_json import assessment_json
    from web.views.plan_report import plan_report

    planned = read_plan(plan)
    with working(phrase("working the plan through …")):
        assessment = assess_fully(planned)
    if as_json:
        print_json(assessment_json(assessment))
        return
    print(plan_report(planned, assessment))


#: Further statements that `fit` names: those that would narrow the peak most.
MOST_TOLD = 3


@app.command("fit")
def fit_command(
    datasheet: Annotated[Path, typer.Argument(metavar="DATASHEET", help="What the datasheet states (TOML).")],
    as_json: Json = False,
) -> None:
    """From what a datasheet states to the resin's parameters, with how far they may be off.

    Example: `pourlog fit datasheet.toml`
    """
    from logger.cure.fit.datasheet import read_datasheet
    from logger.cure.fit.datasheet_fit import fit_datasheet
    from logger.cure.fit.what_it_means import safe_depths, what_would_narrow

    stated = read_datasheet(datasheet)
    with working(phrase("fitting; this takes some seconds …")):
        fitted = fit_datasheet(stated)
    if as_json:
        print_json(said(fitted.to_json(), METRIC))
        return
    _show_points(fitted)
    ranges = table_of(
        words(phrase("parameter")),
        words(phrase("90 % range")),
        title=words(phrase("uncertainty of the fitted numbers")),
        title_justify="left",
    )
    for name, (low, high) in fitted.ranges.items():
        ranges.add_row(name, f"{low:.4g} – {high:.4g}")
    say(ranges)
    for assumption in fitted.assumptions:
        say(phrase("Assumed: {assumption}", assumption=assumption))
    for warning in fitted.warnings:
        say(phrase("Note: {warning}", warning=warning))
    with working(words(phrase("how deep it may be poured; this takes some seconds …"))):
        depths, narrowings = safe_depths(fitted.resin), what_would_narrow(fitted.resin, stated)
    deep = table_of(
        words(phrase("room")),
        words(phrase("safe in 9 of 10")),
        words(phrase("too hot in 5 of 10")),
        title=words(phrase("one wide pour")),
        title_justify="left",
    )
    for depth in depths:
        row = temperature(depth.room_c, None), length(depth.safe_mm, None), length(depth.even_mm, None)
        deep.add_row(*(words(one) for one in row))
    say(deep)
    for one in narrowings[:MOST_TOLD]:
        say(_narrows(one))
    print(fitted.to_toml())


def _show_points(fitted: Fit) -> None:
    table = table_of(
        words(phrase("statement")),
        words(phrase("stated")),
        words(phrase("fitted")),
        title=words(phrase("stated and fitted")),
        title_justify="left",
    )
    for point in fitted.points:
        stated, value = quantity(point.stated, point.unit, None), quantity(point.fitted, point.unit, None)
        stated_as = phrase("at most {value}", value=stated) if point.bound else stated
        table.add_row(words(point.statement), words(stated_as), words(value))
    say(table)


def _narrows(one: Narrowing) -> Fact:
    """Return what a further statement would do to the peak's range."""
    values: dict[str, Value] = {
        "at": temperature(one.at_c, None),
        "mass": grams(1000.0 * (one.mass_kg or 0.0), None),
        "part": percent(100.0 * one.narrower, 0),
    }
    if one.kind == "hard after":
        return phrase("A time to hard at {at} would narrow the peak's range by {part}.", **values)
    if one.kind == "working time":
        return phrase("A working time of {mass} at {at} would narrow the peak's range by {part}.", **values)
    if one.kind == "gel time":
        return phrase("A gel time of {mass} at {at} would narrow the peak's range by {part}.", **values)
    return phrase("A cup test of {mass} at {at} would narrow the peak's range by {part}.", **values)


@app.command("advise")
def advise_command(
    plan: PlanPath,
    faster: Annotated[
        float, typer.Option(help="How many times faster than planned the resin may cure, 1 to 3.")
    ] = 1.0,
    as_json: Json = False,
) -> None:
    """How deep may one layer be here, in which rooms does it work, and what do a fan or an open underside buy?

    Each answer is a pair of settings that were solved: one that is safe and the next that is not. Layers are solved as
    they would be poured, at the opening, the middle and the close of their times.

    Example: `pourlog advise plan.toml --faster 1.3`
    """
    from logger import extremes
    from logger.plan.file import read_plan
    from logger.planning.advice import advise

    planned = read_plan(plan)
    with working(phrase("solving many pours; this takes half a minute or more …")):
        advice = advise(planned, faster)
    if as_json:
        print_json(said(advice.to_json(), METRIC))
        return
    for sentence in advice.sentences():
        say(plain(words(sentence)))
    table = table_of(
        words(phrase("cooling")),
        words(phrase("hottest core of this plan")),
        words(phrase("deepest single layer by the model")),
    )
    for gain in advice.gains:
        depth = None if gain.deepest is None else gain.deepest.bracket.safe
        table.add_row(
            words(_WAYS[gain.way]),
            words(peak(gain.peak_c, 1)),
            "–" if depth is None else words(length(depth, None)),
        )
    say(table)
    hottest = max(gain.peak_c for gain in advice.gains)
    if (runaway := extremes.caution(hottest)) is not None:
        say(f"[bold]{words(runaway)}[/bold]")


#: A way of cooling as `advise` names it in JSON → what the table says of it.
_WAYS = {
    "still air, closed below": phrase("still air, closed below"),
    "fan": phrase("fan"),
    "free air below": phrase("free air below"),
    "fan and free air below": phrase("fan and free air below"),
}


@app.command("refit")
def refit_command(
    pour: Annotated[
        list[str],
        typer.Argument(metavar="PLAN READINGS …", help="Plan and readings of each recorded pour, in pairs."),
    ],
    as_json: Json = False,
) -> None:
    """Fit a resin anew from the shop's own recorded pours, and say how much better it got on pours left out.

    Example: `pourlog refit a.toml a.csv b.toml b.csv`
    """
    if len(pour) % 2:
        raise BadInput(
            "refit",
            phrase("needs pairs"),
            value=phrase("{n} files", n=len(pour)),
            allowed="PLAN READINGS PLAN READINGS …",
            remedy=phrase("give each plan its readings"),
        )
    from logger.cure.fit.refit import fit_from_pours

    recorded = [_recorded(Path(plan), Path(rows)) for plan, rows in zip(pour[::2], pour[1::2], strict=True)]
    with working(phrase("fitting; this takes some seconds a pour …")):
        fitted = fit_from_pours(recorded)
    if as_json:
        message = words(fitted.message(), METRIC)
        print_json(
            asdict(fitted)
            | {"resin": fitted.resin.model_dump(mode="json", exclude_none=True), "message": message}
        )
        return
    say(fitted.message())
    table = table_of(
        words(phrase("pour left out")),
        words(phrase("off by before")),
        words(phrase("after")),
        words(phrase("peak off by before")),
        words(phrase("after")),
    )
    for left in fitted.left_out:
        table.add_row(
            left.title,
            *(
                words(difference(value))
                for value in (left.rms_before_k, left.rms_after_k, left.peak_before_k, left.peak_after_k)
            ),
        )
    say(table)


def _recorded(plan: Path, rows: Path) -> RecordedPour:
    from logger.cure.fit.refit import RecordedPour
    from logger.cure.solver.ensemble import RoomHistory
    from logger.plan.file import read_plan
    from logger.record.figures import places_from
    from logger.record.readings_file import read_readings

    places = places_from([(row.elapsed_s / 3600, row.place, row.celsius) for row in read_readings(rows)])
    if "core" not in places:
        raise BadReadings(
            str(rows), phrase("has no core readings"), remedy=phrase("give a recording with a core probe")
        )
    core, room = places["core"].good(), places["room"].good() if "room" in places else None
    return RecordedPour(read_plan(plan), *core, None if room is None else RoomHistory(*room))


@app.command("replay")
def replay_command(
    plan: PlanPath,
    recorded: Annotated[Path, typer.Argument(metavar="READINGS", help="elapsed_s,place,celsius (CSV).")],
    forecast_at: Annotated[
        str, typer.Option(metavar="HOURS", help="Hours at which to report a forecast, such as 1,2,4,8.")
    ] = "",
    live_forecasts: Annotated[
        bool, typer.Option(help="Forecast as often as a live pour would; alarms that rest on it need it.")
    ] = True,
    as_json: Json = False,
) -> None:
    """Run a recorded pour through the code of a live one: which alarms, when, and why.

    Example: `pourlog replay plan.toml readings.csv --forecast-at 1,2,4,8`
    """
    from logger.live.replay import replay
    from logger.plan.file import read_plan
    from logger.record.readings_file import read_readings

    hours = [_hour(text) for text in forecast_at.split(",") if text.strip()]
    planned, rows = read_plan(plan), read_readings(recorded)
    with working(phrase("replaying …")):
        replayed = replay(planned, rows, forecast_at=hours, live_forecasts=live_forecasts)
    if as_json:
        print_json(said(replayed, METRIC))
        return
    _show_replay(planned.title, replayed)


def _hour(text: str) -> float:
    try:
        hour = float(text)
    except ValueError:
        hour = -1.0
    if not 0 < hour <= 1440:
        raise BadInput(
            "--forecast-at",
            phrase("is not an hour after pouring"),
            value=text,
            allowed=phrase("above 0 to 1440 h"),
            remedy=phrase("give hours with commas between them, such as 1,2,4,8"),
        )
    return hour


def _show_replay(title: str, replayed: dict[str, Any]) -> None:
    headings = phrase("alarm"), phrase("priority"), phrase("raised"), phrase("cleared"), phrase("why")
    raised = table_of(*headings, title=title, title_justify="left")
    for alarm in replayed["alarms"]:
        add_row(
            raised,
            alarm["kind"],
            alarm["priority"],
            hours_minutes(alarm["raised_h"]),
            hours_minutes(alarm["cleared_h"]),
            alarm["reason"],
        )
    say(raised if replayed["alarms"] else phrase("{title}: no alarm was raised", title=title))
    if replayed["forecasts"]:
        table = table_of(
            phrase("at"),
            phrase("core's peak"),
            phrase("when"),
            phrase("chance over the limit"),
            phrase("hard and cool"),
        )
        for forecast in replayed["forecasts"]:
            core, when = forecast["core_peak_c"], forecast["core_peak_at_h"]
            low, middle, high = (
                temperature(core[part], 0 if part != "p50" else 1) for part in ("p05", "p50", "p95")
            )
            add_row(
                table,
                hours_minutes(forecast["at_h"]),
                phrase("{middle} ({low} to {high})", middle=middle, low=low, high=high),
                phrase(
                    "{middle} ({low} to {high} h)",
                    middle=hours(when["p50"]),
                    low=quantity(when["p05"], ""),
                    high=quantity(when["p95"], ""),
                ),
                percent(100 * forecast["chance_core_over_limit"], 0),
                release_words(forecast["release_at_h"]),
            )
        say(table)
    figures = table_of(phrase("what"), phrase("value"), title=phrase("record"), title_justify="left")
    for name, value in replayed["summary"].items():
        if value is not None and not isinstance(value, dict):
            add_row(figures, name, str(value))
    say(figures)


@app.command("station")
def station_command(
    station_file: Annotated[Path, typer.Argument(metavar="STATION", help="The station file (TOML).")],
) -> None:
    """Run a station: read its probes, keep the readings, forward them.

    Example: `pourlog station station.toml`
    """
    from logger.daemon.main import run_from_file

    sys.exit(run_from_file(station_file))


@app.command("relay-safe")
def relay_safe_command(
    station_file: Annotated[Path, typer.Argument(metavar="STATION", help="The station file (TOML).")],
) -> None:
    """Switch lamp, buzzer and fan off, whatever happened before. systemd calls it after the station has ended.

    Example: `pourlog relay-safe station.toml`
    """
    from logger.daemon.main import relay_safe

    sys.exit(relay_safe(station_file))


@app.command("demo")
def demo_command(
    scenario: Annotated[str, typer.Option(help=f"One of: {', '.join(SCENARIOS)}.")] = "hot",
    speed: Annotated[float, typer.Option(help="Simulated seconds per real second, 1 to 20000.")] = 600.0,
    data: Annotated[
        Path | None, typer.Option(help="A new folder for everything; else a temporary one.")
    ] = None,
    port: Annotated[int, typer.Option(help="Port of the service; 0 takes a free one.")] = 8080,
    exit_when_done: Annotated[bool, typer.Option("--exit-when-done", help="End after the pour.")] = False,
    restart_after: Annotated[
        float, typer.Option(help="A process that dies is started again after so many real seconds.")
    ] = 2.0,
) -> None:
    """Watch a simulated pour of an invented workshop, through the real station and service.

    Example: `pourlog demo --scenario hot --speed 7200 --exit-when-done`
    """
    from web.demo.demo import run_demo

    if scenario not in SCENARIOS:
        raise BadInput(
            "--scenario",
            phrase("is not known"),
            value=scenario,
            allowed=", ".join(SCENARIOS),
            remedy=phrase("give one of those"),
        )
    if not 1 <= speed <= 20_000:
        raise BadInput(
            "--speed",
            phrase("is out of range"),
            value=speed,
            allowed=phrase("1 to 20000 simulated s per s"),
            remedy=phrase("600 shows a day in two and a half minutes"),
        )
    sys.exit(
        run_demo(
            scenario,
            speed=speed,
            data=data,
            port=port,
            exit_when_done=exit_when_done,
            restart_after_s=restart_after,
        )
    )


@app.command("backup")
def backup_command(
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where backups are kept.")],
    most: Annotated[int, typer.Option("--keep", min=1, help="How many backups are kept.")] = MOST_BACKUPS,
    as_json: Json = False,
) -> None:
    """Back up the service's own database and the photos while it runs; the copy is verified before it counts.

    Example: `pourlog backup settings.toml /media/stick/pourlog`
    """
    with working(phrase("copying and verifying …")):
        copy = back_up(_database(settings), folder, SystemClock().stamp().wall_ms, most)
    if as_json:
        print_json({"path": str(copy.path), "pours": copy.pours, "readings": copy.readings, "verified": True})
        return
    line(
        phrase(
            "{path}: {pours} pours, {readings} readings, {photos} photos, verified",
            path=str(copy.path),
            pours=copy.pours,
            readings=copy.readings,
            photos=len(copy.photos),
        )
    )
    _warn_of_damaged(copy.damaged_photos)


@app.command("restore")
def restore_command(
    backup: Annotated[Path, typer.Argument(metavar="BACKUP", help="A backup made by `pourlog backup`.")],
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    as_json: Json = False,
) -> None:
    """Put a backup in the database's place. Stop the service first; a damaged backup changes nothing.

    Example: `pourlog restore pourlog-20261125-163000.sqlite3 settings.toml`
    """
    with working(phrase("verifying and putting back …")):
        restored = restore(backup, _database(settings))
    if as_json:
        print_json({"pours": restored.pours, "readings": restored.readings})
        return
    line(
        phrase(
            "{pours} pours, {readings} readings and {photos} photos are back; what was there is beside it",
            pours=restored.pours,
            readings=restored.readings,
            photos=len(restored.photos),
        )
    )
    _warn_of_damaged(restored.damaged_photos)


def _warn_of_damaged(names: Sequence[str]) -> None:
    """Warn of photos that could not be copied; the rest could."""
    for name in names:
        why = phrase("the file of photo {name} is gone or damaged; it is not copied", name=name[:12])
        print(f"pourlog: {words(why)}", file=sys.stderr)


def _database(settings: Path) -> Path:
    from logger.settings import read_settings

    url = read_settings(settings).database
    if not url.startswith("sqlite:///"):
        raise BadInput(
            str(settings),
            phrase("names a database server"),
            value=url.partition(":")[0],
            allowed="sqlite",
            remedy=phrase("use the server's own backup tool, and copy the folder photos in data_dir"),
        )
    return Path(url.removeprefix("sqlite:///"))


@app.command("serve")
def serve_command(
    settings: Annotated[
        Path | None, typer.Argument(metavar="[SETTINGS]", help="The settings file (TOML).")
    ] = None,
) -> None:
    """Run the service: pages, alarms, messages, records.

    Example: `pourlog serve settings.toml`. Without a file it listens on this machine only, port 8080.
    """
    startup.begin()  # serve() ends it
    from logger.settings import Settings, read_settings
    from web.server.logs import use_json
    from web.server.serve import serve
    from web.service.service import Service

    config = read_settings(settings) if settings else Settings()
    if config.operating.log_format == "json":
        use_json()
    service = Service.open(config, SystemClock())
    from web.security.setup_code import new_setup_code  # here: it loads the store

    code = new_setup_code(service)
    if code is not None:
        owner.show_set_up(config, code)
    else:
        line(phrase("The board is at {page}", page=f"{service.settings.link_base}/"))
    with reading(METRIC):  # each request and each message has a reader of its own
        sys.exit(serve(service))


def _tried(solve: Callable[[Plan], Chances], plan: Plan) -> tuple[Chances | None, str]:
    """Return a plan's chances; or None, and why they cannot be worked out."""
    try:
        return solve(plan), ""
    except DidNotConverge as error:
        return None, error.fact


def _show_predictions(plan: Plan, predictions: dict[str, Prediction], chances: Chances | None) -> None:
    """Print what a plan comes to, one column each of `predictions`, and what to mind."""
    heads = {"still": phrase("at rest"), "flowing": phrase("in motion"), "as-planned": ""}
    limit_c = plan.resin.limits.max_core_c
    several = len(predictions) > 1
    table = table_of(title=plan.title, show_header=several, title_justify="left")
    if several:
        for head in ("", *(heads[name] for name in predictions)):
            table.add_column(words(head))
    columns = [_prediction_rows(each, limit_c, chances) for each in predictions.values()]
    for rows in zip(*columns, strict=True):
        table.add_row(words(rows[0][0]), *(words(value) for _, value in rows))
    say(table)
    if "flowing" in predictions and plan.resin.flow is None:
        say(phrase("Note: the plan has no [resin.flow]; the motion is that of a usual casting resin."))
    for warning in dict.fromkeys(each for one in predictions.values() for each in one.warnings):
        say(phrase("Note: {warning}", warning=warning))
    if max(each.peak_c for each in predictions.values()) > limit_c:
        passes = words(phrase("It passes the resin's limit of {limit}.", limit=temperature(limit_c)))
        do = phrase(
            "Pour less deep, in a cooler room, or with moving air; the maker's safety data sheet rules."
        )
        say(f"[bold]{passes}[/bold] {words(do)}")


def _prediction_rows(
    prediction: Prediction, limit_c: float, chances: Chances | None
) -> list[tuple[str, str]]:
    """Return the names and figures of a prediction, and the plan's chances where they are known."""
    from logger.planning.chances import WORDS

    shown: dict[str, Any] = prediction.to_json()
    hottest, end, gel_h = shown["hottest"], shown["end"], shown["gel_at_h"]
    rows: list[tuple[str, str]] = [
        (phrase("hottest point"), peak(shown["peak_c"], 1)),
        (phrase("  when"), phrase("{time} after pouring", time=hours(shown["peak_at_h"]))),
        (
            phrase("  where"),
            phrase(
                "{across} from the centre line, {up} above the bottom",
                across=length(hottest["x_mm"], 0),
                up=length(hottest["z_mm"], 0),
            ),
        ),
        (phrase("resin's limit"), temperature(limit_c)),
        (phrase("gel, about"), "–" if gel_h is None else hours(gel_h)),
        (
            phrase("cured at the end"),
            phrase(
                "{mean} (least {least})",
                mean=percent(100.0 * end["mean_conversion"], 0),
                least=percent(100.0 * end["least_conversion"], 0),
            ),
        ),
        (phrase("glass transition then"), temperature(end["tg_c"], 0)),
    ]
    if chances is not None:
        low, high = peak(chances.peak_c(0.05), 0), peak(chances.peak_c(0.95), 0)
        rows[3:3] = [
            (phrase("  90 % range"), phrase("{low} to {high}", low=low, high=high)),
            (phrase("  chance to pass the limit"), chance(chances.over)),
            (phrase("  widened most by"), WORDS[chances.widest]),
        ]
    return rows


records.add_to(app)
machine.add_to(app, SystemClock)
self_test.add_to(app)
owner.add_to(app, SystemClock)
watched.add_to(app, SystemClock)
server.add_to(app, SystemClock)


def main() -> None:
    """Run the command; turn the domain's errors into one clear line and an exit code."""
    log_in_english(logging.WARNING)
    asked = of_the_whole_program(sys.argv[1:])
    try:
        app(args=asked, standalone_mode=True)
    except BadInput as error:
        _refuse(error.fact)
        sys.exit(2)
    except LoggerError as error:
        _refuse(error.fact)
        sys.exit(1)
    except HardwareError as error:
        _refuse(str(error))
        sys.exit(1)
    except ModuleNotFoundError as error:
        hint = what_to_install(error)
        if hint is None:
            raise
        _refuse(hint)
        sys.exit(1)


def _refuse(why: str) -> None:
    print(f"pourlog: {words(why, _reader)}", file=sys.stderr)


if __name__ == "__main__":
    main()
