"""Makes what is trained on: sounds with what is to be written for each, and rooms, in a folder.

`python -m tests.ear.data FOLDER --seed 1` takes ten minutes on 16 cores, hours on one; Kokoro speaks 2.5 times as quick
with onnxruntime 1.32 as with 1.30. `sounds.npy` holds all samples
one after the other, 16 bits at `RATE`, `said.jsonl` a line for each sound (`Said`), `rooms.npy` impulse responses. The
recordings of people are those of `tests/bench/_people.py` that may be fitted on.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from random import Random
from typing import NamedTuple

import numpy as np

from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Sound
from tests.bench import _people
from tests.ear.rooms import rooms
from tests.ear.texts import WORDS, Line, lines, number, written
from tests.ear.voices import Voice, some_voice, speak

_DIGITS = WORDS[:10]
_LONGEST_S = 9.0
_TOLD_EVERY = 500


@dataclass(frozen=True)
class Said:
    """One sound."""

    start: int
    """Its first sample of `sounds.npy`."""
    length: int
    """Samples."""
    text: str
    """What is to be written; empty where it is what the model wrote before the training."""
    source: str
    """`kokoro`, `flite`, `espeak`, `spliced`, `digits` or `orders`."""
    open: bool
    """Whether it is open dictation."""
    held_back: bool
    """Whether it is for knowing when to stop, not for training."""


class _Job(NamedTuple):
    """One text to speak; `words` for all words of numbers, each by itself."""

    line: Line | None
    voice: Voice


def make(folder: Path, seed: int, counts: dict[str, int], processes: int, seconds: float = float("inf")) -> None:
    """Makes it all.

    Args:
        folder: where to; made when it is not there.
        seed: another gives other texts, voices and rooms.
        counts: how many of each source; of `banks`, how many voices say the words that are spliced.
        processes: how many speak at once.
        seconds: after which no more voices are waited for.
    """
    folder.mkdir(parents=True, exist_ok=True)
    dice = Random(seed)
    np.save(folder / "rooms.npy", rooms(counts["rooms"], seed))
    kinds = ("kokoro", "flite", "espeak")
    banks = [_Job(None, some_voice(kinds[n % len(kinds)], dice)) for n in range(counts["banks"])]
    jobs = [_Job(line, some_voice(kind, dice)) for kind in kinds for line in lines(counts[kind], dice.randrange(2**30))]
    # The slow ones last: they are as many as there is time for.
    dice.shuffle(jobs)
    jobs.sort(key=lambda job: job.voice.kind == "kokoro")
    made, words = [], []
    for job, sounds in _spoken([*banks, *jobs], processes, seconds):
        if job.line is None:
            words.append((job.voice, dict(zip(WORDS, sounds, strict=True))))
        else:
            made.append((sounds[0], job.line.written, job.voice.kind, job.line.open, job.voice.held_back))
    for _ in range(counts["spliced"] if words else 0):
        voice, bank = dice.choice(words)
        said = number(dice)
        if all(word in bank for word in said.split()):
            made.append(
                (spliced([bank[word] for word in said.split()], dice), written(said), "spliced", False, voice.held_back)
            )
    made += _of_people(counts["digits"], dice)
    _write(folder, made)


def _write(folder: Path, made: Sequence[tuple[Sound, str, str, bool, bool]]) -> None:
    start, rows, sounds = 0, [], []
    for sound, *rest in made:
        if not RATE // 10 < len(sound) <= _LONGEST_S * RATE:
            continue
        rows.append(Said(start, len(sound), *rest))
        sounds.append(np.round(np.clip(sound, -1, 1) * 32_767).astype(np.int16))
        start += len(sound)
    np.save(folder / "sounds.npy", np.concatenate(sounds))
    (folder / "said.jsonl").write_text("".join(json.dumps(asdict(row)) + "\n" for row in rows), encoding="utf-8")


def _spoken(jobs: Sequence[_Job], processes: int, seconds: float) -> Iterator[tuple[_Job, list[Sound]]]:
    """Each with its sounds; in the order of the jobs."""
    began = time.monotonic()
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        # One alone first: Kokoro's model is put together once.
        pool.apply(_speak, (_Job(Line("one", "1."), some_voice("kokoro", Random(0))),))
        for at, (job, sounds) in enumerate(zip(jobs, pool.imap(_speak, jobs), strict=True)):
            if sounds:
                yield job, sounds
            if at % _TOLD_EVERY == 0:
                print(f"{at} of {len(jobs)} spoken after {time.monotonic() - began:.0f} s", flush=True)
            if time.monotonic() - began > seconds:
                pool.terminate()
                break


def _speak(job: _Job) -> list[Sound]:
    texts = WORDS if job.line is None else (job.line.said,)
    return [trimmed(speak(text, job.voice)) for text in texts]


def trimmed(sound: Sound) -> Sound:
    """A sound without the silence at its ends."""
    loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max()) if len(sound) else np.zeros(0)
    if not len(loud):
        return sound
    return sound[max(0, int(loud[0]) - 320) : int(loud[-1]) + 960]


def spliced(words: Sequence[Sound], dice: Random) -> Sound:
    """Words of one voice one after the other, each as loud as it came, with pauses as a prompt has them."""
    gap = dice.choice((0.01, 0.05, 0.12, 0.25))
    parts = []
    for word in words:
        parts += [word, np.zeros(round(dice.uniform(0.5, 1.5) * gap * RATE), dtype=np.float32)]
    return np.concatenate(parts)


def _of_people(digits: int, dice: Random) -> Iterator[tuple[Sound, str, str, bool, bool]]:
    where = _people.folder()
    if where is None:
        print(f"recordings of people: {_people.missing()}")
        return
    takes = {
        (speaker, word): [
            read_file(path) for path in sorted(where.glob(f"digits/{_DIGITS.index(word)}_{speaker}_*.flac"))
        ]
        for speaker in _people.FITTED
        for word in _DIGITS
    }
    for _ in range(digits):
        speaker = dice.choice(_people.FITTED)
        said = [dice.choice(_DIGITS) for _ in range(dice.choice((1, 2, 2, 2, 3)))]
        sound = spliced([trimmed(dice.choice(takes[speaker, word])) for word in said], dice)
        yield sound * (0.5 / np.abs(sound).max()), written(" ".join(said)), "digits", False, False
    for at, name in enumerate(_people.orders(fitted=True)):
        sound = _people.order(name)
        yield sound * (0.5 / np.abs(sound).max()), "", "orders", True, at % 8 == 7


def main() -> None:
    """Make it."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--seconds", type=float, default=float("inf"))
    counts = {
        "kokoro": 1500, "flite": 1500, "espeak": 2000, "banks": 30, "spliced": 2500, "digits": 900, "rooms": 300,
    }  # fmt: skip
    for name, count in counts.items():
        ask.add_argument(f"--{name}", type=int, default=count)
    asked = vars(ask.parse_args())
    made = {name: asked[name] for name in counts}
    make(asked["folder"], asked["seed"], made, asked["processes"], asked["seconds"])


if __name__ == "__main__":
    main()
