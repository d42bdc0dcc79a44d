"""Wording: the time one utterance takes to understand, against a naive fuzzy match; and whether its doubt is honest.

`WORDING_SHARE=1` in the environment takes every phrase for the second part, which hears synthetic voices; a quarter
otherwise.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from itertools import pairwise
from statistics import median, quantiles

import numpy as np
from rapidfuzz import fuzz, process

from journal.facts import Body
from journal.wording import Decision, Verdict
from journal.wording.numbers import cardinal
from journal.wording.parse import parse
from journal.wording.sounds import alike
from tests.bench._noise import mixed
from tests.bench._phrases import CHAT, COMMANDS
from tests.bench._voices import REPORTED, missing, speak
from tests.bench.hearing import SYSTEMS, Systems, apart, wanted
from tests.bench.table import Row
from tests.wording.gold_heard import HEARD
from tests.wording.gold_nothing import NOTHING
from tests.wording.gold_typed import ON_A_SIX

LEVELS = (None, 20, 10)
THRESHOLDS = (0.9, 0.95, 0.99)


def run() -> list[Row]:
    """Both parts."""
    return [*_timed(), *_doubt()]


def _timed() -> list[Row]:
    texts = list(dict.fromkeys([t for t, _ in (*ON_A_SIX, *HEARD)] + NOTHING))
    parse("cylinder four cut, thirty eight", 6)
    parse("sillender for kut thurty ate", 6)
    alike.cache_clear()
    times = [_milliseconds(lambda text=text: parse(text, 6)) for text in texts]
    sentences = _sentences()
    some = texts[:: max(1, len(texts) // 60)]
    naive = [_milliseconds(lambda text=text: process.extractOne(text, sentences, scorer=fuzz.ratio)) for text in some]
    against = f"rapidfuzz over {len(sentences)} sentences of readings alone"
    note = f"{len(texts)} texts, each once, no text seen before"
    high, naive_high = quantiles(times, n=20)[-1], quantiles(naive, n=20)[-1]
    return [
        Row("wording", "parse one utterance, median", median(times), "ms", median(naive), against, note),
        Row("wording", "parse one utterance, 95th percentile", high, "ms", naive_high, against, note),
    ]


def _milliseconds(what: object) -> float:
    began = time.perf_counter()
    what()  # type: ignore[operator]
    return 1000 * (time.perf_counter() - began)


def _sentences() -> list[str]:
    """What a match over whole sentences would have to hold for cut readings of 0 to 99.9 on a six alone."""
    numbers = [" ".join(cardinal(tenths / 10)) for tenths in range(1000)]
    ways = ("cylinder {} cut {}", "{} {}", "number {} out {}", "cut {} {}")
    return [way.format(cardinal(c)[0], number) for way in ways for c in range(1, 7) for number in numbers]


def _doubt() -> list[Row]:
    """Certainty against what was right, over voices and noise that the model was not judged by."""
    every = max(1, round(1 / float(os.environ.get("WORDING_SHARE", "0.25"))))
    systems = Systems(free=False)
    judged: dict[str, list[tuple[float, bool, bool]]] = {name: [] for name in SYSTEMS}
    for level in LEVELS:
        for v, voice in enumerate(voice for voice in REPORTED if not missing(voice)):
            for c, text in enumerate((*COMMANDS, *CHAT)):
                if (c + v) % every == 0:
                    said = systems.hear(text, level, mixed(apart(speak(text, voice)), level, 1000 * v + c))
                    for name, found in judged.items():
                        found += _judged(said.decisions[name], wanted(text))
    rows = []
    for name, found in judged.items():
        _print_calibration(name, found)
        sure = [right for certainty, right, _ in found if certainty >= 0.99]
        share = 100 * float(np.mean(sure)) if sure else float("nan")
        rows.append(
            Row("wording", f"right of entries at 99 % and more, {name}", share, "%", note=f"{len(sure)} entries")
        )
    return rows


def _judged(decisions: Sequence[Decision], expected: Sequence[object]) -> list[tuple[float, bool, bool]]:
    """For each entry made of an utterance: certainty, whether it is right, whether the job leads one to expect it."""
    return [
        (d.certainty, d.meaning in expected, "expect" not in d.reason)
        for d in decisions
        if d.verdict is not Verdict.LET_GO and isinstance(d.meaning, Body)
    ]


def _print_calibration(name: str, found: list[tuple[float, bool, bool]]) -> None:
    print(f"\n{name}: certainty against how often it was right ({len(found)} entries)")
    edges = (0.0, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 1.01)
    for low, high in pairwise(edges):
        right = [r for c, r, _ in found if low <= c < high]
        if right:
            share = float(np.mean(right))
            print(
                f"  {low:.2f} to {min(high, 1):.2f}  {'#' * round(40 * share):<40} {100 * share:5.1f} % of {len(right)}"
            )
    for threshold in THRESHOLDS:
        taken = [r for c, r, believed in found if believed and c >= threshold]
        asked = len(found) - len(taken)
        wrong = taken.count(False)
        print(f"  take from {threshold:.2f}: {len(taken)} taken, {wrong} of them wrong; {asked} asked")
