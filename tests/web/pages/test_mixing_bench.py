"""The mixing bench: targets, verdicts that stand beside their own numbers alone, and clocks that everybody sees."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from logger.planning import examples
from logger.pour import Stage
from logger.words.reader import METRIC
from logger.words.render import say

RIGHT, SHORT, SWAPPED = ("9861", "4412"), ("9861", "4060"), ("4412", "9861")


@pytest.fixture
def pour(shop: Any) -> int:
    """A pour of the invented workshop: one pail of 9861 g A and 4412 g B for each of two layers."""
    plan = (Path(next(iter(examples.__path__))) / "wharf-lane-ready.toml").read_text(encoding="utf-8")
    return int(shop.plan(plan))


def words(answer: Any) -> str:
    """A page's words without its marks, blanks put together."""
    text = re.sub(r"<[^>]+>", " ", answer.text.partition("<main")[2]).replace("\u00a0", " ")
    return re.sub(r"\s+", " ", text)


def weigh(maker: Any, pour: int, parts: tuple[str, str], batch: int = 1, **more: str) -> Any:
    """Type in one batch; the page that answers."""
    form = {"part_a": parts[0], "part_b": parts[1], "batch": str(batch)} | more
    return maker.post(f"/pours/{pour}/mix", data=form)


def tap(maker: Any, pour: int, what: str, batch: int = 1) -> Any:
    """Tap a batch's clock; the page that answers."""
    return maker.post(f"/pours/{pour}/mix/clock", data={"batch": str(batch), "what": what})


def kinds(maker: Any, pour: int) -> list[str]:
    """What the record says of the bench."""
    events = maker.get(f"/api/pours/{pour}/record").json()["events"]
    return [say(event["text"], METRIC) for event in events if event["kind"] == "mixing"]


def test_the_targets_stand_above_the_fields_by_weight_and_with_tare(maker: Any, pour: int) -> None:
    """What to weigh comes first, in the reader's units, and no ratio is bare."""
    page = words(maker.get(f"/pours/{pour}/mix"))
    assert page.index("9,861 g") < page.index("Check a batch")
    assert "set it to zero. Pour in part A to 9,861 g" in page
    assert "the scale ends at 14,273 g" in page
    assert "100 : 44.7 by weight, which is 2 : 1 by volume" in re.sub(r"(\.0+)\b", "", page)
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    assert "21.741 lb" in words(maker.get(f"/pours/{pour}/mix"))


@pytest.mark.parametrize(
    ("parts", "looks_like"),
    [
        (
            SWAPPED,
            "This looks like the parts swapped: 4412 g A and 9861 g B instead of 9861 g A and 4412 g B.",
        ),
        (("9.861", "4.412"), "This looks like kilograms typed as grams: 9.86 g A and 4.41 g B"),
        (("9,8610", "4,4120"), "This looks like kilograms typed as grams"),
        (("98610", "44120"), "This looks like a factor of 10, such as a digit too many"),
        (("9861", "441.2"), "This looks like a tenth, such as a digit too few, for part B"),
        (("40000", "17900"), "This looks like 4.06 times the planned batch"),
    ],
)
def test_a_mistake_is_stopped_by_name_and_nothing_is_to_be_added(
    maker: Any, pour: int, parts: tuple[str, str], looks_like: str
) -> None:
    """ "Add 22 kg" is no advice."""
    page = words(weigh(maker, pour, parts))
    assert "Stop: do not pour this." in page
    assert looks_like in page
    assert "Weigh again, and type what the scale shows" in page
    assert "Add " not in page


def test_a_comma_that_may_be_either_is_asked_about(maker: Any, pour: int) -> None:
    """The page says "9,861 g", a scale may say 9,861 kg: nothing is guessed, and what was typed stays in its field."""
    page = weigh(maker, pour, ("9,861", "4,412"))
    assert "type 9861 or 9.861" in words(page)
    assert 'value="9,861"' in page.text
    assert not [e for e in maker.get(f"/api/pours/{pour}/record").json()["events"] if e["kind"] == "batch"]


