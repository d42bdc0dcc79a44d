"""The sound of an utterance is kept as it was said, until the shop lets it go."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from journal.errors import BadInput, NotFound, RecordError
from journal.facts import Cut, Source
from journal.record import files
from journal.record.clips import RATE, clip_path, copy_clip, drop_if_unused, keep_clip, let_go
from journal.record.store import Store
from journal.record.verify import verify
from tests.record.arrange import START, opened

soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def tone(hertz: float, seconds: float = 0.5) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    return (0.5 * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE)) / RATE)).astype(np.float32)


def test_a_new_folder_is_put_on_the_disk_with_what_it_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    synced: list[Path] = []
    monkeypatch.setattr(files, "sync_folder", synced.append)
    with Store.open(tmp_path / "shop" / "journal") as store:
        assert synced == [tmp_path / "shop", tmp_path]
        shelf = store.folder / "clips" / "ab"
    synced.clear()
    files.write_whole(shelf / "first", b"sound")
    assert synced == [shelf.parent, shelf.parent.parent, shelf]
    synced.clear()
    files.write_whole(shelf / "second", b"sound")
    assert synced == [shelf]


@pytest.mark.parametrize(("trouble", "refused"), [(errno.EINVAL, False), (errno.EACCES, False), (errno.EIO, True)])
def test_a_file_system_that_syncs_no_folders_still_takes_clips_but_a_failing_disk_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trouble: int, refused: bool
) -> None:
    sync = os.fsync

    def fails(handle: int) -> None:
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(trouble, os.strerror(trouble))
        sync(handle)

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(RecordError, match="check the disk") if refused else contextlib.nullcontext():
        assert clip_path(tmp_path, keep_clip(tmp_path, tone(440))).is_file()


def test_a_clip_is_the_sound_that_was_heard(tmp_path: Path) -> None:
    sha256 = keep_clip(tmp_path, tone(440))
    sound, rate = soundfile.read(clip_path(tmp_path, sha256), dtype="float32")
    assert rate == RATE
    np.testing.assert_allclose(sound, tone(440), atol=1 / 32768)
    assert sha256 == hashlib.sha256(clip_path(tmp_path, sha256).read_bytes()).hexdigest()


def test_the_same_sound_is_kept_once(tmp_path: Path) -> None:
    assert keep_clip(tmp_path, tone(440)) == keep_clip(tmp_path, tone(440)) != keep_clip(tmp_path, tone(441))
    assert len(list((tmp_path / "clips").rglob("*.flac"))) == 2


def test_sound_beyond_full_scale_is_kept_at_full_scale(tmp_path: Path) -> None:
    sha256 = keep_clip(tmp_path, tone(440) * 10)
    sound, _ = soundfile.read(clip_path(tmp_path, sha256))
    assert abs(sound).max() == pytest.approx(1, abs=1e-4)


def test_no_sound_is_no_clip(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        keep_clip(tmp_path, np.zeros(0, dtype=np.float32))
    with pytest.raises(BadInput):
        keep_clip(tmp_path, np.zeros((2, 10), dtype=np.float32))


def test_a_clip_that_is_not_there_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no longer kept"):
        clip_path(tmp_path, "ab" * 32)
    with pytest.raises(BadInput, match="SHA-256"):
        clip_path(tmp_path, "../../../etc/passwd")


def test_a_clip_can_be_copied_out(tmp_path: Path) -> None:
    sha256 = keep_clip(tmp_path / "journal", tone(440))
    copy_clip(tmp_path / "journal", sha256, tmp_path / "out" / "said.flac")
    assert (tmp_path / "out" / "said.flac").read_bytes() == clip_path(tmp_path / "journal", sha256).read_bytes()


def test_only_the_sound_of_what_was_let_go_is_dropped(store: Store) -> None:
    kept, dropped = keep_clip(store.folder, tone(440)), keep_clip(store.folder, tone(330))
    job = opened()
    job.say(Cut(3, 30.0), source=Source.VOICE, clip=kept)
    store.append(*job.entries)
    assert not drop_if_unused(store, kept) and drop_if_unused(store, dropped)
    assert clip_path(store.folder, kept).is_file()
    with pytest.raises(NotFound):
        clip_path(store.folder, dropped)


def three_clips(store: Store) -> list[str]:
    """Clips of entries made on three days, the first of which is named again on the third."""
    job = opened(source=Source.VOICE)
    clips = [keep_clip(store.folder, tone(hertz)) for hertz in (300, 400, 500)]
    for clip in (*clips, clips[0]):
        job.say(Cut(3, 30.0), seconds=86400, clip=clip)
    store.append(*job.entries)
    return clips


def here(store: Store, clips: list[str]) -> list[bool]:
    return [(store.folder / "clips" / clip[:2] / f"{clip}.flac").exists() for clip in clips]


def test_old_sound_goes_and_its_entries_stay(store: Store) -> None:
    clips = three_clips(store)
    entries = store.entries(store.jobs()[0].id)
    gone, size = let_go(store, older_than=timedelta(days=1.5), now=START + timedelta(days=4))
    assert (gone, here(store, clips)) == (1, [True, False, True]) and size > 0
    assert store.entries(store.jobs()[0].id) == entries
    assert verify(store) == [], "sound let go on purpose is nothing wrong"


def test_the_oldest_sound_goes_first_when_there_is_too_much(store: Store) -> None:
    clips = three_clips(store)
    total = sum(path.stat().st_size for path in (store.folder / "clips").rglob("*.flac"))
    let_go(store, keep_bytes=total - 1, now=START + timedelta(days=4))
    assert here(store, clips) == [True, False, True]
    let_go(store, keep_bytes=0, now=START + timedelta(days=4))
    assert here(store, clips) == [False, False, False]
    assert let_go(store, keep_bytes=0, now=START + timedelta(days=4)) == (0, 0)


def test_sound_that_is_missing_for_no_known_reason_is_reported(store: Store) -> None:
    clips = three_clips(store)
    clip_path(store.folder, clips[1]).unlink()
    (line,) = verify(store)
    assert "sound" in line and "missing" in line


def test_sound_exactly_as_old_or_as_much_as_may_be_kept_stays(store: Store) -> None:
    clips = three_clips(store)
    # The second clip is named by the entry of the second day alone: three days after the start.
    let_go(store, older_than=timedelta(days=1), now=store.entries(store.jobs()[0].id)[2].at_utc + timedelta(days=1))
    assert here(store, clips) == [True, True, True]
    total = sum(path.stat().st_size for path in (store.folder / "clips").rglob("*.flac"))
    assert let_go(store, keep_bytes=total, now=START + timedelta(days=9)) == (0, 0)


def test_a_clip_is_sixteen_bit_sound_of_sixteen_thousand_samples_a_second(store: Store) -> None:
    """As a pack's description says it is, for whoever hears it elsewhere."""
    sound = np.sin(np.arange(16_000, dtype=np.float32) / 9)
    facts = soundfile.info(clip_path(store.folder, keep_clip(store.folder, sound)))
    assert (facts.samplerate, facts.channels, facts.subtype, facts.duration) == (16_000, 1, "PCM_16", 1.0)
