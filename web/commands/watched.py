"""`pourlog pours`: how every watched pour is, by the judgement that the pages show, at the database's own machine."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from logger.store.boots import Clock


def add_to(app: typer.Typer, clock: Callable[[], Clock]) -> None:
    """Add the command; `clock` makes the clock that it uses."""
    app.command("pours", context_settings={"obj": clock})(pours_command)


def pours_command(
    context: typer.Context,
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """How is every pour that is watched: what is so, who is on it, what to do now, what comes next?

    The gravest first. It judges what is stored: whether the service itself runs says `pourlog check`.
    Example: `sudo -u pourlog pourlog pours /etc/pourlog/service.toml`
    """
    from logger.alarms.first_hour import Rhythm
    from logger.pour import LIVE
    from logger.settings import read_settings
    from logger.store import pours
    from logger.store.boots import Timeline
    from logger.store.database import Store
    from web.commands.terminal import plain, say
    from web.views.status import judged, status_json, urgency

    store = Store(read_settings(settings).database)
    try:
        now_ms = Timeline(store, context.obj()).true_ms()
        with store.read() as connection:
            rows = pours.predicted_pours(connection, LIVE)
            judgements = [(pour, judged(connection, pour, now_ms, Rhythm(), None)) for pour in rows]
    finally:
        store.close()
    standings = [
        (pour, status_json(standing))
        for pour, standing in sorted(judgements, key=lambda each: urgency(each[1]))
    ]
    if as_json:
        listed = [{"pour": pour.id, "title": pour.title, **shape.model_dump()} for pour, shape in standings]
        print(json.dumps({"pours": listed}, ensure_ascii=False))
        return
    if not standings:
        say("No pour is being watched.")
    for pour, shape in standings:
        say(plain(f"{pour.title}: {shape.word}"))
        who = f"{shape.by} is on it." if shape.by else ""
        for line in (shape.because, who, shape.action, shape.expected):
            if line:
                say(plain(f"  {line}"))
