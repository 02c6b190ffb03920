"""Reading a datasheet, and the specimen that each statement speaks of."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from logger.cure.fit.datasheet import cup_mm, datasheet_from_text, read_datasheet, specimen_plan
from logger.errors import BadInput
from logger.words.reader import METRIC
from logger.words.render import say

HERE = Path(__file__).parent / "datasheets"
LEAST = 'name = "x"\n[[gel_time]]\nfilm_mm = 1\nat_c = 25\ntime_min = 60\n'


def test_an_example_is_read_with_its_statements():
    """Every statement of the invented slow system is there, in the order in which it is shown."""
    sheet = read_datasheet(HERE / "slow-casting.toml")
    told = [say(statement.describe(), METRIC) for statement in sheet.statements()]
    assert told[0] == "a working time of 27 h 40 min for 500 g at 25 °C"
    assert told[-1] == "a 50 mm pour at 22 °C that stays under 60 °C"
    assert len(told) == 5


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (LEAST.replace("film_mm = 1", ""), "give either mass_kg"),
        (LEAST.replace("film_mm = 1", "film_mm = 1\nmass_kg = 0.1"), "give either mass_kg"),
        (LEAST.replace("at_c = 25", "at_c = 250"), "at_c"),
        (LEAST.replace("time_min = 60", "time_min = 0"), "time_min"),
        (LEAST.replace("time_min = 60", "time_h = 1"), "time_h"),
        (LEAST.replace("film_mm = 1", "film_mm = 0"), "film_mm"),
        ('name = "x"\n', "nothing here says how fast"),
        ('name = "x"\n[[peak]]\nmass_kg = 1\nat_c = 25\npeak_c = 20\ntime_min = 9\n', "a cure warms the mix"),
        ('name = "x"\n[[peak]]\nat_c = 25\npeak_c = 60\ntime_min = 9\n', "mass_kg .a cup. or depth_mm"),
        ("name = ", "cannot be read: line 1 .name."),
    ],
)
def test_each_mistake_is_named(text, told):
    """A mistake in a datasheet is refused with the key and what to do about it."""
    with pytest.raises(BadInput, match=told):
        datasheet_from_text(text)


def test_a_missing_file_is_refused(tmp_path):
    """A path without a file is answered with the path and the remedy."""
    with pytest.raises(BadInput, match=r"none\.toml.*give the path"):
        read_datasheet(tmp_path / "none.toml")


@pytest.mark.parametrize("mass_kg", [0.05, 0.1, 1.0, 10.0])
def test_a_cup_holds_its_mass(mass_kg):
    """A cup as wide as the mix is deep holds the stated mass: π d² /4 · d · density (closed form)."""
    d = cup_mm(mass_kg, 1100.0) / 1000
    assert math.pi / 4 * d**3 * 1100.0 == pytest.approx(mass_kg)


def test_each_statement_has_its_specimen(slow_casting):
    """Masses stand in a round cup, deep pours are wide or between slabs, films need no solver."""
    sheet = read_datasheet(HERE / "slow-casting.toml")
    resin = dict(slow_casting, density_kg_m3=1100.0)
    working, film, peak, cure, deep = (specimen_plan(s, resin, 50.0) for s in sheet.statements())
    assert film is None
    assert (working.pour.shape, working.form.bottom.thickness_mm, working.form.underside) == (
        "round",
        1.0,
        "closed",
    )
    assert working.pour.depth_mm == working.pour.width_mm < peak.pour.depth_mm
    assert (cure.pour.shape, cure.pour.depth_mm) == ("sheet", 30.0)
    assert (deep.pour.shape, deep.pour.width_mm, deep.air.room_c) == ("river", 300.0, 22.0)


def test_equivalent_weights_give_the_heat():
    """With both equivalent weights the heat before the fit is heat per equivalent over their sum."""
    sheet = read_datasheet(HERE / "quick-coating.toml")
    heat, part, where = sheet.mixture.heat_prior()
    assert heat == pytest.approx(103_000 / (187 + 45))
    assert 0 < part < 0.15
    assert where.code == "heat-from-equivalents"
