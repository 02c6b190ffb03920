"""History's part in judging 85.0 and repeated samples, on hand-made series."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from hardware.bench.w1_files import power_on_scratchpad, scratchpad
from hardware.plausibility import Belief, PlausibilityCheck, settle
from hardware.scratchpad import Ambiguous, Good

UNPROVEN = Ambiguous(power_on_scratchpad())


def check_after(
    temperatures: Sequence[float], *, period_s: float = 30.0, clone: bool = True
) -> PlausibilityCheck:
    """A check that has seen good readings, the last at time 0."""
    check = PlausibilityCheck()
    for number, celsius in enumerate(temperatures, 1 - len(temperatures)):
        check.take(Good(celsius, scratchpad(celsius, clone=clone)), number * period_s)
    return check


def test_85_is_believed_when_the_readings_lead_there() -> None:
    """84.5, 84.9, then 85.0 without proof, on a chip that cannot prove it."""
    assert check_after([84.5, 84.9]).believe(UNPROVEN, 30.0) is Belief.TRUE


def test_85_out_of_the_blue_is_held() -> None:
    """25 °C, then 85.0: nothing is decided before the next reading."""
    assert check_after([25.0, 25.0]).believe(UNPROVEN, 30.0) is Belief.HOLD


def test_a_first_ever_85_is_held() -> None:
    """A probe that has never said anything else has no history to believe."""
    assert PlausibilityCheck().believe(UNPROVEN, 0.0) is Belief.HOLD


def test_85_is_held_when_the_last_reading_is_old() -> None:
    """Ten minutes of silence say nothing about now."""
    assert check_after([84.5, 84.9]).believe(UNPROVEN, 600.0) is Belief.HOLD


def test_85_is_held_when_the_heat_has_passed_it_by_now() -> None:
    """Rising ten degrees a reading, 83.5 was the last: 93 is due, 85.0 is not, though it is close to 83.5."""
    assert check_after([63.5, 73.5, 83.5]).believe(UNPROVEN, 30.0) is Belief.HOLD


def test_85_of_a_chip_known_as_genuine_is_the_power_on_value() -> None:
    """A genuine chip says by byte 6 that it never converted, wherever the readings lead."""
    check = check_after([80 + 0.3125 * step for step in range(16)], clone=False)
    assert check.genuine is True
    assert check.believe(UNPROVEN, 30.0) is Belief.POWER_ON


@pytest.mark.parametrize(
    ("before", "after", "belief"),
    [
        ([84.0, 84.4], 85.5, Belief.TRUE),
        ([70.0, 78.0], 95.0, Belief.TRUE),
        ([25.0, 25.0], 25.0, Belief.POWER_ON),
        ([50.0, 60.0], 88.0, Belief.POWER_ON),
        ([77.0, 78.0], 80.0, Belief.POWER_ON),
        ([], 85.5, Belief.TRUE),
        ([], 25.0, Belief.POWER_ON),
    ],
)
def test_a_held_85_is_settled_by_its_neighbours(before: list[float], after: float, belief: Belief) -> None:
    """The reading before at 0 s, 85.0 at 30 s, the reading after at 60 s."""
    assert settle(30.0, check_after(before).last_good, (60.0, after)) is belief


def test_a_long_rest_at_85_is_true_when_entered_and_left_from_close_by() -> None:
    """Five minutes of 85.0 on a clone, at the top of a slow hump."""
    assert settle(150.0, (0.0, 84.9), (330.0, 84.9)) is Belief.TRUE


def test_a_clone_is_known_after_ten_breaches_of_the_byte_6_rule_and_not_before() -> None:
    """One breach may be noise; ten are a habit."""
    check = PlausibilityCheck()
    for number in range(9):
        check.take(Good(20.0, scratchpad(20.0, clone=True)), float(number))
        assert check.genuine is None
    check.take(Good(20.0, scratchpad(20.0, clone=True)), 9.0)
    assert check.genuine is False


def test_a_clone_resting_where_its_byte_fits_is_not_taken_for_genuine() -> None:
    """At 20.25 °C a stuck 0x0C keeps the rule by chance, for as long as the room stays there."""
    check = PlausibilityCheck()
    for number in range(200):
        check.take(Good(20.25, scratchpad(20.25, clone=True)), float(number))
    assert check.genuine is None


def test_a_sample_that_repeats_during_a_steep_rise_is_noted() -> None:
    """Two degrees a reading, then the same bytes: an old sample is likely."""
    check = check_after([60.0, 62.0, 64.0, 66.0])
    note = check.take(Good(66.0, scratchpad(66.0)), 30.0)
    assert note is not None
    assert "+2.0 °C was to be expected" in note
    assert check.take(Good(70.0, scratchpad(70.0)), 60.0) is None


def test_a_value_that_is_stuck_for_a_while_is_noted() -> None:
    """A third of a degree a reading, then nothing moves for three minutes."""
    check = check_after([40 + step / 3 for step in range(8)])
    notes = [check.take(Good(42.3125, scratchpad(42.3125)), 30.0 * step) for step in range(1, 7)]
    assert notes[0] is None
    assert notes[-1] is not None


def test_the_top_of_a_hump_is_not_taken_for_stuck() -> None:
    """One degree in ten minutes down from the top on either side: the sharpest top of a cure."""
    check = PlausibilityCheck()
    for step in range(-40, 41):
        celsius = round((60 - (step * 30) ** 2 / 600**2) * 16) / 16
        assert check.take(Good(celsius, scratchpad(celsius)), step * 30.0) is None


def test_a_quiet_room_is_not_taken_for_stuck() -> None:
    """Hours at one temperature after a step of a sixteenth."""
    check = check_after([20.0, 20.0, 20.0625])
    assert all(check.take(Good(20.0625, scratchpad(20.0625)), 30.0 * step) is None for step in range(1, 500))
