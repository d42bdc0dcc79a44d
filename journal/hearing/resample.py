"""Frames of any rate and any number of channels turned into finite mono sound at 16 kHz, block by block."""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from journal.hearing.types import RATE, Sound


class Resampler:
    """Keeps its state between blocks, so that their seams are not heard."""

    def __init__(self, rate: int) -> None:
        """Args: rate, samples per second of what comes in."""
        self._stream: Any = None
        if rate != RATE:
            import soxr

            self._stream = soxr.ResampleStream(rate, RATE, 1, dtype="float32")

    def __call__(self, frames: Sound) -> Sound:
        """Frames of shape (samples, channels) as mono sound, shape (samples,); what is not a number becomes silence."""
        mono = np.nan_to_num(frames, posinf=1.0, neginf=-1.0).mean(axis=1, dtype=np.float32)
        return mono if self._stream is None else cast(Sound, self._stream.resample_chunk(mono))

    def rest(self) -> Sound:
        """What is still held at the end."""
        empty = np.zeros(0, dtype=np.float32)
        return empty if self._stream is None else cast(Sound, self._stream.resample_chunk(empty, last=True))
