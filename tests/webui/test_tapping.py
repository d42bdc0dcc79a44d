"""The live page under a glove: one tap is one answer, nothing moves under a finger, all can be undone or put right."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pytest

from journal.facts import Baseline, Cut, Engine, Injection, Note, PressureLevel, Question, RunKind, RunStarted
from journal.record.store import Store
from journal.session import Session
from tests.webui.browser import DESKTOP, PHONE, opened, serving, window
from tests.webui.conftest import Shop, text_of
from webui import live

FOUR = Question("four: thirty, or thirty-eight?", (Cut(4, 38.0), Cut(4, 30.0)))
SIX = Question("six: forty?", (Cut(6, 40.0),))


@pytest.fixture
def address(shop: Shop) -> Iterator[str]:
    with serving(shop) as where:
        yield where


@pytest.fixture
def job(shop: Shop) -> str:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    return job


def ask_now(shop: Shop, job: str, *questions: Question) -> list[str]:
    """Questions that were put at this moment; their identifiers."""
    with Store.open(shop.folder) as store:
        session = Session(store, job, "Wren")
        return [session.enter(question).id for question in questions]


def ready(page: Any) -> None:
    """Wait until a tap counts."""
    page.locator("body:not(.dead)").wait_for()


def answered(shop: Shop, job: str) -> int:
    return sum(asked.answer is not None for asked in shop.job(job).questions)


def test_two_quick_taps_on_no_answer_one_question(shop: Shop, job: str, address: str, chromium: Any) -> None:
    shop.enter(job, SIX, FOUR)
    with window(chromium, PHONE, has_touch=True) as page:
        page.goto(f"{address}/job/{job}/live")
        ready(page)
        box = page.get_by_role("button", name="Neither").bounding_box()
        spot = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        page.touchscreen.tap(*spot)
        page.touchscreen.tap(*spot)
        page.get_by_role("button", name="Yes: Cylinder 6 cut: 40").wait_for()
        page.touchscreen.tap(*spot)
        page.wait_for_timeout(400)
    assert answered(shop, job) == 1


def test_a_finger_meant_for_one_answer_does_not_give_another(shop: Shop, job: str, address: str, chromium: Any) -> None:
    """A question that comes while a finger is on its way down takes the place of the one that it was meant for."""
    shop.enter(job, FOUR)
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        ready(page)
        before = page.get_by_role("button", name="Cylinder 4 cut: 38").bounding_box()
        shop.enter(job, SIX)
        page.get_by_role("button", name="Yes: Cylinder 6 cut: 40").click(no_wait_after=True, force=True)
        page.wait_for_timeout(300)
        assert answered(shop, job) == 0, "dead for as long as anything just moved"
        ready(page)
        after = page.get_by_role("button", name="Yes: Cylinder 6 cut: 40").bounding_box()
        assert (before["x"], before["y"]) == (after["x"], after["y"]), "answers stand where answers stood"
        page.get_by_role("button", name="Yes: Cylinder 6 cut: 40").click()
        page.get_by_role("button", name="Cylinder 4 cut: 38").wait_for()
    assert [cut.cylinder for cut in shop.job(job).runs[0].cuts] == [6]


def test_the_server_too_takes_no_answer_right_after_a_question_came_or_went(
    shop: Shop, job: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever time this machine takes, a minute has not gone by."""
    first, second = ask_now(shop, job, SIX, FOUR)
    assert live.DEAD_S == 0.7
    monkeypatch.setattr(live, "DEAD_S", 60.0)
    early = shop.post(f"/job/{job}/question/{second}", choice="0")
    assert early.status_code == 400 and "look, then tap again" in text_of(early)
    assert answered(shop, job) == 0
    monkeypatch.setattr(live, "DEAD_S", 0.0)
    assert shop.post(f"/job/{job}/question/{second}", choice="0").status_code == 200
    monkeypatch.setattr(live, "DEAD_S", 60.0)
    assert shop.post(f"/job/{job}/question/{first}", choice="0").status_code == 400, "a second tap in no time"
    assert [asked.question.entry.id for asked in shop.job(job).waiting] == [first]


def test_an_answer_is_for_the_question_it_was_drawn_for(shop: Shop, job: str) -> None:
    question = shop.enter(job, FOUR)[0].id
    shop.post(f"/job/{job}/question/{question}", choice="1")
    again = shop.post(f"/job/{job}/question/{question}", choice="0")
    assert again.status_code == 400 and "settled meanwhile" in text_of(again)
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [30.0]


