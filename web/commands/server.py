"""`pourlog move`, `add-shop` and `drop-readings`: for a service on a PostgreSQL server."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.errors import BadInput
from logger.facts import parsed
from logger.quantities import quantity
from logger.words.phrase import phrase
from web.commands.terminal import json_line, line

if TYPE_CHECKING:
    from logger.store.boots import Clock

Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
SettingsFile = Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")]
BY = "the console of this machine"


def add_to(app: typer.Typer, clock: Callable[[], Clock]) -> None:
    """Add these commands; `clock` makes the clock that they use."""
    with_clock = {"obj": clock}
    app.command("move")(move_command)
    app.command("add-shop", context_settings=with_clock)(shop_command)
    app.command("drop-readings")(drop_command)


def move_command(
    settings: SettingsFile,
    to: Annotated[
        str,
        typer.Argument(metavar="URL", help="An empty database on a server: postgresql://user@host/name."),
    ],
    as_json: Json = False,
) -> None:
    """Move the service's own database to a PostgreSQL server, and prove every record there.

    Stop the service first. All or nothing: what does not verify is not kept, and the old database stays as it is.
    Photos stay in data_dir. Example: `pourlog move settings.toml postgresql://pourlog@db.example/pourlog`
    """
    from logger.record.move import move
    from logger.settings import read_settings
    from logger.store.database import Store

    config = read_settings(settings)
    path = Path(config.data_dir) / "pourlog.sqlite3"
    if config.database_url is not None or not path.is_file():
        raise BadInput(
            str(settings),
            phrase("names no database of the service's own"),
            value=str(path),
            remedy=phrase("give the settings that the service has run with so far"),
        )
    began = time.perf_counter()
    source, target = Store(config.database), Store(to)
    try:
        moved = move(source, target)
    finally:
        source.close()
        target.close()
    seconds = time.perf_counter() - began
    if as_json:
        json_line(
            {
                "rows": moved.rows,
                "pours": moved.pours,
                "broken": moved.broken,
                "seconds": round(seconds, 2),
            }
        )
        return
    line(
        phrase(
            "{pours} pours and {readings} readings are on the server ({took} s); every record was proven there as it "
            "was.",
            pours=moved.pours,
            readings=moved.rows["reading"],
            took=quantity(seconds, ""),
        )
    )
    line(phrase("Now set database_url in {settings}, and start the service.", settings=str(settings)))
    for pour, sentence in moved.broken.items():
        line(
            phrase(
                "pour {pour} did not stand before, and does not now: {why}", pour=pour, why=parsed(sentence)
            )
        )


def shop_command(
    context: typer.Context,
    settings: SettingsFile,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The shop's name.")],
    owner: Annotated[str, typer.Argument(metavar="OWNER", help="Who will own it.")],
    as_json: Json = False,
) -> None:
    """Add a shop with an owner of its own: it sees its own pours, stations and people only. PostgreSQL alone.

    The code is typed on the page /join within a day. Example: `pourlog add-shop settings.toml "The north" Nora`
    """
    from logger.settings import read_settings
    from logger.store import people, shops
    from logger.store.boots import Timeline
    from logger.store.database import Store
    from web.actions import sign_in

    config = read_settings(settings)
    store = Store(config.database)
    try:
        timeline = Timeline(store, context.obj())
        shop_id = shops.add_shop(store, name, timeline.true_ms())
        with shops.sees(shop_id):
            code = sign_in.new_code(store, timeline, owner, people.Role.OWNER, BY)
    finally:
        store.close()
    page = f"{config.link_base}/join"
    if as_json:
        print(json.dumps({"shop": shop_id, "owner": owner, "code": code, "page": page}, ensure_ascii=False))
    else:
        line(
            phrase(
                "{shop}: {owner} opens {page} within a day, enters the code {code} and chooses a password.",
                shop=name,
                owner=owner,
                page=page,
                code=code,
            )
        )


def drop_command(
    settings: SettingsFile,
    month: Annotated[str, typer.Argument(metavar="MONTH", help="Such as 2026-01, by UTC.")],
    also_sealed: Annotated[
        bool,
        typer.Option("--also-sealed", help="Readings of sealed pours may go; export their records first."),
    ] = False,
    as_json: Json = False,
) -> None:
    """Drop a month of single readings at once, on PostgreSQL. Pours, records and seals stay.

    Readings of a pour that is not sealed are never dropped. Example: `pourlog drop-readings settings.toml 2026-01`
    """
    match = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])", month)
    if match is None:
        raise BadInput(
            "MONTH",
            phrase("is not a month"),
            value=month,
            allowed="YYYY-MM",
            remedy=phrase("such as 2026-01"),
        )
    from logger.settings import read_settings
    from logger.store import partitions
    from logger.store.database import Store
    from logger.store.partitions import Month

    store = Store(read_settings(settings).database)
    try:
        with store.write() as tx:
            rows, sealed = partitions.drop(tx, Month(int(match[1]), int(match[2])), also_sealed=also_sealed)
    finally:
        store.close()
    if as_json:
        print(json.dumps({"rows": rows, "sealed_pours": sealed}))
        return
    line(phrase("{rows} readings of {month} are gone.", rows=rows, month=month))
    if sealed:
        line(phrase("The records and seals of pours {pours} stay.", pours=[str(pour) for pour in sealed]))
