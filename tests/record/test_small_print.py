"""Small promises of the record that nothing else would notice broken."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from journal.errors import HearingError, NotFound
from journal.facts import Cut, Source
from journal.record.clips import clip_path, drop_if_unused, keep_clip, let_go, play_clip
from journal.record.files import write_whole, write_whole_with
from journal.record.store import Store
from tests.record.arrange import opened

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")

TONE = (0.4 * np.sin(np.arange(16_000) / 7)).astype(np.float32)


class Loudspeaker:
    """Stands for sounddevice: keeps what is played."""

    PortAudioError = RuntimeError

    def __init__(self) -> None:
        self.played: list[tuple[np.ndarray, int, bool]] = []

    def play(self, sound: np.ndarray, rate: int, *, blocking: bool = False) -> None:
        self.played.append((sound, rate, blocking))


@pytest.fixture
def loudspeaker(monkeypatch: pytest.MonkeyPatch) -> Loudspeaker:
    made = Loudspeaker()
    monkeypatch.setitem(sys.modules, "sounddevice", made)  # type: ignore[arg-type]
    return made


def test_a_clip_is_played_as_it_was_heard_and_to_its_end(tmp_path: Path, loudspeaker: Loudspeaker) -> None:
    play_clip(tmp_path, keep_clip(tmp_path, TONE))
    ((sound, rate, blocking),) = loudspeaker.played
    np.testing.assert_allclose(sound, TONE, atol=1 / 32768)
    assert (rate, blocking) == (16_000, True)


def test_a_clip_that_is_no_flac_any_more_is_not_handed_on(tmp_path: Path, loudspeaker: Loudspeaker) -> None:
    sha256 = keep_clip(tmp_path, TONE)
    clip_path(tmp_path, sha256).write_bytes(b".snd" + bytes(100))
    with pytest.raises(HearingError, match="no FLAC sound: journal verify"):
        play_clip(tmp_path, sha256)
    assert loudspeaker.played == []


def test_no_loudspeaker_is_one_line_that_says_what_to_do(tmp_path: Path, loudspeaker: Loudspeaker) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("unplugged")

    loudspeaker.play = broken  # type: ignore[assignment]
    with pytest.raises(HearingError, match=r"no loudspeaker .*unplugged.*--to"):
        play_clip(tmp_path, keep_clip(tmp_path, TONE))


def test_a_missing_sound_is_named_by_its_first_twelve_figures(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match=r"the sound abababababab… is"):
        clip_path(tmp_path, "ab" * 32)


def test_sound_that_is_gone_already_can_be_dropped(tmp_path: Path) -> None:
    with Store.open(tmp_path / "journal") as store:
        sha256 = keep_clip(store.folder, TONE)
        assert drop_if_unused(store, sha256)
        assert drop_if_unused(store, sha256)


def test_what_lasts_is_on_the_disk_whole_before_it_has_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[tuple[int, bool]] = []
    target = tmp_path / "kept"
    sync = os.fsync

    def noted(handle: int) -> None:
        synced.append((os.fstat(handle).st_size, target.exists()))
        sync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    write_whole(target, bytes(100))
    assert synced[0] == (100, False), "the data first, out of the program's own buffer"
    assert any(named for _, named in synced) or os.name == "nt", "then its name"
    synced.clear()
    write_whole(tmp_path / "made again", bytes(100), lasting=False)
    assert synced == []
    with write_whole_with(tmp_path / "piece by piece") as file:
        file.write(bytes(100))
    assert synced[0] == (100, True)


def test_sound_of_exactly_the_age_and_exactly_the_size_allowed_stays(tmp_path: Path) -> None:
    with Store.open(tmp_path / "journal") as store:
        job = opened(source=Source.VOICE)
        clips = [keep_clip(store.folder, TONE), keep_clip(store.folder, TONE / 2)]
        said = [job.say(Cut(3, 30.0), seconds=3600, clip=clip) for clip in clips]
        store.append(*job.entries)
        sizes = [clip_path(store.folder, clip).stat().st_size for clip in clips]
        now, age = said[0].at_utc + timedelta(days=2), timedelta(days=2)
        assert let_go(store, older_than=age, keep_bytes=sum(sizes), now=now) == (0, 0)
        assert let_go(store, older_than=age, now=now + timedelta(milliseconds=1)) == (1, sizes[0])
        assert clip_path(store.folder, clips[1]).is_file()


def test_as_many_old_sounds_go_as_it_takes_and_no_more(tmp_path: Path) -> None:
    with Store.open(tmp_path / "journal") as store:
        job = opened(source=Source.VOICE)
        clips = [keep_clip(store.folder, TONE / n) for n in (1, 2, 3)]
        said = [job.say(Cut(3, 30.0), seconds=3600, clip=clip) for clip in clips]
        store.append(*job.entries)
        sizes = [clip_path(store.folder, clip).stat().st_size for clip in clips]
        now = said[-1].at_utc
        assert let_go(store, keep_bytes=sizes[1] + sizes[2], now=now) == (1, sizes[0])
        assert let_go(store, keep_bytes=sizes[2] - 1, now=now) == (2, sizes[1] + sizes[2])


HEIC = """
import sys
from pathlib import Path
from journal.record import photos
folder, data = Path(sys.argv[1]), Path(sys.argv[2]).read_bytes()
from journal.record.files import sha256_of
match sys.argv[3]:
    case "take in": photos.take_in(folder, data, "a.heic")
    case "check": photos.check_photo(data, "a.heic")
    case "keep": photos.keep_original(folder, data, "a.heic")
    case "copy": print(photos.page_copy_path(folder, sha256_of(data)).stat().st_size)
"""


@pytest.mark.parametrize("what", ["take in", "check", "keep", "copy"])
def test_a_telephones_photo_is_read_by_whatever_looks_at_it_first(tmp_path: Path, what: str) -> None:
    """HEIF is read by a plug-in of Pillow's, which each program must call for once."""
    pillow_heif = pytest.importorskip("pillow_heif", reason="pillow-heif is not installed")
    picture = tmp_path / "a.heic"
    pillow_heif.from_pillow(Image.effect_noise((320, 240), 60).convert("RGB")).save(picture)
    folder = tmp_path / "journal"
    first = ["keep"] if what == "copy" else []
    for each in (*first, what):
        command = [sys.executable, "-c", HEIC, str(folder), str(picture), each]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
