"""The pages in a real browser: live, answering, correcting, a phone's photo, the desk in a second browser, printing."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from journal.facts import Cut, Note, PartWanted, PhotoCue, Question
from tests.output.test_writeup import said_in_pdf
from tests.webui.browser import PHONE, serving, window
from tests.webui.conftest import IDLE_RUN, Shop, jpeg
from tests.webui.test_desk import link_of
from tests.webui.test_live import now_text
from webui.watch import Watcher

SOON = 2_000
"""Milliseconds in which what happens must be on the page; it is asked for within a second, on an idle machine."""


@pytest.fixture
def address(shop: Shop) -> Iterator[str]:
    """Where the shop's pages are served."""
    with serving(shop) as where:
        yield where


def test_a_dictated_reading_appears_on_an_open_page_by_itself(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        page.get_by_text("Following the journal").wait_for()
        assert page.locator(".tile-value").all_inner_texts() == ["–"] * 5, "and the next to be cut"
        shop.say(job, "cylinder four cut thirty seven point five")
        page.locator(".tile-value", has_text="37.5").wait_for(timeout=SOON)
        assert "cylinder four cut thirty seven point five" in page.locator("#words").inner_text()
        shop.enter(job, Question("Cylinder 2: 30 or 38?", (Cut(2, 38.0), Cut(2, 30.0))), heard="cylinder two cut")
        page.get_by_role("button", name="Cylinder 2 cut: 30").wait_for(timeout=SOON)


def test_a_question_is_answered_by_tapping_with_a_glove(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    shop.enter(job, Question("Cylinder 2: 30 or 38?", (Cut(2, 38.0), Cut(2, 30.0))))
    with window(chromium, PHONE, has_touch=True) as page:
        page.goto(f"{address}/job/{job}/live")
        button = page.get_by_role("button", name="Cylinder 2 cut: 30")
        assert button.bounding_box()["height"] >= 48
        page.locator("body:not(.dead)").wait_for()
        button.tap()
        page.get_by_text("answered").wait_for()
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [30.0]


def test_a_button_is_not_taken_away_from_under_a_finger(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    shop.enter(job, Question("Cylinder 2: 30 or 38?", (Cut(2, 38.0), Cut(2, 30.0))))
    with window(chromium, PHONE) as page:
        page.goto(f"{address}/job/{job}/live")
        page.get_by_role("button", name="Cylinder 2 cut: 30").evaluate("button => { button.mine = true; }")
        with page.expect_response(lambda answer: answer.url.endswith("/live/now")):
            shop.enter(job, Note("nothing of it stands on this page"))
        page.wait_for_timeout(300)
        assert page.get_by_role("button", name="Cylinder 2 cut: 30").evaluate("button => button.mine === true")


def test_a_recording_dictated_into_the_job_fills_the_open_page(
    shop: Shop, address: str, chromium: Any, root: Path, tmp_path: Path
) -> None:
    sound = pytest.importorskip("soundfile", reason="soundfile is not installed")
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    samples, rate = sound.read(root / "demo" / "orchard" / "1-idle.flac", frames=16_000 * 14, dtype="float32")
    sound.write(tmp_path / "said.wav", samples, rate)
    job = shop.open()
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        page.locator(".as-heard", has_text="Nothing heard yet").wait_for()
        said = [sys.executable, "-m", "journal", "--journal", str(shop.folder), "listen", "--from"]
        done = subprocess.run([*said, str(tmp_path / "said.wav")], capture_output=True, text=True, timeout=240)
        assert done.returncode == 0, done.stderr
        page.get_by_role("heading", name="Run 1: Idle").wait_for(timeout=SOON)
        assert page.locator(".as-heard").inner_text(), "what was last heard stands there"
    assert shop.job(job).runs and all(entry.clip for entry in shop.job(job).entries[1:])


def test_the_level_meter_follows_the_session_and_rests_when_it_falls_silent(
    shop: Shop, address: str, chromium: Any
) -> None:
    job = shop.open()

    def say_level(level_db: float) -> None:
        state = {"job": job, "listening": True, "level_db": level_db, "level_at_utc": now_text()}
        fresh = shop.folder / "live.new"
        fresh.write_text(json.dumps(state), encoding="utf-8")
        fresh.replace(shop.folder / "live.json")

    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        page.get_by_text("Following the journal").wait_for()
        assert page.locator("#level-words").text_content() == "no sound level now"
        say_level(-22.0)
        page.get_by_text("-22 dB, good").wait_for(timeout=SOON)
        assert page.locator("#level").evaluate("meter => meter.value") == -22
        say_level(-1.0)
        page.get_by_text("-1 dB, too loud").wait_for(timeout=SOON)
        page.locator("#level-words", has_text="no sound level now").wait_for(timeout=2 * SOON, state="attached")
        page.locator("#hears.is-not-listening").wait_for()
        assert page.locator("#level").evaluate("meter => meter.value") == -70


def test_a_page_that_lost_its_line_catches_up_when_it_is_back(shop: Shop, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    with serving(shop) as address, window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        page.get_by_text("Following the journal").wait_for()
        page.evaluate("window.sameAsBefore = true")
        page.route("**/events", lambda route: route.abort())
        shop.app.extensions["journal"].watcher.close()
        page.get_by_text("The line to the journal is lost; trying again").wait_for(timeout=10_000)
        assert page.locator("#hears-words").inner_text() == "NOT LISTENING"
        assert page.get_by_text("Following the journal").count() == 0
        shop.say(job, "cylinder six cut thirty seven point two")
        assert page.locator(".tile-value", has_text="37.2").count() == 0
        shop.app.extensions["journal"].watcher = Watcher(shop.folder)
        page.unroute("**/events")
        page.locator(".tile-value", has_text="37.2").wait_for(timeout=15_000)
        page.get_by_text("Following the journal").wait_for()
        assert page.get_by_text("The line to the journal is lost; trying again").count() == 0
        assert page.evaluate("window.sameAsBefore"), "it caught up by itself, not by being loaded anew"


def test_a_reading_is_corrected_by_keyboard_alone_and_its_history_shown(
    shop: Shop, address: str, chromium: Any
) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/review")
        page.locator(".reading .what").first.focus()
        for _ in range(8):
            if "Cylinder 4" in page.evaluate("document.activeElement.textContent"):
                break
            page.keyboard.press("ArrowDown")
        page.keyboard.press("Enter")
        page.get_by_label("Reading").wait_for()
        page.keyboard.press("Tab")
        for _ in range(40):
            if page.evaluate("document.activeElement.id") == "value":
                break
            page.keyboard.press("Tab")
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type("36.2")
        page.keyboard.press("Enter")
        page.get_by_text("Corrected to cylinder 4 cut: 36.2").wait_for()
        assert page.locator(".history li").count() == 2
    assert [cut.value for cut in shop.job(job).runs[0].cuts if cut.cylinder == 4] == [36.2]


def test_a_phone_scans_the_code_and_its_photo_lands_where_the_cue_said(
    shop: Shop, address: str, chromium: Any, tmp_path: Path
) -> None:
    """The code on the screen is read back by an independent reader (zxing-cpp), not by what drew it."""
    zxing = pytest.importorskip("zxingcpp", reason="zxing-cpp is not installed")
    from PIL import Image

    job = shop.open()
    shop.enter(job, PhotoCue("overhead", 3))
    with window(chromium, color_scheme="dark") as page:
        page.goto(f"{address}/job/{job}/photos")
        page.get_by_role("button", name="From a phone: show the QR code").click()
        page.locator(".qr").wait_for()
        shown = page.locator(".address").inner_text()
        with Image.open(io.BytesIO(page.screenshot())) as screen:
            codes = zxing.read_barcodes(screen.convert("L"))
    assert [code.text for code in codes] == [shown]
    (tmp_path / "IMG_7.jpg").write_bytes(jpeg(1200, 900))
    with window(chromium, PHONE, has_touch=True, is_mobile=True) as phone:
        phone.goto(shown)
        assert phone.locator(".shutter").bounding_box()["height"] >= 48
        phone.locator("#camera").set_input_files(tmp_path / "IMG_7.jpg")
        phone.get_by_text("1 photo in this job").wait_for(timeout=15_000)
    body = shop.job(job).pictures[0].photo.body
    assert (body.subject, body.cylinder, body.name) == ("overhead", 3, "IMG_7.jpg")


def test_a_ring_drawn_with_the_pointer_lies_where_it_was_drawn(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg(800, 600)), "a.jpg")])
    sha = shop.job(job).pictures[0].photo.body.sha256
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/photos/{sha}")
        box = page.locator("#mark-here svg").bounding_box()
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 0.5 * box["height"])
        page.mouse.down()
        page.mouse.move(box["x"] + 0.6 * box["width"], box["y"] + 0.5 * box["height"], steps=4)
        page.mouse.up()
        page.get_by_role("button", name="Keep it").click()
        page.get_by_role("button", name="Take back ring 1").wait_for()
    mark = shop.job(job).pictures[0].marks[0].body
    assert (mark.x0, mark.y0, mark.x1) == pytest.approx((0.5, 0.5, 0.6), abs=0.01)


