"""The record's commands as a person types them."""

from __future__ import annotations

import os
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from journal.cli.main import group
from journal.facts import Cut, Photo
from journal.record.clips import keep_clip
from journal.record.photos import original_path, take_in
from journal.record.store import Store
from tests.record.arrange import Scribe
from tests.record.pictures import file_of, phone_exif, scene

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


def run(folder: Path, *words: str, typed: str = "") -> Result:
    return CliRunner().invoke(group, ["--journal", str(folder), *words], input=typed)


@pytest.fixture
def job(tmp_path: Path) -> Scribe:
    """A journal with one job that has a clip and a photo."""
    job = Scribe(technician="Ada")
    job.open("irrigation pump", "misses at idle")
    with Store.open(tmp_path / "j") as store:
        job.say(Cut(3, 30.0), clip=keep_clip(store.folder, np.full(800, 0.1, dtype=np.float32)))
        taken = take_in(store.folder, file_of(scene(160, 120), exif=phone_exif()), "a.jpg")
        job.say(Photo(taken.sha256, "a.jpg", "overhead"))
        store.append(*job.entries)
        store.note_summary(job.job, "Cylinder 3 is dead", {3: "dead"})
    return job


def reference(folder: Path, job: Scribe) -> str:
    with Store.open(folder) as store:
        return store.line(job.job).reference


def test_a_job_is_packed_carried_and_unpacked(tmp_path: Path, job: Scribe) -> None:
    assert run(tmp_path / "j", "pack", str(tmp_path / "a.zip")).exit_code == 0
    brought = run(tmp_path / "other", "unpack", str(tmp_path / "a.zip"))
    assert "3 new entries" in brought.output
    assert "0 new entries" in run(tmp_path / "other", "unpack", str(tmp_path / "a.zip")).output
    assert "the journal is sound" in run(tmp_path / "other", "verify").output


def test_a_pack_for_others_leaves_the_originals_at_home(tmp_path: Path, job: Scribe) -> None:
    assert run(tmp_path / "j", "pack", "--without-originals", str(tmp_path / "a.zip")).exit_code == 0
    names = zipfile.ZipFile(tmp_path / "a.zip").namelist()
    assert any(name.startswith("copies/") for name in names) and "write-up.html" in names
    assert not any(name.startswith("photos/") for name in names)


def test_jobs_are_narrowed_by_what_is_asked(tmp_path: Path, job: Scribe) -> None:
    word = reference(tmp_path / "j", job)
    for asked in (
        ["pump"],
        ["--standing", "dead"],
        ["--technician", "Ada"],
        ["--since", "2026-03-01"],
        ["--until", "2026-03-01"],
        ["--state", "open"],
    ):
        assert word in run(tmp_path / "j", "jobs", *asked).output, asked
    for asked in (
        ["loader"],
        ["--standing", "weak"],
        ["--technician", "Bo"],
        ["--since", "2026-03-03"],
        ["--until", "2026-02-27"],
        ["--state", "closed"],
    ):
        assert "no jobs like that" in run(tmp_path / "j", "jobs", *asked).output, asked


def test_sound_is_let_go_only_as_asked(tmp_path: Path, job: Scribe) -> None:
    refused = run(tmp_path / "j", "let-go")
    assert refused.exit_code != 0
    assert "0 sounds removed" in run(tmp_path / "j", "let-go", "--keep-mb", "10").output
    assert "1 sounds removed" in run(tmp_path / "j", "let-go", "--older-than", "0").output
    assert "the journal is sound" in run(tmp_path / "j", "verify").output


def test_erasing_asks_twice_and_removes_only_then(tmp_path: Path, job: Scribe) -> None:
    word = reference(tmp_path / "j", job)
    for typed in ("n\n", "y\nwrong\n", ""):
        assert run(tmp_path / "j", "erase", word, typed=typed).exit_code != 0
        assert reference(tmp_path / "j", job) == word
    asked = run(tmp_path / "j", "erase", word, typed=f"y\n{word}\n")
    assert asked.exit_code == 0 and "3 entries, 1 photos, 1 clips" in asked.output
    assert "no jobs" in run(tmp_path / "j", "jobs").output


def test_a_backup_is_one_file(tmp_path: Path, job: Scribe) -> None:
    assert run(tmp_path / "j", "backup", str(tmp_path / "b.zip")).exit_code == 0
    assert "journal.db" in zipfile.ZipFile(tmp_path / "b.zip").namelist()


def test_what_is_wrong_is_listed_and_the_exit_says_so(tmp_path: Path, job: Scribe) -> None:
    for path in (tmp_path / "j" / "photos").rglob("*.jpg"):
        path.write_bytes(b"x")
    found = run(tmp_path / "j", "verify")
    assert found.exit_code != 0 and "is not what it was" in found.output


def test_a_photo_whose_taking_in_was_broken_off_is_told_with_the_way_to_attach_it(tmp_path: Path, job: Scribe) -> None:
    # As a kill leaves it: the file is there, its entry was never written, and nobody was told that it was kept.
    kept = take_in(tmp_path / "j", file_of(scene(160, 120, seed=8)), "photo.jpg")
    path = original_path(tmp_path / "j", kept.sha256)
    assert "of no job" not in run(tmp_path / "j", "verify").output, "it may be on its way in just now"
    os.utime(path, (0, 0))
    told = run(tmp_path / "j", "verify")
    assert told.exit_code == 0 and "the journal is sound" in told.output
    found = re.search(r'journal photo "(.+)"', told.output)
    assert found is not None and found[1] == str(path)
    assert run(tmp_path / "j", "photo", found[1]).exit_code == 0
    assert "of no job" not in run(tmp_path / "j", "verify").output
    assert path.is_file()
