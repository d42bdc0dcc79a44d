"""Photos of screens on the pages: read beside the request, asked about with their part of the photo, traced."""

from __future__ import annotations

import io
import random
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from journal.errors import BadInput
from journal.facts import Quantity as Q
from journal.facts import Seen
from journal.record.shop_labels import keep_label
from journal.seeing import NOT_READ, Labelled, can_see
from journal.seeing import texts as seeing_texts
from tests.seeing.camera import Conditions, photographed
from tests.seeing.screens import TUNED_LOOKS, Reading, rows
from tests.webui.browser import DESKTOP, PHONE, serving, window
from tests.webui.conftest import Shop, jpeg, text_of
from webui import photos, screens
from webui.screens import BEING_READ, Screens

CORNERS = ((320.0, 120.0), (400.0, 120.0), (400.0, 144.0), (320.0, 144.0))


def number(value: float, doubt: str = "") -> Labelled:
    """A reading of the fuel at a known place of a photo of 640 by 480."""
    return Labelled(f"{value:.1f}", value, "Fuel delivery", "mm3", Q.FUEL_PER_STROKE, 0.99, doubt, CORNERS)


class Reader:
    """Stands for the process that reads: what it is to find, one photo after another."""

    found: list[tuple[Labelled, ...] | Exception]

    def read(self, path: Path) -> screens.Found:
        numbers = self.found.pop(0)
        if isinstance(numbers, Exception):
            raise numbers
        return numbers, (640, 480)

    def end(self) -> None:
        """There is no process to end."""


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Says what is found on the photos to come."""
    Reader.found = []
    monkeypatch.setattr(screens, "_Worker", Reader)
    for module in (screens, photos):
        monkeypatch.setattr(module, "can_see", lambda: True)
    return lambda *numbers: Reader.found.append(numbers)


@pytest.fixture
def job(shop: Shop) -> Iterator[str]:
    """A job whose run has its baseline."""
    made = shop.open()
    shop.say(made, "idle cut out test", "baseline thirty")
    keep_label(shop.folder, Q.FUEL_PER_STROKE, "Fuel delivery")
    yield made
    shop.app.extensions["journal"].screens.close()


def send(shop: Shop, job: str, data: bytes, cylinder: int | None = 4) -> str:
    """A photo comes in by the page of photos, after its cue on the phone's page; what became of it in the end."""
    if cylinder:
        shop.post(f"/job/{job}/handset/cue", subject="scanner", cylinder=str(cylinder))
    before = {picture.photo.body.sha256 for picture in shop.job(job).pictures}
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(data), "IMG.jpg")])
    [sha] = {picture.photo.body.sha256 for picture in shop.job(job).pictures} - before
    kept: Screens = shop.app.extensions["journal"].screens
    for _ in range(3000):
        if kept.told(sha) not in ("", BEING_READ):
            break
        time.sleep(0.01)
    return kept.told(sha)


def test_a_photo_that_comes_in_by_a_page_is_read_and_entered(shop: Shop, job: str, reads: Callable[..., None]) -> None:
    reads(number(37.4))
    assert send(shop, job, jpeg()) == "cylinder 4 cut: 37.4"
    [cut] = shop.job(job).runs[0].cuts
    assert (cut.cylinder, cut.value) == (4, 37.4)
    page = text_of(shop.get(f"/job/{job}/entry/{cut.entry}"))
    [fact] = shop.job(job).seen[cut.entry]
    assert f"/job/{job}/seen/{fact.entry.id}.jpg" in page and "Read</dt>" in page
    sha = shop.job(job).pictures[0].photo.body.sha256
    of_photo = text_of(shop.get(f"/job/{job}/photos/{sha}"))
    assert "Read off it" in of_photo and f"/job/{job}/entry/{cut.entry}" in of_photo


