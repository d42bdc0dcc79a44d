"""A pack at the very bound of what a pack may hold is taken in; one past it is refused and nothing of it is kept."""

from __future__ import annotations

import hashlib
import shutil
import tracemalloc
import zipfile
import zlib
from pathlib import Path
from types import SimpleNamespace

import pytest

from journal.errors import BadInput, RecordError
from journal.facts import Photo
from journal.record import unpack as unpacking
from journal.record.pack import pack
from journal.record.store import Store
from journal.record.unpack import unpack
from tests.record.arrange import opened
from tests.record.pictures import file_of, scene
from tests.record.test_pack import contents, honest


def of_a_photo(here: Store, tmp_path: Path, data: bytes, method: int = zipfile.ZIP_DEFLATED) -> Path:
    """A pack whose one photo is these bytes."""
    job = opened()
    sha256 = hashlib.sha256(data).hexdigest()
    job.say(Photo(sha256, "a.jpg"))
    here.append(*job.entries)
    pack(here, job.job, tmp_path / "plain.zip", replace=True)
    files = contents(tmp_path / "plain.zip")
    files[f"photos/{sha256}.jpg"] = data
    honest(files)
    packed = tmp_path / "photo.zip"
    with zipfile.ZipFile(packed, "w", method) as out:
        for name, content in files.items():
            out.writestr(name, content)
    return packed


def folded(data: bytes) -> int:
    """How many bytes a ZIP makes of these."""
    squeezing = zlib.compressobj(zlib.Z_DEFAULT_COMPRESSION, zlib.DEFLATED, -15)
    return len(squeezing.compress(data)) + len(squeezing.flush())


def at_the_bound(data: bytes) -> bytes:
    """The photo with as many noughts behind it that it unfolds to four times its size and 10,000 bytes."""
    more = 4 * folded(data) + 10_000 - len(data)
    while (left := 4 * folded(data + bytes(more)) + 10_000 - len(data) - more) != 0:
        more += left
    return data + bytes(more)


def test_a_photo_may_unfold_to_four_times_its_size_and_no_further(here: Store, there: Store, tmp_path: Path) -> None:
    data = at_the_bound(file_of(scene(160, 120)))
    done = unpack(there, of_a_photo(here, tmp_path, data))
    assert (done.photos, done.clips, len(done.entries)) == (1, 0, 2)
    more = data + b"\0"
    assert folded(more) == folded(data), "one byte more is folded into as few"
    with pytest.raises(BadInput, match="to far more than a picture or sound can be: nothing was taken in"):
        unpack(there, of_a_photo(here, tmp_path, more))
    assert not list(there.folder.rglob(f"{hashlib.sha256(more).hexdigest()}*"))


def test_a_pack_is_taken_in_where_it_leaves_just_the_room_that_must_be_left(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = file_of(scene(160, 120))
    packed = of_a_photo(here, tmp_path, data)
    needed = len(data) + len(contents(packed)["entries.jsonl"]) + unpacking.ROOM_LEFT
    for free, refused in ((needed - 1, True), (needed, False)):
        monkeypatch.setattr(shutil, "disk_usage", lambda _, free=free: SimpleNamespace(free=free))
        if refused:
            with pytest.raises(RecordError, match="0 MB and 50 MB are free: nothing was taken in"):
                unpack(there, packed)
            assert there.last_seq() == 0
        else:
            assert len(unpack(there, packed).entries) == 2


@pytest.mark.parametrize("bound", ["MOST_FILES", "MOST_BYTES", "MOST_BYTES_A_FILE"])
def test_a_pack_at_a_bound_of_its_own_is_taken_in_and_one_past_it_is_not(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bound: str
) -> None:
    packed = of_a_photo(here, tmp_path, file_of(scene(160, 120)))
    sizes = [len(data) for data in contents(packed).values()]
    own = {"MOST_FILES": len(sizes), "MOST_BYTES": sum(sizes), "MOST_BYTES_A_FILE": max(sizes)}[bound]
    monkeypatch.setattr(unpacking, bound, own - 1)
    with pytest.raises(BadInput, match="nothing was taken in"):
        unpack(there, packed)
    assert there.last_seq() == 0
    monkeypatch.setattr(unpacking, bound, own)
    assert len(unpack(there, packed).entries) == 2


@pytest.mark.parametrize("name", ["manifest.json", "entries.jsonl", "signatures.jsonl"])
def test_a_list_longer_than_any_job_needs_is_refused_unread(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    packed = of_a_photo(here, tmp_path, file_of(scene(160, 120)))
    longest = len(contents(packed)[name])
    monkeypatch.setitem(unpacking.MOST_BYTES_LISTED, name, longest - 1)
    with pytest.raises(BadInput, match=rf"{name}.* nothing was taken in"):
        unpack(there, packed)
    assert there.last_seq() == 0
    monkeypatch.setitem(unpacking.MOST_BYTES_LISTED, name, longest)
    assert len(unpack(there, packed).entries) == 2


@pytest.mark.parametrize("bound", ["MOST_FILES", "MOST_BYTES", "entries.jsonl", "signatures.jsonl"])
def test_a_job_that_no_journal_would_take_in_again_is_not_packed(
    here: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bound: str
) -> None:
    files = contents(of_a_photo(here, tmp_path, file_of(scene(160, 120))))
    files = {name: data for name, data in files.items() if not name.startswith("photos/")}  # it was never kept here
    most = {
        "MOST_FILES": len(files),
        "MOST_BYTES": sum(len(it) for name, it in files.items() if name != "manifest.json"),
    }
    for longer in (1, 0):
        if bound in most:
            monkeypatch.setattr(unpacking, bound, most[bound] - longer)
        else:
            monkeypatch.setitem(unpacking.MOST_BYTES_LISTED, bound, len(files[bound]) - longer)
        out = tmp_path / f"{longer}.zip"
        if longer:
            with pytest.raises(BadInput, match=r"more than a pack may hold.*journal backup"):
                pack(here, here.jobs()[0].id, out)
        else:
            pack(here, here.jobs()[0].id, out)
        assert out.exists() == (not longer)


def test_a_line_longer_than_any_entry_is_refused_unread(
    here: Store, there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packed = of_a_photo(here, tmp_path, file_of(scene(160, 120)))
    longest = max(len(line) for line in contents(packed)["entries.jsonl"].splitlines())
    monkeypatch.setattr(unpacking, "MOST_BYTES_A_LINE", longest - 1)
    with pytest.raises(BadInput, match=r"line longer than .* nothing was taken in"):
        unpack(there, packed)
    monkeypatch.setattr(unpacking, "MOST_BYTES_A_LINE", longest)
    assert len(unpack(there, packed).entries) == 2


def test_lines_of_nothing_take_no_memory(here: Store, there: Store, tmp_path: Path) -> None:
    packed = of_a_photo(here, tmp_path, file_of(scene(160, 120)))
    files = contents(packed)
    files["entries.jsonl"] = b"\n" * 2_000_000
    honest(files)
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in files.items():
            out.writestr(name, content)
    del files
    tracemalloc.start()
    try:
        with pytest.raises(BadInput, match="have it sent again"):
            unpack(there, packed)
        assert tracemalloc.get_traced_memory()[1] < 12_000_000
    finally:
        tracemalloc.stop()
