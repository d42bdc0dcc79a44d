"""Photos go in whole or not at all, and what is shown of them gives no place away."""

from __future__ import annotations

import hashlib
import io
import math
import struct
import threading
import time
import zlib
from pathlib import Path

import exifread
import numpy as np
import pillow_heif
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin
from scipy.ndimage import gaussian_filter1d

from journal.errors import BadInput, NotFound
from journal.record import photos
from journal.record.photos import original_path, page_copy_path, take_in, thumbnail_path
from journal.record.picture_quality import WIDEST_EDGE, edge_width
from journal.record.watched import watch
from tests.record.pictures import blurred, file_of, phone_exif, scene


def test_the_original_is_kept_byte_for_byte_under_its_checksum(tmp_path: Path) -> None:
    data = file_of(scene(), exif=phone_exif())
    taken = take_in(tmp_path, data, "a.jpg")
    assert taken.sha256 == hashlib.sha256(data).hexdigest()
    assert original_path(tmp_path, taken.sha256).read_bytes() == data
    assert (taken.width, taken.height, taken.warning) == (640, 480, "")


def test_the_same_photo_twice_is_one(tmp_path: Path) -> None:
    data = file_of(scene())
    assert take_in(tmp_path, data, "a.jpg").sha256 == take_in(tmp_path, data, "b.jpg").sha256
    assert len(list((tmp_path / "photos").rglob("*.jpg"))) == 1


def test_shared_copies_carry_no_location_and_the_original_still_does(tmp_path: Path) -> None:
    """Read back with exifread, which shares no code with what wrote them."""
    taken = take_in(tmp_path, file_of(scene(2400, 1800), exif=phone_exif(orientation=6)), "a.jpg")
    original = exifread.process_file(original_path(tmp_path, taken.sha256).open("rb"))
    assert str(original["GPS GPSLatitudeRef"]) == "N" and str(original["Image Make"]) == "Invented Phones"
    for path in (page_copy_path(tmp_path, taken.sha256), thumbnail_path(tmp_path, taken.sha256)):
        assert exifread.process_file(path.open("rb")) == {}
        assert b"Invented" not in path.read_bytes() and b"GPS" not in path.read_bytes()


def test_other_places_where_a_location_may_hide_are_left_behind_too(tmp_path: Path) -> None:
    xmp = b"<x:xmpmeta>exif:GPSLatitude 48,12N</x:xmpmeta>"
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Comment", "taken at 48,12N")
    for data in (
        file_of(scene(), xmp=xmp, comment=b"taken at 48,12N", exif=phone_exif()),
        file_of(scene(), "WEBP", xmp=xmp, exif=phone_exif().tobytes()),
        file_of(scene(), "PNG", pnginfo=notes),
    ):
        assert b"48,12N" in data or b"GPS" in data or b"Comment" in data
        taken = take_in(tmp_path, data, "a")
        for path in (page_copy_path(tmp_path, taken.sha256), thumbnail_path(tmp_path, taken.sha256)):
            assert b"48,12N" not in path.read_bytes() and b"GPS" not in path.read_bytes()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_copies_stand_upright_however_the_phone_was_held(tmp_path: Path, orientation: int) -> None:
    """Pillow's own reading of the orientation is the outside check: the red corner must come out in the same place."""
    from PIL import ImageOps

    picture = scene(800, 600)
    data = file_of(picture, exif=phone_exif(orientation=orientation), quality=95)
    taken = take_in(tmp_path, data, "a.jpg")
    expected = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    shown = Image.open(page_copy_path(tmp_path, taken.sha256))
    assert (taken.width, taken.height) == shown.size == expected.size
    difference = np.abs(np.asarray(shown, dtype=float) - np.asarray(expected.convert("RGB"), dtype=float))
    assert difference.mean() < 8
    assert shown.getexif().get(0x0112, 1) == 1


def test_the_moment_comes_from_the_photo_with_its_offset(tmp_path: Path) -> None:
    taken = take_in(tmp_path, file_of(scene(), exif=phone_exif()), "a.jpg")
    assert taken.taken_at == "2026-03-01T10:00:05.250000+02:00"


def test_a_photo_without_an_offset_is_taken_to_be_in_this_machines_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "Asia/Kolkata")
    if not hasattr(time, "tzset"):
        pytest.skip("the zone cannot be set for one process on this system")
    time.tzset()
    try:
        taken = take_in(tmp_path, file_of(scene(), exif=phone_exif(offset=None)), "a.jpg")
    finally:
        monkeypatch.undo()
        time.tzset()
    assert taken.taken_at == "2026-03-01T10:00:05.250000+05:30"


