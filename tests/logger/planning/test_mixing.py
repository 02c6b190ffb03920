"""The check of a weighed batch before it meets the wood. Limits: common practice, no source."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import OutOfRange
from logger.plan.file import Glass
from logger.planning.finding import Light
from logger.planning.physics.batch_slips import PlannedBatch, Weights
from logger.planning.physics.mixing import Correction, MixVerdict, Pail, check, correcting_addition
from logger.planning.physics.parts import Ratio, Recipe
from logger.words.render import say

WEIGHT = Ratio(2, 1, "weight")
VOLUME = Ratio(2, 1, "volume")


def judge(
    a_g: float,
    b_g: float,
    right: Ratio = WEIGHT,
    pail: Pail | None = None,
    planned: PlannedBatch | None = None,
) -> MixVerdict:
    """The check with the densities of an invented system."""
    return check(Weights(a_g, b_g), Recipe(right, 1150, 950), Glass(), pail, planned)


@pytest.mark.parametrize(
    ("b_g", "light"),
    [
        (1000, Light.OK),
        (1020, Light.OK),
        (980, Light.OK),
        (1021, Light.WATCH),
        (979, Light.WATCH),
        (1050, Light.WATCH),
        (950, Light.WATCH),
        (1051, Light.STOP),
        (949, Light.STOP),
    ],
)
def test_fine_within_two_percent_watched_to_five_and_stopped_beyond(b_g: float, light: Light) -> None:
    """Both ways alike: too much hardener is as bad as too little."""
    assert judge(2000, b_g).light is light


@pytest.mark.parametrize(
    ("a_g", "b_g", "right", "words"),
    [
        (1000, 1000, WEIGHT, "one to one by weight instead of 2 : 1 by weight"),
        (1150, 950, WEIGHT, "one to one by volume"),
        (2000, 1000, VOLUME, "2 : 1 by volume, weighed as if it were by weight"),
        (2300, 950, WEIGHT, "2 : 1 by weight, measured by volume"),
        (1000, 2000, WEIGHT, "swapped"),
        (1000, 1000, VOLUME, "one to one by weight instead of 2 : 1 by volume"),
        (2000, 500, WEIGHT, "part A put in twice"),
    ],
)
def test_a_known_mistake_is_called_by_its_name(a_g: float, b_g: float, right: Ratio, words: str) -> None:
    """One-to-one for two-to-one, weight for volume, swapped parts and a doubled part are named."""
    verdict = judge(a_g, b_g, right)

    assert verdict.light is Light.STOP
    assert words in say(verdict.mistake)


def test_a_plain_slip_is_given_no_name() -> None:
    """8 % too much is no known mistake: nothing is invented."""
    assert say(judge(2000, 1080).mistake) == ""


@pytest.mark.parametrize(
    ("a_g", "b_g", "part", "grams"),
    # closed form: a·r − b of B, or b/r − a of A
    [(2000, 900, "B", 100), (2000, 1100, "A", 200), (1000, 1000, "A", 1000), (2000, 1000, "B", 0)],
)
def test_the_correction_says_which_part_and_how_much(a_g: float, b_g: float, part: str, grams: float) -> None:
    """Too little hardener: more hardener. Too much: more resin."""
    found = correcting_addition(a_g, b_g, WEIGHT)

    assert (found.part, found.grams) == (part, pytest.approx(grams))


def test_a_batch_that_has_been_poured_cannot_be_corrected() -> None:
    """On the wood it is too late, and the verdict says what then."""
    verdict = judge(2000, 1200, pail=Pail(poured=True))

    assert verdict.correction is None
    assert "too late" in say(verdict.change)


def test_a_batch_that_has_begun_to_set_cannot_be_corrected() -> None:
    """After a third of the working time there is no time left to stir a correction in."""
    early = judge(2000, 1080, pail=Pail(age_min=5, working_time_min=30))
    late = judge(2000, 1080, pail=Pail(age_min=11, working_time_min=30))

    assert isinstance(early.correction, Correction)
    assert late.correction is None
    assert "Too late" in say(late.change)


@pytest.mark.parametrize(
    ("b_g", "heat_pct", "softer_k"),
    # By hand: min(r, 1) over the mass, 1 + (r − 1) / 3; DiBenedetto of −40 to 85 °C, λ 0.4, at 1 / 1.1 and at 0.9.
    [(1100, 96.8, 25.0), (900, 93.1, 27.2)],
)
def test_a_wrong_ratio_says_what_it_does_to_heat_and_hardness(
    b_g: float, heat_pct: float, softer_k: float
) -> None:
    """10 % off either way: less heat and a softer casting, in figures and in the sentence that the page shows."""
    verdict = judge(2000, b_g)

    assert verdict.effect is not None
    assert verdict.effect.heat_pct == pytest.approx(heat_pct, abs=0.05)
    assert verdict.effect.softer_k == pytest.approx(softer_k, abs=0.1)
    assert "less heat" in say(verdict.sentence)
    assert "softer" in say(verdict.sentence)


def test_a_right_batch_has_no_such_sentence_and_one_that_never_gels_says_so() -> None:
    """Within 2 % nothing is said of heat; four times the hardener stays a syrup (Flory and Stockmayer)."""
    assert judge(2000, 1000).effect is None
    assert "softer" not in say(judge(2000, 1000).sentence)
    assert "never gels" in say(judge(2000, 4000).sentence)


@pytest.mark.parametrize(
    ("a_g", "b_g", "missing"), [(2000, 0, "Part B is not in yet."), (0, 500, "Part A is not in yet.")]
)
def test_a_part_that_is_not_in_yet_is_a_stop(a_g: float, b_g: float, missing: str) -> None:
    """Half a mix never cures: it is named, with what to add."""
    verdict = judge(a_g, b_g)

    assert (verdict.light, say(verdict.sentence)) == (Light.STOP, missing)
    assert verdict.correction is not None
    assert verdict.correction.grams > 0


def test_an_empty_scale_is_no_mix() -> None:
    """Nothing weighed yet stands at stop without a correction."""
    assert judge(0, 0).light is Light.STOP


@pytest.mark.parametrize("weight", [-1.0, math.nan, math.inf])
def test_a_weight_that_cannot_be_is_refused(weight: float) -> None:
    """Value, unit and remedy are in the message."""
    with pytest.raises(OutOfRange, match="g") as refusal:
        judge(weight, 100)

    assert say(refusal.value.remedy) == "read the scale again"


weights = st.floats(1, 50_000)


@given(a_g=weights, b_g=weights, right=st.sampled_from([WEIGHT, VOLUME, Ratio(100, 30, "weight")]))
def test_after_the_correction_the_batch_is_exact(a_g: float, b_g: float, right: Ratio) -> None:
    """Whatever was weighed, adding what is asked gives a ratio within the green band, and never a negative part."""
    addition = correcting_addition(a_g, b_g, right.by_weight(1150, 950))
    assert addition.grams >= 0

    more = (a_g + addition.grams, b_g) if addition.part == "A" else (a_g, b_g + addition.grams)
    verdict = judge(*more, right)
    assert verdict.light is Light.OK
    assert abs(verdict.error_pct) < 1e-6