def test_an_answer_is_undone_and_put_back(shop: Shop, job: str, address: str, chromium: Any) -> None:
    shop.enter(job, FOUR)
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        ready(page)
        page.get_by_role("button", name="Cylinder 4 cut: 38").click()
        page.locator(".tile.read:not(.asks) .tile-value", has_text="38").wait_for()
        ready(page)
        page.get_by_role("button", name="Undo: cylinder 4 cut: 38").click()
        page.get_by_role("button", name="Cylinder 4 cut: 38", exact=True).wait_for()
        assert shop.job(job).runs[0].cuts == () and len(shop.job(job).waiting) == 1
        ready(page)
        page.get_by_role("button", name="Put back").click()
        page.locator(".tile.read:not(.asks) .tile-value", has_text="38").wait_for()
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [38.0]


def test_an_undo_names_what_it_takes_back(shop: Shop, job: str) -> None:
    first, last = shop.enter(job, Cut(1, 37.0), Cut(2, 37.5))
    late = shop.post(f"/job/{job}/undo", entry=first.id)
    assert late.status_code == 400 and "not the last thing done" in text_of(late)
    shop.post(f"/job/{job}/undo", entry=last.id)
    assert [cut.cylinder for cut in shop.job(job).runs[0].cuts] == [1]


def test_nothing_done_has_nothing_to_undo(shop: Shop) -> None:
    job = shop.open()
    assert '<button id="undo" disabled>' in text_of(shop.get(f"/job/{job}/live/now"))
    assert shop.post(f"/job/{job}/undo", entry="").status_code == 400


def test_the_right_number_is_tapped_in_place_of_both_that_are_asked_about(
    shop: Shop, job: str, address: str, chromium: Any
) -> None:
    shop.enter(job, FOUR)
    with window(chromium, PHONE, has_touch=True) as page:
        page.goto(f"{address}/job/{job}/live")
        ready(page)
        page.get_by_role("button", name="Another number").tap()
        for key in "37.5":
            page.locator(f"#pad [data-key='{key}']").tap()
        page.get_by_role("button", name="Enter", exact=True).tap()
        page.locator(".tile-value", has_text="37.5").wait_for()
        assert not page.locator("#pad").is_visible()
    assert [(cut.cylinder, cut.value) for cut in shop.job(job).runs[0].cuts] == [(4, 37.5)]
    assert not shop.job(job).waiting


@pytest.mark.parametrize("value", ["9999999", "3", "380"])
def test_a_number_that_the_job_does_not_lead_one_to_expect_is_asked_about_as_if_said(
    shop: Shop, job: str, value: str
) -> None:
    question = shop.enter(job, FOUR)[0].id
    shop.post(f"/job/{job}/number", about="question", question=question, value=value)
    run = shop.job(job).runs[0]
    assert run.cuts == ()
    assert [a.question.body.options for a in shop.job(job).waiting] == [(Cut(4, float(value)),)]
    shop.post(f"/job/{job}/number", about="cylinder", cylinder="5", value=value)
    shop.post(f"/job/{job}/number", about="baseline", value="9999999")
    assert shop.job(job).runs[0].cuts == () and [b.value for b in shop.job(job).runs[0].baselines] == [30.0]
    assert len(shop.job(job).waiting) == 3


def test_a_tile_is_tapped_to_enter_its_reading_and_again_to_put_it_right(
    shop: Shop, job: str, address: str, chromium: Any
) -> None:
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        for value in ("37", "38"):
            ready(page)
            page.locator("#tap-2").click()
            page.keyboard.type(value)
            page.keyboard.press("Enter")
            page.locator("#tap-2 .tile-value", has_text=value).wait_for()
        ready(page)
        page.locator("#tap-3").click()
        page.get_by_role("button", name="No change").click()
        page.locator("#tap-3 .tile-value", has_text="no change").wait_for()
        ready(page)
        page.locator("#tap-baseline").click()
        page.keyboard.press("Escape")
        assert not page.locator("#pad").is_visible()
    cuts = shop.job(job).runs[0].cuts
    assert [(cut.cylinder, cut.value, cut.no_change) for cut in cuts] == [(2, 38.0, False), (3, None, True)]


def test_a_tile_that_is_asked_about_is_settled_by_its_number(shop: Shop, job: str) -> None:
    shop.enter(job, FOUR, SIX)
    shop.post(f"/job/{job}/number", about="cylinder", cylinder="4", value="37.5")
    assert [(cut.cylinder, cut.value) for cut in shop.job(job).runs[0].cuts] == [(4, 37.5)]
    assert [asked.question.body for asked in shop.job(job).waiting] == [SIX]


