"""Sound from a file, standard input or a microphone, turned into blocks of mono sound at 16 kHz."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np

from journal.errors import HearingError
from journal.hearing.microphone import blocks_from_microphone
from journal.hearing.resample import Resampler
from journal.hearing.soundfiles import KINDS, sound_kind
from journal.hearing.types import RATE, Sound

__all__ = ["blocks_from_file", "blocks_from_microphone", "blocks_from_stdin", "read_file"]

BLOCK = 512
"""Samples in a block: 32 ms, as many as the speech detector looks at together."""


def read_file(path: Path) -> Sound:
    """A whole sound file as mono sound at `RATE`.

    Args:
        path: a file of one of the `KINDS`, any rate, any number of channels.

    Raises:
        HearingError: the file is missing, is not sound, or holds none.
    """
    return np.concatenate(list(blocks_from_file(path)))


LEAST_RATE, MOST_RATE = 4_000, 384_000
"""Samples per second of what is taken for sound: from below a telephone's to the highest that sound cards offer."""


def blocks_from_file(path: Path) -> Iterator[Sound]:
    """A sound file, block by block, as mono sound at `RATE`; long files are never held whole.

    Raises:
        HearingError: the file is missing, is not sound, or holds none.
    """
    import soundfile

    if not path.is_file():
        what = "is a folder, not a sound file" if path.is_dir() else "is not there; check the path"
        raise HearingError(f"{path} {what}")
    unreadable = f"{path} cannot be read as sound; give a {', '.join(KINDS[:-1])} or {KINDS[-1]} file"
    try:
        if sound_kind(path) is None:
            raise HearingError(unreadable)
        with soundfile.SoundFile(path) as file:
            # Else soundfile seeks to where it is after every block, which libsndfile 1.2.2 cannot do in an MP3.
            file.seekable = lambda: False
            if file.frames == 0:
                raise HearingError(f"{path} holds no sound; record it again")
            if not LEAST_RATE <= file.samplerate <= MOST_RATE:
                what = f"{path} says {file.samplerate} samples per second, which is not sound"
                raise HearingError(f"{what}; record it again")
            resample = Resampler(file.samplerate)
            pace = max(1, round(BLOCK * file.samplerate / RATE))
            # Not `file.blocks`: it goes by the length that a file states, which a damaged one may state without end.
            while len(block := file.read(pace, dtype="float32", always_2d=True)):
                yield resample(block)
            yield resample.rest()
    except (soundfile.LibsndfileError, OSError) as error:
        raise HearingError(unreadable) from error


def blocks_from_stdin(rate: int = RATE, stream: IO[bytes] | None = None) -> Iterator[Sound]:
    """Raw 16-bit little-endian mono samples from standard input, block by block.

    Args:
        rate: samples per second of what comes in.
        stream: another stream to read instead.

    Raises:
        HearingError: the rate makes no sense, or nothing came in.
    """
    if not LEAST_RATE <= rate <= MOST_RATE:
        raise HearingError(f"a rate of {rate} samples per second is not sound; say 16000, say")
    source = stream if stream is not None else sys.stdin.buffer
    resample = Resampler(rate)
    left, any_sound = b"", False
    while data := source.read(2 * BLOCK):
        data = left + data
        whole = len(data) - len(data) % 2
        left = data[whole:]
        any_sound = True
        yield resample(np.frombuffer(data[:whole], dtype="<i2").astype(np.float32)[:, None] / np.float32(32_768))
    if not any_sound:
        raise HearingError("standard input held no sound; pipe raw 16-bit mono samples into it")
    yield resample.rest()
