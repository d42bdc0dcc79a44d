"""Photographed screens read in earnest: a few only, as each takes seconds; the benchmark takes hundreds."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from journal.errors import BadInput
from journal.record.photos import picture_of
from journal.seeing import can_see
from journal.seeing import texts as seeing_texts
from journal.shown import shown
from tests.record.pictures import file_of
from tests.seeing.camera import Conditions, photographed
from tests.seeing.judged import agrees, judged, middle
from tests.seeing.screens import TUNED_LOOKS, Screen, readings, rows, tiles

seeing = pytest.mark.skipif(not can_see(), reason="the photo extra is not installed")


@pytest.fixture(scope="module")
def screen() -> Screen:
    """Four readings in a list, with a decimal comma."""
    return rows(readings(random.Random(7), 4, ","), TUNED_LOOKS[1])


@seeing
def test_a_photographed_screen_gives_every_number_with_its_label_unit_and_quantity_at_its_place(screen: Screen) -> None:
    chance = random.Random(3)
    how = Conditions(tilt=25, roll=6, blur=0.8, glare=0.2, moire=0.1, grain=3, light=0.6, jpeg=75)
    photo = photographed(screen.image, how, chance)
    seen = shown(picture_of(photo.jpeg))
    assert len(seen) == 4
    assert [one.verdict for one in judged("list", screen, photo, seen)] == ["right"] * 4


@seeing
@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_picture_is_read_whichever_way_round_it_was_taken(turns: int) -> None:
    screen = tiles(readings(random.Random(11), 2, "."), TUNED_LOOKS[0])
    turned = screen.image.rotate(90 * turns, expand=True)
    seen = [number for number in shown(turned) if number.sure]
    assert len(seen) == 2
    width, height = screen.image.size
    for reading, (x, y) in screen.readings:
        at = {1: (y, width - x), 2: (width - x, height - y), 3: (height - y, x)}[turns]
        number = min(seen, key=lambda n: abs(middle(n)[0] - at[0]) + abs(middle(n)[1] - at[1]))
        assert agrees(reading, number)
        assert abs(middle(number)[0] - at[0]) < 20 and abs(middle(number)[1] - at[1]) < 20


@seeing
def test_a_photo_of_nothing_gives_nothing(root: Path) -> None:
    assert shown(picture_of(root / "demo" / "orchard" / "blow-by.jpg")) == ()
    assert shown(Image.new("L", (400, 300), 90)) == ()
    grain = np.random.default_rng(1).integers(0, 255, (90, 120, 3), dtype=np.uint8)
    assert shown(Image.fromarray(grain)) == ()


@seeing
@pytest.mark.parametrize("size", [(1, 1), (3000, 2), (5, 900)])
def test_a_picture_of_any_shape_is_no_trouble(size: tuple[int, int]) -> None:
    assert shown(Image.new("RGB", size, "white")) == ()


PLACE = ((0.0, 0.0), (90.0, 0.0), (90.0, 30.0), (0.0, 30.0))


@pytest.mark.parametrize(("again", "sure"), [("38.5 rpn", 0.96), ("36.5 rpm", 0.4), ("", 0.4)])
def test_a_figure_is_surer_where_a_second_look_reads_the_same_and_less_sure_where_it_does_not(
    again: str, sure: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks = iter(["38.5 rpm", again])

    def read(image: Image.Image, place: object) -> tuple[seeing_texts._Character, ...]:
        return tuple(seeing_texts._Character(c, 0.8, 0.1 * i) for i, c in enumerate(next(looks)))

    monkeypatch.setattr(seeing_texts, "_read", read)
    seen = seeing_texts._characters(Image.new("RGB", (90, 30)), PLACE)
    assert "".join(c.text for c in seen) == "38.5 rpm"
    assert [round(c.certainty, 3) for c in seen] == [sure] * 4 + [0.8] * 4


def test_nothing_of_the_reader_is_loaded_before_the_first_photo_is_read() -> None:
    code = (
        "import sys, journal.cli.photos, journal.shown, journal.seeing; journal.seeing.can_see();"
        "print({'rapidocr', 'onnxruntime', 'cv2'} & set(sys.modules))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "set()"


def test_without_the_extra_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(seeing_texts, "can_see", lambda: False)
    seeing_texts._reader.cache_clear()
    with pytest.raises(BadInput, match="photo extra"):
        shown(picture_of(file_of(Image.new("RGB", (64, 64), "white"), "PNG")))
