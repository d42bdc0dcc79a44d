"""Only the kinds of sound that are needed reach libsndfile; what else it would read is refused before."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing.soundfiles import KINDS, sound_kind
from journal.hearing.sources import read_file
from journal.hearing.types import RATE

soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")

TONE = (0.5 * np.sin(np.arange(RATE) / 9)).astype(np.float32)
OTHERS = sorted(set(soundfile.available_formats()) - {*KINDS, "WAVEX", "RF64"})
"""Every other kind that libsndfile reads; WAVEX and RF64 are WAV."""
SUBTYPE = {
    "RAW": "PCM_16",
    "XI": "DPCM_16",
    "HTK": "PCM_16",
    "WVE": "ALAW",
    "SDS": "PCM_16",
    "MPC2K": "PCM_16",
    "SVX": "PCM_16",
}


def written(kind: str, subtype: str | None = None) -> bytes:
    file = io.BytesIO()
    soundfile.write(file, TONE, 8_000 if kind == "WVE" else RATE, format=kind, subtype=subtype)
    return file.getvalue()


@pytest.mark.parametrize("kind", [*KINDS, "WAVEX", "RF64"])
def test_the_kinds_that_recorders_write_are_read(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "x"
    file.write_bytes(written(kind))
    assert sound_kind(file) == ("WAV" if kind in ("WAVEX", "RF64") else kind)
    assert np.abs(read_file(file)).max() > 0.4


@pytest.mark.parametrize("kind", OTHERS)
def test_no_other_kind_reaches_libsndfile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    file = tmp_path / "x.wav"
    monkeypatch.chdir(tmp_path)  # one of them leaves a second file beside it
    try:
        file.write_bytes(written(kind, SUBTYPE.get(kind)))
    except soundfile.LibsndfileError:
        pytest.skip(f"this libsndfile does not write {kind}")
    monkeypatch.setattr(soundfile, "SoundFile", lambda *_: pytest.fail("it was handed to libsndfile"))
    with pytest.raises(HearingError, match="cannot be read as sound; give a WAV, FLAC, OGG, AIFF or MP3 file"):
        read_file(file)


def tag(length: int) -> bytes:
    """An ID3v2.4 tag of that many bytes behind its head (id3.org, ID3v2.4.0 structure, 3.1: four times seven bits)."""
    size = bytes(length >> shift & 0x7F for shift in (21, 14, 7, 0))
    return b"ID3\x04\x00\x00" + size + bytes(length)


@pytest.mark.parametrize("length", [0, 1, 127, 128, 300, 20_000])
def test_a_tag_before_the_sound_is_skipped_by_its_own_length(tmp_path: Path, length: int) -> None:
    file = tmp_path / "x.mp3"
    for tags in (1, 2, 4):
        file.write_bytes(tag(length) * tags + written("MP3"))
        assert sound_kind(file) == "MP3"
    file.write_bytes(tag(length) * 5 + written("MP3"))
    assert sound_kind(file) is None
    file.write_bytes(tag(length) + written("FLAC"))
    assert sound_kind(file) == "FLAC"


@pytest.mark.parametrize("kind", ["AU", "MAT4", "IRCAM", "WAV", "OGG", "AIFF"])
def test_a_tag_smuggles_nothing_in(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "x.mp3"
    file.write_bytes(tag(300) + written(kind))
    assert sound_kind(file) is None


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xfb\x90\x00", "MP3"), (b"\xff\xf3\x90\x00", "MP3"), (b"\xff\xe3\x90\x00", "MP3"),
        (b"\xff\xeb\x90\x00", None), (b"\xff\xf9\x90\x00", None), (b"\xff\xf1\x50\x80", None),
        (b"\xff\xdb\x00\x43", None), (b"\xfe\xfb\x90\x00", None), (b"\xff\xfb", None), (b"", None), (b"ID3", None),
        (b"RIFF\0\0\0\0AVI ", None), (b"RIFX\0\0\0\0WAVE", "WAV"), (b"FORM\0\0\0\x008SVX", None),
        (b"FORM\0\0\0\0AIFC", "AIFF"), (b"fLa", None), (b"OggT", None),
    ],
)  # fmt: skip
def test_a_kind_is_told_by_the_first_bytes_alone(tmp_path: Path, head: bytes, kind: str | None) -> None:
    """MPEG: eleven ones, then no reserved version (01) and no reserved layer (00), ISO/IEC 11172-3, 2.4.1.3."""
    file = tmp_path / "x"
    file.write_bytes(head)
    assert sound_kind(file) == kind
