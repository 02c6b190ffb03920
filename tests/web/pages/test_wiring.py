"""The pages for a maker with a drill press: what they say of heat is what the model says."""

from __future__ import annotations

import re
from typing import Any

import pytest

from logger.cure.solver.prediction import predict
from logger.plan.file import plan_from_text
from web.pages.wiring import WAYS, Cooling, plan_of


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.words)
def test_the_hottest_place_on_the_page_is_the_models(way: Cooling) -> None:
    """Solved again, to the millimetre that is shown; one place is not another."""
    found = predict(plan_from_text(plan_of(way))).to_json()["hottest"]
    assert found["z_mm"] == pytest.approx(way.hottest_mm, abs=0.6)
    assert found["x_mm"] == 0


def test_a_pour_that_is_hottest_off_the_middle_is_given_a_second_probe(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """By its own plan: on insulating foam with a fan above, and in still air."""
    shop.plan(plan_toml)
    foam = "[form.bottom]\nthickness_mm = 40\nconductivity_w_mk = 0.035\ndensity_kg_m3 = 30\n"
    shop.plan(plan_toml.replace("River", "Foam").replace("top_w_m2k = 9", "top_w_m2k = 25") + foam)
    page = maker.get("/placing").text.replace("\u00a0", " ")
    (river,) = re.findall(r"River table.*?</p>", page, re.DOTALL)
    (insulated,) = re.findall(r"Foam table.*?</p>", page, re.DOTALL)
    assert "One core probe at half depth sees it." in river
    assert "Give it a second core probe there." in insulated


def test_a_pour_that_may_pass_the_chips_range_is_told_of_the_thermocouple(
    maker: Any, shop: Any, plan_toml: str
) -> None:
    """85 °C and more."""
    shop.plan(
        plan_toml.replace("depth_mm = 40", "depth_mm = 90").replace("max_depth_mm = 50", "max_depth_mm = 100")
    )
    assert "take a thermocouple for the core" in maker.get("/placing").text


@pytest.mark.parametrize(
    ("page", "said"),
    [
        (
            "/wiring",
            [
                "4.7 kΩ",
                "three wires",
                "parasite power",
                "10 to 20 m",
                "licensed electrician",
                "cut-out",
                "Never a heater",
                "pourlog relay-safe",
            ],
        ),
        ("/placing", ["sacrificial sleeve", "half depth", "in the shade", "core-2", "safety data sheet"]),
    ],
)
def test_a_maker_is_told_what_keeps_people_and_readings_safe(maker: Any, page: str, said: list[str]) -> None:
    """In the page's own words; each drawing has a title for whoever cannot see it."""
    text = re.sub(r"\s+", " ", maker.get(page).text)
    assert [word for word in said if word not in text] == []
    drawings = re.findall(r"<svg viewBox.*?</svg>", text)
    assert len(drawings) >= 2
    assert all(
        re.search(r'role="img" aria-labelledby="([\w-]+)"> ?<title id="\1"> ?\w', drawing)
        for drawing in drawings
    )