def test_a_baseline_is_put_right_before_the_first_cut_and_read_again_after_it(shop: Shop, job: str) -> None:
    shop.post(f"/job/{job}/number", about="baseline", value="31")
    assert [b.value for b in shop.job(job).runs[0].baselines] == [31.0]
    shop.enter(job, Cut(1, 37.0))
    shop.post(f"/job/{job}/number", about="baseline", value="30.5")
    assert [b.value for b in shop.job(job).runs[0].baselines] == [31.0, 30.5]


@pytest.mark.parametrize(
    "form",
    [
        {"about": "cylinder", "cylinder": "4", "value": ""},
        {"about": "cylinder", "cylinder": "4", "value": "high"},
        {"about": "cylinder", "cylinder": "", "value": "38"},
        {"about": "cylinder", "cylinder": "9", "value": "38"},
        {"about": "baseline", "value": "", "no_change": "yes"},
        {"about": "question", "question": "nothing", "value": "38"},
        {"about": "weather", "value": "38"},
    ],
)
def test_a_number_of_nothing_is_refused_and_enters_nothing(shop: Shop, job: str, form: dict[str, str]) -> None:
    before = len(shop.job(job).entries)
    assert shop.post(f"/job/{job}/number", **form).status_code in (400, 404)
    assert len(shop.job(job).entries) == before


def test_a_question_about_no_number_takes_none(shop: Shop, job: str) -> None:
    question = shop.enter(job, Question("keep it?", (Note("smells of fuel"),)))[0].id
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert 'id="tap-question"' in page and "disabled>Another number" in page
    refused = shop.post(f"/job/{job}/number", about="question", question=question, value="38")
    assert refused.status_code == 400 and "not about a number" in text_of(refused)


def test_what_is_refused_is_told_where_it_was_tapped(shop: Shop, job: str, address: str, chromium: Any) -> None:
    with opened(chromium, DESKTOP) as context:
        page = context.new_page()
        page.goto(f"{address}/job/{job}/live")
        ready(page)
        page.locator("#tap-2").click()
        page.get_by_role("button", name="Enter", exact=True).click()
        page.get_by_text("Not done: no number was given: tap its figures first").wait_for()
        assert page.locator("#pad").is_visible(), "what was typed stays"


def test_the_question_stands_on_its_tile_and_the_next_cylinder_is_outlined(shop: Shop, job: str) -> None:
    shop.say(job, "cylinder one cut thirty seven point five")
    shop.enter(job, FOUR)
    page = text_of(shop.get(f"/job/{job}/live/now"))
    tiles = page.split('<li class="tile')[1:]
    assert ">38<" in tiles[3] and "or 30?" in tiles[3] and tiles[3].startswith(" asks")
    assert [n for n, tile in enumerate(tiles, 1) if tile.split('"')[0].endswith("next")] == [2]
    assert page.count("cut </span>next") == 1


def test_what_is_not_put_back_is_a_bar_across_and_is_put_back_from_there(
    shop: Shop, job: str, address: str, chromium: Any
) -> None:
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH))
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        bar = page.locator("#outstanding")
        assert bar.bounding_box()["width"] > 0.95 * DESKTOP["width"]
        assert "Not put back: injection pressure" in bar.inner_text()
        ready(page)
        page.get_by_role("button", name="Pressure is as it belongs").click()
        bar.wait_for(state="hidden")
    assert shop.job(job).outstanding == ()


ISO_MINUTES = 16.0
"""Least angle under which a capital or figure may be seen, minutes of arc (ISO 9241-303, from memory)."""

LAPTOP_MM = 174.0
"""Height of a 14-inch screen of 16 by 10: 14 in × 25.4 × 10 / sqrt(16² + 10²) = 188 mm; of 16 by 9: 174 mm."""


LETTERS = """(of) => { const pen = document.createElement("canvas").getContext("2d");
    return [...document.querySelectorAll(of)].filter((e) => e.textContent.trim() !== "–").map((e) => {
        const { fontWeight, fontSize, fontFamily } = getComputedStyle(e);
        pen.font = `${fontWeight} ${fontSize} ${fontFamily}`;
        return pen.measureText("3").actualBoundingBoxAscent / innerHeight; }); }"""
"""How high the figures or capitals of these are, as shares of the screen's height."""


