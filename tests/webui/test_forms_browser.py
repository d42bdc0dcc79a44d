"""Forms in a real browser: what is wrong is said beside the field, nothing typed is lost, the place is kept."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from journal.facts import PartWanted
from tests.webui.browser import PHONE, serving, window
from tests.webui.conftest import IDLE_RUN, Shop
from tests.webui.test_desk import link_of
from tests.webui.test_review import cut_of


@pytest.fixture
def address(shop: Shop) -> Iterator[str]:
    """Where the shop's pages are served."""
    with serving(shop) as where:
        yield where


def read(shop: Shop) -> str:
    """A job with a run of six cylinders."""
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    return job


def row(page: Any, cylinder: int) -> Any:
    """A cylinder's row in the review."""
    return page.locator(".reading", has_text=f"Cylinder {cylinder} cut").first


AT = (
    "[...document.querySelectorAll('.reading')].find((row) => row.textContent.includes('Cylinder %d cut'))"
    ".getBoundingClientRect().y"
)
"""Where a cylinder's row stands in the window, pixels from its top."""


def test_a_mistyped_number_is_told_beside_its_field_on_the_same_page(shop: Shop, address: str, chromium: Any) -> None:
    job = read(shop)
    with window(chromium, PHONE, refusals=True) as page:
        page.goto(f"{address}/job/{job}/review")
        field = row(page, 5).locator("input[name=value]")
        field.fill("37,x")
        where = row(page, 5).bounding_box()["y"]
        field.press("Enter")
        wrong = row(page, 5).locator(".wrong")
        wrong.wait_for()
        assert "give a number" in wrong.inner_text().lower() and page.url == f"{address}/job/{job}/review"
        assert field.input_value() == "37,x" and field.get_attribute("aria-describedby") == wrong.get_attribute("id")
        assert page.evaluate("document.activeElement.name") == "value"
        field.fill("37.1")
        field.press("Enter")
        page.get_by_text("corrected: cylinder 5 cut: 37.1").wait_for()
        assert page.locator(".told").bounding_box()["y"] >= 0, "what was done is in sight"
        page.wait_for_load_state("load")
        page.wait_for_function(f"Math.abs({AT % 5} - {where}) < 60", timeout=5_000)
        assert page.evaluate("scrollY") > 300 and page.evaluate("document.activeElement.className") == "reading"
    assert cut_of(shop.job(job), 5)[1] == 37.1


def test_an_unlikely_number_is_asked_about_where_it_was_typed(shop: Shop, address: str, chromium: Any) -> None:
    job = read(shop)
    with window(chromium, refusals=True) as page:
        page.goto(f"{address}/job/{job}/review")
        field = row(page, 5).locator("input[name=value]")
        field.fill("9999999")
        field.press("Enter")
        row(page, 5).get_by_text("not what this job leads one to expect").wait_for()
        assert cut_of(shop.job(job), 5)[1] == 37.5
        row(page, 5).get_by_role("link", name="No, I will put it right").click()
        assert row(page, 5).locator(".doubt").count() == 0 and field.input_value() == "9999999"
        field.press("Enter")
        row(page, 5).get_by_role("button", name="Yes, enter it").click()
        page.get_by_text("corrected: cylinder 5 cut: 9999999").wait_for()
    assert cut_of(shop.job(job), 5)[1] == 9999999


def test_taking_back_and_restoring_keep_the_place(shop: Shop, address: str, chromium: Any) -> None:
    job = read(shop)
    with window(chromium, PHONE, refusals=True) as page:
        page.goto(f"{address}/job/{job}/review")
        row(page, 6).scroll_into_view_if_needed()
        where = row(page, 6).bounding_box()["y"]
        row(page, 6).get_by_role("button", name="Take back").click()
        row(page, 6).get_by_role("button", name="Restore").wait_for()
        page.wait_for_function(f"Math.abs({AT % 6} - {where}) < 60", timeout=5_000)
        assert page.evaluate("scrollY") > 300
        row(page, 6).get_by_role("button", name="Restore").click()
        row(page, 6).get_by_role("button", name="Take back").wait_for()
    assert cut_of(shop.job(job), 6)[1] == 37.5


