"""Units on the page: chosen for the shop, shown with every number, and put right for one entry."""

from __future__ import annotations

import pytest

from journal.facts import UNIT_SETS, Baseline, Check, Condition, Correction, Cut, Quantity, RunKind, RunStarted, Subject
from journal.record.shop_units import UNITS_FILE, keep_units, kept_units
from tests.webui.conftest import Shop, text_of

COOLANT = Quantity.COOLANT_TEMPERATURE


def test_a_set_is_chosen_by_one_tap_and_a_quantity_by_itself(shop: Shop) -> None:
    assert "Nobody has chosen yet" in text_of(shop.get("/units"))
    assert "kept" in text_of(shop.post("/units", set="us"))
    assert kept_units(shop.folder) == UNIT_SETS["us"]
    page = text_of(shop.post("/units", **{"coolant temperature": "degC", "lash": "mm"}))
    assert '<option value="degC" selected>°C' in page and "Nobody has chosen" not in page
    assert kept_units(shop.folder) == {**UNIT_SETS["us"], COOLANT: "degC", Quantity.LASH: "mm"}


@pytest.mark.parametrize("form", [{"set": "imperial"}, {"lash": "psi"}])
def test_a_unit_that_is_none_is_refused_and_nothing_is_kept(shop: Shop, form: dict[str, str]) -> None:
    assert shop.post("/units", **form).status_code == 400
    assert kept_units(shop.folder) is None


def test_a_spoilt_choice_is_told_on_the_page_and_a_set_mends_it(shop: Shop) -> None:
    (shop.folder / UNITS_FILE).write_text("half a line", encoding="utf-8")
    page = text_of(shop.get("/units"))
    assert "cannot be used" in page and 'value="us"' in page and "Quantity by quantity" not in page
    assert shop.post("/units", lash="mm").status_code == 400
    assert "kept" in text_of(shop.post("/units", set="si")) and kept_units(shop.folder) == UNIT_SETS["si"]


def test_the_form_of_a_new_job_asks_until_the_shop_has_chosen(shop: Shop) -> None:
    assert "Numbers said without a unit" in text_of(shop.get("/new"))
    form = {"unit": "Pump", "cylinders": "6", "injection": "common rail", "start": "yes"}
    assert shop.post("/new", **form, set="us").status_code == 200
    assert kept_units(shop.folder) == UNIT_SETS["us"]
    assert "Numbers said without a unit" not in text_of(shop.get("/new"))
    shop.post("/new", **form, set="si")
    assert kept_units(shop.folder) == UNIT_SETS["us"], "it is asked once; later it is chosen on its own page"


def test_units_stand_beside_numbers_as_they_are_printed(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE))
    assert "(readings in mm³)" in text_of(shop.get(f"/job/{job}/live"))
    shop.enter(job, Baseline(30.0), Cut(1, 37.0), Cut(2, 31.0, unit="mg"), Condition(COOLANT, 185.0, "degF"))
    shop.enter(job, Check(Subject.COMPRESSION, "measured", 3, value=2700.0))
    live, review, overview = (text_of(shop.get(f"/job/{job}{page}")) for page in ("/live", "/review?show=all", ""))
    assert ">30 mm³<" in live and ">37<" in live and ">31 mg<" in live
    assert "Coolant temperature: 185 °F" in review and "2700 kPa" in review and "(mm³)" in review
    assert "185 °F" in overview and "2700 kPa" in overview


def test_what_was_read_outside_a_run_stands_on_the_jobs_page_with_its_unit(shop: Shop) -> None:
    job = shop.open()
    wanted, actual = Quantity.DESIRED_INJECTION_PRESSURE, Quantity.INJECTION_PRESSURE
    shop.enter(
        job, Condition(wanted, 750.0, "psi"), Condition(actual, 610.0, "psi"), Condition(Quantity.OIL_PRESSURE, 310.0)
    )
    page = text_of(shop.get(f"/job/{job}"))
    for words in ("Desired injection pressure <strong>750 psi", "Injection pressure <strong>610 psi", "310 kPa"):
        assert words in page


def test_the_unit_of_an_entry_is_put_right_and_its_number_stays(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE), Baseline(30.0))
    taken, check = shop.enter(job, Condition(COOLANT, 185.0), Check(Subject.COMPRESSION, "measured", 3, value=390.0))
    page = text_of(shop.get(f"/job/{job}/entry/{taken.id}"))
    assert '<option value="degC" selected>°C' in page and '<option value="degF">°F' in page
    shop.post(f"/job/{job}/entry/{taken.id}/correct", value="185", unit="degF")
    assert shop.job(job).entries[-1].body == Correction(taken.id, Condition(COOLANT, 185.0, "degF"))
    shop.post(f"/job/{job}/entry/{check.id}/correct", value="390", outcome="measured", cylinder="3", unit="psi")
    assert shop.job(job).checks[0].body.unit == "psi"
    (reading,) = shop.enter(job, Cut(4, 38.0))
    shop.post(f"/job/{job}/entry/{reading.id}/correct", cylinder="4", value="38.5", unit="mm3")
    assert shop.job(job).entries[-1].body == Correction(reading.id, Cut(4, 38.5)), "its unit is still the run's"
    assert shop.post(f"/job/{job}/entry/{reading.id}/correct", cylinder="4", value="38", unit="psi").status_code == 400


def test_words_on_the_page_are_understood_in_the_shops_units(shop: Shop) -> None:
    keep_units(shop.folder, UNIT_SETS["us"])
    job = shop.open()
    (taken,) = shop.enter(job, Condition(COOLANT, 82.0, "degC"))
    shop.post(f"/job/{job}/entry/{taken.id}/correct", words="coolant one eighty five degrees fahrenheit")
    assert shop.job(job).conditions[0].unit == "degF"
