"""Wording: the time one utterance takes to understand, against a naive fuzzy match over whole sentences.

`WORDING_AGAINST` is another checkout, whose time to load the vocabulary is told beside this one's.
"""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from statistics import median, quantiles

from rapidfuzz import fuzz, process

from journal.wording.numbers import cardinal
from journal.wording.parse import parse
from journal.wording.sounds import alike
from tests.bench._loads import loads
from tests.bench.table import Row
from tests.wording.gold_heard import HEARD
from tests.wording.gold_nothing import NOTHING
from tests.wording.gold_typed import ON_A_SIX

_GIVEN = Path(__file__).resolve().parents[1] / "wording" / "natural" / "given.jsonl"


def run() -> list[Row]:
    """Phrases of the tool's own and what people say, each by itself."""
    natural = [json.loads(line)["say"] for line in _GIVEN.read_text(encoding="utf-8").splitlines()]
    own = [text for text, _ in (*ON_A_SIX, *HEARD)] + NOTHING
    return [*_timed("an utterance", own), *_timed("natural speech", natural), _loading()]


def _loading() -> Row:
    """What loading the vocabulary takes, beside another checkout's in the same run."""
    checkout = os.environ.get("WORDING_AGAINST", "")
    now, *was = loads([Path(__file__).resolve().parents[2], *([Path(checkout)] if checkout else [])])
    what = "load the vocabulary and understand one phrase, processor time"
    return Row("wording", what, now, "ms", *was, *["that checkout's"] * len(was))


def _timed(what: str, told: list[str]) -> list[Row]:
    texts = list(dict.fromkeys(told))
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
        Row("wording", f"parse {what}, median", median(times), "ms", median(naive), against, note),
        Row("wording", f"parse {what}, 95th percentile", high, "ms", naive_high, against, note),
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
