"""`pourlog pours`: how every watched pour is, by the judgement that the pages show, at the database's own machine."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

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
    from logger.facts import parsed
    from logger.pour import LIVE
    from logger.settings import read_settings
    from logger.store import pours
    from logger.store.boots import Timeline
    from logger.store.database import Store
    from logger.words.phrase import phrase
    from logger.words.reader import reading
    from logger.words.render import say as words
    from web.commands.terminal import json_line, line, plain, reader_of_workshop, say
    from web.views.status import judged, status_json, urgency

    store = Store(read_settings(settings).database)
    try:
        now_ms = Timeline(store, context.obj()).true_ms()
        with store.read() as connection:
            rows = pours.predicted_pours(connection, LIVE)
            judgements = [(pour, judged(connection, pour, now_ms, Rhythm(), None)) for pour in rows]
        reader = reader_of_workshop(store)
    finally:
        store.close()
    standings = [
        (pour, status_json(standing))
        for pour, standing in sorted(judgements, key=lambda each: urgency(each[1]))
    ]
    if as_json:
        listed = [{"pour": pour.id, "title": pour.title, **shape.model_dump()} for pour, shape in standings]
        json_line({"pours": listed})
        return
    with reading(reader):
        if not standings:
            line(phrase("No pour is being watched."))
        for pour, shape in standings:
            say(phrase("{pour}: {word}", pour=pour.title, word=parsed(shape.word)))
            who = phrase("{who} is on it.", who=parsed(shape.by)) if shape.by else ""
            for text in (shape.because, who, shape.action, shape.expected):
                if text:
                    say(plain(f"  {words(text)}"))
