"""The check values of planning, counted: each comes from a published table, a closed form or a reference library.

`python tests/logger/planning/test_sources.py` prints the list. A case is one row of a test's parameters; a row with
several numbers counts once. What only looks at refusals, wording or this project's own choices is not in the list.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

HERE = Path(__file__).parent
#: Where the values of a test come from; (module, test) → source. "[M]" stands for: from memory.
SOURCES = {
    (
        "air",
        "dew_point_and_humidity_follow_psychrolib_everywhere",
    ): "ASHRAE Fundamentals 2017 ch. 1, by psychrolib",
    ("air", "saturation_is_that_of_the_magnus_formula"): "Magnus formula 17.62/243.12, closed form",
    ("air", "outside_air_dries_as_it_warms"): "psychrolib",
    ("colour", "absorbance_for_a_depth_of_fifty"): "Beer-Lambert, closed form",
    ("floating", "light_wood_pulls_up_hard"): "Archimedes, closed form",
    ("form", "the_plate_factors_are_those_of_the_table"): "Roark 7th ed., Table 11.4 case 1a",
    (
        "form",
        "the_plate_sag_follows_naviers_series",
    ): "Timoshenko & Woinowsky-Krieger, Navier's double series",
    ("form", "a_strip_sags_by_its_closed_form"): "beam on two supports and three spans, closed form",
    ("form", "more_supports_mean_less_sag"): "beam tables; Peurifoy & Oberlender for three spans and more",
    ("form", "the_longest_span_for_half_a_millimetre"): "beam on two supports, closed form",
    ("form", "resin_pushes_on_bottom_and_walls"): "hydrostatics, closed form",
    ("heat_tools", "a_jet_brings_kilowatts_to_a_square_metre"): "Newton's law of cooling, closed form",
    ("heat_tools", "the_skin_warms_with_the_root_of_time"): "semi-infinite solid, closed form",
    ("layers", "a_deep_pour_is_split_into_equal_layers"): "closed form",
    ("leaks", "a_seam_leaks_by_plane_poiseuille_flow"): "plane Poiseuille flow, closed form",
    ("leaks", "half_the_pour_is_gone_in"): "slot flow under falling head, closed form",
    ("mixing", "the_correction_says_which_part_and_how_much"): "a r - b and b/r - a, closed form",
    ("panels", "polyethylene_softens_as_its_table_says"): "Handbook of PE Pipe, Table B.1.1",
    ("parts", "a_ratio_by_weight_becomes_one_by_volume"): "closed form",
    ("parts", "the_wrong_measure_shows_as_too_much_or_too_little_hardener"): "closed form",
    (
        "parts",
        "equivalent_weights_give_the_hardener_for_a_hundred_of_resin",
    ): "handbook text; a SciELO abstract",
    ("parts", "a_coarse_scale_spoils_a_small_batch"): "JCGM 100:2008, closed form",
    ("shape", "a_plan_holds_its_closed_form"): "box, taper, disc, frustum, Simpson, shoelace: closed forms",
    ("stress", "a_temperature_difference_pulls"): "linear elasticity, closed form",
    ("sun", "the_reference_spectrum_integrates_to_its_totals"): "ASTM G173-03, its own table",
    ("sun", "sun_warms_a_pour_like_a_second_cure"): "a G / (rho cp d), closed form",
    ("volume", "a_traced_outline_has_the_area_of_its_closed_form"): "surveyor's formula; shapely",
    ("volume", "a_leaning_edge_gives_a_trapezium_or_a_triangle"): "trapezium, closed form",
    ("volume", "a_round_mould_holds_its_disc_or_frustum"): "disc, frustum and cone, closed forms",
    ("volume", "a_void_takes_its_closed_form"): "box, ellipse and wedge, closed forms",
    ("volume", "waste_goes_on_top"): "closed form",
    ("wood", "wood_settles_where_the_handbooks_table_says"): "Wood Handbook FPL-GTR-190, Table 4-2",
    (
        "wood",
        "a_second_page_with_the_same_equation_agrees",
    ): "Simpson 1998, FPL-RN-0268, as a public page gives it",
    ("wood", "the_equation_is_copied_without_a_slip"): "Wood Handbook FPL-GTR-190, eq. 4-5",
    ("wood", "the_room_that_holds_a_slab_is_found"): "eq. 4-5 inverted by scipy",
    ("wood", "a_species_shrinks_as_its_table_says"): "Wood Handbook FPL-GTR-190, Table 4-3",
    ("wood", "a_species_weighs_green_what_its_table_says"): "U.S. Forest Service, FIA species table",
    ("wood", "a_species_moves_as_its_table_says"): "Wood Handbook FPL-GTR-190, Table 13-5",
    ("wood", "a_slab_moves_by_the_handbooks_rule"): "Wood Handbook FPL-GTR-190, ch. 13",
    ("wood", "the_two_tables_are_linked"): "Wood Handbook FPL-GTR-190, Tables 4-3 and 13-5",
    ("wood", "shrinkage_starts_at_fibre_saturation"): "Wood Handbook FPL-GTR-190, eq. 4-7",
    ("wood", "a_slab_weighs_what_the_equations_say"): "Wood Handbook FPL-GTR-190, eqs. 4-9 and 4-12",
    (
        "wood",
        "wood_conducts_heat_as_equation_4_15_says",
    ): "Wood Handbook FPL-GTR-190, eq. 4-15; a published example",
    ("wood", "wood_holds_heat_as_the_equations_say"): "Wood Handbook, eqs. 4-16 to 4-18; a published example",
    ("wood", "warm_wood_reads_too_high"): "Pfaff & Garrahan [M]",
}


def module_of(name: str) -> ModuleType:
    """One of the test modules beside this one."""
    spec = importlib.util.spec_from_file_location(f"checks_of_{name}", HERE / f"test_{name}.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def counted() -> Iterator[tuple[str, str, int, str]]:
    """(module, test, how many rows of parameters it runs over, source)."""
    modules = {name: module_of(name) for name in dict.fromkeys(name for name, _ in SOURCES)}
    for (name, test), source in SOURCES.items():
        rows = 1
        for mark in getattr(getattr(modules[name], f"test_{test}"), "pytestmark", ()):
            if mark.name == "parametrize":
                rows *= len(list(mark.args[1]))
        yield name, test, rows, source


def test_planning_stands_on_at_least_120_published_or_closed_form_values() -> None:
    """Counted from the tests as they run: a row that is taken out lowers the number."""
    checks = list(counted())
    assert sum(rows for _, _, rows, _ in checks) >= 120
    published = [rows for _, _, rows, source in checks if "closed form" not in source and "[M]" not in source]
    assert sum(published) >= 120, "published tables and reference libraries alone"


if __name__ == "__main__":
    total = 0
    for name, test, rows, source in counted():
        total += rows
        print(f"{rows:4}  {name:11} {test.replace('_', ' ')}: {source}")  # noqa: T201 - what it is called for
    print(f"{total:4}  in all")  # noqa: T201
