"""What is believed of one probe."""

from __future__ import annotations

import json

import pytest

from logger.alarms.inputs import LiveReading
from logger.alarms.signal import ProbeSignal

T0 = 1_790_000_000_000


def fed(*values: float | None, every_s: float = 5.0, track: ProbeSignal | None = None) -> ProbeSignal:
    track = track or ProbeSignal("core", "a", "bench-1", T0, T0)
    for value in values:
        at_ms = track.seen_ms + round(every_s * 1000)
        track.take(LiveReading("core", "a", at_ms, value, None if value is not None else "empty-read"))
    return track


def test_a_lone_jump_is_not_believed() -> None:
    """The power-on value between two good ones, and any other lone jump."""
    assert fed(21.0, 21.0, 85.0).believed_c == 21.0
    assert fed(21.0, 21.0, 85.0, 21.1).believed_c == 21.1
    assert fed(57.0, 57.0, 61.5).believed_c == 57.0


def test_a_jump_that_the_next_reading_confirms_is_believed() -> None:
    """A probe moved from the bench into warm resin."""
    assert fed(21.0, 21.0, 35.0, 35.2).believed_c == 35.2


def test_two_power_on_values_confirm_nothing_but_a_real_85_does_not_stop_a_hot_pour() -> None:
    """85.0 exactly is what the chip wakes up with; a hot pour passes through it on the way."""
    assert fed(21.0, 21.0, 85.0, 85.0, 85.0).believed_c == 21.0
    assert fed(84.0, 84.5, 85.0).believed_c == 85.0
    assert fed(21.0, 21.0, 85.0, 85.0625).believed_c == 85.0625


def test_a_runaway_is_believed_at_once_at_every_sweep() -> None:
    """An invented runaway, 12 °C a minute at its steepest, sampled every 30 s: no reading is held back."""
    value, step, track = 50.0, 0.2, fed(49.8, 50.0, every_s=30)
    while value < 140:
        step = min(6.0, step * 1.35)
        value += step
        assert fed(value, every_s=30, track=track).believed_c == value


def test_a_steep_rise_that_starts_at_once_is_believed_from_its_second_reading() -> None:
    """3 °C a sweep from one sweep to the next: never confirmed by a near one, and yet true."""
    track = fed(*[50.0] * 20, every_s=30)
    seen = [fed(50.0 + 3.3 * i, every_s=30, track=track).believed_c for i in range(1, 8)]
    assert seen[1] == pytest.approx(53.3)
    assert seen[2:] == pytest.approx([50 + 3.3 * i for i in range(3, 8)])


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), -127.0, 3276.8])
def test_no_number_that_cannot_be_a_temperature_is_believed(value: float | None) -> None:
    """It counts as a reading that failed."""
    track = fed(21.0, 21.0, value)
    assert (track.believed_c, track.missed) == (21.0, 1)


def test_the_first_reading_needs_a_second() -> None:
    """At start there is nothing to compare a power-on value with."""
    assert fed(85.0).believed_c is None
    assert fed(85.0, 21.0).believed_c is None
    assert fed(85.0, 21.0, 21.0).believed_c == 21.0


def test_it_learns_how_often_readings_come_and_a_gap_changes_little() -> None:
    """5 s in the first hour, 30 s later; half an hour of silence is not a new rhythm."""
    track = fed(*[21.0] * 20)
    assert track.period_s == pytest.approx(5, rel=0.01)
    fed(*[21.0] * 30, every_s=30, track=track)
    assert track.period_s == pytest.approx(30, rel=0.01)
    fed(21.0, every_s=1800, track=track)
    assert track.period_s < 45


def test_a_reading_out_of_order_is_not_believed() -> None:
    """Caught-up data that is older than what is known says nothing about now."""
    track = fed(21.0, 21.0)
    assert not track.take(LiveReading("core", "a", track.seen_ms - 1, 21.1))
    assert track.believed_c == 21.0


def test_a_track_survives_being_written_and_read() -> None:
    """Exactly: a restart must not change what is believed next."""
    track = fed(*[20 + i / 8 for i in range(200)], None, 85.0)
    again = ProbeSignal.from_dict(json.loads(json.dumps(track.to_dict())))
    assert again == track
    assert fed(45.0, track=again) == fed(45.0, track=track)
