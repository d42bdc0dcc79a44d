"""What the ear is worth: the same sounds of voices and people that are reported on, heard without it and with it.

`python -m tests.ear.measure EAR.npz …` prints a row for each kind of sound and level: how often Whisper's first text
that is held to the phrases means what was said, how often its unconstrained one does, and for open dictation the word
error; then the time that hearing takes, against that without. The decision has no part in it.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from journal.hearing.endpoint import utterances
from journal.hearing.whisper import Whisper
from journal.wording import decide_text, speakable
from tests.bench import _people
from tests.bench._items import Item, context, sound_of, to_report_on, wanted
from tests.bench._judge import same
from tests.bench._phrases import CHAT
from tests.bench._voices import REPORTED, missing
from tests.ear.texts import written

_ROOT = Path(__file__).resolve().parents[2]
_LEVELS = (None, 20, 15, 10, 5)
_NOTES = 100


def items(share: float) -> list[Item]:
    """What is heard: of phrases so large a share, all of what people say, and 100 sentences of open dictation."""
    found = to_report_on()
    clean = [item for item in found if item.part in ("job", "phrases") and item.level is None]
    some = [item for item in clean if item.spoken % 997 < 997 * share]
    phrases = [replace(item, level=level) for item in some for level in _LEVELS]
    people = [item for item in found if item.part == "digits" or (item.part == "numbers" and item.voice == "package")]
    people += [replace(item, level=10) for item in people if item.part == "digits"]
    return [*phrases, *people, *notes()]


def notes() -> list[Item]:
    """Sentences of open dictation, clean and in noise, that are neither trained on nor fitted on."""
    lines = (_ROOT / "tests/wording/natural/reported.jsonl").read_text(encoding="utf-8").splitlines()
    told = [json.loads(line) for line in lines]
    texts = [
        each["say"]
        for each in told
        if each["group"] in ("notes and complaint", "negative", "beyond", "repairs", "parts")
    ]
    texts = [text for text in (*CHAT, *texts) if text.replace("'", "").replace(",", "").replace(" ", "").isalpha()][
        :_NOTES
    ]
    voices = [voice for voice in REPORTED if not missing(voice)]
    return [Item("notes", text, voices[n % len(voices)], level) for n, text in enumerate(texts) for level in (None, 10)]


class _Ears:
    """In each process: the model without the ear, and with each that is asked for."""

    every: tuple[Whisper, ...] = ()


def _load(ears: Sequence[Path | None]) -> None:
    _Ears.every = tuple(Whisper(speakable(6), None, ear) for ear in ears)


def _heard(item: Item) -> tuple[Item, list[tuple[float, float, float]]]:
    """Of each ear: first text right, or for open dictation words wrong; unconstrained text right, or words; seconds."""
    cuts = [one.sound for one in utterances([sound_of(item)])]
    found = []
    for whisper in _Ears.every:
        began = time.process_time()
        hearings = [whisper.hear(sound, item.expect) for sound in cuts]
        took = time.process_time() - began
        if item.part == "notes":
            said, heard = (_words(text) for text in (item.text, " ".join(h.free_text for h in hearings)))
            found.append((float(_edits(said, heard)), float(len(said)), took))
            continue
        first = [next((c.text for c in h.candidates if c.text), "") for h in hearings]
        found.append((float(_right(item, first)), float(_right(item, [h.free_text for h in hearings])), took))
    return item, found


def _right(item: Item, texts: Sequence[str]) -> bool:
    told = [d.meaning for text in texts for d in decide_text(text, context(item.context)) if d.meaning is not None]
    expected = wanted(item)
    return bool(expected) and len(told) == len(expected) and all(map(same, told, expected))


def _words(text: str) -> list[str]:
    """Words to be compared: numbers in figures, no capitals, no marks."""
    plain = "".join(c if c.isalnum() or c in "' " else " " for c in written(text or ".").lower())
    return plain.split()


def _edits(said: Sequence[str], heard: Sequence[str]) -> int:
    """Words put in, left out or put for others (Levenshtein)."""
    row = list(range(len(heard) + 1))
    for n, word in enumerate(said, 1):
        before, row[0] = row[0], n
        for m, other in enumerate(heard, 1):
            before, row[m] = row[m], min(row[m] + 1, row[m - 1] + 1, before + (word != other))
    return row[-1]


def measure(ears: Sequence[Path | None], share: float, processes: int) -> Iterator[str]:
    """The rows, as they are printed."""
    sums: dict[tuple[str, str], list[list[float]]] = defaultdict(lambda: [[0.0, 0.0] for _ in ears])
    counts: dict[tuple[str, str], int] = defaultdict(int)
    took = [0.0] * len(ears)
    with multiprocessing.get_context("spawn").Pool(processes, _load, (ears,)) as pool:
        for item, found in pool.imap_unordered(_heard, items(share)):
            natural = item.voice.startswith("kokoro")
            kind = f"{'natural' if natural else 'other'} voices" if item.part in ("job", "phrases") else item.part
            key = kind, "clean" if item.level is None else f"{item.level:g} dB"
            counts[key] += 1
            for n, (first, second, seconds) in enumerate(found):
                sums[key][n][0] += first
                sums[key][n][1] += second
                took[n] += seconds
    for key in sorted(
        sums, key=lambda key: (key[0], key[1] != "clean", -float(key[1].split()[0]) if key[1] != "clean" else 0)
    ):
        cells = []
        for first, second in sums[key]:
            if key[0] == "notes":
                cells.append(f"{100 * first / second:6.1f} % words wrong")
            else:
                cells.append(f"{100 * first / counts[key]:6.1f} {100 * second / counts[key]:6.1f}")
        yield f"{key[0]:16}{key[1]:>7}{counts[key]:6}   " + "   ".join(cells)
    yield "time, of that without: " + ", ".join(f"{seconds / took[0]:.2f}" for seconds in took)


def main() -> None:
    """Print them."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("ears", type=Path, nargs="+")
    ask.add_argument("--share", type=float, default=0.4)
    ask.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    asked = ask.parse_args()
    if _people.missing():
        print(f"recordings of people: {_people.missing()}")
    print("first text right and unconstrained text right, of 100; without the ear, then with each")
    for row in measure([None, *asked.ears], asked.share, asked.processes):
        print(row, flush=True)


if __name__ == "__main__":
    main()
