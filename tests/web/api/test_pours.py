"""Pours through the API: planned and predicted, taken from stage to stage, refused with a reason."""

from __future__ import annotations

from typing import Any


def new_pour(maker: Any, plan_toml: str, station: str | None = None) -> Any:
    """Plans a pour."""
    return maker.post("/api/pours", json={"plan_toml": plan_toml, "client": "C", "station": station})


def test_a_planned_pour_has_its_prediction(maker: Any, plan_toml: str) -> None:
    """The curve is there before the first pail is mixed."""
    answer = new_pour(maker, plan_toml)
    assert answer.status_code == 201
    assert 21 < answer.json()["prediction"]["peak_c"] < 60


def test_what_a_prediction_warns_of_is_said_to_programs(maker: Any, plan_toml: str) -> None:
    """In English, SI and °C; as a fact it is frozen with the pour."""
    deep = plan_toml.replace("depth_mm = 40", "depth_mm = 60")
    prediction = new_pour(maker, deep).json()["prediction"]
    said = " ".join(prediction["warnings"])
    assert "Layer 1 is 60 mm deep; the datasheet allows 50 mm a pour." in said
    assert '"say"' not in said


def test_a_malformed_plan_is_refused_with_place_value_range_and_remedy(maker: Any, plan_toml: str) -> None:
    """A negative depth stores nothing."""
    answer = new_pour(maker, plan_toml.replace("depth_mm = 40", "depth_mm = -40"))
    error = answer.json()["error"]
    assert answer.status_code == 422
    assert "[pour] depth_mm" in error["where"]
    assert "-40" in error["message"]
    assert "above 0" in error["message"]
    assert error["remedy"]
    assert maker.get("/api/pours").json() == []


def test_a_pour_cannot_start_without_a_station(maker: Any, shop: Any, plan_toml: str) -> None:
    """Nobody would be watching it."""
    pour = new_pour(maker, plan_toml).json()["id"]
    shop.sign_all(pour)
    assert maker.post(f"/api/pours/{pour}/stage", json={"to": "ready"}).status_code == 200
    answer = maker.post(f"/api/pours/{pour}/stage", json={"to": "pouring"})
    assert answer.status_code == 409
    assert "station" in answer.json()["error"]["message"]


def test_the_plan_is_frozen_once_pouring_has_started(maker: Any, shop: Any, plan_toml: str) -> None:
    """A record never changes when somebody edits the plan afterwards."""
    pour = new_pour(maker, plan_toml, "bench-1").json()["id"]
    shop.sign_all(pour)
    for stage in ("ready", "pouring"):
        assert maker.post(f"/api/pours/{pour}/stage", json={"to": stage}).status_code == 200
    answer = maker.put(f"/api/pours/{pour}/plan", json={"plan_toml": plan_toml})
    assert answer.status_code == 409
    assert "frozen" in answer.json()["error"]["message"]


def test_a_stage_that_may_not_follow_is_refused_by_name(maker: Any, plan_toml: str) -> None:
    """The refusal says what may follow instead."""
    pour = new_pour(maker, plan_toml).json()["id"]
    answer = maker.post(f"/api/pours/{pour}/stage", json={"to": "released"})
    assert answer.status_code == 409
    assert "ready and spoiled" in answer.json()["error"]["message"]


def test_a_stranger_sees_no_pour(stranger: Any, service: Any) -> None:
    """Before the set-up nothing but the set-up answers."""
    answer = stranger.get("/api/pours")
    assert answer.status_code == 403
    assert answer.json()["error"]["kind"] == "set-up-needed"


def test_a_page_of_another_site_changes_nothing(maker: Any, plan_toml: str) -> None:
    """A forged post from elsewhere is refused although the cookie came along."""
    answer = maker.post(
        "/api/pours", json={"plan_toml": plan_toml}, headers={"Origin": "http://elsewhere.example"}
    )
    assert answer.status_code == 403
