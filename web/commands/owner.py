"""`pourlog owner-code` and `set-up-code`: let an owner in, at the database's own machine."""

# What a command works with is imported inside it, and why: see web/command.py.

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.errors import BadInput, NotAllowed
from logger.words.phrase import phrase
from web.commands.terminal import line

if TYPE_CHECKING:
    from logger.settings import Settings
    from logger.store.boots import Clock

BY = "the console of this machine"
#: A database server that runs here as well.
HERE = ("", "localhost", "127.0.0.1", "::1")


def add_to(app: typer.Typer, clock: Callable[[], Clock]) -> None:
    """Add the commands; `clock` makes the clock that they use."""
    with_clock = {"obj": clock}
    app.command("owner-code", context_settings=with_clock)(owner_code_command)
    app.command("set-up-code", context_settings=with_clock)(set_up_code_command)


def set_up_words(settings: Settings, code: str) -> str:
    """Return where the first set-up is, with its code, on one line: a journal is searched for it."""
    page = f"{settings.link_base}/set-up"
    return phrase(
        "First set-up: open {page} and give the code {code} (it holds for an hour). With the code filled in: {filled}",
        page=page,
        code=code,
        filled=f"{page}?code={code}",
    )


def show_set_up(settings: Settings, code: str) -> None:
    """Print that line, and beneath it a picture of the address for a phone's camera where a phone can get there."""
    import segno

    # Plainly, and at once: a console would wrap the line at 80 columns, and a pipe would hold it back until the end.
    line(set_up_words(settings, code))
    if not settings.phones_reach_it:
        line(phrase('(On this machine alone: phones need host = "0.0.0.0" in the settings file.)'))
    elif sys.stdout.isatty():
        segno.make(f"{settings.link_base}/set-up?code={code}", micro=False).terminal(compact=True, border=2)


def owner_code_command(
    context: typer.Context,
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="Which owner; not needed while there is one.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Give an owner who forgot the password a one-time code for a new one. On the database's own machine only.

    The code is typed on the page /join within a day. The new password ends every sign-in of that owner; that a code
    was given stands among the events. Example: `sudo -u pourlog pourlog owner-code /etc/pourlog/service.toml`
    """
    from logger.settings import read_settings
    from logger.store import people
    from logger.store.boots import Timeline
    from logger.store.database import Store
    from logger.store.shops import sees
    from web.actions import sign_in

    config = read_settings(settings)
    _only_here(config)
    store = Store(config.database)
    try:
        with store.read() as connection:
            owner = _owner(
                [row.name for row in people.everybody(connection) if row.role == people.Role.OWNER], name
            )
            shop_id = people.person_by_name(connection, owner).shop_id
        with sees(shop_id):
            code = sign_in.new_code(store, Timeline(store, context.obj()), owner, people.Role.OWNER, BY)
    finally:
        store.close()
    if as_json:
        print(
            json.dumps({"owner": owner, "code": code, "page": f"{config.link_base}/join"}, ensure_ascii=False)
        )
    else:
        line(
            phrase(
                "{owner}: open {page} within a day, enter the code {code} and choose a password.",
                owner=owner,
                page=f"{config.link_base}/join",
                code=code,
            )
        )


def set_up_code_command(
    context: typer.Context,
    settings: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The service's settings file.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Show a new code for the first set-up, with a picture for a phone's camera. Before there is an owner only.

    It holds for an hour, also while the service is started anew; the one that this command showed before does not.
    Example:
    `sudo -u pourlog pourlog set-up-code /etc/pourlog/service.toml`
    """
    from logger.settings import read_settings
    from logger.store.boots import Timeline
    from logger.store.database import Store
    from web.security.setup_code import BY_COMMAND, setup_code

    config = read_settings(settings)
    _only_here(config)
    store = Store(config.database)
    try:
        code = setup_code(store, Timeline(store, context.obj()), BY_COMMAND)
    finally:
        store.close()
    page = f"{config.link_base}/set-up"
    if as_json:
        print(json.dumps({"code": code, "page": page if code is None else f"{page}?code={code}"}))
    elif code is None:
        line(phrase("There is an owner already. The board is at {page}", page=f"{config.link_base}/"))
    else:
        show_set_up(config, code)


def _owner(owners: list[str], name: str | None) -> str:
    """Which owner. Raises NotAllowed while there is none, BadInput when it is not clear which."""
    if not owners:
        raise NotAllowed(
            phrase(
                "nobody owns this service yet: start it and open /set-up with the code that it prints on its console"
            )
        )
    if name is None and len(owners) > 1:
        raise BadInput(
            "--name",
            phrase("is missing: there are several owners"),
            allowed=", ".join(owners),
            remedy=phrase("say which of them forgot the password"),
        )
    if name is not None and name not in owners:
        raise BadInput(
            "--name",
            phrase("is no owner here"),
            value=name,
            allowed=", ".join(owners),
            remedy=phrase("owners give everybody else a code, on the page of people"),
        )
    return name or owners[0]


def _only_here(settings: Settings) -> None:
    """Whoever may read the database on its own machine could change the hash by hand; nobody else gets a code.

    Raises BadInput for a database that is elsewhere, or not there at all.
    """
    from sqlalchemy.engine import make_url

    url = make_url(settings.database)
    if url.get_backend_name() == "sqlite":
        if not Path(url.database or "").is_file():
            raise BadInput(
                phrase("database"),
                phrase("is not there"),
                value=str(url.database),
                remedy=phrase("give the settings file of the service, and start the service once"),
            )
    elif (url.host or "") not in HERE:
        raise BadInput(
            phrase("database"),
            phrase("is on another machine"),
            value=url.host,
            allowed=phrase("a database of this machine"),
            remedy=phrase("run this on the machine that holds the database"),
        )
