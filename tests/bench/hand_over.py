"""The process that decides is killed again and again: how long until another decides; is an alarm missed or doubled?

Run by hand: python tests/bench/hand_over.py [--kills 50]

Two `pourlog serve` over one PostgreSQL server with fsync on. Each round a pour of its own becomes too hot; the last
reading goes to either process within half a second before or after SIGKILL of the one that decides.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
from pathlib import Path

import httpx

# The checkout as well: else tests/logger hides the package of that name.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cluster import Cluster
from load import PLAN
from processes import Bench, Phone, Process, decider, wait_for

from logger.store.database import Store


def main() -> None:
    """Reads the command line."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--kills", type=int, default=50)
    kills = told.parse_args().kills
    chance, took, messages = random.Random(1), [], []
    cluster = Cluster(fsync=True)
    url = cluster.address(cluster.create())
    store, phone = Store(url), Phone()
    with tempfile.TemporaryDirectory() as folder:
        running = [Process(Path(folder), url, [phone.url]) for _ in range(3)]
        try:
            for process in running:
                process.ready()
            for number in range(kills):
                bench = Bench(store, PLAN, f"bench-{number}")
                deciding = decider(store, running)
                others = [process for process in running if process is not deciding]
                bench.becomes_hot(chance.choice(running))
                after_s = chance.uniform(-0.5, 0.5)
                to = chance.choice(others) if after_s > 0 else chance.choice(running)
                killer = threading.Timer(max(0.0, -after_s), deciding.kill)
                killer.start()
                time.sleep(max(0.0, after_s))
                sent_s = time.monotonic()
                try:
                    bench.sweep(to, 60.6)
                except httpx.HTTPError:
                    # Killed in the middle of it: the station sends again, to a process that lives.
                    killer.join()
                    bench.again(others[0])
                killer.join()
                running.remove(deciding)
                running.append(Process(Path(folder), url, [phone.url]))
                wait_for(lambda bench=bench: bench.alarms(), 30)
                took.append(time.monotonic() - sent_s)
                (alarm,) = bench.alarms()
                wait_for(lambda a=alarm, b=bench: ("first-time", "sent") in b.messages(a.id), 30)
                rows = [why for why, _state in bench.messages(alarm.id)]
                assert rows.count("first-time") == 1, rows
                messages.append(sum(f"bench-{number}" == title.rpartition(" ")[2] for title in phone.taken))
                bench.end()
                running[-1].ready()
                print(
                    f"{number + 1:3}: alarm after {took[-1]:.1f} s, told {messages[-1]} time(s)", flush=True
                )
        finally:
            for process in running:
                process.stop()
            phone.close()
            store.close()
            cluster.close()
    took.sort()
    twice = sum(count > 1 for count in messages)
    print(
        f"{len(took)} kills: alarm after p50 {took[len(took) // 2]:.1f} s, longest {took[-1]:.1f} s; each raised once; "
        f"{twice} messages came twice, {messages.count(0)} not at all"
    )


if __name__ == "__main__":
    main()
