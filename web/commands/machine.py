"""`pourlog check`, `enrol`, `write-station` and `place-probes`: what a machine needs before its first pour."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.diagnosis.machine_facts import STATION_UNIT, CheckState, MachineFinding
from logger.errors import BadSettings
from logger.words.phrase import phrase, phrases
from logger.words.render import say as words
from web.commands.terminal import asked, json_line, line, plain, say

if TYPE_CHECKING:
    from logger.diagnosis.place_probes import PlacedProbe
    from logger.settings import Settings
    from logger.store.boots import Clock

STATION, SETTINGS = Path("/etc/pourlog/station.toml"), Path("/etc/pourlog/service.toml")
SIGNS = {
    CheckState.OK: "OK",
    CheckState.WARN: "[yellow]WARN[/yellow]",
    CheckState.FAIL: "[bold red]FAIL[/bold red]",
}
#: What starts the station anew.
RESTART = "sudo systemctl restart pourlog-station"
SERVICE_UNITS = ("pourlog-service.service", "pourlog-backup.timer", "pourlog-backup.service")
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]


def add_to(app: typer.Typer, clock: Callable[[], Clock]) -> None:
    """Add these commands; `clock` makes the clock that they use."""
    with_clock = {"obj": clock}
    app.command("check", context_settings=with_clock)(check_command)
    app.command("enrol", context_settings=with_clock)(enrol_command)
    app.command("place-probes", context_settings=with_clock)(place_command)
    app.command("write-station")(write_station_command)
    app.command("set-offset", context_settings={"ignore_unknown_options": True})(offset_command)


def check_command(
    context: typer.Context,
    station: Annotated[
        Path | None, typer.Option(metavar="STATION", help=f"The station file; {STATION} if it is there.")
    ] = None,
    settings: Annotated[
        Path | None,
        typer.Option(metavar="SETTINGS", help=f"The settings file; {SETTINGS} if it is there."),
    ] = None,
    message: Annotated[
        bool, typer.Option("--message", help="Send a real test message over each channel.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Are probes, pins, units, clock, disk, power, network, messages and versions fine? What to do where not.

    Example: `sudo pourlog check`, or `pourlog check --station station.toml --json`. Exit code 1: a FAIL.
    """
    from logger.daemon.station_file import station_from_file
    from logger.diagnosis.judge import judge, worst
    from logger.diagnosis.look import look

    station = station or (STATION if STATION.exists() else None)
    settings = settings or (SETTINGS if SETTINGS.exists() else None)
    for path in (station, settings):
        if path is not None and path.exists() and not os.access(path, os.R_OK):
            raise BadSettings(
                str(path), phrase("is not for everybody to read"), remedy=phrase("run: sudo pourlog check")
            )
    findings = judge(
        look(
            context.obj(),
            None if station is None else station_from_file(station),
            None if settings is None else _settings(settings),
            send=message,
            units=(
                *((STATION_UNIT,) if station == STATION else ()),
                *(SERVICE_UNITS if settings == SETTINGS else ()),
            ),
        )
    )
    if station is None and settings is None:
        findings.append(
            MachineFinding(
                "files",
                CheckState.WARN,
                phrase(
                    "neither {station} nor {settings} is there, none was named",
                    station=str(STATION),
                    settings=str(SETTINGS),
                ),
                phrase("sudo pourlog place-probes writes the first, sudo bash systemd/install the second"),
            )
        )
    if as_json:
        json_line({"state": worst(findings), "findings": [asdict(finding) for finding in findings]})
    else:
        show(findings)
    sys.exit(1 if worst(findings) is CheckState.FAIL else 0)


def enrol_command(
    context: typer.Context,
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    name: Annotated[str, typer.Argument(metavar="NAME", help="As in the station's file.")],
    as_json: Json = False,
) -> None:
    """Enrol a station on the service's own machine, and print its token, which is shown this once.

    Example: `sudo -u pourlog pourlog enrol /etc/pourlog/service.toml bench-1`
    """
    from logger.daemon.new_station import checked_name

    checked_name(name, "NAME")
    from logger.settings import read_settings
    from logger.store import events, stations
    from logger.store.boots import Timeline
    from logger.store.database import Store

    config = read_settings(settings)
    store = Store(config.database)
    try:
        now_ms = Timeline(store, context.obj()).true_ms()
        with store.write() as tx:
            _row, token = stations.enrol(tx, name, now_ms)
            events.add_event(tx, None, now_ms, "station-enrolled", "this machine's administrator", name)
    finally:
        store.close()
    print(json.dumps({"station": name, "token": token}) if as_json else token)


def place_command(
    context: typer.Context,
    station: Annotated[Path, typer.Argument(metavar="STATION", help="The station file to write.")] = STATION,
    again: Annotated[
        bool, typer.Option("--again", help="Write the file anew, keeping what is not about probes.")
    ] = False,
) -> None:
    """Find out which probe is which by warming each in the hand, and write the station file.

    Example: `sudo pourlog place-probes`
    """
    from logger.daemon.new_station import as_found
    from logger.diagnosis.place_probes import station_text

    if station.exists() and not again and not as_found(station):
        raise BadSettings(
            str(station), phrase("is there already"), remedy=phrase("give --again to place its probes anew")
        )
    _write(station, station_text(station, _ask_for_each(context.obj())))


