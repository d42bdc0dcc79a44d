"""Small promises of the record at their very bounds: clips, damaged files, names, and what verify passes over."""

from __future__ import annotations

import io
import os
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from journal.errors import BadInput, NotFound, RecordError
from journal.facts import (
    Cut,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    PhotoPlaced,
    Source,
    Withdrawal,
)
from journal.record import verify as verifying
from journal.record.clips import all_clips, clip_path, keep_clip, keep_flac
from journal.record.files import PHOTOS, shelf
from journal.record.pack import pack
from journal.record.photos import take_in, thumbnail_path
from journal.record.schema import connect
from journal.record.store import Store
from journal.record.verify import remarks, unclaimed_photos, verify
from tests.record.arrange import opened
from tests.record.pictures import file_of, phone_exif, scene

soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


def test_a_clip_is_sixteen_bits_at_sixteen_thousand_a_second_and_clipped_at_full_scale(tmp_path: Path) -> None:
    sound = np.array([0.0, 0.5, -0.5, 1.0, -1.0, 1.5, -1.5], dtype=np.float32)
    path = clip_path(tmp_path, keep_clip(tmp_path, sound))
    back, rate = soundfile.read(path, dtype="float32")
    assert rate == 16_000 and soundfile.info(path).subtype == "PCM_16"
    assert back == pytest.approx(sound.clip(-1, 1), abs=1 / 32767)
    assert keep_clip(tmp_path, sound) == path.stem and len(list(all_clips(tmp_path))) == 1


@pytest.mark.parametrize("shape", [(0,), (4, 1), (2, 2)])
def test_what_is_no_mono_sound_is_no_clip(tmp_path: Path, shape: tuple[int, ...]) -> None:
    with pytest.raises(BadInput, match="mono sound of at least one sample"):
        keep_clip(tmp_path, np.zeros(shape, dtype=np.float32))
    keep_clip(tmp_path, np.zeros(1, dtype=np.float32))


@pytest.mark.parametrize(("data", "flac"), [(b"fLaC", True), (b"fLaCx", True), (b"fLa", False), (b"xfLaC", False)])
def test_a_flac_file_begins_as_one(tmp_path: Path, data: bytes, flac: bool) -> None:
    if flac:
        assert clip_path(tmp_path, keep_flac(tmp_path, data)).read_bytes() == data
    else:
        with pytest.raises(BadInput, match="must be a FLAC file"):
            keep_flac(tmp_path, data)


def test_a_photo_nobody_claimed_is_told_after_a_minute_and_until_an_entry_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = opened()
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        sha256 = take_in(store.folder, file_of(scene(160, 120)), "a.jpg").sha256
        path = shelf(store.folder, PHOTOS, sha256, ".jpg")
        (path.parent / f"{sha256[:2]}00").mkdir()
        os.utime(path, (1000, 1000))
        for now, told in ((1059.0, []), (1060.0, []), (1061.0, [path])):
            monkeypatch.setattr(verifying.time, "time", lambda now=now: now)
            assert unclaimed_photos(store) == told
        assert remarks(store) == [
            f'a photo of no job, as taking it in was broken off; to attach it: journal photo "{path}"'
        ]
        store.append(job.say(Photo(sha256, "a.jpg", "overhead")))
        assert unclaimed_photos(store) == [] and remarks(store) == []