def test_without_a_moment_in_it_the_files_own_counts_and_bytes_have_none(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(file_of(scene()))
    assert take_in(tmp_path, path).taken_at.startswith("20")
    assert take_in(tmp_path, path.read_bytes(), "a.jpg").taken_at == ""


@pytest.mark.parametrize(("offset", "taken_at"), [("rubbish", ""), ("  ", "2026-03-01T10:00:05.25")])
def test_an_odd_offset_does_not_keep_a_photo_out(tmp_path: Path, offset: str, taken_at: str) -> None:
    assert take_in(tmp_path, file_of(scene(), exif=phone_exif(offset=offset)), "a.jpg").taken_at.startswith(taken_at)


def heic(picture: Image.Image) -> bytes:
    out = io.BytesIO()
    pillow_heif.from_pillow(picture).save(out)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "AVIF", "HEIC", "grey", "CMYK", "transparent", "palette"])
def test_what_phones_and_scanners_write_goes_in(tmp_path: Path, kind: str) -> None:
    made = {
        "HEIC": lambda: heic(scene()),
        "grey": lambda: file_of(scene().convert("L")),
        "CMYK": lambda: file_of(scene().convert("CMYK")),
        "transparent": lambda: file_of(scene().convert("RGBA"), "PNG"),
        "palette": lambda: file_of(scene().convert("P"), "PNG"),
    }.get(kind, lambda: file_of(scene(), kind))()
    taken = take_in(tmp_path, made, "a")
    assert original_path(tmp_path, taken.sha256).read_bytes() == made
    with Image.open(page_copy_path(tmp_path, taken.sha256)) as page:
        assert page.format == "JPEG" and page.size == (640, 480)


def test_a_phones_jpeg_with_a_second_picture_behind_it_goes_in(tmp_path: Path) -> None:
    data = file_of(scene(), "MPO", save_all=True, append_images=[scene(seed=2)])
    taken = take_in(tmp_path, data, "a.jpg")
    assert original_path(tmp_path, taken.sha256).suffix == ".jpg"


