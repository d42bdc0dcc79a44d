"""Where a photo belongs at the very moment of a cue, an opening or its arrival, and when two pictures are the same."""

from __future__ import annotations

import io
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from journal.facts import Photo, PhotoCue, RunEnded, RunKind, RunStarted
from journal.facts.codec import time_to_text
from journal.record import picture_decoding
from journal.record.job import Picture, PlacedBy
from journal.record.photos import PAGE_EDGE_LEFT, page_copy_path, take_in
from journal.record.picture_alike import alike, same_copy
from journal.record.picture_decoding import decoded
from journal.record.replay import replay
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of

SHA = "ab" * 32


def placed(job: Scribe) -> Picture:
    (picture,) = replay(job.entries).pictures
    return picture


@pytest.mark.parametrize(
    ("taken_s", "subject", "by"),
    [
        (-0.001, "overhead", PlacedBy.CUE_WHEN_ARRIVED),  # before the job was opened: the camera's clock is wrong
        (0, "", PlacedBy.NOTHING),
        (9.999, "", PlacedBy.NOTHING),
        (10, "blow-by", PlacedBy.CUE_WHEN_TAKEN),
        (19.999, "blow-by", PlacedBy.CUE_WHEN_TAKEN),
        (20, "overhead", PlacedBy.CUE_WHEN_TAKEN),
        (30, "overhead", PlacedBy.CUE_WHEN_TAKEN),
        (30.001, "overhead", PlacedBy.CUE_WHEN_ARRIVED),  # after it arrived
    ],
)
def test_a_photo_belongs_to_the_cue_from_its_very_moment_on(taken_s: float, subject: str, by: PlacedBy) -> None:
    job = opened()
    start = job.at
    job.say(PhotoCue("blow-by"), seconds=10)
    job.say(PhotoCue("overhead", 3), seconds=10)
    taken = time_to_text(start + timedelta(seconds=taken_s))
    job.say(Photo(SHA, "a.jpg", taken_at=taken), seconds=10)
    found = placed(job)
    assert (found.photo.body.subject, found.placed_by) == (subject, by)
    assert found.photo.body.cylinder == (3 if subject == "overhead" else None)


def test_a_photo_of_a_run_is_of_it_while_it_goes_on_and_a_cue_in_it_outlasts_it() -> None:
    for cue, ended, subject, by in (
        (False, False, "cut-out run 1", PlacedBy.RUN),
        (False, True, "", PlacedBy.NOTHING),
        (True, False, "blow-by", PlacedBy.CUE_WHEN_ARRIVED),
        (True, True, "blow-by", PlacedBy.CUE_WHEN_ARRIVED),
    ):
        job = opened()
        job.say(RunStarted(RunKind.IDLE))
        if cue:
            job.say(PhotoCue("blow-by", 2))
        if ended:
            job.say(RunEnded())
        job.say(Photo(SHA, "a.jpg"))
        assert (placed(job).photo.body.subject, placed(job).placed_by) == (subject, by)


def test_a_cylinder_that_came_with_a_photo_stands_where_its_subject_was_said() -> None:
    job = opened()
    job.say(PhotoCue("overhead", 3))
    job.say(Photo(SHA, "a.jpg", cylinder=5))
    assert (placed(job).photo.body.subject, placed(job).photo.body.cylinder) == ("overhead", 5)


def grey(level: int, size: tuple[int, int] = (64, 48)) -> Image.Image:
    return Image.new("RGB", size, (level, level, level))


def kept(tmp_path: Path, name: str, picture: Image.Image, kind: str = "PNG") -> Path:
    path = tmp_path / name
    path.write_bytes(file_of(picture, kind))
    return path


def test_a_tenth_of_one_colour_in_one_block_is_another_picture(tmp_path: Path) -> None:
    here = kept(tmp_path, "a.png", grey(100))
    for by, same in ((0, True), (25, True), (26, False), (-25, True), (-26, False)):
        pixels = np.asarray(grey(100)).copy()
        pixels[40:48, 56:64, 2] += np.uint8(by % 256)  # the last block, blue alone
        assert same_copy(here, Image.fromarray(pixels)) is same
    assert not same_copy(here, grey(100, (64, 49)))
    assert same_copy(kept(tmp_path, "b.png", grey(100, (3, 3))), grey(100, (3, 3))), "smaller than a block"
    (tmp_path / "c.png").write_bytes(b"no picture")
    assert not same_copy(tmp_path / "c.png", grey(100))


def test_a_copy_is_alike_up_to_a_twentieth_all_over(tmp_path: Path) -> None:
    original = kept(tmp_path, "a.png", grey(100))
    for level, same in ((100, True), (112, True), (113, False), (88, True), (87, False)):
        assert alike(original, kept(tmp_path, f"{level}.png", grey(level))) is same
    (tmp_path / "none.png").write_bytes(b"no picture")
    assert not alike(original, tmp_path / "none.png")
    assert alike(tmp_path / "none.png", original), "a damaged original is found by its checksum"


