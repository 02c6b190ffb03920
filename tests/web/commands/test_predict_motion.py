"""`pourlog predict` with liquid resin at rest and in motion."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from web.command import app

#: Invented: a deep pour of a slow system, solved for its first half day.
PLAN = """
title = "Deep river (invented)"
[resin]
name = "invented deep casting system"
heat_of_cure_j_g = 330.0
[resin.rate]
k1_per_s = 5e-7
k2_per_s = 1.4e-5
{flow}
[pour]
shape = "sheet"
depth_mm = 60
[air]
room_c = 26
top_w_m2k = 12.0
bottom_w_m2k = 5.0
side_w_m2k = 5.0
[run]
hours = 12
"""
FLOW = "[resin.flow]\nviscosity_pa_s = 0.5"


@pytest.fixture
def predicted(tmp_path: Path):
    def run(flow: str, *options: str) -> str:
        path = tmp_path / "plan.toml"
        path.write_text(PLAN.format(flow=flow))
        result = CliRunner().invoke(app, ["predict", str(path), *options])
        assert result.exit_code == 0, result.output
        return result.stdout

    return run


def test_both_are_printed_side_by_side(predicted) -> None:
    told = predicted(FLOW, "--still", "--flowing")
    assert "at rest" in told
    assert "in motion" in told
    assert told.count(" mm above") == 2


def test_as_json_each_has_its_own_object(predicted) -> None:
    both = json.loads(predicted(FLOW, "--still", "--flowing", "--json"))
    assert both["flowing"]["peak_c"] < both["still"]["peak_c"] - 2.0
    assert json.loads(predicted(FLOW, "--still", "--json")) == both["still"]
    for flow, name in ((FLOW, "flowing"), ("", "still")):
        as_planned = json.loads(predicted(flow, "--json"))
        assert as_planned.pop("chance")
        assert as_planned == both[name]


def test_motion_that_the_plan_does_not_know_is_said_to_be_a_usual_resin_s(predicted) -> None:
    assert "[resin.flow]" in predicted("", "--flowing")
    assert "[resin.flow]" not in predicted("")
    assert "no measured pour backs it yet" in " ".join(predicted(FLOW).split())
