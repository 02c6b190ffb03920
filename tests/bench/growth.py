"""Do pages and alarm checks cost the same with fifty million stored readings as with fifty thousand?

Run by hand:

    python tests/bench/growth.py [--database postgresql] [--readings 50000000]

Two databases hold the same live pour with 20,000 readings of its own; the one has 30,000 more, the other fifty million,
of pours that are over (50,000 each) and of stations that wait. Each page and each check is asked of both in turn, and
the ratio of the medians is printed. The readings are invented and put in by plain SQL, without the chain's hashes.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

# The checkout as well: else tests/logger hides the package of that name.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cluster import Cluster
from load import PLAN

from hardware.clock import Stamp, SystemClock
from logger.pour import Stage
from logger.settings import Settings
from logger.store import partitions, people, pours, readings, stations
from logger.store.boots import boot_row
from logger.store.people import Role
from logger.store.pours import PlannedPour
from logger.store.reading_batches import ReadingBatch
from logger.wire import WireReading
from web.security.access import COOKIE
from web.security.throttle import unlimited
from web.server.app import make_app
from web.service.service import Service
from web.views.predicted import frozen, predicted_of

OWN, EACH = 20_000, 50_000
#: As many pours that are over as the first page shows, at least.
FINISHED = 12
PAGES = (
    "/",
    "/pours/1",
    "/api/pours/1/curve?width=800",
    "/stations",
    "/messages",
    "/api/alarms",
    "/api/pours/1/alarms",
    "/metrics",
)
ROUNDS = 41
PREDICTED = frozen(predicted_of(PLAN))


class Shop:
    """A service over one database, a browser, a live pour, and as many readings beside it as asked."""

    def __init__(self, folder: Path, cluster: Cluster | None, extra: int) -> None:
        folder.mkdir()
        self._cluster = cluster
        url = None if cluster is None else cluster.address(cluster.create())
        self.clock = SystemClock()
        self.service = Service.open(Settings(data_dir=str(folder), database_url=url), self.clock)
        service = self.service
        now_ms = service.timeline.true_ms()
        with service.store.write() as tx:
            person = people.add_person(tx, "Ada", Role.OWNER, "x", now_ms)
            token = people.start_sign_in(tx, person, now_ms, "bench")
            self.station, _token = stations.enrol(tx, "bench-1", now_ms)
            old, _token = stations.enrol(tx, "old-1", now_ms)
            boot_of = {
                station: boot_row(tx, station, Stamp(now_ms, f"boot of {station}", 0, True), now_ms)
                for station in (self.station, old)
            }
            self.pour = self._pour(tx, self.station)
            over = [self._pour(tx, old) for _ in range(max(FINISHED, extra // EACH))]
            tx.exec_driver_sql(
                f"UPDATE pour SET stage = 'released', released_ms = {now_ms} WHERE station_id = {old}"
            )
        self.seq = 0
        self._sweep(30.0)
        began = time.perf_counter()
        self._fill(self.station, boot_of[self.station], (self.pour, self.pour), OWN, now_ms)
        self._fill(old, boot_of[old], (over[0], over[-1]), extra, now_ms)
        with service.store.write() as tx:
            last = tx.exec_driver_sql("SELECT max(id) FROM reading").scalar_one()
            tx.exec_driver_sql(f"UPDATE pour SET judged_reading_id = {last}")
        self._settle()
        self.filled_s = time.perf_counter() - began
        self.client = TestClient(make_app(service, unlimited()), client=("127.0.0.1", 5000))
        self.client.cookies.set(COOKIE, token)

    def _pour(self, tx: Any, station_id: int) -> int:
        timeline = self.service.timeline
        made = pours.add_pour(
            tx,
            PlannedPour(title="Table", client="", plan_toml=PLAN, station_id=station_id),
            by="Ada",
            now_ms=timeline.true_ms(),
        )
        pours.freeze_prediction(tx, made, PREDICTED, "test")
        for stage in (Stage.READY, Stage.POURING, Stage.WATCHED, Stage.CURING):
            pours.move_on(tx, made, stage, "Ada", timeline)
        return made

    def _fill(self, station: int, boot: int, of: tuple[int, int], count: int, now_ms: int) -> None:
        """Rows by the database itself, five seconds apart, in the months before now."""
        columns = (
            "station_id, spool, seq, pour_id, probe, place, boot, boot_ms, wall_ms, clock_set, milli_c, raw, "
            "late, received_ms, link"
        )
        pour = f"{of[0]} + (n / {EACH}) % {of[1] - of[0] + 1}"
        at = f"{now_ms} - ({count} - n) * 100"
        values = (
            f"{station}, 'bulk', n, {pour}, '28-00000000000' || n % 6, 'core', {boot}, {at} - {now_ms}, {at}, "
            f"{{true}}, 21000 + n % 20000, '57014b467fff0c10ab', {{false}}, {at}, '{'a' * 64}'"
        )
        with self.service.store.write() as tx:
            if self.service.store.is_sqlite:
                tx.exec_driver_sql(
                    f"INSERT INTO reading ({columns}) WITH RECURSIVE s(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM s "
                    f"WHERE n < {count}) SELECT {values.format(true=1, false=0)} FROM s"
                )
                return
            month = partitions.month_of(now_ms - count * 100)
            while month.from_ms <= now_ms:
                if month not in partitions.months(tx):
                    partitions.make(tx, month)
                month = month.next
            selected = values.format(true="true", false="false")
        assert self._cluster is not None
        # Without the look-ups of foreign keys, which take most of the time: they are all there.
        self._cluster.execute(
            self.service.store.url.database or "",
            f"SET session_replication_role = replica; INSERT INTO reading ({columns}) SELECT {selected} "
            f"FROM generate_series(1::bigint, {count}) AS s(n)",
        )

    def _settle(self) -> None:
        """What a server does by itself after a while: figures for its planner. SQLite does not."""
        if self.service.store.is_sqlite:
            return
        with self.service.store.write() as tx:
            tx.exec_driver_sql("ANALYZE")

    def _sweep(self, celsius: float) -> None:
        now = self.clock.stamp()
        rows = []
        for place in ("core", "surface", "underside", "room"):
            self.seq += 1
            rows.append(
                WireReading(
                    f"28-{place}",
                    place,
                    Stamp(now.wall_ms, "b", now.boot_ms, True),
                    round(celsius * 1000),
                    None,
                    "00",
                    None,
                    seq=self.seq,
                )
            )
        with self.service.store.write() as tx:
            station = stations.by_name(tx, "bench-1")
            readings.save_batch(
                tx,
                ReadingBatch(station.id, "spool-1", Stamp(now.wall_ms, "b", now.boot_ms, True), rows),
                self.service.timeline.true_ms(),
            )

    def asks(self) -> dict[str, Callable[[], Any]]:
        """Everything that is timed."""

        def get(path: str) -> None:
            answer = self.client.get(path)
            assert answer.status_code == 200, (path, answer.status_code)

        asked: dict[str, Callable[[], Any]] = {path: (lambda path=path: get(path)) for path in PAGES}
        asked["store a batch"] = lambda: self._sweep(30.0)
        asked["judge a pour"] = self._judge
        return asked

    def _judge(self) -> None:
        while self.service.watch.judge(self.pour):
            pass


def main() -> None:
    """Reads the command line."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    told.add_argument("--readings", type=int, default=50_000_000)
    told.add_argument("--folder", type=Path, default=None)
    given = told.parse_args()
    cluster = Cluster(fsync=False) if given.database == "postgresql" else None
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        small = Shop(Path(folder) / "small", cluster, EACH - OWN)
        large = Shop(Path(folder) / "large", cluster, given.readings - OWN)
        print(
            f"{given.database}: {EACH:,} and {given.readings:,} readings (filled in {large.filled_s:.0f} s)"
        )
        few, many = small.asks(), large.asks()
        for name in few:
            times: dict[str, list[float]] = {"few": [], "many": []}
            for number in range(ROUNDS):
                for which, ask in (("few", few[name]), ("many", many[name])):
                    began = time.perf_counter()
                    ask()
                    if number:  # the first fills what is kept in memory
                        times[which].append(time.perf_counter() - began)
            small_s, large_s = statistics.median(times["few"]), statistics.median(times["many"])
            print(
                f"{name:32} {small_s * 1000:8.2f} ms {large_s * 1000:8.2f} ms  ratio {large_s / small_s:.2f}",
                flush=True,
            )
        for one in (small, large):
            one.service.close()
    if cluster is not None:
        cluster.close()


if __name__ == "__main__":
    main()
