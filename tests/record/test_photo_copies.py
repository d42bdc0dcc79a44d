"""What is shown of a photo is the picture and nothing else, in its own colours, whatever the file was."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from journal.record.files import COPIES, shelf
from journal.record.jpeg_segments import carries_more
from journal.record.photos import keep_page_copy, page_copy_path, take_in, thumbnail_path
from tests.record.pictures import file_of, phone_exif, scene

SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def tagged(secret: bytes = b"Orchard Ash, serial 4711") -> bytes:
    """A profile of sRGB with words written over its copyright."""
    at = SRGB.index(b"t\0e\0x\0t") if b"t\0e\0x\0t" in SRGB else len(SRGB) - len(secret)
    return SRGB[:at] + secret + SRGB[at + len(secret) :]


def shown(folder: Path, data: bytes) -> Image.Image:
    """The page copy of a photo."""
    with Image.open(page_copy_path(folder, take_in(folder, data, "a").sha256)) as image:
        image.load()
        return image


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_no_copy_carries_a_profile_or_any_word_of_it(tmp_path: Path, kind: str) -> None:
    data = file_of(scene(), kind, icc_profile=tagged())
    with Image.open(io.BytesIO(data)) as image:
        assert b"serial 4711" in image.info["icc_profile"]
    sha256 = take_in(tmp_path, data, "a").sha256
    for path in (page_copy_path(tmp_path, sha256), thumbnail_path(tmp_path, sha256)):
        assert b"ICC_PROFILE" not in path.read_bytes() and b"4711" not in path.read_bytes()
        assert not carries_more(path)


def swapped_profile() -> bytes:
    """A profile whose red and blue have changed places (ICC.1, 9.2: matrix columns are tags of their own)."""
    names = SRGB.replace(b"rXYZ", b"tXYZ").replace(b"bXYZ", b"rXYZ").replace(b"tXYZ", b"bXYZ")
    assert names != SRGB
    return names


def test_colours_are_those_that_the_profile_means(tmp_path: Path) -> None:
    """LittleCMS's own reading is the outside check: red that is called blue is shown blue."""
    red = Image.new("RGB", (640, 480), (200, 30, 30))
    assert np.asarray(shown(tmp_path, file_of(red)))[..., 0].mean() > 150
    blue = np.asarray(shown(tmp_path, file_of(red, icc_profile=swapped_profile())))
    assert blue[..., 2].mean() > 150 and blue[..., 0].mean() < 80


@pytest.mark.parametrize("profile", [b"no profile", SRGB[:200], SRGB[:60] + b"\xff" * 400])
def test_a_profile_that_makes_no_sense_keeps_no_photo_out(tmp_path: Path, profile: bytes) -> None:
    assert shown(tmp_path, file_of(scene(), icc_profile=profile)).size == (640, 480)


def test_grey_of_sixteen_bits_is_a_photo(tmp_path: Path) -> None:
    """Held against the same picture in eight bits: each step of eight is 257 of sixteen (PNG, 12.5)."""
    grey = np.asarray(scene(2400, 1800).convert("L"))
    data = file_of(Image.fromarray(grey.astype(np.uint16) * 257), "PNG")
    with Image.open(io.BytesIO(data)) as image:
        assert image.mode.startswith("I")
    taken = take_in(tmp_path, data, "a.png")
    assert taken.warning == "" and (taken.width, taken.height) == (2400, 1800)
    eight = take_in(tmp_path, file_of(Image.fromarray(grey), "PNG"), "b.png")
    pages = [np.asarray(Image.open(page_copy_path(tmp_path, t.sha256)), dtype=float) for t in (taken, eight)]
    assert pages[0].shape == pages[1].shape and np.abs(pages[0] - pages[1]).mean() < 1


@pytest.mark.parametrize("mode", ["RGB", "LA", "P"])
def test_a_large_picture_brought_down_by_strips_is_the_picture(tmp_path: Path, mode: str) -> None:
    """Pillow's own resizing of the whole is the outside check."""
    picture = scene(3600, 2700)
    expected = picture.convert("L") if mode == "LA" else picture
    sent = picture.convert(mode)
    page = shown(tmp_path, file_of(sent, "PNG"))
    assert max(page.size) <= 2080
    whole = np.asarray(expected.convert("RGB").resize(page.size, Image.Resampling.BOX), dtype=float)
    difference = np.abs(np.asarray(page.convert("RGB"), dtype=float) - whole)
    assert difference.mean() < (14 if mode == "P" else 7)  # what grain, fewer colours and JPEG make


def test_what_can_be_seen_through_stands_on_white_all_over(tmp_path: Path) -> None:
    page = np.asarray(shown(tmp_path, file_of(Image.new("RGBA", (3001, 2707), (0, 0, 0, 0)), "PNG")))
    assert page.min() > 250, "also in the last rows and columns, which fill no whole step"


def test_a_copy_that_carries_more_than_the_picture_is_made_again(tmp_path: Path) -> None:
    """As an earlier version made them, or somebody put them there."""
    sha256 = take_in(tmp_path, file_of(scene()), "a.jpg").sha256
    for ending, path_of in (("-page.jpg", page_copy_path), ("-small.jpg", thumbnail_path)):
        path = shelf(tmp_path, COPIES, sha256, ending)
        for more in ({"exif": phone_exif()}, {"icc_profile": tagged()}, {"comment": b"at 48,12N"}):
            path.write_bytes(file_of(Image.new("RGB", (64, 48), "lime"), **more))
            assert carries_more(path)
            assert not carries_more(path_of(tmp_path, sha256))
            with Image.open(path) as image:
                assert np.asarray(image)[..., 0].mean() > 20, "made of the original"


def test_a_damaged_copy_is_made_again(tmp_path: Path) -> None:
    sha256 = take_in(tmp_path, file_of(scene()), "a.jpg").sha256
    shelf(tmp_path, COPIES, sha256, "-page.jpg").write_bytes(b"no picture")
    with Image.open(page_copy_path(tmp_path, sha256)) as image:
        assert image.size == (640, 480)


def test_a_copy_whose_original_stayed_elsewhere_loses_what_it_carries_too(tmp_path: Path) -> None:
    sha256 = "ab" * 32
    keep_page_copy(tmp_path, sha256, file_of(scene(), icc_profile=tagged(), exif=phone_exif()))
    assert not carries_more(page_copy_path(tmp_path, sha256))
    shelf(tmp_path, COPIES, sha256, "-page.jpg").write_bytes(file_of(scene(), exif=phone_exif()))
    assert not carries_more(page_copy_path(tmp_path, sha256))
