"""Sound for the hearing tests: synthetic speech where a speaker program is installed, and what files are made of."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Expect, Sound, Speakable, WordGraph

pytest.importorskip("soundfile", reason="the speech extra is not installed")

NUMBERS = (
    "zero | oh | one | two | three | four | five | six | seven | eight | nine | ten | eleven | twelve | thirteen | "
    "fourteen | fifteen | sixteen | seventeen | eighteen | nineteen | twenty | thirty | forty | fifty | sixty | "
    "seventy | eighty | ninety | hundred | thousand | point"
)
ONES = ("one", "two", "three", "four", "five", "six")
CUTS = ("cut", "out")
VALUES = [
    words
    for tens in ("twenty", "thirty", "forty", "fifty")
    for words in (tens, *(f"{tens} {unit}" for unit in (*ONES, "seven", "eight", "nine")))
]
VALUES += [f"{value} point {part}" for value in VALUES for part in (*ONES, "seven", "eight", "nine")]
OTHERS = "cylinder | number | cut | out | no | change | blow | by | light | heavy | none"


@pytest.fixture(scope="session")
def speakable() -> Speakable:
    """A small hand-made grammar, so that hearing is tested apart from wording."""
    phrases = [f"blow by {how}" for how in ("none", "light", "heavy")]
    for opening in ("cylinder ", "number ", ""):
        for cylinder in ONES:
            phrases += [f"{opening}{cylinder} {out} {value}" for out in CUTS for value in (*VALUES, "no change")]
    return Speakable(
        words=tuple(sorted(f"{NUMBERS} | {OTHERS}".split(" | "))),
        graph={
            Expect.ANYTHING: graph_of(phrases),
            Expect.NUMBER: graph_of(VALUES),
        },
    )


def graph_of(sentences: Sequence[str]) -> WordGraph:
    """A word graph, a tree, that says these sentences."""
    arcs: list[dict[str, int]] = [{}]
    finals = set()
    for sentence in sentences:
        at = 0
        for word in sentence.split():
            if word not in arcs[at]:
                arcs[at][word] = len(arcs)
                arcs.append({})
            at = arcs[at][word]
        finals.add(at)
    return WordGraph(tuple(tuple(each.items()) for each in arcs), frozenset(finals))


@pytest.fixture(scope="session")
def say(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Sound]:
    """Synthetic speech as sound at `RATE`: say(text, voice)."""
    if shutil.which("flite") is None:
        pytest.skip("flite (Debian package flite) is not installed")
    folder = tmp_path_factory.mktemp("said")

    def speak(text: str, voice: str = "slt") -> Sound:
        path = folder / f"{abs(hash((text, voice)))}.wav"
        subprocess.run(["flite", "-voice", voice, "-t", text, "-o", path], check=True)
        return read_file(path)

    return speak


def silence(seconds: float) -> Sound:
    return np.zeros(round(seconds * RATE), dtype=np.float32)


@pytest.fixture
def spoken_file(say: Callable[..., Sound], tmp_path: Path) -> Path:
    """Two readings with silence about them, stereo at 44.1 kHz."""
    import soundfile
    import soxr

    gap = silence(1.0)
    sound = np.concatenate((gap, say("cylinder four cut, thirty eight"), gap, say("number six out, forty two"), gap))
    wide = soxr.resample(sound, RATE, 44_100)
    path = tmp_path / "spoken.wav"
    soundfile.write(path, np.stack((wide, wide), axis=1), 44_100)
    return path
