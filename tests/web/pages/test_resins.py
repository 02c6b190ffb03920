"""The resins page: a datasheet is fitted and kept, chosen in a plan, changed, taken off and put back."""

from __future__ import annotations

import threading
import tomllib
from typing import Any

import pytest
import tomli_w

from logger.cure.fit.datasheet import datasheet_from_text
from logger.cure.fit.datasheet_fit import fit_datasheet
from logger.cure.fit.what_it_means import Narrowing, SafeDepth
from logger.record.refit_offers import OFFERED
from logger.store import events, resins
from logger.words.reader import Reader
from tests.web.page_text import words
from web.actions.resin_work import ResinWork
from web.views.datasheet_form import FormFields, fields_of, sheet_toml
from web.views.resin_meaning import Meaning, work_out_meaning

SHEET = {
    "resin": "Slow system (invented)",
    "note": "issue 3",
    "working": "600",
    "mass": "1",
    "deepest": "50",
    "hard": "72",
    "max_core": "60",
    "ratio": "100:45",
    "density_a": "1.15",
    "density_b": "0.98",
}
KEY = resins.resin_key(SHEET["resin"])


@pytest.fixture(scope="session")
def fit() -> Any:
    """The datasheet's fit: seconds of solving, made once."""
    return fit_datasheet(datasheet_from_text(sheet_toml(FormFields(SHEET, Reader()))))


