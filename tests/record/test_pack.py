"""A packed job arrives whole and unchanged in another journal, or not at all."""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import exifread
import numpy as np
import pytest

from journal.errors import BadInput, JournalError, NotFound, RecordError
from journal.facts import Correction, Cut, Note, Photo, Question, Withdrawal
from journal.facts.codec import entry_to_json
from journal.record import unpack as unpacking
from journal.record.clips import keep_clip
from journal.record.files import write_whole
from journal.record.pack import pack
from journal.record.photos import original_path, page_copy_path, take_in
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import verify
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, phone_exif, scene


def full_job(store: Store) -> Scribe:
    """A job with readings, a correction, a question, two photos and a clip."""
    pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")
    job = opened()
    clip = keep_clip(store.folder, np.sin(np.arange(4000, dtype=np.float32) / 9))
    reading = job.say(Cut(3, 30.0), clip=clip, heard="three thirty")
    job.say(Correction(reading.id, Cut(3, 33.0)))
    job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    for name, data in (
        ("a.jpg", file_of(scene(160, 120), exif=phone_exif())),
        ("b.png", file_of(scene(160, 120, 2), "PNG")),
    ):
        taken = take_in(store.folder, data, name)
        job.say(Photo(taken.sha256, name, "overhead", 3, taken.taken_at, taken.warning))
    job.say(Note("Öl – 漢字"))
    store.append(*job.entries)
    return job


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as file:
        return {name: file.read(name) for name in file.namelist()}