@pytest.mark.parametrize(
    ("cylinders", "base", "least"),
    [(6, 30.2, 22.0), (8, 30.2, ISO_MINUTES), (12, 40.4, ISO_MINUTES), (16, 300.2, ISO_MINUTES)],
)
def test_readings_standings_and_what_is_next_are_read_from_two_metres(
    shop: Shop, address: str, chromium: Any, cylinders: int, base: float, least: float
) -> None:
    """What the angle asks of a 14-inch laptop at 2 m: 2000 mm × tan(16') = 9.3 mm, 5.3 hundredths of its height."""
    job = shop.open(engine=Engine(cylinders, injection=Injection.HYDRAULIC))
    shop.enter(job, RunStarted(RunKind.IDLE), Baseline(base))
    rise = base / (cylinders - 1)
    shop.enter(job, *(Cut(n, round(base + (rise if n > 2 else 0.0), 1)) for n in range(1, cylinders + 1)))
    with window(chromium, {"width": 1366, "height": 768}) as page:
        page.goto(f"{address}/job/{job}/live")
        # A listener that is there: the bar that says that it is not takes a seventh of the screen.
        listening = "document.getElementById('hears').className = 'hears is-listening'"
        page.evaluate(listening)
        readings = page.evaluate(LETTERS, ".tile-value")
        standings = page.evaluate(LETTERS, ".tile-standing .tag")
        assert len(readings) == len(standings) == cylinders
        assert min(readings) * LAPTOP_MM >= 2000 * math.tan(math.radians(least / 60))
        assert min(standings) * LAPTOP_MM >= 2000 * math.tan(math.radians(ISO_MINUTES / 60))
        assert page.locator("#words").bounding_box()["y"] < 768, "all of it in sight"
        assert page.evaluate("parseFloat(getComputedStyle(document.querySelector('.as-heard')).fontSize)") < 20
        page.evaluate("for (const e of document.querySelectorAll('.tag')) e.lastChild.textContent = 'strong'")
        cut_off = page.evaluate(
            "[...document.querySelectorAll('.tile button')].filter((e) => e.scrollWidth > e.clientWidth)"
        )
        assert cut_off == []
        shop.enter(job, RunStarted(RunKind.IDLE, repeat=True), Baseline(base))
        page.locator(".tile.next").wait_for()
        page.evaluate(listening)
        [number] = page.evaluate(LETTERS, ".tile.next .tile-number")
        assert number * LAPTOP_MM >= 2000 * math.tan(math.radians(least / 60))


LYING = {"width": 844, "height": 390}
"""A phone on its side."""


@pytest.mark.parametrize("cylinders", [6, 12, 16])
@pytest.mark.parametrize("size", [PHONE, LYING, {"width": 1366, "height": 768}], ids=["phone", "lying phone", "laptop"])
def test_all_of_live_is_in_sight_when_it_is_fullest(
    shop: Shop, address: str, chromium: Any, cylinders: int, size: dict[str, int]
) -> None:
    """Not listening, something not put back, and a question: no tile is under the answers or out of sight."""
    job = shop.open(engine=Engine(cylinders, injection=Injection.HYDRAULIC))
    half = tuple(range(cylinders // 2 + 1, cylinders + 1))
    shop.enter(job, RunStarted(RunKind.HALF_ENGINE, held_out=half), Baseline(30.2), Cut(1, 35.1))
    shop.enter(job, Question("two: thirty, or thirty-eight?", (Cut(2, 38.0), Cut(2, 30.0))))
    with window(chromium, size) as page:
        page.goto(f"{address}/job/{job}/live")
        page.locator("#hears.is-not-listening").wait_for()
        page.locator("#link", has_text="Following").wait_for()
        boxes = {
            part: page.locator(part).bounding_box() for part in ("#act", "#words", f"#tap-{cylinders}", "#tap-question")
        }
        ends = {part: box["y"] + box["height"] for part, box in boxes.items()}
        assert max(ends.values()) <= size["height"] + 1, ends
        below = boxes["#act"]["y"] if size is PHONE else boxes["#words"]["y"]
        assert ends[f"#tap-{cylinders}"] <= below
        assert ends["#words"] <= (boxes["#act"]["y"] if size is PHONE else size["height"]) + 1
        assert page.locator("#outstanding").bounding_box()["y"] < boxes[f"#tap-{cylinders}"]["y"]


def test_the_screen_is_kept_awake(shop: Shop, job: str, address: str, chromium: Any) -> None:
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        page.locator("#awake", has_text="screen").wait_for()
        page.evaluate("navigator.wakeLock.request('screen').then((lock) => { window.kept = !lock.released; })")
        page.wait_for_function("window.kept !== undefined")
        assert "kept awake" in page.locator("#awake").inner_text()


def test_a_whole_run_is_tapped_by_keyboard_alone(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        for key, value in (("#tap-baseline", "30"), ("#tap-1", "37.5"), ("#tap-2", "37.6")):
            ready(page)
            page.locator(key).focus()
            page.keyboard.press("Enter")
            page.keyboard.type(value)
            page.keyboard.press("Enter")
            page.locator(key, has_text=value).wait_for()
            ready(page)
            assert page.evaluate("document.activeElement.id") == key[1:], "the place is kept"
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [37.5, 37.6]
