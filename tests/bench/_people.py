"""Recordings of people that are no part of the project: digits, and orders for coffee.

They lie in the folder that `JOURNAL_RECORDINGS` names, else in a folder `shared/recordings` beside the checkout; its
README says where they come from and under which licence. To fit on: every second order and one of the three people who
say digits; to report on: the rest, so that nobody who is reported on has been listened to before.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Sound

FADING = " fading"
"""After a person's name: one of the digits is said faintly, as with the head turned away."""
FITTED = ("george", f"george{FADING}")
REPORTED = ("jackson", "theo")
"""People who say digits."""
_TAKES = 25
_FAINTER_DB = (6, 24)
WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def folder() -> Path | None:
    """Where the recordings are; none where there are none."""
    beside = Path(__file__).resolve().parents[3] / "shared" / "recordings"
    found = Path(os.environ.get("JOURNAL_RECORDINGS", beside))
    return found if (found / "orders").is_dir() and (found / "digits").is_dir() else None


def missing() -> str:
    """Why there are none; empty where there are."""
    return "" if folder() else "name their folder in JOURNAL_RECORDINGS"


def orders(*, fitted: bool) -> list[str]:
    """Names of the orders to fit on, or of the others."""
    where = folder()
    return [path.stem for path in sorted(where.glob("orders/*.flac"))[0 if fitted else 1 :: 2]] if where else []


def order(name: str) -> Sound:
    """An order's sound."""
    where = folder()
    assert where is not None
    return read_file(where / "orders" / f"{name}.flac")


def pairs(speaker: str, count: int) -> list[str]:
    """Two digits each, as they are said one after the other: "three eight"; the same ones in every run."""
    dice = np.random.default_rng(sum(map(ord, speaker)))
    return [f"{WORDS[n // 10]} {WORDS[n % 10]}" for n in dice.choice(np.arange(10, 100), count, replace=False)]


def pair(speaker: str, text: str, seed: int) -> Sound:
    """Two digits by a person, spliced of two recordings."""
    where = folder()
    assert where is not None
    dice = np.random.default_rng(seed)
    name, turned = speaker.removesuffix(FADING), np.random.default_rng((seed, 1))
    faint = turned.integers(2) if speaker.endswith(FADING) else -1
    by, parts = np.float32(10 ** (-turned.uniform(*_FAINTER_DB) / 20)), []
    for at, word in enumerate(text.split()):
        sound = read_file(where / "digits" / f"{WORDS.index(word)}_{name}_{dice.integers(_TAKES)}.flac")
        sound = sound * by if at == faint else sound
        parts += [sound, np.zeros(round(dice.uniform(0.02, 0.12) * RATE), dtype=np.float32)]
    return np.concatenate(parts)
