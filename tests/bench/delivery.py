"""Kills the process that raises and sends, many times, against real receivers. Run by hand:

    python tests/bench/delivery.py                       # every point 3 times, then 200 kills at random, 3 min or so
    python tests/bench/delivery.py --rounds 20 --random 1000 --links 1000000

Prints how many messages that were committed never arrived (must be 0), how many came twice (at most one a kill), how
many altered links were taken (must be 0), and what came after both receivers had been away for a simulated day.
"""

from __future__ import annotations

import argparse
import importlib.util
import logging
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from logger.delivery.signed_links import LinkRefused, new_token, read_token
from logger.store.boots import Timeline
from logger.store.database import Store
from logger.store.message_links import Purpose

TESTS = Path(__file__).parents[1] / "logger" / "delivery"


def load(name: str) -> Any:
    """A file beside the tests: tests are no package."""
    spec = importlib.util.spec_from_file_location(name, TESTS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def kills(rounds: int, at_random: int) -> None:
    """Each point some times, then several kills in a row at random points."""
    crashes, receiving, dice = load("test_crashes"), load("receiving"), random.Random(7)
    with receiving.receivers() as received, tempfile.TemporaryDirectory() as folder:
        process = crashes.Process(Path(folder), received.urls)
        points = process.run("clean", kill_at=0)["points"]
        wanted = set(received.web)
        lost: Counter[str] = Counter()
        twice: Counter[str] = Counter()
        over = made = 0
        began = time.monotonic()
        plan = [[at] for _ in range(rounds) for at in range(1, len(points) + 1)]
        plan += [[dice.randint(1, len(points)) for _ in range(dice.randint(1, 3))] for _ in range(at_random)]
        for number, ats in enumerate(plan):
            received.clear()
            killed = 0
            for later, at in enumerate(ats):
                killed += process.run(str(number), kill_at=at, later_s=later * crashes.CLAIM_OVER_S)["killed"]
            process.run(str(number), kill_at=0, later_s=len(ats) * crashes.CLAIM_OVER_S)
            made += killed
            name = points[ats[-1] - 1]
            extra = 0
            for took in (received.web, received.mail):
                lost[name] += len(wanted - set(took))
                extra += len(took) - len(set(took))
            twice[name] += extra
            over += extra > killed
            for left in Path(folder).glob(f"{number}.sqlite3*"):
                left.unlink()
        process.close()
    print(f"{made} kills at {len(points)} points in {time.monotonic() - began:.0f} s")
    print(f"committed but never delivered: {sum(lost.values())}")
    print(f"delivered twice: {sum(twice.values())}; rounds with more than one a kill: {over}")
    for name, count in twice.most_common():
        if count:
            print(f"  {count:5d} when last killed at {name}")


def altered_links(count: int) -> None:
    """So many mutations of true links; how many were taken."""
    mutated = load("test_links").mutated
    dice = random.Random(11)
    with tempfile.TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{folder}/links.sqlite3")
        with store.write() as tx:
            tokens = [new_token(tx, Purpose.CONFIRM, to, None, 0) for to in ("first", "second")]
        taken = tried = 0
        with store.read() as connection:
            for number in range(count):
                bad = mutated(tokens[number % 2], dice)
                if bad in tokens:
                    continue
                tried += 1
                try:
                    read_token(connection, bad, 1)
                except LinkRefused:
                    continue
                taken += 1
        store.close()
    print(f"{tried} altered links tried, {taken} taken")


def away() -> None:
    """A simulated day without receivers, a sweep each half minute and a try each five minutes."""
    crashing, receiving, outage, shops = load("crashing"), load("receiving"), load("outage"), load("conftest")

    class Clock(crashing.Clock):  # type: ignore[misc, name-defined]
        def move(self, seconds: float) -> None:
            self.boot_ms += round(seconds * 1000)

    began = time.monotonic()
    with receiving.receivers() as received, tempfile.TemporaryDirectory() as folder:
        store, clock = Store(f"sqlite:///{folder}/day.sqlite3"), Clock()
        shop = shops.Bench(
            store, Timeline(store, clock), clock, crashing.PLAN, urls=received.urls, timeout_s=2
        )
        day = outage.a_day_away(shop, received, send_every_s=300)
        true = sorted(outage.still_true(shop))
        store.close()
    took_s = time.monotonic() - began
    print(
        f"away for a simulated day ({took_s:.0f} s): {day.written} messages written, {day.outdated} "
        f"of them replaced, {day.tries} rounds in vain; all through {day.late_s:.0f} s after the return"
    )
    missing = [title for title in day.expected if day.web.count(title) != 1 or day.mail.count(title) != 1]
    print(
        f"still to be told {len(day.expected)}, not come exactly once {len(missing)}; true then: {', '.join(true)}"
    )
    for title in day.web:
        print(f"  {title}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rounds", type=int, default=3, help="times that each point is tried")
    parser.add_argument("--random", type=int, default=200, help="rounds of one to three kills at random")
    parser.add_argument("--links", type=int, default=100_000, help="altered links")
    asked = parser.parse_args()
    logging.disable(logging.CRITICAL)  # a day of refusals is what is asked for
    altered_links(asked.links)
    away()
    kills(asked.rounds, asked.random)
