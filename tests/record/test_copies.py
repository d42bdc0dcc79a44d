"""A copy that no longer shows what its original shows is found, whatever the format, and made anew."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from click.testing import CliRunner
from PIL import Image

from journal.cli.main import group
from journal.facts import Photo
from journal.record import verify as verifying
from journal.record.photos import page_copy_path, take_in, thumbnail_path
from journal.record.picture_alike import alike
from journal.record.store import Store
from journal.record.verify import drop_copies, verify
from tests.record.arrange import opened
from tests.record.pictures import scene


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def with_photo(store: Store, path: Path) -> str:
    """A job with that photo; its checksum."""
    job = opened()
    taken = take_in(store.folder, path)
    job.say(Photo(taken.sha256, path.name))
    store.append(*job.entries)
    return taken.sha256


def picture(folder: Path, kind: str) -> Path:
    """A picture of that kind in a file."""
    pillow_heif.register_heif_opener()
    image = scene(320, 240).copy()
    path = folder / f"a.{kind.split()[0].lower()}"
    match kind.split():
        case ["PNG", "transparent"]:
            image.putalpha(Image.linear_gradient("L").resize(image.size))
            image.save(path)
        case ["PNG", "palette"]:
            image.quantize(16).save(path)
        case ["JPEG", "grey"]:
            image.convert("L").save(path)
        case ["JPEG", orientation]:
            exif = Image.Exif()
            exif[0x0112] = int(orientation)
            image.save(path, exif=exif)
        case [kind_only]:
            image.save(path, kind_only)
    return path


KINDS = ["JPEG 1", "JPEG 6", "JPEG 3", "JPEG 5", "JPEG grey", "PNG", "PNG transparent", "PNG palette", "WEBP", "HEIF",
         "AVIF"]  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_copies_that_this_program_makes_show_what_their_originals_do(store: Store, tmp_path: Path, kind: str) -> None:
    path = picture(tmp_path, kind)
    sha256 = with_photo(store, path)
    assert alike(path, page_copy_path(store.folder, sha256)) and alike(path, thumbnail_path(store.folder, sha256))
    assert verify(store) == []
    with Image.open(page_copy_path(store.folder, sha256)) as page:
        turned = page.rotate(180)
        other = Image.fromarray(255 - np.asarray(page))
    for name, wrong in (("turned.jpg", turned), ("other.jpg", other)):
        wrong.save(tmp_path / name)
        assert not alike(path, tmp_path / name)


@pytest.mark.parametrize("copy_path", [page_copy_path, thumbnail_path])
def test_a_copy_with_another_picture_in_it_is_found_and_made_anew(
    store: Store, tmp_path: Path, copy_path: object
) -> None:
    sha256 = with_photo(store, picture(tmp_path, "JPEG 1"))
    path = copy_path(store.folder, sha256)  # type: ignore[operator]
    good = path.read_bytes()
    for wrong in (b"no picture", b""):
        path.write_bytes(wrong)
        assert f"copies/{path.name} does not show what its original shows" in verify(store)[0]
    Image.new("RGB", (64, 48), "black").save(path)
    assert f"copies/{path.name} does not show what its original shows" in verify(store)[0]
    mended = CliRunner().invoke(group, ["--journal", str(store.folder), "verify", "--mend"])
    assert mended.exit_code == 0 and "the journal is sound" in mended.output
    assert copy_path(store.folder, sha256).read_bytes() == good  # type: ignore[operator]


def test_copies_that_another_process_drops_meanwhile_are_gone_all_the_same(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sha256 = with_photo(store, picture(tmp_path, "PNG"))
    copies = [page_copy_path(store.folder, sha256), thumbnail_path(store.folder, sha256)]
    assert all(copy.exists() for copy in copies)

    def dropped_by_another(of: Store, copy: Path) -> bool:
        copy.unlink()
        return True

    monkeypatch.setattr(verifying, "_has_original", dropped_by_another)
    drop_copies(store)
    assert not any(copy.exists() for copy in copies)