def test_what_can_be_seen_through_is_alike_on_white_and_deep_grey_in_its_upper_bits(tmp_path: Path) -> None:
    clear = Image.new("RGBA", (64, 48), (0, 0, 0, 0))
    assert alike(kept(tmp_path, "clear.png", clear), kept(tmp_path, "white.png", grey(255)))
    deep = Image.fromarray(np.full((48, 64), 100 * 257, dtype=np.uint16))
    assert alike(kept(tmp_path, "deep.png", deep), kept(tmp_path, "100.png", grey(100)))
    assert not alike(kept(tmp_path, "deep.png", deep), kept(tmp_path, "113.png", grey(113)))


@pytest.mark.parametrize(
    ("kind", "size", "expected"),
    [
        ("PNG", (200, 150), (200, 150)),  # as large as may be left
        ("PNG", (201, 150), (160, 119)),
        ("PNG", (640, 480), (160, 120)),
        ("PNG", (150, 640), (38, 160)),
        ("JPEG", (200, 150), (200, 150)),
        ("JPEG", (640, 480), (160, 120)),
    ],
)
def test_only_what_is_larger_than_may_be_left_is_brought_down(
    kind: str, size: tuple[int, int], expected: tuple[int, int]
) -> None:
    with Image.open(io.BytesIO(file_of(grey(100, size), kind))) as image:
        page = decoded(image, 160, 200, 1)
    assert page.size == expected and page.mode == "RGB" and page.info == {}
    assert np.abs(np.asarray(page, dtype=float) - 100).max() <= 1


def test_a_large_jpeg_is_compared_without_decoding_all_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A JPEG can be decoded at an eighth of its size; 49 megapixels whole are 150 MB."""
    sizes = []
    turned = ImageOps.exif_transpose

    def upright(image: Image.Image) -> Image.Image:
        sizes.append(image.size)
        return turned(image)

    monkeypatch.setattr(ImageOps, "exif_transpose", upright)
    original = kept(tmp_path, "a.jpg", grey(100, (2048, 1536)), "JPEG")
    assert alike(original, kept(tmp_path, "b.jpg", grey(100, (1024, 768)), "JPEG"))
    assert sizes == [(256, 192), (256, 192)], "at least 128 pixels each way"


def test_so_is_one_that_stands_upright(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sizes = []
    turned = ImageOps.exif_transpose

    def upright(image: Image.Image) -> Image.Image:
        sizes.append(image.size)
        return turned(image)

    monkeypatch.setattr(ImageOps, "exif_transpose", upright)
    kept_so = kept(tmp_path, "b.jpg", grey(100, (768, 1024)), "JPEG")
    assert alike(kept(tmp_path, "a.jpg", grey(100, (1536, 2048)), "JPEG"), kept_so)
    assert sizes == [(192, 256), (192, 256)]


def test_what_must_be_decoded_whole_is_brought_down_in_strips_of_whole_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """At most 256 rows of it are there twice."""
    seen, plain = [], picture_decoding._plain

    def strip(image: Image.Image) -> Image.Image:
        seen.append(image.size)
        return plain(image)

    monkeypatch.setattr(picture_decoding, "_plain", strip)
    with Image.open(io.BytesIO(file_of(grey(100, (640, 1100)), "PNG"))) as image:
        page = decoded(image, 160, 200, 1)
    assert seen == [(640, 258)] * 4 + [(640, 68), (107, 184)]
    assert page.size == (107, 184), "small enough to be left so"


@pytest.mark.parametrize("size", [(3, 6000), (9000, 1)])
@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_picture_as_narrow_as_a_thread_is_a_picture(tmp_path: Path, size: tuple[int, int], kind: str) -> None:
    taken = take_in(tmp_path, file_of(Image.new("RGB", size, (90, 120, 60)), kind), "a")
    assert (taken.width, taken.height) == size
    with Image.open(page_copy_path(tmp_path, taken.sha256)) as page:
        assert max(page.size) <= PAGE_EDGE_LEFT and min(page.size) >= 1


@pytest.mark.parametrize(
    ("side", "page"),
    [(2080, 2080), (2081, 1600), (3200, 1600), (3199, 1600), (6400, 1600)],
    ids=["left as it is", "just too large", "half", "just not half", "a quarter"],
)
def test_a_page_copy_is_no_larger_than_need_be(tmp_path: Path, side: int, page: int) -> None:
    """A JPEG that decodes to a fraction of its size lies between the two edges; a PNG of that size is no larger."""
    for kind in ("JPEG", "PNG"):
        taken = take_in(tmp_path, file_of(Image.new("RGB", (side, side // 4), (90, 120, 60)), kind), kind)
        with Image.open(page_copy_path(tmp_path, taken.sha256)) as copy:
            assert page <= copy.width <= (page if side <= 2080 else PAGE_EDGE_LEFT)
            assert copy.width / copy.height == pytest.approx(4, rel=0.01)