def rewritten(path: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The pack with its files changed and nothing else put right."""
    files = contents(path)
    change(files)
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(out, "w") as file:
        for name, data in files.items():
            file.writestr(name, data)
    return out


def honest(files: dict[str, bytes]) -> None:
    """Put the manifest right for the files as they are, as a forger would."""
    manifest = json.loads(files["manifest.json"])
    manifest["files"] = {
        name: {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
        for name, data in files.items()
        if name != "manifest.json"
    }
    manifest["entries"] = files["entries.jsonl"].count(b"\n")
    files["manifest.json"] = json.dumps(manifest).encode()


def test_pack_unpack_pack_is_the_same_to_the_last_byte(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    first = pack(here, job.job, tmp_path / "one.zip", {"write-up.html": b"<p>hello"})
    assert (first.entries, first.photos, first.clips, first.missing) == (len(job.entries), 2, 1, ())
    brought = unpack(there, tmp_path / "one.zip")
    assert (brought.jobs, list(brought.entries)) == ((job.job,), job.entries)
    assert there.entries(job.job) == here.entries(job.job)
    assert there.job(job.job) == here.job(job.job)
    assert verify(there) == []
    pack(there, job.job, tmp_path / "two.zip", {"write-up.html": b"<p>hello"})
    assert contents(tmp_path / "two.zip")["entries.jsonl"] == contents(tmp_path / "one.zip")["entries.jsonl"]
    assert (tmp_path / "two.zip").read_bytes() == (tmp_path / "one.zip").read_bytes()


def test_unpacking_twice_is_the_same_as_once(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    assert len(unpack(there, tmp_path / "job.zip").entries) == len(job.entries)
    assert unpack(there, tmp_path / "job.zip").entries == ()
    assert there.entries(job.job) == job.entries
    assert unpack(here, tmp_path / "job.zip").entries == ()


def test_two_copies_that_both_grew_merge_with_nothing_lost(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "out.zip")
    unpack(there, tmp_path / "out.zip")
    here.append(job.say(Cut(5, 37.0)))
    there.append(job.say(Withdrawal(job.entries[1].id), technician="Bo"), job.say(Note("there"), technician="Bo"))
    pack(there, job.job, tmp_path / "back.zip")
    assert len(unpack(here, tmp_path / "back.zip").entries) == 2
    pack(here, job.job, tmp_path / "again.zip")
    assert len(unpack(there, tmp_path / "again.zip").entries) == 1
    assert here.entries(job.job) == there.entries(job.job) == job.entries
    assert [r.cylinder for r in here.job(job.job).runs[0].cuts] == [5]


def test_a_pack_can_be_read_with_standard_tools_alone(here: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip", {"write-up.html": b"<p>hello"})
    files = contents(tmp_path / "job.zip")
    manifest = json.loads(files["manifest.json"])
    assert manifest["layout"] == 1 and manifest["job"] == job.job and manifest["entries"] == len(job.entries)
    assert set(manifest["files"]) == set(files) - {"manifest.json"}
    for name, listed in manifest["files"].items():
        assert hashlib.sha256(files[name]).hexdigest() == listed["sha256"] and len(files[name]) == listed["bytes"]
    assert [json.loads(line) for line in files["entries.jsonl"].splitlines()] == [entry_to_json(e) for e in job.entries]
    assert files["write-up.html"] == b"<p>hello"


def test_extra_files_may_be_called_like_a_folder_of_the_pack(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip", {"photos.html": b"x", "clips": b"y", "copies-of": b"z"})
    assert unpack(there, tmp_path / "job.zip").jobs == (job.job,)


def test_a_pack_without_originals_gives_no_place_away(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip", originals=False)
    files = contents(tmp_path / "job.zip")
    pictures = [data for name, data in files.items() if name.startswith("copies/")]
    assert len(pictures) == 2 and not any(name.startswith("photos/") for name in files)
    assert all(exifread.process_file(io.BytesIO(picture)) == {} for picture in pictures)
    unpack(there, tmp_path / "job.zip")
    sha256 = there.job(job.job).pictures[0].photo.body.sha256
    assert page_copy_path(there.folder, sha256).is_file()
    with pytest.raises(NotFound):
        original_path(there.folder, sha256)
    assert there.entries(job.job) == job.entries
    pack(here, job.job, tmp_path / "whole.zip")
    unpack(there, tmp_path / "whole.zip")
    assert original_path(there.folder, sha256).is_file()


def test_sound_that_is_no_longer_kept_does_not_keep_a_job_from_being_packed(
    here: Store, there: Store, tmp_path: Path
) -> None:
    job = full_job(here)
    for clip in (here.folder / "clips").rglob("*.flac"):
        clip.unlink()
    assert pack(here, job.job, tmp_path / "job.zip").missing == (job.entries[1].clip,)
    unpack(there, tmp_path / "job.zip")
    assert there.entries(job.job) == job.entries


def rename(old: str, new: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        name = next(name for name in files if name.startswith(old))
        files[new.replace("NAME", name.split("/")[-1])] = files.pop(name)
        honest(files)

    return change


def body_of(index: int, **fields: object) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        entries = [json.loads(line) for line in files["entries.jsonl"].splitlines()]
        entries[index].update(fields)
        files["entries.jsonl"] = b"".join(json.dumps(entry).encode() + b"\n" for entry in entries)
        honest(files)

    return change


def drop(start: str, *, and_manifest: bool) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        del files[next(name for name in files if name.startswith(start))]
        if and_manifest and "manifest.json" in files:
            honest(files)

    return change


def put(name: str, data: bytes) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name] = data
        if name not in ("manifest.json",):
            honest(files)

    return change


def first_byte(start: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        name = next(name for name in files if name.startswith(start))
        files[name] = bytes([files[name][0] ^ 1]) + files[name][1:]

    return change


def without_last_entry(files: dict[str, bytes]) -> None:
    files["entries.jsonl"] = b"\n".join(files["entries.jsonl"].splitlines()[:-1]) + b"\n"


def without_opening(files: dict[str, bytes]) -> None:
    files["entries.jsonl"] = b"\n".join(files["entries.jsonl"].splitlines()[1:]) + b"\n"
    honest(files)


def deep(files: dict[str, bytes]) -> None:
    files["entries.jsonl"] = b"[" * 200_000 + b"\n"
    honest(files)


REFUSED: dict[str, Callable[[dict[str, bytes]], None]] = {
    "an entry is missing": without_last_entry,
    "the opening is missing": without_opening,
    "a photo was changed": first_byte("photos/"),
    "a clip was changed": first_byte("clips/"),
    "an entry was changed": first_byte("entries"),
    "the manifest was changed": first_byte("manifest"),
    "the manifest is no JSON object": put("manifest.json", b"[]"),
    "the manifest is missing": drop("manifest", and_manifest=False),
    "the entries are missing": drop("entries", and_manifest=False),
    "a photo is missing": drop("photos/", and_manifest=False),
    "a file is not listed": lambda files: files.update({"extra.txt": b"x"}),
    "a photo lies under another's checksum": rename("photos/", "photos/" + "ab" * 32 + ".jpg"),
    "a name climbs out of the folder": rename("photos/", "../NAME"),
    "a name climbs out from within": rename("photos/", "photos/../../NAME"),
    "a name is absolute": rename("photos/", "/etc/NAME"),
    "a name has a drive": rename("photos/", "C:\\NAME"),
    "a name has backslashes": rename("photos/", "photos\\..\\..\\NAME"),
    "a name is a folder": put("photos/", b""),
    "a name is hidden": put(".profile", b"x"),
    "a photo is no picture": lambda files: put(f"photos/{hashlib.sha256(b'no').hexdigest()}.jpg", b"no")(files),
    "a clip is no sound": lambda files: put(f"clips/{hashlib.sha256(b'no').hexdigest()}.flac", b"no")(files),
    "a page copy is no picture": put(f"copies/{'ab' * 32}-page.jpg", b"no"),
    "an entry is of another job": body_of(2, job="019cd000-0000-7000-8000-000000000000"),
    "an entry's identifier is no UUID": body_of(2, id="../../x"),
    "an entry's clip climbs out of the folder": body_of(2, clip="../../etc/passwd"),
    "an entry's photo climbs out": body_of(4, body={"kind": "photo", "sha256": "../../x", "name": "a.jpg"}),
    "an entry is of an unknown kind": body_of(2, body={"kind": "of the future"}),
    "an entry's number is not finite": body_of(1, body={"kind": "cut", "cylinder": 3, "value": float("nan")}),
    "an entry's number is beyond all numbers": body_of(1, body={"kind": "cut", "cylinder": 3, "value": 10**400}),
    "an entry has a field too many": body_of(2, evil=1),
    "an entry's certainty is beyond all numbers": body_of(1, certainty=10**400),
    "an entry's time is no time": body_of(2, at_utc="yesterday"),
    "an entry's time is before all calendars": body_of(2, at_utc="0001-01-01T00:00:00+23:59"),
    "an entry's words are no words": body_of(2, heard=None),
    "an entry is about one that is not there": body_of(
        2, body={"kind": "withdrawal", "target": "019cd000-0000-7000-8000-000000000000"}
    ),
    "an entry is nested beyond reason": deep,
    "an entry comes twice": lambda files: put("entries.jsonl", files["entries.jsonl"] * 2)(files),
}


@pytest.mark.parametrize("change", REFUSED.values(), ids=REFUSED.keys())
def test_what_was_changed_is_refused_whole(
    here: Store, there: Store, tmp_path: Path, change: Callable[[dict[str, bytes]], None]
) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    before = sorted(tmp_path.rglob("*"))
    changed = rewritten(tmp_path / "job.zip", change)
    with pytest.raises(JournalError) as refused:
        unpack(there, changed)
    assert "\n" not in str(refused.value)
    assert there.jobs() == []
    outside = [path for path in tmp_path.rglob("*") if path not in before and "there" not in path.parts]
    assert outside == [changed]
    assert not list((there.folder / "photos").rglob("*.*"))


def test_an_entry_that_contradicts_one_here_is_refused(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    there.append(replace(job.entries[0]), replace(job.entries[1], body=Cut(3, 38.0)))
    with pytest.raises(BadInput, match="says something else"):
        unpack(there, tmp_path / "job.zip")
    assert len(there.entries(job.job)) == 2


def test_a_pack_cut_short_anywhere_is_refused(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    data = (tmp_path / "job.zip").read_bytes()
    for length in [0, 1, 30, len(data) - 1, *random.Random(1).sample(range(len(data)), 30)]:
        (tmp_path / "short.zip").write_bytes(data[:length])
        with pytest.raises(BadInput):
            unpack(there, tmp_path / "short.zip")
    assert there.jobs() == []


def test_a_flipped_bit_is_refused_or_harmless(here: Store, there: Store, tmp_path: Path) -> None:
    job = full_job(here)
    pack(here, job.job, tmp_path / "job.zip")
    data = (tmp_path / "job.zip").read_bytes()
    chance = random.Random(2)
    refused = 0
    for _ in range(120):
        flipped = bytearray(data)
        flipped[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        (tmp_path / "bad.zip").write_bytes(flipped)
        try:
            unpack(there, tmp_path / "bad.zip")
        except JournalError:
            refused += 1
        else:
            assert there.entries(job.job) == job.entries
    assert refused > 100


@pytest.mark.parametrize(("limit", "line"), [("MOST_BYTES_A_FILE", "no pack does"), ("MOST_BYTES", "would unfold")])
def test_a_small_file_that_would_unfold_to_a_huge_one_is_refused_unread(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, line: str
) -> None:
    monkeypatch.setattr(unpacking, limit, 1_000_000)
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as file:
        for name in ("manifest.json", "entries.jsonl"):
            file.writestr(name, b"0" * 2_000_000)
    assert (tmp_path / "bomb.zip").stat().st_size < 10_000
    with pytest.raises(BadInput, match=line):
        unpack(there, tmp_path / "bomb.zip")


def test_what_is_no_pack_at_all_is_one_clear_line(there: Store, tmp_path: Path) -> None:
    (tmp_path / "text.zip").write_text("no zip")
    with pytest.raises(BadInput, match="no pack"):
        unpack(there, tmp_path / "text.zip")
    with pytest.raises(NotFound, match="no pack"):
        unpack(there, tmp_path / "none.zip")
    with pytest.raises(NotFound):
        unpack(there, tmp_path)


@pytest.mark.parametrize(
    ("offset", "written"),
    [(8, b"\x00\x08"), (10, b"\x0c\x00"), (10, b"\x0e\x00"), (10, b"\x63\x00")],
    ids=["a name said to be UTF-8 that is not", "BZIP2", "LZMA", "no method at all"],
)
def test_a_damaged_list_of_files_is_one_clear_line(
    here: Store, there: Store, tmp_path: Path, offset: int, written: bytes
) -> None:
    job = opened()
    here.append(*job.entries)
    pack(here, job.job, tmp_path / "job.pack", {"extra.html": b"x"})
    data = bytearray((tmp_path / "job.pack").read_bytes())
    # PKWARE's APPNOTE, 4.3.12: in the central directory, flags lie 8 bytes and the method 10 bytes after the signature.
    name = data.rindex(b"entries.jsonl")
    at = data.rindex(b"PK\x01\x02", 0, name) + offset
    data[at : at + 2] = written
    if offset == 8:
        data[name] = 0xBD
    (tmp_path / "bad.pack").write_bytes(data)
    with pytest.raises(BadInput) as caught:
        unpack(there, tmp_path / "bad.pack")
    assert "\n" not in str(caught.value) and "bad.pack" in str(caught.value)
    assert there.last_seq() == 0


@pytest.mark.parametrize("name", ["../x.html", "a/b.html", "", ".x", "manifest.json", "entries.jsonl", "Ä.html"])
def test_no_extra_file_may_have_a_name_that_leads_elsewhere(here: Store, tmp_path: Path, name: str) -> None:
    job = opened()
    here.append(*job.entries)
    with pytest.raises(BadInput, match="file name"):
        pack(here, job.job, tmp_path / "job.zip", {name: b"x"})
    assert not (tmp_path / "job.zip").exists()


def test_a_pack_that_cannot_be_written_leaves_nothing_behind(here: Store, tmp_path: Path) -> None:
    job = opened()
    here.append(*job.entries)
    write_whole(tmp_path / "file", b"x")
    with pytest.raises(RecordError, match="cannot be written"):
        pack(here, job.job, tmp_path / "file" / "job.zip")
    with pytest.raises(BadInput, match="is a folder"):
        pack(here, job.job, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "here"]
