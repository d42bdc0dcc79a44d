"""What is asked of a machine when a job is started: its plate, hours, customer and papers; remembered for its unit."""

from __future__ import annotations

from typing import Any

import pytest

from journal.facts import JobFact
from journal.record.job import Job
from tests.webui.browser import serving, window
from tests.webui.conftest import Shop, text_of
from tests.webui.test_facts import SIX_FORM

PLATE = {"make": "Alder", "model": "A6-480", "serial": "A6-0042", "hours": "8400", "customer": "Hill farm",
         "work_order": "W-771"}  # fmt: skip


def start(shop: Shop, **form: str) -> Job:
    answer = shop.post("/new", start="yes", unit="Orchard pump 2", technician="Wren", set="si", **SIX_FORM, **form)
    assert answer.status_code == 200
    return shop.job(answer.request.path.split("/")[2])


def test_a_started_job_knows_its_plate_and_papers(shop: Shop) -> None:
    job = start(shop, **PLATE)
    assert job.facts == {name.replace("_", " "): value for name, value in PLATE.items()}
    page = text_of(shop.get(f"/job/{job.id}"))
    assert all(value in page for value in PLATE.values())


def test_a_job_of_which_nothing_but_the_unit_was_given_has_none(shop: Shop) -> None:
    assert start(shop).facts == {}


def test_what_stays_with_a_unit_is_filled_in_for_its_next_job_and_what_does_not_is_not(shop: Shop) -> None:
    start(shop, **PLATE)
    page = text_of(shop.get("/new?unit=orchard+pump+2&known=yes"))
    for name in ("make", "model", "serial", "customer"):
        assert f'value="{PLATE[name]}"' in page
    assert 'value="1-5-3-6-2-4"' in page and "<option selected>hydraulically actuated" in page
    assert "8400" not in page and "W-771" not in page
    assert "no earlier job on this unit" in text_of(shop.get("/new?unit=Orchard&known=yes"))
    assert "no earlier job on this unit" in text_of(shop.get("/new?unit=&known=yes"))


def test_the_plate_is_put_right_and_a_field_emptied_is_shown_no_more(shop: Shop) -> None:
    job = start(shop, **PLATE)
    changed = {**PLATE, "serial": "A6-0043", "customer": ""}
    shop.post(f"/job/{job.id}/about", unit=job.unit, complaint="", **SIX_FORM, **changed)
    after = shop.job(job.id)
    assert [entry.body for entry in after.entries[1:]] == [JobFact("serial", "A6-0043"), JobFact("customer", "")]
    assert after.facts["serial"] == "A6-0043" and "customer" not in after.facts


@pytest.mark.parametrize("name", sorted(PLATE))
def test_a_field_that_is_too_long_is_refused_and_starts_nothing(shop: Shop, name: str) -> None:
    page = shop.post("/new", start="yes", unit="Pump", **SIX_FORM, **{name: "9" * 200})
    assert page.status_code == 400 and "characters are too many" in text_of(page)
    assert "No job yet" in text_of(shop.get("/"))


def test_choosing_a_known_unit_fills_the_form_in_and_keeps_what_was_typed(shop: Shop, chromium: Any) -> None:
    start(shop, **PLATE)
    with serving(shop) as address, window(chromium) as page:
        page.goto(f"{address}/new")
        page.get_by_label("Unit, as the shop calls it").fill("Orchard pump 2")
        page.get_by_label("Technician").focus()
        page.get_by_text("Filled in from the last job on this unit").wait_for()
        assert page.get_by_label("Engine serial number").input_value() == "A6-0042"
        assert page.locator("#order").input_value() == "1-5-3-6-2-4"
        page.locator("#drawn circle").first.wait_for()
        page.goto(f"{address}/new")
        page.get_by_label("Engine make").fill("Rowan")
        page.get_by_label("Unit, as the shop calls it").fill("Orchard pump 2")
        page.get_by_label("Technician").focus()
        assert page.get_by_label("Engine make").input_value() == "Rowan"
        assert page.locator("#order").input_value() == ""
