"""What may be how large and how old, in figures: shops plan by them, and other versions read what they let through."""

from __future__ import annotations

import os
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image

from journal.errors import BadInput
from journal.facts import Note, Photo
from journal.record import clips, intake, photos, schema, spool, unpack, verify
from journal.record.pack import pack
from journal.record.photos import page_copy_path, take_in, thumbnail_path
from journal.record.spool import Spool
from journal.record.store import Store
from tests.record.arrange import opened
from tests.record.pictures import file_of

JOB = "0198f0a0-0000-7000-8000-000000000000"


@pytest.mark.parametrize(
    ("limit", "figure"),
    [
        (clips.RATE, 16_000),  # samples a second: every clip of every version is read so
        (intake.HEARING_LAG, timedelta(seconds=5)),
        (intake.SET_BACK, timedelta(minutes=1)),
        (intake.AHEAD, timedelta(days=1)),  # machines differ by less than a day where one takes local time for UTC
        (photos.MOST_BYTES, 80_000_000),
        (photos.MOST_PIXELS_JPEG, 125_000_000),
        (photos.MOST_COEFFICIENTS, 125_000_000),  # two bytes each: 250 MB, where six photos may take 400
        (photos.MOST_PIXELS, 50_000_000),
        (photos.MOST_PIXELS_COSTLY, 16_000_000),
        (schema.WAIT_S, 15.0),
        (spool.UNHEARD_S, 900.0),  # a phone keeps ten minutes
        (spool.OLDEST, timedelta(hours=12)),  # as README says
        (unpack.LAYOUT, 1),
        (unpack.MOST_FILES, 20_000),
        (unpack.MOST_BYTES, 4_000_000_000),
        (unpack.MOST_BYTES_A_FILE, 256_000_000),
        (unpack.MOST_BYTES_A_CLIP, 16_000_000),  # eight minutes of sound: 16 bits at 16 kHz
        (unpack.MOST_FOLDED, 4),
        (unpack.ROOM_LEFT, 50_000_000),
        (verify.UNDER_WAY_S, 60.0),
    ],
)
def test_a_limit_is_what_is_said_of_it(limit: object, figure: object) -> None:
    assert limit == figure


def test_forty_streams_wait_to_be_heard(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    come = [kept.put(f"{number:016x}", 0, b"ab", device="a") for number in range(41)]
    assert come == [spool.Come(1)] * 40 + [spool.Come(0, full=True)]


def test_the_last_eight_answers_are_kept(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    for number in range(9):
        kept.say("take", str(number))
    assert [text for _, _, text, _ in kept.answers(0)] == [str(number) for number in range(1, 9)]
    assert kept.answers(9) == []


def test_a_segment_of_sound_is_twenty_seconds_long_at_least(tmp_path: Path) -> None:
    kept, second = Spool(tmp_path, JOB), bytes(2 * 16_000)
    for at in range(22):
        kept.put("00112233445566aa", at * 16_000, second, device="a")
    (stream,) = kept.streams()
    assert sorted(path.stem for path in stream.path.glob("*.s16")) == ["000000000000", f"{20 * 16_000:012d}"]


def test_whoever_gave_no_sign_for_just_so_long_is_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert spool.ATTENDED_S == 1.6
    kept = Spool(tmp_path, JOB)
    kept.attend()
    os.utime(kept.path / "attended", (1000, 1000))
    monkeypatch.setattr(spool, "ATTENDED_S", 2.0)
    for now, there in ((1001.0, True), (1002.0, False), (998.0, False)):
        monkeypatch.setattr(spool.time, "time", lambda now=now: now)
        assert bool(kept.attended()) is there


def test_copies_have_the_sizes_that_pages_are_laid_out_for(tmp_path: Path) -> None:
    for size, page, small in (
        ((2080, 520), (2080, 520), (320, 80)),  # left as it is
        ((2084, 521), (1600, 400), (320, 80)),
        ((300, 200), (300, 200), (300, 200)),
    ):
        taken = take_in(tmp_path, file_of(Image.new("RGB", size, "teal")), "a.jpg")
        with Image.open(page_copy_path(tmp_path, taken.sha256)) as image:
            assert image.size == page
        with Image.open(thumbnail_path(tmp_path, taken.sha256)) as image:
            assert image.size == small


def test_a_pack_has_the_same_time_on_every_file_and_originals_unless_asked(tmp_path: Path) -> None:
    job = opened()
    with Store.open(tmp_path / "j") as store:
        taken = take_in(store.folder, file_of(Image.new("RGB", (64, 48), "teal")), "a.jpg")
        job.say(Photo(taken.sha256, "a.jpg", "overhead"))
        store.append(*job.entries)
        pack(store, job.job, tmp_path / "a.zip", {"write-up.html": b"<p>" * 100, "sheet.pdf": b"x" * 300})
        pack(store, job.job, tmp_path / "b.zip", originals=False)
        with pytest.raises(BadInput, match="is there already"):
            pack(store, job.job, tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "a.zip") as file:
        infos = {info.filename: info for info in file.infolist()}
    assert {info.date_time for info in infos.values()} == {(1980, 1, 1, 0, 0, 0)}
    assert {info.external_attr >> 16 for info in infos.values()} == {0o644}
    squeezed = {name for name, info in infos.items() if info.compress_type == zipfile.ZIP_DEFLATED}
    assert squeezed == {"manifest.json", "entries.jsonl", "signatures.jsonl", "write-up.html"}
    assert f"photos/{taken.sha256}.jpg" in infos and not any(name.startswith("copies/") for name in infos)
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        assert f"copies/{taken.sha256}-page.jpg" in file.namelist()
        assert not any(name.startswith("photos/") for name in file.namelist())


def test_fifty_jobs_are_listed_and_a_thousand_entries_told_unless_more_are_asked_for(tmp_path: Path) -> None:
    jobs = [opened() for _ in range(51)]
    notes = [jobs[0].say(Note(f"{number}")) for number in range(951)]
    with Store.open(tmp_path / "j") as store:
        store.append(*(job.entries[0] for job in jobs), *notes)
        assert len(store.jobs()) == 50 and len(store.jobs(limit=60)) == 51
        assert len(store.since(0)) == 1000 and len(store.since(0, limit=None)) == 1002
        assert [seq for seq, _ in store.since(1000)] == [1001, 1002]
        assert len(store.since(0, jobs[0].job)) == 952 and len(store.since(0, jobs[1].job)) == 1
        assert store.last_seq() == 1002
