"""The planning tables of the plan file: optional, strict, and refused with value, range, unit and remedy."""

from __future__ import annotations

import pytest

from logger.errors import BadPlan
from logger.plan.file import plan_from_text, plan_to_text

MIX = '[mix]\ndensity_a_kg_m3 = 1150\ndensity_b_kg_m3 = 960\nratio_parts = [2, 1]\nratio_by = "volume"\n'
SLAB = '[[slab]]\nname = "left"\nspecies = "oak"\nthickness_mm = 50\nwidth_mm = 300\nlength_mm = 1500\n'


def test_a_plan_without_them_is_still_a_plan(plan_toml: str) -> None:
    """Nothing new is asked of a bare plan, and what planning reads has usable defaults."""
    plan = plan_from_text(plan_toml)

    assert plan.mix is None
    assert plan.slab == []
    assert plan.allowance.waste_pct == 10


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("[outline]\nedge_slope_deg = 80\n", ["edge_slope_deg", "80", "75", "°"]),
        ("[allowance]\nwaste_pct = -1\n", ["waste_pct", "-1", "0", "%"]),
        (MIX.replace("960", "20"), ["density_b_kg_m3", "20", "100", "kg/m³"]),
        (MIX + "pour_min_per_l = 0\n", ["pour_min_per_l", "0", "min per litre"]),
        (MIX + "eew_g_eq = 5\n", ["eew_g_eq", "5", "100", "g/eq"]),
        ("[form.support]\nspan_mm = 0\n", ["span_mm", "0", "mm"]),
        ("[form.support]\nspan_mm = 300\nmodulus_gpa = 900\n", ["modulus_gpa", "900", "300", "GPa"]),
        ("[form.seam]\nresin_viscosity_pa_s = 0\n", ["resin_viscosity_pa_s", "0", "Pa·s"]),
        (SLAB + "[slab.meter]\nreadings_pct = [8]\nwood_c = 400\n", ["wood_c", "400", "150", "°C"]),
        ("[shop]\nfloor_m2 = 0\n", ["floor_m2", "0", "m²"]),
        ("[shop]\nfloor_m2 = 40\nair_changes_per_h = 500\n", ["air_changes_per_h", "500", "100", "1/h"]),
        ("[scale]\nresolution_g = 0\n", ["resolution_g", "0", "g"]),
        ("[heat_tool]\npass_s = 0\n", ["pass_s", "0", " s"]),
    ],
)
def test_a_number_out_of_range_is_refused_with_its_unit(plan_toml: str, table: str, words: list[str]) -> None:
    """Key, value, limit, unit and remedy are all in the message."""
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(plan_toml + table)

    assert all(word in str(refusal.value) for word in words)
    assert refusal.value.remedy


def test_a_ratio_without_its_measure_is_refused(plan_toml: str) -> None:
    """Never a bare ratio: weight or volume must be said."""
    with pytest.raises(BadPlan, match="ratio_by: is missing"):
        plan_from_text(plan_toml + MIX.replace('ratio_by = "volume"\n', ""))


def test_a_slab_has_one_bark_word_of_three(plan_toml: str) -> None:
    """An unknown word is refused with the known ones."""
    with pytest.raises(BadPlan, match="removed"):
        plan_from_text(plan_toml + SLAB + 'bark = "maybe"\n')


def test_limits_of_sag_stand_in_order(plan_toml: str) -> None:
    """A stop below the watch makes no sense and says so."""
    with pytest.raises(BadPlan, match="below watch_sag_mm"):
        plan_from_text(plan_toml + "[form.support]\nspan_mm = 300\nstop_sag_mm = 0.2\n")


def test_all_tables_survive_being_written(plan_toml: str) -> None:
    """A plan with tables of every kind reads back equal."""
    plan = plan_from_text(
        plan_toml
        + "[outline]\npoints_mm = [[0, 0], [900, 0], [900, 200]]\n"
        + MIX
        + "[scale]\nresolution_g = 1\n"
        + SLAB
        + "[slab.meter]\nreadings_pct = [8.0, 8.4]\n[sun]\n[shop]\nfloor_m2 = 30\n[heat_tool]\n"
        + '[[person]]\nname = "Ada"\n[cost]\ncurrency = "credits"\nresin_per_kg = 3\n'
        + "[form.clamp]\ncount = 4\nforce_n = 500\n"
    )

    assert plan_from_text(plan_to_text(plan)) == plan


def test_the_resins_that_a_datasheet_leaves_possible_are_one_line_each(plan_toml: str) -> None:
    """A plan file stays a file that a person reads; what was written comes back, and a list is taken as well."""
    written = """
[resin.possible]
rate = "0.84 1.12 0.97"
first = [1.0, 0.5, 2.0]
energy = "1 1.02 0.9"
heat = "1 1 1.1"
"""
    plan = plan_from_text(plan_toml + written)
    assert plan.resin.possible is not None
    assert plan.resin.possible.rate == (0.84, 1.12, 0.97)
    again = plan_to_text(plan)
    assert 'first = "1 0.5 2"' in again
    assert plan_from_text(again) == plan
    with pytest.raises(BadPlan, match="differ in length"):
        plan_from_text(plan_toml + written.replace("0.84 1.12 0.97", "0.84 1.12"))
    with pytest.raises(BadPlan, match="row of numbers"):
        plan_from_text(plan_toml + written.replace("0.84 1.12 0.97", "fast slow"))
