"""Two page copies of one photo are known as such, and one in which something was changed is not."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image, ImageDraw

from journal.record.picture_alike import same_copy
from tests.record.pictures import file_of, scene


def encoded(picture: Image.Image, times: int = 1, quality: int = 82) -> Image.Image:
    """The picture as it comes out of a JPEG, so many times over."""
    for _ in range(times):
        picture = Image.open(io.BytesIO(file_of(picture, quality=quality)))
        picture.load()
    return picture


@pytest.fixture
def here(tmp_path: Path) -> Path:
    path = tmp_path / "here.jpg"
    path.write_bytes(file_of(scene(), quality=82))
    return path


@pytest.mark.parametrize(("times", "quality"), [(1, 82), (4, 82), (1, 60), (1, 95)])
def test_encoding_anew_changes_nothing_that_counts(here: Path, times: int, quality: int) -> None:
    assert same_copy(here, encoded(scene(), times, quality))


@pytest.mark.parametrize("edge", [8, 16, 40])
@pytest.mark.parametrize(("shade", "at"), [(0.75, (0, 0)), (0.75, (632, 472)), (0.75, (200, 304)), (1.4, (200, 304))])
def test_a_patch_that_is_a_little_lighter_or_darker_is_another_picture(
    here: Path, edge: int, shade: float, at: tuple[int, int]
) -> None:
    changed = encoded(scene())
    box = (*at, min(640, at[0] + edge), min(480, at[1] + edge))
    patch = changed.crop(box)
    changed.paste(patch.point(lambda value: int(value * shade)), box)
    assert not same_copy(here, encoded(changed))


def test_another_size_is_another_picture(here: Path) -> None:
    assert not same_copy(here, encoded(scene()).resize((320, 240)))


@pytest.mark.parametrize("size", [(3, 3), (3, 200), (9, 9), (15, 17)])
def test_the_smallest_pictures_are_compared_too(tmp_path: Path, size: tuple[int, int]) -> None:
    white = Image.new("RGB", size, "white")
    (tmp_path / "small.jpg").write_bytes(file_of(white))
    assert same_copy(tmp_path / "small.jpg", encoded(white))
    marked = white.copy()
    ImageDraw.Draw(marked).rectangle((0, 0, *size), fill="black")
    assert not same_copy(tmp_path / "small.jpg", encoded(marked))


def test_what_is_no_picture_shows_nothing(tmp_path: Path) -> None:
    (tmp_path / "damaged.jpg").write_bytes(file_of(scene())[:500])
    assert not same_copy(tmp_path / "damaged.jpg", encoded(scene()))