@pytest.fixture
def kept(maker: Any, fit: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A browser in which a datasheet was kept."""
    monkeypatch.setattr(
        "web.actions.resins.fit_datasheet", lambda sheet: fit if sheet.name == SHEET["resin"] else None
    )
    answer = maker.post("/resins", data=SHEET)
    assert answer.status_code == 200
    return maker


def test_a_datasheet_is_fitted_and_shown_with_its_curve_and_ranges(kept: Any) -> None:
    """Stated beside fitted, in a table and in a plot, and how far it may be off."""
    page = words(kept.get("/resins"))
    assert "a working time of 10 h for 1 kg at 25 °C" in page
    assert "a 50 mm pour at 23 °C that stays under 60 °C" in page
    assert page.count("<svg xmlns") == 3
    assert "90 % range" in page
    assert "100 : 45 by weight" in page
    assert "Nothing is noted under this name." in page


def test_what_it_means_is_worked_out_beside_the_page(kept: Any, service: Any) -> None:
    """The page says that it is coming, and then how deep is safe in each room and what would tell more."""
    go = threading.Event()
    meaning = Meaning(
        (
            SafeDepth(20.0, 42.0, 52.0, 56.0, by_sheet=False),
            SafeDepth(30.0, 26.0, 32.0, 36.0, by_sheet=False),
        ),
        (Narrowing("cup test", 0.2, 23.0, (50.0, 90.0), (55.0, 80.0)),),
    )

    class Here:
        """Stands for the other process: answers once it may."""

        def __call__(self, function: Any, *arguments: Any) -> Any:
            assert function is work_out_meaning
            assert go.wait(20)
            return meaning

        def close(self) -> None:
            """Nothing to end."""

    service.resin_work = work = ResinWork(service, Here)
    try:
        assert "Working it out" in words(kept.get("/resins"))
        go.set()
        work.wait(20)
    finally:
        go.set()
        work.close()
    page = words(kept.get("/resins")).replace("\u00a0", " ")
    assert "Working it out" not in page
    assert "42 mm" in page
    assert f'<a href="/resins/{KEY}/cup-test?mass_g=200">Try a cup of 200 g with one probe</a>' in page
    assert "55 °C to 80 °C, narrower by 38 %" in page


def test_a_lot_of_the_same_name_stands_with_it(kept: Any) -> None:
    """Stock and expiry, whatever the capitals of the name."""
    lot = {
        "product": "SLOW system (invented)",
        "part": "A",
        "lot": "L-7",
        "kg": "12",
        "expires_on": "2026-11-30",
    }
    assert kept.post("/shop/stock", data=lot).status_code == 200
    page = kept.get("/resins").text.replace("\u00a0", " ")
    assert "A, lot L-7: 12.00 kg left, expires 30 Nov 2026" in page
    assert "Expires soon" in page


def test_a_plan_takes_resin_and_ratio_from_the_list(kept: Any) -> None:
    """Nobody types a datasheet twice; its working time is what the pails are judged by."""
    assert f'value="{KEY}" selected' in kept.get(f"/pours/new?resin={KEY}").text
    described = {
        "title": "Oak side table",
        "depth": "30",
        "width": "120",
        "length": "900",
        "room": "20",
        "earlier": KEY,
    }
    assert kept.post("/pours/new", data=described).status_code == 200
    (pour,) = kept.get("/api/pours").json()
    assert 'name = "Slow system (invented)"' in pour["plan_toml"]
    assert "density_b_kg_m3 = 980" in pour["plan_toml"]
    mix = tomllib.loads(pour["plan_toml"])["mix"]
    assert (mix["working_time_min"], mix["working_time_mass_kg"], mix["working_time_c"]) == (600, 1, 25), (
        "as stated"
    )
    assert "Oak side table" in kept.get("/resins").text


def test_a_statement_too_few_is_named_and_nothing_is_kept(maker: Any) -> None:
    """Nothing here says how fast it cures; what was typed comes back."""
    answer = maker.post("/resins", data=SHEET | {"working": "", "hard": "", "deepest": ""})
    assert answer.status_code == 422
    assert "something must say how fast it cures" in answer.text
    assert 'value="issue 3"' in answer.text
    assert "None yet" in maker.get("/resins").text


def test_the_form_goes_back_to_where_somebody_came_from(
    maker: Any, fit: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new pour that lacked its resin goes on with it; no link leads anywhere else."""
    monkeypatch.setattr("web.actions.resins.fit_datasheet", lambda _sheet: fit)
    assert 'name="then" value="/pours/new"' in maker.get("/resins/new?then=/pours/new").text
    answer = maker.post("/resins", data=SHEET | {"then": "/pours/new"}, follow_redirects=False)
    assert answer.headers["location"] == f"/pours/new?resin={KEY}"
    for elsewhere in ("https://elsewhere.example/x", "//elsewhere.example/x", "/\\elsewhere.example"):
        assert 'name="then" value=""' in maker.get("/resins/new", params={"then": elsewhere}).text
        answer = maker.post("/resins", data=SHEET | {"then": elsewhere}, follow_redirects=False)
        assert answer.headers["location"] == f"/resins#resin-{KEY}"


def test_taken_off_the_list_it_can_be_put_back(kept: Any) -> None:
    """Everything is undoable."""
    assert "None yet" in kept.post(f"/resins/{KEY}/drop").text
    assert "a working time of 10 h" in kept.post(f"/resins/{KEY}/put-back").text


def test_the_fit_of_our_own_pours_is_used_only_when_somebody_says_so(kept: Any, service: Any) -> None:
    """Offered, taken, and the datasheet's fit again."""
    with service.store.read() as connection:
        table = resins.get(connection, KEY).data["fit"]["resin"]
    faster = table | {"rate": table["rate"] | {"k2_per_s": 2 * table["rate"]["k2_per_s"]}}
    offer = {
        "resin_key": "x",
        "resin": SHEET["resin"],
        "pours": [3],
        "pours_seen": [3],
        "message": "A third faster.",
        "table": tomli_w.dumps({"resin": faster}),
    }
    with service.store.write() as tx:
        events.add_event(tx, None, 0, OFFERED, "the program", offer["message"], offer)

    def rate() -> float:
        with service.store.read() as connection:
            return float(resins.get(connection, KEY).data["table"]["rate"]["k2_per_s"])

    assert "A third faster." in kept.get("/resins").text
    assert rate() == table["rate"]["k2_per_s"]
    assert "Plans to come use it." in kept.post(f"/resins/{KEY}/take").text
    assert rate() == pytest.approx(2 * table["rate"]["k2_per_s"])
    kept.post(f"/resins/{KEY}/datasheet")
    assert rate() == table["rate"]["k2_per_s"]


def test_the_deepest_pour_is_evidence_in_the_middle_of_the_rooms_that_are_named() -> None:
    """Its maker allows it in all of them; where none is named, in the laboratory's 23 °C (ISO 291, 23/50)."""
    named = sheet_toml(FormFields(SHEET | {"min_room": "18-28"}, Reader()))
    deep, warm = datasheet_from_text(named).deepest_pour
    assert (warm.depth_mm, warm.at_c, warm.chosen) == (50.0, 28.0, False)
    assert (deep.depth_mm, deep.at_c, deep.at_plus_minus_k, deep.stays_below_c) == (50.0, 23.0, 5.0, 60.0)
    (deep,) = datasheet_from_text(sheet_toml(FormFields(SHEET, Reader()))).deepest_pour
    assert (deep.at_c, deep.at_plus_minus_k) == (23.0, 2.0)


def test_by_form_and_by_file_a_depth_is_the_same_evidence() -> None:
    """A file that states the depth among its limits, as the form once wrote it, and the form: one and the same."""
    by_form = datasheet_from_text(sheet_toml(FormFields(SHEET | {"min_room": "18-28"}, Reader())))
    limits = {"max_depth_mm": 50.0, "min_room_c": 18.0, "max_room_c": 28.0, "max_core_c": 60.0}
    text = tomli_w.dumps({"name": "x", "limits": limits})
    assert datasheet_from_text(text).deepest_pour == by_form.deepest_pour
    given = fields_of(datasheet_from_text(text), Reader())
    assert given is not None, "an older sheet still opens as a form"
    assert given["deepest"] == "50"


def test_what_nobody_stated_is_not_stated_by_editing() -> None:
    """The usual rooms are shown as left out: written down they would be evidence."""
    given = fields_of(datasheet_from_text(sheet_toml(FormFields(SHEET, Reader()))), Reader())
    assert given is not None
    assert given["min_room"] == given["max_room"] == ""


@pytest.mark.parametrize("u", [Reader(), Reader("f", "in", "gal", "lb")])
def test_a_datasheet_comes_back_into_the_form_in_any_units(u: Reader) -> None:
    """Changed in inches and pounds, it still states the same."""
    sheet = datasheet_from_text(sheet_toml(FormFields(SHEET, Reader())))
    given = fields_of(sheet, u)
    assert given is not None
    again = datasheet_from_text(sheet_toml(FormFields(given, u)))
    assert again.working_time[0].time_min == 600
    assert again.working_time[0].mass_kg == pytest.approx(1.0, rel=1e-3)
    assert again.limits.max_depth_mm == pytest.approx(50, rel=5e-3)


def test_a_datasheet_that_says_more_than_the_form_is_changed_as_a_file(
    maker: Any, fit: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing that it states is lost by editing."""
    monkeypatch.setattr("web.actions.resins.fit_datasheet", lambda _sheet: fit)
    text = (
        'name = "Two cups (invented)"\n[[working_time]]\nmass_kg = 0.1\ntime_min = 900\nat_c = 23\n'
        "[[working_time]]\nmass_kg = 5\ntime_min = 500\nat_c = 23\n"
    )
    assert maker.post("/resins", data={"sheet_toml": text}).status_code == 200
    page = maker.get(f"/resins/{resins.resin_key('Two cups (invented)')}/edit").text
    assert "mass_kg = 5" in page
    assert 'id="sheet"' not in page


def test_a_depth_beyond_any_pour_is_refused_with_its_unit(maker: Any) -> None:
    """40 typed where the field is in inches is a metre: said, not failed over."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    answer = maker.post("/resins", data=SHEET | {"deepest": "40"})
    assert answer.status_code == 422
    assert "19 11/16 in" in answer.text
    assert "look at the unit beside the field" in answer.text


def test_a_stated_glass_transition_is_kept_and_shown_again(maker: Any) -> None:
    """Typed in the reader's unit, it comes back in the form and in the resin's table; without one, nothing is."""
    maker.cookies.set("pourlog_units", "f.in.gal.lb")
    form = {"resin": "Glass Quay (invented)", "working": "600", "deepest": "2", "tg": "176"}
    answer = maker.post("/resins", data=form, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    key = answer.headers["location"].rpartition("-")[2]
    assert 'name="tg" value="176"' in maker.get(f"/resins/{key}/edit").text
