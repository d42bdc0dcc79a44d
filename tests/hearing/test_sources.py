"""Files and raw streams become finite mono sound at 16 kHz, or one clear line."""

from __future__ import annotations

import io
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
import soundfile

from journal.errors import HearingError
from journal.hearing.sources import blocks_from_file, blocks_from_stdin, read_file
from journal.hearing.types import RATE


def tone(rate: int, seconds: float = 1.0) -> np.ndarray:
    return (0.5 * np.sin(2 * np.pi * 440 * np.arange(round(rate * seconds)) / rate)).astype(np.float32)


@pytest.mark.parametrize("kind", ["WAV", "FLAC", "OGG", "AIFF", "MP3"])
def test_block_by_block_a_file_holds_what_it_holds_when_read_at_once(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "tone"
    soundfile.write(path, tone(RATE, 3.0), RATE, format=kind)
    whole, _ = soundfile.read(path, dtype="float32")
    sound = np.concatenate(list(blocks_from_file(path)))
    assert np.allclose(sound[: len(whole)], whole, atol=1e-6) and np.abs(sound[2 * RATE :]).max() > 0.4


@pytest.mark.parametrize("rate", [8_000, 16_000, 22_050, 44_100, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_any_rate_and_channels_become_mono_at_16_khz(tmp_path: Path, rate: int, channels: int) -> None:
    path = tmp_path / "tone.wav"
    soundfile.write(path, np.stack([tone(rate)] * channels, axis=1), rate)
    sound = read_file(path)
    assert sound.dtype == np.float32
    assert abs(len(sound) - RATE) <= 32
    spectrum = np.abs(np.fft.rfft(sound))
    assert abs(np.argmax(spectrum) * RATE / len(sound) - 440) < 2


def test_block_seams_are_not_heard(tmp_path: Path) -> None:
    path = tmp_path / "tone.flac"
    soundfile.write(path, tone(44_100, 2.0), 44_100)
    middle = read_file(path)[1_000:-1_000]
    assert np.max(np.abs(np.diff(middle))) < 0.5 * 2 * np.pi * 440 / RATE * 1.02


def test_what_is_not_a_number_becomes_silence(tmp_path: Path) -> None:
    path = tmp_path / "bad.wav"
    sound = tone(RATE)
    sound[100], sound[200] = np.nan, np.inf
    soundfile.write(path, sound, RATE, subtype="FLOAT")
    assert np.isfinite(read_file(path)).all()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda path: None, "is not there"),
        (lambda path: path.mkdir(), "is a folder"),
        (lambda path: path.write_text("not sound at all"), "cannot be read as sound"),
        (lambda path: path.write_bytes(b""), "cannot be read as sound"),
        (lambda path: soundfile.write(path, np.zeros(0, dtype=np.float32), RATE), "holds no sound"),
    ],
    ids=["missing", "folder", "text named wav", "empty", "no frames"],
)
def test_a_useless_file_gives_one_clear_line(tmp_path: Path, make: object, says: str) -> None:
    path = tmp_path / "x.wav"
    make(path)  # type: ignore[operator]
    with pytest.raises(HearingError, match=says) as caught:
        list(blocks_from_file(path))
    assert "\n" not in str(caught.value)


def test_an_mp3_that_states_a_length_without_end_is_read_as_far_as_it_goes(tmp_path: Path) -> None:
    file = io.BytesIO()
    soundfile.write(file, tone(RATE), RATE, format="MP3")
    data = bytearray(file.getvalue())
    # The Xing header: four letters, four bytes of flags, then the number of MPEG frames.
    at = data.index(b"Xing") + 8
    data[at : at + 4] = (2**31 - 1).to_bytes(4, "big")
    (tmp_path / "x.mp3").write_bytes(data)
    blocks = list(islice(blocks_from_file(tmp_path / "x.mp3"), 10_000))
    assert len(blocks) < 1_000, "it comes to an end"
    assert 0.9 * RATE < len(np.concatenate(blocks)) < 1.2 * RATE


@pytest.mark.parametrize("rate", [1, 3_999, 384_001, 2**31 - 1])
def test_a_file_with_a_rate_that_is_no_sounds_gives_one_clear_line(tmp_path: Path, rate: int) -> None:
    soundfile.write(tmp_path / "x.wav", tone(RATE), RATE)
    data = bytearray((tmp_path / "x.wav").read_bytes())
    data[24:28] = rate.to_bytes(4, "little")
    (tmp_path / "x.wav").write_bytes(data)
    with pytest.raises(HearingError, match="is not sound; record it again"):
        list(blocks_from_file(tmp_path / "x.wav"))


@pytest.mark.parametrize("rate", [16_000, 48_000])
def test_raw_standard_input_is_read_at_its_rate(rate: int) -> None:
    raw = (tone(rate) * 32_767).astype("<i2").tobytes()
    sound = np.concatenate(list(blocks_from_stdin(rate, io.BytesIO(raw + b"\0"))))
    assert abs(len(sound) - RATE) <= 32


def test_empty_standard_input_gives_one_clear_line() -> None:
    with pytest.raises(HearingError, match="held no sound"):
        list(blocks_from_stdin(RATE, io.BytesIO()))