def test_a_sound_journal_has_nothing_to_remark_on_and_one_dated_ahead_has(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        assert remarks(store) == [] and verify(store) == []
        store.clock = lambda: job.at - timedelta(days=1)
        assert remarks(store) == []
        store.clock = lambda: job.at - timedelta(days=1, milliseconds=1)
        assert remarks(store) == [
            f"job {store.line(job.job).reference}: 1 entries are dated ahead of this machine's clock"
        ]


def test_an_entry_is_found_by_a_beginning_that_only_one_has(tmp_path: Path) -> None:
    job = opened()
    note = job.say(Note("x"))
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        assert store.entry(note.id) == store.entry(f" {note.id.upper()} ") == note
        first = job.entries[0].id
        same = next(n for n, (a, b) in enumerate(zip(first, note.id, strict=True)) if a != b)
        common = note.id[:same]
        assert store.entry(note.id[: same + 1]) == note
        with pytest.raises(BadInput, match="may mean several entries"):
            store.entry(common)
        for nothing in ("", "  ", "zz", note.id + "0"):
            with pytest.raises(NotFound, match="there is no entry"):
                store.entry(nothing)


def test_a_job_is_found_by_an_identifier_with_every_digit_in_it(tmp_path: Path) -> None:
    whole = "01234567-89ab-7cde-8f01-234567890123"
    with Store.open(tmp_path) as store:
        store.append(*opened(job=whole).entries)
        assert store.find(whole) == store.find(whole.upper()) == store.find(whole[:-1]) == whole


def test_a_list_is_ordered_narrowed_and_begun_where_it_is_asked(tmp_path: Path) -> None:
    jobs = [opened(at=datetime(2026, 3, day, 8, tzinfo=UTC), technician=f"T{day}") for day in (1, 2, 3)]
    with Store.open(tmp_path) as store:
        for job in jobs:
            store.append(*job.entries)
        store.append(jobs[0].say(Note("late"), seconds=5 * 86400))
        by_touch, by_opening = [jobs[0].job, jobs[2].job, jobs[1].job], [job.job for job in reversed(jobs)]
        assert [line.id for line in store.jobs()] == by_touch
        assert [line.id for line in store.jobs(offset=1)] == by_touch[1:]
        assert [line.id for line in store.jobs(until=datetime(2026, 4, 1, tzinfo=UTC))] == by_opening
        assert [line.id for line in store.jobs(text="irrigation")] == by_opening
        second = jobs[1].entries[0].at_utc
        assert [line.id for line in store.jobs(until=second)] == by_opening[1:]
        assert [line.id for line in store.jobs(since=second)] == by_touch
        assert [line.id for line in store.jobs(since=second + timedelta(milliseconds=1))] == by_touch[:2]
        assert [line.id for line in store.jobs(text="t2")] == [jobs[1].job], "by who worked on it"
        assert [line.id for line in store.jobs(text=store.line(jobs[2].job).reference.lower())] == [jobs[2].job]
        assert store.line(jobs[0].job).opened_at == jobs[0].entries[0].at_utc
        assert store.line(jobs[0].job).last_at == jobs[0].entries[1].at_utc


def test_a_quiet_entry_of_nobody_leaves_whose_job_it_is(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        store.append(job.say(Cut(1, 30.0), technician=""))
        line = store.line(job.job)
        assert (line.technician, line.entries, line.last_at) == ("Ada", 2, job.entries[-1].at_utc)
        store.append(job.say(PhotoPlaced("ab" * 32, "overhead", 1), technician="Ben"))
        line = store.line(job.job)
        assert (line.technician, line.entries) == ("Ben", 3)
        assert verify(store) == []


def test_thumbnails_are_small_jpegs_of_fair_quality(tmp_path: Path) -> None:
    taken = take_in(tmp_path, file_of(scene()), "a.jpg")
    path = thumbnail_path(tmp_path, taken.sha256)
    with Image.open(path) as image:
        assert image.format == "JPEG" and image.size == (320, 240)
        tables = image.quantization  # type: ignore[attr-defined]
    with Image.open(io.BytesIO(file_of(scene(), quality=82))) as reference:
        assert tables == reference.quantization  # type: ignore[attr-defined]


def test_the_moment_a_phone_writes_is_read_to_the_fraction_with_its_offset(tmp_path: Path) -> None:
    taken = take_in(tmp_path, file_of(scene(), exif=phone_exif(offset="+02:00")), "a.jpg")
    assert taken.taken_at == "2026-03-01T10:00:05.250000+02:00"
    exif = phone_exif(offset="-05:30")
    exif.get_ifd(0x8769)[0x9291] = "1234567890"
    assert take_in(tmp_path, file_of(scene(), exif=exif), "a.jpg").taken_at == "2026-03-01T10:00:05.123456-05:30"


@pytest.mark.parametrize(("size", "line"), [(0, "is empty"), (511, "is empty"), (512, "is damaged")])
def test_a_file_smaller_than_any_database_is_said_to_be_empty(tmp_path: Path, size: int, line: str) -> None:
    (tmp_path / "journal.db").write_bytes(b"x" * size)
    with pytest.raises(RecordError, match=line):
        connect(tmp_path, create=True)
    assert (tmp_path / "journal.db").stat().st_size == size


def test_a_held_database_is_waited_for_as_long_as_is_said_and_no_longer(tmp_path: Path) -> None:
    import sqlite3

    with Store.open(tmp_path) as store:
        store.append(*opened().entries)
    other = sqlite3.connect(tmp_path / "journal.db", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with Store.open(tmp_path, wait_s=0.2) as store:
        began = time.monotonic()
        with pytest.raises(RecordError, match="another program holds the journal"):
            store.append(*opened().entries)
        assert time.monotonic() - began >= 0.2
        other.execute("ROLLBACK")
        assert len(store.append(*opened().entries)) == 1
    other.close()


@pytest.mark.parametrize(
    ("limit", "most", "how"),
    [
        ("MOST_COEFFICIENTS", 3 * 640 * 480, {"kind": "JPEG", "progressive": True, "subsampling": 0}),
        ("MOST_PIXELS_JPEG", 640 * 480, {"kind": "JPEG"}),
        ("MOST_PIXELS", 640 * 480, {"kind": "PNG"}),
        ("MOST_PIXELS_COSTLY", 640 * 480, {"kind": "WEBP"}),
    ],
)
def test_a_photo_of_just_so_much_is_taken_in_and_of_one_more_is_not(
    tmp_path: Path, limit: str, most: int, how: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    from journal.record import photos

    data = file_of(scene(), **how)  # type: ignore[arg-type]
    monkeypatch.setattr(photos, limit, most)
    assert take_in(tmp_path, data, "a").width == 640
    monkeypatch.setattr(photos, limit, most - 1)
    with pytest.raises(BadInput, match=r"megapixels|several scans"):
        take_in(tmp_path, data, "a")
    monkeypatch.setattr(photos, limit, most)
    monkeypatch.setattr(photos, "MOST_BYTES", len(data))
    assert take_in(tmp_path, data, "a").width == 640
    monkeypatch.setattr(photos, "MOST_BYTES", len(data) - 1)
    with pytest.raises(BadInput):
        take_in(tmp_path, data, "a")


def test_a_copy_that_goes_meanwhile_keeps_no_photo_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from journal.record import photos

    monkeypatch.setattr(photos, "files_of", lambda *_: [tmp_path / "gone.jpg"])
    assert take_in(tmp_path, file_of(scene()), "a.jpg").width == 640


def test_what_was_to_be_removed_of_an_erased_job_is_noted_no_more_once_it_is(tmp_path: Path) -> None:
    job, other = opened(), opened()
    with Store.open(tmp_path) as store:
        clip = keep_clip(store.folder, np.ones(4, dtype=np.float32))
        job.say(Cut(1, 30.0), clip=clip)
        store.append(*job.entries, *other.entries)
        store.erase(job.job)
        assert list(all_clips(store.folder)) == []
        assert store.query("SELECT count(*) FROM files_to_remove") == [(0,)]
        assert store.query("SELECT count(*) FROM erasing") == [(0,)]
        assert verify(store) == []


def test_the_desk_has_the_last_word_on_a_part_until_somebody_else_has(tmp_path: Path) -> None:
    job, other = opened(), opened()
    first, second = job.say(PartWanted("injector")), job.say(PartWanted("pushrod"))

    def answered(part: str, state: PartState, source: Source) -> None:
        job.say(PartAnswer(part, state), source=source, technician="")

    with Store.open(tmp_path) as store:
        answered(first.id, PartState.PRICED, Source.DESK)
        answered(second.id, PartState.ANSWERED, Source.DESK)
        answered(first.id, PartState.ORDERED, Source.DESK)
        store.append(*job.entries, *other.entries)
        assert store.desk_answers([job.job, other.job]) == {job.job: ["ordered", "answered"]}
        assert store.desk_answers([]) == {}
        store.append(job.say(Withdrawal(job.entries[-1].id)))
        assert store.desk_answers([job.job]) == {job.job: ["priced", "answered"]}
        answered(first.id, PartState.FITTED, Source.TYPED)
        store.append(job.entries[-1])
        assert store.desk_answers([job.job]) == {job.job: ["answered"]}


def test_a_pack_says_which_photos_and_sounds_it_lacks(tmp_path: Path) -> None:
    job = opened()
    photo, clip = "ab" * 32, "cd" * 32
    job.say(Photo(photo, "a.jpg", "overhead"))
    job.say(Cut(1, 30.0), clip=clip)
    with Store.open(tmp_path / "j") as store:
        store.append(*job.entries)
        packed = pack(store, job.job, tmp_path / "a.zip")
        assert (packed.missing, packed.photos, packed.clips, packed.entries) == ((photo, clip), 0, 0, 3)
        sha256 = take_in(store.folder, file_of(scene(160, 120)), "b.jpg").sha256
        job.say(Photo(sha256, "b.jpg", "overhead"))
        job.say(Cut(2, 30.0), clip=keep_clip(store.folder, np.ones(4, dtype=np.float32)))
        store.append(*job.entries[-2:])
        packed = pack(store, job.job, tmp_path / "b.zip")
        assert (packed.missing, packed.photos, packed.clips, packed.entries) == ((photo, clip), 1, 1, 5)