def test_the_desk_answers_in_a_second_browser_and_the_open_page_shows_it(
    shop: Shop, address: str, chromium: Any
) -> None:
    job = shop.open()
    shop.enter(job, PartWanted("valve bridge", cylinder=3, reason="broken"))
    link = link_of(shop, job)
    with window(chromium) as technician, window(chromium, known=False) as clerk:
        technician.goto(f"{address}/job/{job}/live")
        technician.get_by_text("Following the journal").wait_for()
        clerk.goto(address + link)
        clerk.get_by_label("Part number").fill("VB-30017")
        clerk.get_by_label("Price, with currency").fill("84.50 EUR")
        clerk.get_by_role("button", name="Save all").click()
        clerk.get_by_text("the shop sees it now").wait_for()
        technician.get_by_text("VB-30017").wait_for(timeout=SOON)
        assert technician.get_by_role("heading", name="The parts desk says").is_visible()


def test_a_job_is_started_with_its_layout_drawn_as_it_is_filled_in(shop: Shop, address: str, chromium: Any) -> None:
    with window(chromium) as page:
        page.goto(f"{address}/new")
        page.get_by_label("Unit, as the shop calls it").fill("Harvester 4")
        page.get_by_label("Cylinders", exact=True).fill("6")
        page.get_by_label("Firing order, from the service manual").fill("1-5-3-6-2-4")
        page.get_by_label("Firing order, from the service manual").press("Tab")
        page.locator("#drawn circle").nth(5).wait_for()
        page.get_by_label("A common layout to start from").select_option("vee eight")
        page.get_by_role("button", name="Fill it in").click()
        page.locator("#drawn circle").nth(7).wait_for()
        assert page.get_by_label("Unit, as the shop calls it").input_value() == "Harvester 4"
        page.get_by_label("Injection").select_option("unit pump")
        page.get_by_label("Complaint").press("Tab")
        page.get_by_label("Unit, as the shop calls it").press("Enter")
        page.get_by_text("the job is open; confirm against the service manual").wait_for()
    with window(chromium) as page:
        page.goto(address)
        assert "Harvester 4" in page.locator(".jobs").inner_text()


