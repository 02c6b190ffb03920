"""The plain limit: two readings of a core in a row over it, from whatever has arrived, with nothing but memory."""

from __future__ import annotations

from hardware.clock import Stamp
from logger.alarms.plain_limit import PlainLimit, Watched
from logger.wire import WireReading

BENCH, OTHER = 1, 2


def row(
    seq: int, celsius: float | None, probe: str = "28-core", place: str = "core", boot: str = "b"
) -> WireReading:
    """One reading, one every five seconds."""
    stamp = Stamp(0, boot, seq * 5000, False)
    milli_c = None if celsius is None else round(celsius * 1000)
    return WireReading(
        probe, place, stamp, milli_c, "missing" if celsius is None else None, "0", None, seq=seq
    )


def limit(*pours: Watched) -> PlainLimit:
    """It knows these pours; by default one, at 60 °C."""
    made = PlainLimit()
    made.set_pours(pours or (Watched(7, "Table", BENCH, 60.0),))
    return made


def told(found: PlainLimit) -> list[tuple[int, float, int, int]]:
    """(pour, °C, since, readings in a row) of each that is over."""
    return [(over.pour.pour_id, over.celsius, over.since_ms, over.in_a_row) for over in found.over()]


def test_two_readings_in_a_row_over_the_limit_are_told_with_the_second() -> None:
    """At the limit is not over it; one alone may be a lie."""
    found = limit()
    for at_ms, celsius in enumerate((59.0, 60.0, 60.06, 59.0, 60.06)):
        found.take(BENCH, [row(at_ms, celsius)], at_ms)
    assert told(found) == []
    found.take(BENCH, [row(9, 61.0)], 9)
    assert told(found) == [(7, 61.0, 9, 2)]
    found.take(BENCH, [row(10, 62.0)], 10)
    assert told(found) == [(7, 62.0, 9, 3)]


def test_the_hottest_of_several_cores_is_named() -> None:
    """Whatever came last: somebody must know how hot it is."""
    found = limit()
    found.take(BENCH, [row(1, 80.0), row(1, 61.0, "28-core-2", "core-2")], 1)
    found.take(BENCH, [row(2, 81.0), row(2, 62.0, "28-core-2", "core-2")], 2)
    found.take(BENCH, [row(2, 70.0, "28-core-3", "core-3"), row(3, 70.0, "28-core-3", "core-3")], 3)
    assert told(found) == [(7, 81.0, 2, 2)]


def test_it_ends_two_degrees_below_and_not_with_silence() -> None:
    """Neither a fault nor nothing at all cools a core."""
    found = limit()
    found.take(BENCH, [row(1, 61.0), row(2, 62.0), row(3, None)], 1)
    assert told(found)
    found.take(BENCH, [row(4, 58.0)], 2)
    assert told(found), "within the deadband"
    found.take(BENCH, [row(5, 57.9)], 3)
    assert told(found) == []
    found.take(BENCH, [row(6, 60.5), row(7, 60.5)], 4)
    assert told(found) == [(7, 60.5, 4, 2)]


def test_rows_that_come_again_count_once() -> None:
    """A station sends what was refused again and again, oldest first; another boot begins anew."""
    found = limit()
    for _ in range(5):
        found.take(BENCH, [row(1, 59.0), row(2, 61.0)], 1)
    assert told(found) == []
    found.take(BENCH, [row(1, 61.0, boot="c")], 2)
    assert told(found), "the second in a row, after the station was started again"


def test_only_the_cores_of_the_pour_count() -> None:
    """A surface under a lamp, another station's core, a probe that was not chosen for this pour."""
    found = limit(
        Watched(7, "Table", BENCH, 60.0, probes=frozenset({"28-mine"})), Watched(8, "Bar", OTHER, 50.0)
    )
    hot = [row(1, 70.0, "28-mine", "surface"), row(2, 70.0, "28-mine", "surface"), row(3, 70.0, "28-theirs"),
           row(4, 70.0, "28-theirs")]  # fmt: skip
    found.take(BENCH, hot, 1)
    assert told(found) == []
    found.take(BENCH, [row(5, 70.0, "28-mine", "core-2"), row(6, 71.0, "28-mine", "core-2")], 2)
    assert told(found) == [(7, 71.0, 2, 2)]
    found.take(OTHER, [row(1, 51.0), row(2, 51.0)], 3)
    assert [pour for pour, *_ in told(found)] == [7, 8]


def test_a_probe_that_has_not_measured_says_85_and_is_not_believed() -> None:
    """However often it says so; near it, 85 is a temperature like any other."""
    found = limit()
    found.take(BENCH, [row(1, 22.0), row(2, 85.0), row(3, 85.0), row(4, 85.0)], 1)
    assert told(found) == []
    found.take(BENCH, [row(5, 83.0), row(6, 85.0)], 2)
    assert told(found) == [(7, 85.0, 2, 2)]


def test_a_pour_that_is_over_is_forgotten() -> None:
    """And what its probes said with it."""
    found = limit()
    found.take(BENCH, [row(1, 61.0), row(2, 61.0)], 1)
    assert found.hottest(7) == (61.0, 1)
    found.set_pours([])
    assert told(found) == []
    found.set_pours([Watched(7, "Table", BENCH, 60.0)])
    assert (told(found), found.hottest(7)) == ([], None)
