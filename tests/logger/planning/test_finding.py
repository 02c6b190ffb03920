"""What an answer looks like, and how a refusal reads."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from logger.errors import OutOfRange
from logger.facts import fact
from logger.planning.finding import (
    COMMON_PRACTICE,
    Constant,
    Figure,
    Light,
    above,
    not_negative,
    plain,
    within,
    worst,
)
from logger.words.render import say


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"),
        (12.3456, "12.3"),
        (1234.5, "1234"),
        (0.00688, "0.00688"),
        (100.0, "100"),
        (6e-5, "6e-05"),
        (-4.256, "-4.26"),
        (2.0, "2"),
        (120.0, "120"),
    ],
)
def test_numbers_are_written_as_a_maker_reads_them(value: float, text: str) -> None:
    """Three figures, no trailing zeros, no exponent in the usual range."""
    assert plain(value) == text


def test_the_worst_light_decides() -> None:
    """One stop outweighs everything; nothing at all is ok."""
    assert worst([Light.OK, Light.STOP, Light.WATCH]) is Light.STOP
    assert worst([Light.WATCH, Light.OK]) is Light.WATCH
    assert worst([]) is Light.OK


def test_a_constant_carries_its_source() -> None:
    """Name, value, unit and where it comes from."""
    soak = Constant(fact("constant.fibre-saturation"), 30.0, "%", COMMON_PRACTICE)
    assert say(soak.said) == "fibre saturation 30 % (common practice, no source)"
    sag = Figure(fact("figure.movement"), 0.5, "mm")
    assert say(sag.said) == "movement 0.5 mm"


MEASURE = fact("mend.measure-it")


@pytest.mark.parametrize(
    "ask",
    [
        lambda v: within("depth", v, 0, 100, "mm", MEASURE),
        lambda v: above("depth", v, 0, "mm", MEASURE),
        lambda v: not_negative("depth", v, "mm", MEASURE),
    ],
)
@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf, -math.inf])
def test_a_refusal_names_value_range_unit_and_remedy(ask: Callable[[float], float], value: float) -> None:
    """All three kinds of range."""
    with pytest.raises(OutOfRange) as refusal:
        ask(value)

    text = str(refusal.value)
    assert "depth" in text
    assert repr(value) in text
    assert "mm" in refusal.value.allowed
    assert "measure it" in text