def test_the_write_up_prints_to_pages_of_both_papers(shop: Shop, address: str, chromium: Any, tmp_path: Path) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    with window(chromium) as page:
        page.goto(f"{address}/job/{job}/write-up")
        for paper, size in (("A4", (595, 842)), ("Letter", (612, 792))):
            data = page.pdf(format=paper)
            sheets = said_in_pdf(data, tmp_path).split("\f")[:-1]
            assert all(re.search(rf"Job [A-Z]{{4,}}, Orchard pump 2 +sheet {n} of", s) for n, s in enumerate(sheets, 1))
            found = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
            assert found is not None
            assert (float(found[1]), float(found[2])) == pytest.approx(size, abs=1.5)
        page.emulate_media(media="print", color_scheme="dark")
        ink = "getComputedStyle(document.querySelector('main h1')).color"
        assert page.evaluate(ink) == "rgb(0, 0, 0)", "black on white, whatever the screen's theme"
        assert page.locator(".chart rect").first.bounding_box()["width"] > 20, (
            "the pictures are printed with their bars"
        )
        assert not page.get_by_role("button", name="Print").is_visible()
        assert not page.locator(".tabs").is_visible() and page.get_by_text("Cylinder 3 is dead").first.is_visible()


def test_no_page_is_wider_than_a_small_phone_or_asks_another_host(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open(unit="Orchardpumpstationwithaverylongunbrokenname 2", complaint="x" * 300)
    shop.say(job, *IDLE_RUN)
    shop.enter(job, PartWanted("bridge" * 20, cylinder=3))
    places = ["/", "/new?cylinders=16", "/phrases", "/devices", link_of(shop, job)]
    places += [f"/job/{job}{p}" for p in ("", "/live", "/review", "/photos", "/parts", "/write-up", "/finish")]
    for width in (360, 1920):
        with window(chromium, {"width": width, "height": 800}) as page:
            asked: list[str] = []
            page.on("request", lambda request: asked.append(request.url))  # noqa: B023
            for place in places:
                page.goto(address + place)
                assert page.evaluate("document.documentElement.scrollWidth") <= width, (place, width)
            assert all(url.startswith(address) for url in asked)


def test_everything_to_press_is_big_enough_for_gloves(shop: Shop, address: str, chromium: Any) -> None:
    """48 CSS pixels: above WCAG 2.2's 2.5.8 (24) and 2.5.5 (44). Links within a sentence are not counted."""
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    shop.enter(job, PartWanted("bridge", cylinder=3), Question("3 or 4?", (Cut(1, 37.0), Cut(1, 36.0))))
    script = """() => [...document.querySelectorAll(`button, select, summary, .button, .tabs a, .jobs a, .shutter,
        input:not([type=hidden], [type=checkbox], [type=radio], .hidden-visually), label.choice`)]
        .filter((e) => e.checkVisibility() && !e.closest('.hidden-visually'))
        .filter((e) => e.getBoundingClientRect().height < 47.9)
        .map((e) => e.outerHTML.slice(0, 90) + ' ' + e.getBoundingClientRect().height)"""
    with window(chromium, PHONE) as page:
        for place in ("", "/live", "/review", "/photos", "/parts", "/write-up", "/finish"):
            page.goto(f"{address}/job/{job}{place}")
            assert page.evaluate(script) == [], place
        for place in ("/", "/new", link_of(shop, job)):
            page.goto(address + place)
            assert page.evaluate(script) == [], place