def png_saying(width: int, height: int) -> bytes:
    """A small PNG file that claims to be huge."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 999)) + chunk(b"IEND", b"")
    )


def film(kind: str) -> bytes:
    return file_of(scene(), kind, save_all=True, append_images=[scene(seed=2)])


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (b"", "empty"),
        (b"<html>not a photo</html>", "not a photo"),
        (b"PK\x03\x04 a zip", "not a photo"),
        (b"GIF89a" + b"\0" * 50, "not a photo"),
        (b"%!PS-Adobe-3.0 EPSF-3.0", "not a photo"),
        (file_of(scene())[:2000], "cut short"),
        (file_of(scene())[:-9000], "cut short"),
        (file_of(scene(), "PNG")[:5000], "cut short"),
        (heic(scene())[:-3000], "damaged"),
        (png_saying(20_000, 10_000), "too many pixels|megapixels"),
        (png_saying(60_000, 60_000), "too many pixels|megapixels"),
        (png_saying(9_000, 9_000), "megapixels"),
        (film("WEBP"), "moves"),
        (film("PNG"), "moves"),
    ],
)
def test_what_is_no_photo_is_refused_in_one_line_and_leaves_nothing(tmp_path: Path, data: bytes, line: str) -> None:
    with pytest.raises(BadInput, match=line) as refused:
        take_in(tmp_path, data, "a.jpg")
    assert str(refused.value).startswith("a.jpg") and "\n" not in str(refused.value)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_a_jpeg_that_must_be_decoded_whole_may_be_less_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_COEFFICIENTS", 300_000)
    take_in(tmp_path, file_of(scene()), "a.jpg")
    with pytest.raises(BadInput, match="several scans"):
        take_in(tmp_path, file_of(scene(), progressive=True), "a.jpg")


def test_a_file_beyond_any_photos_size_is_refused_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photos, "MOST_BYTES", 1000)
    path = tmp_path / "a.jpg"
    path.write_bytes(file_of(scene()))
    with pytest.raises(BadInput, match="larger than"):
        take_in(tmp_path, path)
    with pytest.raises(BadInput, match="larger than"):
        take_in(tmp_path, path.read_bytes(), "a.jpg")


@given(where=st.floats(0, 1), junk=st.binary(min_size=1, max_size=40), kind=st.sampled_from(["JPEG", "PNG", "WEBP"]))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_damage_anywhere_is_refused_in_one_line_or_harmless(
    tmp_path: Path, where: float, junk: bytes, kind: str
) -> None:
    data = bytearray(file_of(scene(160, 120), kind, exif=phone_exif()))
    at = int(where * len(data))
    data[at : at + len(junk)] = junk
    try:
        taken = take_in(tmp_path, bytes(data), "a.jpg")
    except BadInput as refused:
        assert "\n" not in str(refused)
    else:
        assert page_copy_path(tmp_path, taken.sha256).is_file()


def test_a_missing_file_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no photo"):
        take_in(tmp_path, tmp_path / "none.jpg")


@pytest.mark.parametrize("sha256", ["../../../etc/passwd", "", "..", "ab" * 32 + "/../x", "AB" * 32])
def test_no_checksum_leads_out_of_the_folder(tmp_path: Path, sha256: str) -> None:
    for path_of in (original_path, page_copy_path, thumbnail_path):
        with pytest.raises(BadInput, match="SHA-256"):
            path_of(tmp_path, sha256)


def test_copies_that_were_lost_are_made_again(tmp_path: Path) -> None:
    taken = take_in(tmp_path, file_of(scene(2400, 1800)), "a.jpg")
    before = page_copy_path(tmp_path, taken.sha256).read_bytes()
    for path in (tmp_path / "copies").rglob("*.jpg"):
        path.unlink()
    assert Image.open(thumbnail_path(tmp_path, taken.sha256)).size == (320, 240)
    assert page_copy_path(tmp_path, taken.sha256).read_bytes() == before
    with pytest.raises(NotFound):
        page_copy_path(tmp_path, "ab" * 32)


def test_a_blurred_dark_or_glaring_photo_is_said_so_at_once(tmp_path: Path) -> None:
    sharp = scene(1600, 1200)
    assert take_in(tmp_path, file_of(sharp), "a.jpg").warning == ""
    assert take_in(tmp_path, file_of(blurred(sharp, 12)), "a.jpg").warning.startswith("blurred")
    assert take_in(tmp_path, file_of(sharp.point(lambda v: v // 14)), "a.jpg").warning.startswith("too dark")
    assert take_in(tmp_path, file_of(sharp.point(lambda v: 238 + v // 16)), "a.jpg").warning.startswith("too bright")


def test_a_sharp_subject_before_a_soft_background_is_no_blurred_photo(tmp_path: Path) -> None:
    sharp = scene(1600, 1200)
    picture = blurred(sharp, 14)
    picture.paste(sharp.crop((500, 380, 1100, 820)), (500, 380))
    assert take_in(tmp_path, file_of(picture), "a.jpg").warning == ""


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.0])
def test_an_edges_width_is_what_a_gaussian_blur_makes_it(sigma: float) -> None:
    """A step blurred by a sampled Gaussian (SciPy's) climbs fastest by that Gaussian's peak, 1 / (sigma sqrt(2 pi))."""
    step = np.where(np.arange(160) < 80, 20.0, 220.0)
    soft = gaussian_filter1d(step, sigma, truncate=8)
    width = edge_width(np.tile(soft, (100, 1)).astype(np.float32))
    assert width == pytest.approx(sigma * math.sqrt(2 * math.pi), rel=0.002)


def test_edges_grow_wider_with_the_blur_even_under_grain() -> None:
    picture, grain = scene(2000, 1500), np.random.default_rng(1).normal(0, 3, (1500, 2000))
    widths = []
    for radius in (0, 1, 2, 4, 8, 16):
        noisy = np.asarray(blurred(picture, radius).convert("L")) + grain
        widths.append(edge_width(np.asarray(Image.fromarray(noisy.astype(np.float32)).reduce(3))))
    assert widths == sorted(widths) and widths[1] < WIDEST_EDGE < widths[3]


def test_a_watched_folder_gives_each_photo_once_and_only_when_it_is_whole(tmp_path: Path) -> None:
    data = file_of(scene())
    (tmp_path / "old.jpg").write_bytes(data)
    (tmp_path / "notes.txt").write_text("no photo")
    ended = threading.Event()
    got: list[tuple[str, int]] = []

    def look() -> None:
        for path in watch(tmp_path, every_s=0.15, stop=ended.is_set):
            got.append((path.name, path.stat().st_size))
            if len(got) == 2:
                ended.set()

    watcher = threading.Thread(target=look)
    watcher.start()
    time.sleep(0.1)
    (tmp_path / ".new.jpg.part").write_bytes(data)
    with (tmp_path / "slow.JPG").open("wb") as slow:
        for start in range(0, len(data), len(data) // 8 + 1):
            slow.write(data[start : start + len(data) // 8 + 1])
            slow.flush()
            time.sleep(0.05)
    (tmp_path / "second.heic").write_bytes(data)
    watcher.join(20)
    ended.set()
    assert sorted(got) == [("second.heic", len(data)), ("slow.JPG", len(data))]


def test_watching_a_folder_that_is_not_there_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no folder"):
        next(watch(tmp_path / "none"))