def test_what_was_typed_stays_while_the_journal_does_not_answer(shop: Shop, address: str, chromium: Any) -> None:
    job = read(shop)
    with window(chromium, refusals=True) as page:
        page.goto(f"{address}/job/{job}/review")
        page.route("**/correct", lambda route: route.abort())
        field = row(page, 5).locator("input[name=value]")
        field.fill("37.1")
        field.press("Enter")
        page.get_by_text("The journal does not answer").wait_for()
        page.unroute("**/correct")
        field.press("Enter")
        page.get_by_text("corrected: cylinder 5 cut: 37.1").wait_for()


def test_the_desk_is_led_to_what_it_is_asked_before_a_part_that_is_not_ready_is_ordered(
    shop: Shop, address: str, chromium: Any
) -> None:
    job = read(shop)
    shop.enter(job, PartWanted("injector", cylinder=3))
    with window(chromium, PHONE, refusals=True, known=False) as page:
        page.goto(address + link_of(shop, job))
        page.get_by_label("ordered", exact=True).check()
        page.get_by_role("button", name="Save all").click()
        page.get_by_text("Not ready to order, first:").wait_for()
        asked = page.get_by_label("Order it although that is not done")
        assert asked.evaluate("(box) => box === document.activeElement")
        asked.check()
        page.get_by_role("button", name="Save all").click()
        page.locator(".tag", has_text="ordered").wait_for()
    assert shop.job(job).parts[0].answers[-1].body.state == "ordered"


def test_the_desk_types_two_parts_and_loses_neither(shop: Shop, address: str, chromium: Any) -> None:
    job = read(shop)
    shop.enter(job, PartWanted("valve bridge", cylinder=3), PartWanted("gasket"))
    link = link_of(shop, job)
    with window(chromium, PHONE, known=False, refusals=True) as page:
        page.goto(address + link)
        numbers, lead = page.get_by_label("Part number"), page.get_by_label("Lead time")
        numbers.nth(1).fill("G-2")
        lead.nth(1).fill("x" * 60)
        lead.nth(1).evaluate("field => { field.maxLength = 100; field.value += 'y'; }")
        numbers.nth(0).fill("VB-1")
        numbers.nth(0).press("Enter")
        page.get_by_text("61 characters are too many").wait_for()
        assert [numbers.nth(n).input_value() for n in (0, 1)] == ["VB-1", "G-2"]
        lead.nth(1).fill("a week")
        page.get_by_role("button", name="Save all").click()
        page.get_by_text("the shop sees it now (2 parts)").wait_for()
    first, second = (part.answers[-1].body for part in shop.job(job).parts)
    assert (first.number, second.number, second.lead_time) == ("VB-1", "G-2", "a week")


def test_every_page_that_changed_is_worked_by_keyboard_and_fits_320_pixels(
    shop: Shop, address: str, chromium: Any
) -> None:
    """WCAG 2.2, 1.4.10 (reflow at 320 CSS pixels) and 2.1.1 (keyboard)."""
    job = read(shop)
    shop.enter(job, PartWanted("valve bridge", cylinder=3, reason="broken"))
    link = link_of(shop, job)
    shown = ("", "/review", "/review?show=cylinder-3", "/review?show=all", "/photos", "/parts", "/write-up")
    places = [f"/job/{job}{place}" for place in shown]
    with window(chromium, {"width": 320, "height": 640}) as page:
        for place in ("/", *places, link):
            page.goto(address + place)
            page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
            assert page.evaluate("document.documentElement.scrollWidth") <= 320, place
            stops = page.evaluate(
                "[...document.querySelectorAll('main a[href], main button, main input:not([type=hidden]), main select,"
                " main textarea, main summary')].filter((e) => e.checkVisibility() && !e.disabled).length"
            )
            page.locator("main").focus()
            seen = set()
            for _ in range(stops + 40):
                page.keyboard.press("Tab")
                at = page.evaluate(
                    "(() => { const e = document.activeElement; if (!e.closest('main')) return ''; window.n ??= 0;"
                    " e.dataset.n ??= ++window.n; const b = e.getBoundingClientRect();"
                    " return e.dataset.n + (b.width && b.height ? '' : ' unseen'); })()"
                )
                if not at and seen:
                    break
                seen.add(at)
            assert not [at for at in seen if at.endswith("unseen")], place
            radios = page.evaluate("document.querySelectorAll('main input[type=radio]:not(:checked)').length")
            assert len(seen - {""}) >= stops - radios, place