def test_a_question_shows_its_part_of_the_photo_and_one_tap_answers_it(
    shop: Shop, job: str, reads: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webui.live.DEAD_S", 0.0)
    reads(number(37.4, "hard to read"))
    assert send(shop, job, jpeg()) == "asked: Cylinder 4 cut: 37.4 mm³?"
    [asked] = shop.job(job).waiting
    [fact] = shop.job(job).seen[asked.question.entry.id]
    part = f"/job/{job}/seen/{fact.entry.id}.jpg"
    for address in ("live", "live/now", "review"):
        assert part in text_of(shop.get(f"/job/{job}/{address}"))
    assert shop.get(f"/job/{job}/handset/now").get_json()["asked"]["crops"] == [part]
    with Image.open(io.BytesIO(shop.get(part).data)) as crop:
        # To the photo's left edge, as fourteen of the number's heights would be more; four to its right.
        assert crop.size == (400 + 4 * 24, round(24 + 2 * 1.8 * 24))
    shop.post(f"/job/{job}/question/{asked.question.entry.id}", choice="0")
    assert shop.job(job).runs[0].cuts[0].value == 37.4


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "laptop"])
def test_the_live_page_shows_the_part_and_its_answers_at_once(
    shop: Shop, job: str, reads: Callable[..., None], chromium: Any, size: dict[str, int]
) -> None:
    reads(number(37.4, "hard to read"))
    send(shop, job, jpeg())
    with serving(shop) as address, window(chromium, size) as page:
        page.goto(f"{address}/job/{job}/live")
        page.locator("#words .crops img").evaluate("image => image.decode()")  # fails where it cannot be had
        for what in ("#words .crops img", "#answer-0", "#answer-n"):
            box = page.locator(what).bounding_box()
            assert box["x"] >= 0 and box["x"] + box["width"] <= size["width"] + 1
            assert box["y"] >= 0 and box["y"] + box["height"] <= size["height"] + 1


def test_only_a_number_of_this_job_is_shown(shop: Shop, job: str, reads: Callable[..., None]) -> None:
    reads(number(37.4))
    send(shop, job, jpeg())
    seen = next(e for e in shop.job(job).entries if isinstance(e.body, Seen))
    other = shop.open("Mill 3")
    assert shop.get(f"/job/{other}/seen/{seen.id}.jpg").status_code == 404
    assert shop.get(f"/job/{job}/seen/{shop.job(job).entries[0].id}.jpg").status_code == 404


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        (EOFError(), "its screen is not read: the reader ended; send the photo again"),
        (
            BadInput("the photo is damaged: send it again"),
            "its screen is not read: the photo is damaged: send it again",
        ),
        (None, "no number is to be seen on it"),
    ],
    ids=["the reader dies", "it cannot be read", "nothing on it"],
)
def test_a_photo_that_gives_nothing_says_so_in_one_line_and_the_next_is_read(
    shop: Shop, job: str, reads: Callable[..., None], wrong: Exception | None, told: str
) -> None:
    if wrong is None:
        reads()
    else:
        Reader.found.append(wrong)
    reads(number(37.5))
    assert send(shop, job, jpeg(seed=1)) == told
    assert send(shop, job, jpeg(seed=2), cylinder=None) == "cylinder 4 cut: 37.5"


def test_placing_a_photo_by_hand_has_it_read(shop: Shop, job: str, reads: Callable[..., None]) -> None:
    shop.say(job, "cylinder one cut thirty seven point five")
    reads(number(36.0))
    assert send(shop, job, jpeg(), cylinder=None).startswith("nothing is entered from it: which cylinder was cut")
    reads(number(36.0))
    sha = shop.job(job).pictures[0].photo.body.sha256
    shop.post(f"/job/{job}/photos/{sha}/place", subject="scanner", cylinder="2")
    for _ in range(1000):
        if len(shop.job(job).runs[0].cuts) == 2:
            break
        time.sleep(0.01)
    assert shop.job(job).runs[0].cuts[-1].value == 36.0


def test_without_the_reader_photos_come_in_as_before_and_one_line_tells_how_to_get_it(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (screens, photos, seeing_texts):
        monkeypatch.setattr(module, "can_see", lambda: False)
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg()), "IMG.jpg")])
    assert len(shop.job(job).pictures) == 1 and shop.job(job).seen == {}
    assert shop.app.extensions["journal"].screens._thread is None
    for page in ("photos", "handset"):
        assert text_of(shop.get(f"/job/{job}/{page}")).count(NOT_READ.partition("`")[0].capitalize()) == 1


@pytest.mark.skipif(not can_see(), reason="the photo extra is not installed")
def test_a_photo_is_read_in_earnest_beside_the_page(shop: Shop, job: str) -> None:
    shown = [
        Reading("Fuel delivery", "37.4", 37.4, "mm3", "mm³/st", Q.FUEL_PER_STROKE),
        Reading("Engine speed", "702", 702, "rpm", "rpm", Q.ENGINE_SPEED),
    ]
    how = Conditions(tilt=8, blur=0.6, grain=2)
    photo = photographed(rows(shown, TUNED_LOOKS[0]).image, how, random.Random(4))
    assert send(shop, job, photo.jpeg) == "cylinder 4 cut: 37.4; engine speed: 702 rpm"


def test_nothing_of_the_reader_is_loaded_by_the_pages() -> None:
    code = "import sys, webui, webui.screens; print({'rapidocr', 'onnxruntime', 'cv2'} & set(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"