def write_station_command(
    name: Annotated[str, typer.Argument(metavar="NAME", help="As it was enrolled.")],
    service_url: Annotated[
        str, typer.Argument(metavar="URL", help="Where the service is: http://host:port.")
    ],
    token: Annotated[str, typer.Argument(metavar="TOKEN", help="As the page of probes shows it once.")],
    station: Annotated[
        Path | None,
        typer.Option(
            metavar="STATION", help=f"The station file; {STATION} where that is installed, else station.toml."
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Give this machine's station its service and its token: the line that the page of probes shows.

    A station file that is there keeps its probes; else those that are plugged in are taken in order, to be told apart
    by hand on their page. Example: `sudo pourlog write-station bench-1 http://office.local:8080 TOKEN`
    """
    from logger.daemon.new_station import probes_here, start_line, station_content, write_station

    path = station or (STATION if STATION.parent.is_dir() else Path("station.toml"))
    content = station_content(path, name, service_url, probes_here())
    try:
        write_station(path, content, token)
    except OSError as error:
        raise BadSettings(
            str(path),
            phrase("cannot be written ({strerror})", strerror=str(error.strerror)),
            remedy=phrase("run it with sudo"),
        ) from error
    probes = len(content.get("probe", []))
    if as_json:
        print(json.dumps({"station_file": str(path), "probes": probes}))
    elif not probes:
        line(
            phrase(
                "The token is written. No probe is plugged in: plug them in, then: sudo pourlog place-probes {path}",
                path=str(path),
            )
        )
    elif path == STATION:
        line(_written(str(path), probes, phrase("Restart the station: {command}", command=RESTART)))
    else:
        line(_written(str(path), probes, phrase("Start the station: {command}", command=start_line(path))))


def _written(path: str, probes: int, then: str) -> str:
    return phrases(
        "Written: {path}, {n} probe. {then}",
        "Written: {path}, {n} probes. {then}",
        probes,
        path=path,
        then=then,
    )


def offset_command(
    probe: Annotated[str, typer.Argument(metavar="PROBE", help="Its number, 28-…")],
    offset: Annotated[float, typer.Argument(metavar="OFFSET", help="What to add to each temperature, K.")],
    station: Annotated[Path, typer.Option(metavar="STATION", help="The station file.")] = STATION,
    as_json: Json = False,
) -> None:
    """Write a probe's offset, as its page says after a check in ice water, into the station file.

    Example: `sudo pourlog set-offset 28-0000000000a1 -0.31`
    """
    from logger.daemon.station_file import content_of
    from logger.diagnosis.place_probes import with_offset

    try:
        text = station.read_text(encoding="utf-8")
    except OSError as error:
        raise BadSettings(
            str(station),
            phrase("cannot be read ({strerror})", strerror=str(error.strerror)),
            remedy=phrase("give the station file's path: --station"),
        ) from error
    content_of(text, station)  # said by the line as it is there, before anything is put in
    _write(station, with_offset(text, str(station), probe, offset), quiet=as_json)
    if as_json:
        print(json.dumps({"station_file": str(station), "probe": probe, "offset_k": offset}))


def _settings(path: Path) -> Settings:
    from logger.settings import read_settings  # a station alone is looked at without the service's libraries

    return read_settings(path)


def _write(station: Path, text: str, *, quiet: bool = False) -> None:
    """Put a station file in place if the station would take it; else leave what is there, and say why."""
    from logger.daemon.station_file import content_of, station_from

    station_from(content_of(text, station), station)
    beside = station.with_name(station.name + ".new")
    beside.write_text(text, encoding="utf-8")
    if station.exists():
        # Who may read it stays as it was.
        shutil.copymode(station, beside)
        before = station.stat()
        os.chown(beside, before.st_uid, before.st_gid)
    beside.replace(station)
    if not quiet:
        line(phrase("Written: {path}. Restart the station: {command}", path=str(station), command=RESTART))


def _ask_for_each(clock: Clock) -> list[PlacedProbe]:
    from logger.diagnosis.place_probes import ASKED, PlacedProbe, probe_temperatures, wait_for_warmth

    temperatures = probe_temperatures(clock)
    line(phrases("{n} probe is plugged in.", "{n} probes are plugged in.", len(temperatures())))
    placed: list[PlacedProbe] = []
    for place, named in ASKED:
        if len(placed) == len(temperatures()):
            break
        answer = asked(
            phrase(
                "Take the probe for {place} in your hand and press Enter (n and Enter: there is none) ",
                place=named,
            )
        )
        if answer.strip().lower().startswith("n"):
            continue
        line(phrase("Reading … it may take a minute."))
        warmed = wait_for_warmth(temperatures, clock, {probe.id for probe in placed})
        if warmed is None:
            line(phrase("No probe has clearly warmed: hold one alone, in the fist, and run this again."))
            raise typer.Exit(1)
        line(phrase("{probe} sits at: {place}", probe=warmed, place=place))
        placed.append(PlacedProbe(warmed, place))
    return placed


def show(findings: list[MachineFinding]) -> None:
    """One line a finding and one for what to do, never wrapped: a command must come out as it is typed."""
    width = max(len(finding.topic) for finding in findings)
    for finding in findings:
        sign = SIGNS[finding.state] + " " * (5 - len(finding.state.value))
        say(f"{sign} {finding.topic:{width}}  {plain(words(finding.says))}", wrap=False)
        if finding.do:
            say(f"{'':{width + 6}}  → {plain(words(finding.do))}", wrap=False)
    counts = [(state, sum(finding.state is state for finding in findings)) for state in CheckState]
    say(", ".join(f"{number} {state.value.upper()}" for state, number in reversed(counts) if number))