def test_pounds_are_named_in_pounds(maker: Any, pour: int) -> None:
    """Kilograms in a field of pounds have the right ratio, and are no batch."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    page = words(weigh(maker, pour, ("9.861", "4.412")))
    assert (
        "kilograms typed as pounds: 9.861 lb A and 4.412 lb B instead of 21.741 lb A and 9.726 lb B" in page
    )


def test_the_form_never_carries_a_verdict(maker: Any, pour: int) -> None:
    """New numbers are typed where no old verdict stands, before and after one was given."""
    weigh(maker, pour, RIGHT)
    for address in (f"/pours/{pour}/mix", f"/pours/{pour}/mix?batch=1", f"/pours/{pour}/mix?batch=2"):
        page = maker.get(address).text
        assert 'name="part_a"' in page
        assert 'id="verdict"' not in page
        assert "Right. Stir" not in page
    wrong = weigh(maker, pour, ("x", "4412"))
    assert wrong.status_code == 422
    assert 'id="verdict"' not in wrong.text


def test_a_verdict_stands_beside_its_own_numbers_and_falls_with_them(maker: Any, pour: int) -> None:
    """A page that was gone back to says that the batch was weighed again, and nothing else of its numbers."""
    first = weigh(maker, pour, SHORT)
    assert "Add 352 g of part B now" in words(first)
    assert "4,060 g" in words(first)
    assert 'name="part_a"' not in first.text
    weigh(maker, pour, ("9861", "4412"))
    again = words(maker.get(str(first.url)))
    assert "has been weighed again since" in again
    assert "Add 352 g" not in again
    assert "Stop: do not pour" not in again
    weigh(maker, pour, RIGHT, batch=2)
    assert "Batch 1" in again


def test_a_check_belongs_to_its_pour(maker: Any, shop: Any, pour: int) -> None:
    """No other pour's verdict is shown under this one's name."""
    verdict = weigh(maker, pour, RIGHT)
    plan = maker.get(f"/api/pours/{pour}").json()["plan_toml"]
    other = shop.plan(plan)
    check = str(verdict.url).partition("check=")[2]
    assert maker.get(f"/pours/{other}/mix?check={check}").status_code == 404
    assert maker.get(f"/pours/{pour}/mix?check=999999").status_code == 404


def test_a_batch_that_is_weighed_again_is_counted_once(maker: Any, pour: int) -> None:
    """Put right and weighed again it is one batch; the next one is the second layer's."""
    weigh(maker, pour, ("9861", "4250"))
    page = words(weigh(maker, pour, RIGHT))
    assert "14.27 kg of" in page
    assert "layer 2, pail 1 of 1" in words(maker.get(f"/pours/{pour}/mix"))


def test_a_number_that_no_batch_can_have_is_refused(maker: Any, pour: int) -> None:
    """Batch 7 does not come before batch 1."""
    assert weigh(maker, pour, RIGHT, batch=7).status_code == 422
    assert tap(maker, pour, "started", batch=7).status_code == 422


def test_the_clock_goes_from_stirring_to_the_second_pail_to_pouring_to_too_late(
    maker: Any, pour: int, clock: Any
) -> None:
    """6 min in the first pail, 2 in the second; poured within half of the 8 h that 14 kg of it can be worked."""
    assert "Batch 1: start stirring" in words(weigh(maker, pour, RIGHT))
    assert "Batch 1: stir " in words(tap(maker, pour, "started"))
    for minutes, headline in (
        (6, "clean pail, stir on"),
        (2, "pour it"),
        (243, "pour now, or not at all"),
        (251, "do not pour it any more"),
    ):
        clock.move(60 * minutes)
        assert f"Batch 1: {headline}" in words(maker.get(f"/pours/{pour}/mix"))


