"""What a plan may cost is bounded before it is parsed and before it is solved, whichever way it comes in."""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import pytest

from logger.cure.fit.datasheet import datasheet_from_text
from logger.errors import BadInput, BadPlan
from logger.plan.file import MOST_LAYERS, MOST_ROWS, plan_from_table, plan_from_text, read_plan
from logger.plan.toml_bounds import MOST_CHARACTERS

DOTS = ".".join(["a"] * 10_000) + " = 1\n"
#: A few kilobytes each; unbounded they take gigabytes, hours, or end in an error that nobody foresaw.
BOMBS = {
    "a key of ten thousand dots": (DOTS, ["9999 dots", "at most 8"]),
    "a heading of ten thousand dots": (f"[{DOTS.split(' ')[0]}]\n", ["9999 dots", "at most 8"]),
    "dots between quoted names": ('"a"' + '."b"' * 10_000 + " = 1\n", ["10000 dots", "at most 8"]),
    "brackets five thousand deep": ("x = " + "[" * 5000 + "]" * 5000 + "\n", ["5000 levels", "at most 8"]),
    "tables five thousand deep": (
        "x = " + "{a = " * 5000 + "1" + "}" * 5000 + "\n",
        ["5000 levels", "at most 8"],
    ),
    "a number of five thousand digits": ("x = " + "9" * 5000 + "\n", ["too long", "at most 100"]),
    "a megabyte": ("#" * 1_000_000, ["too long", f"at most {MOST_CHARACTERS}"]),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_what_is_too_large_to_parse_is_refused_at_once(plan_toml: str, bomb: str) -> None:
    """In less than a second and some megabytes, with what was found, what is allowed and what to do."""
    more, told = BOMBS[bomb]
    tracemalloc.start()
    began = time.process_time()
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(more + plan_toml)
    seconds, most = time.process_time() - began, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert all(words in str(refusal.value) for words in told)
    assert refusal.value.remedy
    assert seconds < 1.0
    assert most < 10_000_000


@pytest.mark.parametrize("sign", ['"', "'", '"""', "'''", "\\", '\\"', "[", "#", '"\\', "a.", "''' \"", "\n"])
def test_looking_at_a_text_costs_no_more_than_reading_it(sign: str) -> None:
    """Quotes and backslashes that never end are read once, not once for each of them."""
    began = time.process_time()
    with pytest.raises(BadPlan):
        plan_from_text("x = " + (sign * MOST_CHARACTERS)[: MOST_CHARACTERS - 10])
    assert time.process_time() - began < 3.0


def test_dots_and_brackets_within_words_are_words(plan_toml: str) -> None:
    """A title, a comment or a text of several lines may hold any of them."""
    title = "a.b.c.d.e.f.g.h.i.j.k.l [[[[[[[[[[[ {{{{{{{{{{{{ " + "9" * 150
    text = (
        plan_toml.replace("River table for a fictional client", title)
        + "# a.b.c.d.e.f.g.h.i.j.k.l [[[[[[[[[[\n"
    )
    assert plan_from_text(text).title == title
    lines = text.replace(f'"{title}"', f'"""{title}"""')
    assert plan_from_text(lines).title == title


def test_a_datasheet_is_read_with_the_same_care() -> None:
    """It is a TOML file from somebody else, too."""
    with pytest.raises(BadInput, match="9999 dots"):
        datasheet_from_text(DOTS)


def layers(count: int) -> str:
    """Later layers, half an hour apart."""
    return "".join(f"[[layer]]\nat_h = {0.5 * (n + 1)}\ndepth_mm = 10\n" for n in range(count))


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (layers(50), ["layer", "found 50", f"at most {MOST_LAYERS - 1}", "deeper layers"]),
        (
            "".join(f"[[fan]]\nfrom_h = {n}\nto_h = {n}.5\n" for n in range(300)),
            ["fan", "found 300", "at most 50"],
        ),
        (
            "".join(f"[[heat]]\nfrom_h = {n}\nto_h = {n}.5\nabsorbed_w_m2 = 1\n" for n in range(300)),
            ["heat", "found 300", "at most 50"],
        ),
        ("[outline]\npoints_mm = [" + "[1, 2], " * 3000 + "]\n", ["points_mm", "found 3000", "at most 500"]),
        ("[[layer]]\nat_h = 20\ndepth_mm = 980\n", ["1020 mm deep", "at most 1000 mm"]),
    ],
)
def test_what_would_take_hours_to_solve_is_refused_before(plan_toml: str, more: str, told: list[str]) -> None:
    """The count that was found, the most that is allowed, and what to do instead."""
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(plan_toml + more)
    assert all(words in str(refusal.value) for words in told), str(refusal.value)


def test_a_rooms_schedule_is_as_long_as_a_week_of_hours(plan_toml: str) -> None:
    """168 rows are taken, thousands refused with the bound."""
    week = ", ".join(f"[{hour}, 20]" for hour in range(168))
    plan_from_text(plan_toml.replace("room_c = 21", f"room_c = [{week}]"))
    many = ", ".join(f"[{hour / 100}, 20]" for hour in range(4000))
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(plan_toml.replace("room_c = 21", f"room_c = [{many}]"))
    assert all(words in str(refusal.value) for words in ("room_c", "4000", f"at most {MOST_ROWS}"))


def test_a_table_that_did_not_come_as_toml_is_no_deeper_either() -> None:
    """JSON nests as deep as somebody likes."""
    table: dict[str, object] = {}
    inner = table
    for _ in range(3000):
        inner["a"] = {}
        inner = inner["a"]  # type: ignore[assignment]
    with pytest.raises(BadPlan, match="at most 8 levels"):
        plan_from_table(table)


def test_a_message_quotes_no_more_of_a_value_than_a_line(plan_toml: str) -> None:
    """A refused value may be all of somebody's file."""
    with pytest.raises(BadPlan) as refusal:
        plan_from_text(plan_toml + "[oddity]\nx = [" + "1, " * 20_000 + "]\n")
    assert "oddity" in str(refusal.value)
    assert len(str(refusal.value)) < 500


def test_a_file_is_read_no_further_than_a_plan_may_be_long(tmp_path: Path) -> None:
    """A gigabyte by mistake (here a hole of that size) costs no gigabyte."""
    path = tmp_path / "plan.toml"
    with path.open("wb") as file:
        file.truncate(1_000_000_000)
    tracemalloc.start()
    with pytest.raises(BadPlan, match="too long"):
        read_plan(path)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 10_000_000
