"""Signed links: ours hold once, for a day, and for what they were made for; nothing else is ever taken."""

from __future__ import annotations

import random
import string
from typing import Any

import pytest

from logger.delivery import signed_links
from logger.delivery.signed_links import LinkRefused, new_token, read_token, use_token
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.message_links import Purpose, last_confirmed_ms

#: Mutations tried here; a million in tests/bench/delivery.py.
MUTATIONS = 4000
LETTERS = string.ascii_letters + string.digits + "-_.="


def mutated(token: str, dice: random.Random) -> str:
    """The token with one thing changed: a letter, a swap, a cut, an insertion, another's signature."""
    at, letter = dice.randrange(len(token)), dice.choice(LETTERS)
    other = dice.randrange(len(token))
    return dice.choice(
        [
            token[:at] + letter + token[at + 1 :],
            token[:at] + letter + token[at:],
            token[:at] + token[at + 1 :],
            token[:at],
            token[min(at, other) : max(at, other)],
            token.swapcase() if at % 2 else token + letter,
            token[:at] + token[other:],
        ]
    )


def test_a_link_holds_once(store: Store) -> None:
    """Pressed again, or by somebody who copied it: nothing."""
    with store.write() as tx:
        token = new_token(tx, Purpose.CONFIRM, "first", None, 1000)
    with store.write() as tx:
        assert use_token(tx, token, 2000).purpose is Purpose.CONFIRM
    with store.write() as tx, pytest.raises(LinkRefused, match="works once"):
        use_token(tx, token, 3000)
    with store.read() as connection:
        assert last_confirmed_ms(connection) == 2000


def test_reading_a_link_uses_nothing_up(store: Store) -> None:
    """A mail program may open it as often as it likes."""
    with store.write() as tx:
        token = new_token(tx, Purpose.CONFIRM, "first", None, 0)
    for _ in range(3):
        with store.read() as connection:
            read_token(connection, token, 10)
    with store.write() as tx:
        use_token(tx, token, 10)


def test_a_link_ends_after_its_day(store: Store) -> None:
    """To the millisecond, on the steady timeline."""
    with store.write() as tx:
        token = new_token(tx, Purpose.CONFIRM, "first", None, 0)
    with store.read() as connection:
        read_token(connection, token, signed_links.LIFE_MS - 1)
        with pytest.raises(LinkRefused, match="expired"):
            read_token(connection, token, signed_links.LIFE_MS)


def test_a_link_holds_on_a_machine_whose_clock_is_set_backwards_or_from_1970(
    store: Store, clock: Any
) -> None:
    """A Pi without a clock wakes in 1970, writes a message, and learns the time; or the time goes back a day."""
    clock.wall_ms, clock.clock_set = 60_000, False
    timeline = Timeline(store, clock)
    with store.write() as tx:
        token = new_token(tx, Purpose.CONFIRM, "first", None, timeline.now_ms())
    for wall_ms in (1_795_593_600_000, 1_795_593_600_000 - 86_400_000):
        clock.wall_ms, clock.clock_set = wall_ms, True
        clock.boot_ms += 1000
        timeline.learn()
        with store.read() as connection:
            read_token(connection, token, timeline.now_ms())


def test_no_mutation_of_a_link_is_taken(store: Store) -> None:
    """Altered in any place, cut, or spliced from two links: refused, and the true one still holds."""
    dice = random.Random(5)
    with store.write() as tx:
        tokens = [new_token(tx, Purpose.CONFIRM, to, None, 0) for to in ("first", "second")]
    taken = []
    with store.read() as connection:
        for number in range(MUTATIONS):
            whole = tokens[number % 2]
            tried = mutated(whole, dice)
            if number % 10 == 0:  # the body of one with the signature of the other
                tried = tokens[0].rpartition(".")[0] + "." + tokens[1].rpartition(".")[2]
            if tried in tokens:
                continue
            try:
                read_token(connection, tried, 1)
            except LinkRefused:
                continue
            taken.append(tried)
        assert taken == []
        for token in tokens:
            read_token(connection, token, 1)


def test_a_link_of_another_workshop_is_refused(store: Store, tmp_path: Any) -> None:
    """The same row numbers, another secret."""
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite3'}")
    with other.write() as tx:
        token = new_token(tx, Purpose.CONFIRM, "first", None, 0)
    other.close()
    with store.write() as tx:
        new_token(tx, Purpose.CONFIRM, "first", None, 0)
    with store.read() as connection, pytest.raises(LinkRefused):
        read_token(connection, token, 1)


def test_links_in_earlier_messages_end_when_the_alarm_is_raised_again(bench: Any) -> None:
    """What the first message was about is over: only the newest link acknowledges the new alarm."""
    shop = bench()
    shop.heat()
    shop.sender.send_due()
    shop.hold(56, minutes=12)
    shop.heat()
    shop.sender.send_due()
    tokens = [
        body.rpartition("/a/")[2].strip()
        for _url, title, body in shop.receivers.took
        if "core is too hot" in title and "Also: " not in title and "/a/" in body
    ]
    assert len(tokens) >= 2
    with shop.store.read() as connection:
        for token in tokens[:-1]:
            with pytest.raises(LinkRefused, match="newer message"):
                read_token(connection, token, shop.timeline.now_ms())
        assert (
            read_token(connection, tokens[-1], shop.timeline.now_ms()).alarm_id == shop.alarm("core-hot").id
        )