def test_the_verdict_of_a_batch_that_has_set_is_no_longer_right(maker: Any, pour: int, clock: Any) -> None:
    """What was right in the morning is not poured at night."""
    verdict = str(weigh(maker, pour, RIGHT).url)
    clock.move(5 * 3600)
    page = words(maker.get(verdict))
    assert "Right, but late: pour it now, or not at all." in page
    assert "Right. Stir" not in page
    assert "Pour it out by" not in page, "that time has passed"
    clock.move(4 * 3600)
    page = words(maker.get(verdict))
    assert "Stop: do not pour this any more." in page
    assert "Right. Stir" not in page
    clock.move(30 * 3600)
    assert "Right. Stir" not in words(maker.get(verdict))


def test_the_clock_is_started_once_by_whoever_taps_first(maker: Any, pour: int, clock: Any) -> None:
    """A double tap, a late one and another phone's leave one start, and move nothing."""
    tap(maker, pour, "started")
    before = re.search(r"until (\d\d:\d\d)", words(maker.get(f"/pours/{pour}/mix")))
    clock.move(120)
    tap(maker, pour, "started")
    after = re.search(r"until (\d\d:\d\d)", words(maker.get(f"/pours/{pour}/mix")))
    assert before is not None
    assert after is not None
    assert before[1] == after[1]
    assert kinds(maker, pour) == ["Batch 1: mixing began"]


def test_a_tap_can_be_taken_back(maker: Any, pour: int) -> None:
    """Started by mistake, poured by mistake: both are in the record, and neither holds."""
    tap(maker, pour, "started")
    assert "Batch 1: " not in words(tap(maker, pour, "not-started"))
    tap(maker, pour, "started")
    weigh(maker, pour, RIGHT)
    assert "Batch 1: stir" not in words(tap(maker, pour, "emptied"))
    assert "Batch 1: stir" in words(tap(maker, pour, "not-emptied"))
    assert len(kinds(maker, pour)) == 5


def test_parts_in_two_cups_have_not_met(maker: Any, pour: int) -> None:
    """Their working time begins when mixing does."""
    page = words(weigh(maker, pour, RIGHT, where="apart"))
    assert "Right. Stir it in full" in page
    assert "working time" not in page
    assert "Batch 1: stir " in words(tap(maker, pour, "started"))


def test_the_working_time_runs_from_when_the_parts_met(maker: Any, pour: int) -> None:
    """Weighed at eight, met at a quarter to: it sets a quarter of an hour sooner."""
    met = [
        re.search(
            rf"Batch {batch}: start stirring.*?sets at about (\d\d):(\d\d)",
            words(weigh(maker, pour, RIGHT, batch, age_min=age)),
        )
        for batch, age in ((1, ""), (2, "15"))
    ]
    assert all(met)
    now, sooner = (60 * int(found[1]) + int(found[2]) for found in met if found)
    assert now - sooner in (14, 15, 16)


def test_a_refused_batch_has_its_clock_by_the_planned_mass_and_is_not_stirred(maker: Any, pour: int) -> None:
    """10 g typed for 14 kg set no later than 14 kg; nothing invites to stir or pour it."""
    page = words(weigh(maker, pour, ("9.861", "4.412")))
    assert "Batch 1: not to be poured" in page
    assert "at 14.27 kg with its own heat" in page
    core = re.search(r"Its core is at about (\d+) °C now, and at about (\d+) °C then", page)
    assert core is not None
    assert int(core[1]) <= int(core[2]) <= 45
    assert "Mixing starts" not in page
    assert "Pour it out by" not in page


def test_a_full_form_ends_the_clocks(maker: Any, shop: Any, pour: int) -> None:
    """Whoever says that the form is full has poured what was mixed."""
    weigh(maker, pour, RIGHT)
    shop.go(pour, Stage.READY, Stage.POURING, Stage.WATCHED)
    assert "Batch 1: " not in words(maker.get(f"/pours/{pour}/mix"))
