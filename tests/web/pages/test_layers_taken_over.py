"""The advised layers are taken over by one button, and then the plan's own prediction keeps the limit."""

from __future__ import annotations

import re
from typing import Any

from fastapi.testclient import TestClient

from logger.cure.solver.prediction import long_enough, predict
from logger.plan.file import plan_from_text

PAGE = {"accept": "text/html"}
PLAN = """
title = "A slab too deep (invented)"
[resin]
name = "slow casting system (invented)"
heat_of_cure_j_g = 380
[resin.rate]
k1_per_s = 4e-7
k2_per_s = 2.9e-5
m = 1.0
n = 2.0
[resin.limits]
max_depth_mm = 50
[pour]
shape = "sheet"
depth_mm = 70
start_c = 24
[air]
room_c = {room}
"""


def hidden(page: str) -> dict[str, str]:
    """The fields of the form that takes the advised layers over."""
    form = next(text for text in re.findall(r"<form .*?</form>", page, re.DOTALL) if "Plan these" in text)
    return dict(re.findall(r'type="hidden" name="(\w+)"\s+value="([^"]*)"', form))


def test_the_button_plans_what_was_advised(maker: TestClient, shop: Any) -> None:
    """A room of 31 °C is brought to the datasheet's 29 °C with it; the next page has nothing too hot or too early."""
    pour = shop.plan(PLAN.format(room=31))
    page = maker.get(f"/pours/{pour}/plan", headers=PAGE).text
    assert "over 150 °C" in page.replace("\u00a0", " ")
    assert "with the room at 29" in page
    assert "not said: the hotter is assumed" in page

    answer = maker.post(
        f"/pours/{pour}/plan/numbers", data=hidden(page), headers=PAGE, follow_redirects=False
    )
    assert answer.status_code == 303
    plan = plan_from_text(maker.get(f"/api/pours/{pour}").json()["plan_toml"])
    assert plan.room_schedule() == [(0.0, 29.0)]
    assert len(plan.layer) >= 1
    assert all(layer.start_c == 24 for layer in plan.layer)
    assert predict(long_enough(plan)).peak_c <= 60.0
    after = maker.get(f"/pours/{pour}/plan", headers=PAGE).text
    assert "Plan these" not in after
    assert "bonds without sanding" in after
    assert "Do not pour it like this" not in after, "a plan without a stop is not headed so"
