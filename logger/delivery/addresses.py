"""Every address that messages go to: those of the settings file, and the ways that people set up on a page.

What was last read stays in memory: a database that cannot be read takes nobody off the list.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from logger.alarms.notify_policy import Recipient, Rules
from logger.settings import Messages
from logger.store import channels
from logger.store.database import Store
from logger.store.rows import CalledChannel
from logger.store.shop_events import Reading, readings_of_shops
from logger.store.shops import sees
from logger.words.reader import Reader, units_from

log = logging.getLogger(__name__)

#: Who is called first, and who when nobody has answered.
TURNS = tuple(str(recipient) for recipient in Recipient)


class AddressBook:
    """Who is called. May be asked from any thread."""

    def __init__(self, messages: Messages) -> None:
        self.settings = messages
        self._called: tuple[CalledChannel, ...] = ()
        #: How each shop reads that has chosen.
        self._shops: dict[int, Reading] = {}
        self._unread = False
        #: Called when somebody has come or gone.
        self.changed: Callable[[], None] = lambda: None

    def read(self, connection: Connection) -> None:
        """Read the ways that people set up, and how shops read."""
        self._shops = readings_of_shops(connection)
        called = tuple(channels.called(connection))
        if called != self._called:
            self._called = called
            self.changed()

    def read_from(self, store: Store) -> None:
        """Read them, if the database can be read; else go on with those that were read last."""
        try:
            # Of every shop, whoever's page asks: alarms are written for all of them.
            with sees(None), store.read() as connection:
                self.read(connection)
        except SQLAlchemyError as error:
            if not self._unread:  # asked every few seconds: said once
                log.warning("the ways to people's phones cannot be read: %s", getattr(error, "orig", error))
            self._unread = True
        else:
            self._unread = False

    def called(self) -> Sequence[CalledChannel]:
        """Return the ways that people set up and confirmed."""
        return self._called

    def urls(self, group: str, shop_id: int | None = None) -> list[str]:
        """Return a group's addresses, each once. shop_id: of whose alarm; None: of everybody's."""
        messages = self.settings
        own = [
            row.url
            for row in self._called
            if row.turn == group and (shop_id is None or row.shop_id == shop_id)
        ]
        of_file = {"first": messages.urls, "second": messages.second_urls}.get(group, [])
        return list(dict.fromkeys([*of_file, *own]))

    def reader_of(self, url: str, shop_id: int | None = None, units: str | None = None) -> Reader:
        """Return who reads what comes to an address: the person whose it is, else the shop.

        shop_id: of whose alarm; None: of the only shop's. units: where neither has chosen.
        """
        person = next((row for row in self._called if row.url == url), None)
        if person is not None:
            shop_id = person.shop_id
        only = next(iter(self._shops.values())) if len(self._shops) == 1 else Reading()
        shop = only if shop_id is None else self._shops.get(shop_id, Reading())
        chosen = (person.units if person else None) or shop.units or units
        return units_from(chosen, (person.language if person else None) or shop.language or "en")

    def groups(self, shop_id: int | None = None) -> dict[str, list[str]]:
        """Return the groups that have an address, with all of theirs. shop_id: whose; None: everybody's."""
        return {group: urls for group in TURNS if (urls := self.urls(group, shop_id))}

    def every(self) -> list[str]:
        """Return every address, those that are called first in front."""
        return list(dict.fromkeys(url for urls in self.groups().values() for url in urls))

    def who(self, group: str) -> str | None:
        """Return the name of whoever a group calls, where that is one person; None where it is not known."""
        messages = self.settings
        named = {"first": messages.who, "second": messages.second_who}.get(group)
        of_file = {"first": messages.urls, "second": messages.second_urls}.get(group)
        names = {row.name for row in self._called if row.turn == group}
        if named is not None or of_file:
            return named if not names or names == {named} else None
        return names.pop() if len(names) == 1 else None

    def rules(self) -> Rules:
        """Return the settings as the rules of notification."""
        messages, groups = self.settings, self.groups()
        return Rules(
            first=len(groups.get("first", [])),
            second=len(groups.get("second", [])),
            second_after_min=messages.second_after_min,
            quiet_from_min=minute_of(messages.quiet_from),
            quiet_until_min=minute_of(messages.quiet_until),
        )


def minute_of(text: str | None) -> int | None:
    """Return the minute of the day of a time such as 22:30."""
    if text is None:
        return None
    hour, _, minute = text.partition(":")
    return int(hour) * 60 + int(minute)
