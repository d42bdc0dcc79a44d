"""A stand-in for the ear, and speech whose words it knows, so that the road from sound to page can be tried without
a recogniser's own mistakes.

The speech is real: the demo's recordings, cut into their lines. `KnownSpeech` tells which line it is given by its
sound alone and answers with the words of the script, whatever noise is around it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from journal.hearing.endpoint import utterances
from journal.hearing.sources import blocks_from_file
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound

DEMO = Path(__file__).resolve().parents[2] / "demo"
JOB = "orchard"


@dataclass(frozen=True)
class Line:
    """One line of the demo's script with its sound."""

    words: str
    """What is said, as a recogniser would write it."""
    entries: tuple[dict[str, Any], ...]
    """What it must become."""
    sound: Sound
    """Its sound, with a little silence around it."""
    shape: Sound
    """Its loudness over time, by which it is known again, with length one."""


@cache
def lines() -> tuple[Line, ...]:
    """Every line of the demo, in order."""
    script = tomllib.loads((DEMO / JOB / "script.toml").read_text(encoding="utf-8"))
    found = []
    for part in script["part"]:
        heard = list(utterances(blocks_from_file(DEMO / JOB / part["file"])))
        assert len(heard) == len(part["line"]), f"{part['file']}: {len(heard)} utterances for {len(part['line'])} lines"
        for utterance, line in zip(heard, part["line"], strict=True):
            words = line["say"].lower().translate(str.maketrans("", "", ",.?"))
            shape = _shape(utterance.sound)
            found.append(Line(words, tuple(line["entries"]), utterance.sound, shape / np.linalg.norm(shape)))
    return tuple(found)


def _shape(sound: Sound) -> Sound:
    """Power in the band of speech above an engine's, every 10 ms, shape (frames,), less its mean."""
    step = RATE // 100
    frames = sound[: len(sound) // step * step].reshape(-1, step)
    power = (np.abs(np.fft.rfft(frames, axis=1)[:, 5:35]) ** 2).sum(axis=1)
    # Only the loudest 25 dB: what lies below is as likely noise as speech.
    level = np.log10(power + power.max() * 10**-2.5 + 1e-9).astype(np.float32)
    return level - level.mean()


_AGREEING = ("whisper", "pocketsphinx")
"""What it is sure of it says as the two that listen by default do when they agree."""


class KnownSpeech:
    """A recogniser that knows some lines, and nothing else, by their sound."""

    name = "whisper"
    """Where it doubts, it is believed as the better of the two listeners is."""

    def __init__(self, known: dict[str, Sound]) -> None:
        """Know these words by the loudness of their sound over time (`Line.shape`)."""
        self.known = known

    @classmethod
    def of(cls, script: Iterable[Line]) -> KnownSpeech:
        """One that knows these lines."""
        return cls({line.words: line.shape for line in script})

    @classmethod
    def load(cls, path: Path) -> KnownSpeech:
        """One that was saved, so that another process need not cut the recordings again."""
        with np.load(path) as saved:
            return cls({words: saved[words] for words in saved.files})

    def save(self, path: Path) -> None:
        """Write what it knows to a file."""
        np.savez(path, **self.known)

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """The line whose loudness over time fits best; nothing when none fits well."""
        shape = _shape(sound)
        best, words = max((_fit(shape, known), words) for words, known in self.known.items())
        sure = [c for name in _AGREEING for c in (Candidate(words, -0.5, name), Candidate("", -25.0, name))]
        return Hearing(tuple(sure) if best > 0.8 else (), free_text=words)


def _fit(heard: Sound, known: Sound) -> float:
    """How well they fit at the best shift, 0 to 1."""
    size = 1 << (len(heard) + len(known) - 1).bit_length()
    overlap = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(known, size)), size)
    return float(overlap.max() / (np.linalg.norm(heard) + 1e-9))


def blocks(sound: Sound, size: int = 1024) -> Iterator[Sound]:
    """Sound in blocks as a microphone gives them."""
    for start in range(0, len(sound), size):
        yield sound[start : start + size]


def silence(seconds: float, level: float = 1e-4, seed: int = 0) -> Sound:
    """A quiet room's noise, shape (samples,)."""
    return (level * np.random.default_rng(seed).standard_normal(round(seconds * RATE))).astype(np.float32)
