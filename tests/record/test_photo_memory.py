"""However large photos come and however many at once, taking them in takes so much memory and no more."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from journal.errors import BadInput
from journal.record.jpeg_segments import coefficients_held
from journal.record.photos import take_in
from tests.record.pictures import file_of, scene

SIDE = 7000
"""Of a picture of 49 megapixels."""
MOST_MB = 400

AT_ONCE = """
import re, sys, tempfile, threading
from pathlib import Path
from webui.server import one_pool

one_pool()
import webui.app
from journal.record.photos import take_in

def take(photo):
    with open(photo, "rb") as file:
        took.append(take_in(Path(folder), file, photo))

took = []
with tempfile.TemporaryDirectory() as folder:
    threads = [threading.Thread(target=take, args=(photo,)) for photo in sys.argv[1:]]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    copies = len(list((Path(folder) / "copies").rglob("*-page.jpg")))
print(len(took), copies, re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
"""
"""A page's process takes photos in from as many threads at once; then it says how many, and its most memory ever."""


GREEN = (90, 120, 60)
CLEAR = (90, 120, 60, 200)


def large(path: Path, side: int = SIDE) -> None:
    """Write a large photo of the kind that its name says."""
    size = (side, side)
    match path.name:
        case "through.png":
            Image.new("RGBA", size, CLEAR).save(path, compress_level=1)
        case "grey.png":
            Image.fromarray(np.full(size, 31_000, np.uint16)).save(path, compress_level=1)
        case "scans.jpg":
            Image.new("RGB", size, GREEN).save(path, progressive=True, subsampling=0)
        case "phone.heic":
            pillow_heif.from_pillow(Image.new("RGB", size, GREEN)).save(path, quality=20)
        case _:
            Image.new("RGB", size, GREEN).save(path, **({"compress_level": 1} if path.suffix == ".png" else {}))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells the most memory a process had")
@pytest.mark.parametrize(
    "names",
    [
        ["colour.png", "through.png", "grey.png"],
        ["scans.jpg", "through.png", "camera.jpg"],
        pytest.param(["phone.heic", "scans.jpg", "web.webp"], marks=pytest.mark.long),
    ],
    ids=" ".join,
)
def test_six_large_photos_at_once_take_little_memory(root: Path, tmp_path: Path, names: list[str]) -> None:
    """Each of three twice: what is the same is decoded all the same."""
    for name in names:
        large(tmp_path / name, {"web.webp": 4000, "scans.jpg": 6400}.get(name, SIDE))
    photos = [str(tmp_path / name) for name in names] * 2
    command = [sys.executable, "-c", AT_ONCE, *photos]
    told = subprocess.run(command, cwd=root, capture_output=True, text=True, check=True).stdout
    took, copies, kilobytes = map(int, re.findall(r"\d+", told))
    assert (took, copies) == (6, 3), "the same photo twice is one"
    assert kilobytes / 1024 <= MOST_MB


@pytest.mark.parametrize(
    ("how", "held"),
    [
        ({}, 0),
        ({"progressive": True, "subsampling": 0}, 3 * 640 * 480),
        ({"progressive": True, "subsampling": 2}, 1.5 * 640 * 480),
    ],
    ids=["one scan", "several scans", "several scans, colours coarser"],
)
def test_what_a_jpeg_of_several_scans_holds_is_known_beforehand(how: dict[str, object], held: float) -> None:
    file = io.BytesIO(file_of(scene(), **how))
    file.seek(7)
    assert coefficients_held(file) == held and file.tell() == 7


def test_colours_one_after_the_other_are_several_scans_too() -> None:
    """A sequential JPEG may bring each colour in a scan of its own (ITU-T T.81, 4.8): one part in the first scan."""
    data = bytearray(file_of(scene()))
    scan = data.index(b"\xff\xda")
    data[scan + 4] = 1
    assert coefficients_held(io.BytesIO(bytes(data))) == pytest.approx(1.5 * 640 * 480, abs=1)


def test_a_jpeg_that_would_hold_too_much_is_refused_before_it_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from journal.record import photos

    monkeypatch.setattr(photos, "MOST_COEFFICIENTS", 3 * 640 * 480 - 1)
    monkeypatch.setattr(photos, "decoded", lambda *_: pytest.fail("was decoded"))
    with pytest.raises(BadInput, match="several scans, too much to decode"):
        take_in(tmp_path, file_of(scene(), progressive=True, subsampling=0), "a.jpg")


@pytest.mark.parametrize("kind", ["WEBP", "AVIF"])
def test_kinds_whose_decoders_hold_a_picture_several_times_may_have_fewer_pixels(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from journal.record import photos

    data = file_of(scene(), kind)
    monkeypatch.setattr(photos, "MOST_PIXELS_COSTLY", 640 * 480 - 1)
    with pytest.raises(BadInput, match="megapixels: send a smaller copy, best as a JPEG"):
        take_in(tmp_path, data, "a")
    take_in(tmp_path, file_of(scene(), "PNG"), "a")
