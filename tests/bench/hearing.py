"""How well and how fast speech is heard: voices, engine noise, chat, and numbers by people.

Every sound goes the way a microphone's does: noise before and after it, cut out by the speech detector, heard by each
listener, pooled as the program pools them. `python3 tests --bench hearing` reports on voices that nothing was fitted
on. In the environment, `HEARINGS` names a folder of what was kept of the listeners (`_kept.py`), which is then decided
again in no time, `HEARING_AGAINST` another checkout, whose decision is told beside this one's on the same hearings, and
its latency and start in the same run, `HEARING_SHARE=0.2` a fifth of it all, and
`JOURNAL_BENCH_PARTS=said,spoken,latency,start` a part; `spoken` is two jobs in the tool's own wording and in natural
wording (`_spoken.py`), `looked-at` those that the listeners' bias was set by.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from journal.hearing.choose import LIGHT, recognisers
from journal.listening import Ears
from journal.wording import Decision, Verdict, decide_text, speakable
from tests.bench import _wordings
from tests.bench._decided import DEFAULT, FREE, SYSTEMS, against, decided, verdict
from tests.bench._fit import reliability
from tests.bench._items import CONTEXT, apart, context, left_out, wanted
from tests.bench._judge import (
    CHAT_COSTS,
    COSTS,
    NONE,
    RIGHT,
    Tally,
    same,
)
from tests.bench._kept import Heard, hear, read
from tests.bench._latency import Latencies, by_default, latencies, speech_end
from tests.bench._noise import mixed
from tests.bench._phrases import COMMANDS, JOB
from tests.bench._start import starts
from tests.bench._voices import REPORTED, missing, speak
from tests.bench.table import Row

WHAT = {
    "job": "a dictated job in natural voices",
    "phrases": "phrases in no order",
    "numbers": "bare numbers",
    "digits": "two digits by people",
    "chat": "chat in synthetic voices",
    "order": "orders for coffee by people",
    "package": "other recordings of people",
}
"""What is said, by part."""
_CHAT = ("chat", "order", "package")
_LEVELS = ("clean", "20 dB", "15 dB", "10 dB", "5 dB")
_BEFORE = "before"
_HERE = Path(__file__).resolve().parents[2]


def run() -> list[Row]:
    """Runs it all, and prints every question and what goes wrong."""
    for line in left_out():
        print(f"left out: {line}")
    parts = os.environ.get("JOURNAL_BENCH_PARTS", "said,spoken,latency,start").split(",")
    rows: list[Row] = []
    if "said" in parts:
        with tempfile.TemporaryDirectory() as own:
            folder = Path(os.environ.get("HEARINGS", own))
            if not os.environ.get("HEARINGS"):
                hear("report", folder, share=float(os.environ.get("HEARING_SHARE", "1")))
            rows += _said(folder)
    for which in ("spoken", "looked-at"):
        rows += _wordings.run(which) if which in parts else []
    before = [Path(os.environ["HEARING_AGAINST"])] if os.environ.get("HEARING_AGAINST") else []
    if "start" in parts:
        now, *was = starts([_HERE, *before])
        rows.append(
            Row("hearing", "start of listening, processor time", now, "s", *was, *["that checkout's"] * len(was))
        )
    if "latency" in parts:
        rows += _latency([voice for voice in REPORTED if not missing(voice)], before)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    rows.append(Row("hearing", "peak memory, all listeners, free dictation and the benchmark", peak, "MB"))
    return rows


def _said(folder: Path) -> list[Row]:
    """What becomes of all that was said, by part, level and system."""
    kept = read(folder, "report")
    checkout = os.environ.get("HEARING_AGAINST", "")
    before = against(folder, "report", Path(checkout)) if checkout else {}
    tallies: dict[tuple[str, str, str], Tally] = defaultdict(Tally)
    heard_right: dict[tuple[str, str, str], Tally] = defaultdict(Tally)
    believed: list[tuple[float, bool]] = []
    for heard in kept:
        part = heard.item.voice if heard.item.part == "chat" and heard.item.voice in WHAT else heard.item.part
        level = "clean" if heard.item.level is None else f"{heard.item.level:g} dB"
        for system in (*SYSTEMS, FREE):
            decisions = decided(heard, system)
            if decisions is None:
                continue
            made = verdict(heard, decisions)
            keys = [(system, part, level)]
            if system == DEFAULT:
                believed += _believed(heard, decisions)
                _tell(heard, level, made, decisions)
                keys += [(f"{DEFAULT}, beside {FREE}", part, level)] if "free" in heard.cuts[0].hearings else []
            for key in keys:
                tallies[key].counts[made] += 1
            if _first_is_right(heard):
                heard_right[system, part, level].counts[made] += 1
            if was := before.get((heard.item.key, system)):
                tallies[f"{system}, {_BEFORE}", part, level].counts[was] += 1
    print("\n".join(_table(tallies, heard_right)))
    print("how certain entries and questions of the default are, and how many were right:")
    print("\n".join(reliability(believed)))
    rows = []
    for part, what in WHAT.items():
        now, was = (_all(tallies, system, part) for system in (DEFAULT, f"{DEFAULT}, {_BEFORE}"))
        if now.count:
            cost_before = was.cost() if was.count else None
            rows.append(Row("hearing", f"{what}: cost of 100", now.cost(), "questions", cost_before, "that checkout's",
                            note=f"of {now.count}"))  # fmt: skip
    names = dict.fromkeys(name for system in SYSTEMS.values() for name in system)
    times = {name: [c.took[name] for h in kept for c in h.cuts if name in c.took] for name in names}
    rows += [
        Row("hearing", f"{name}: recognition of one phrase, median", statistics.median(took), "s",
            note=f"95th percentile {np.percentile(took, 95):.2f} s")
        for name, took in times.items() if took
    ]  # fmt: skip
    return rows


def _all(tallies: dict[tuple[str, str, str], Tally], system: str, part: str) -> Tally:
    """A part's levels taken together."""
    found = Tally()
    for (of, said, _), tally in tallies.items():
        if (of, said) == (system, part):
            found.counts += tally.counts
    return found


def _table(tallies: dict[tuple[str, str, str], Tally], heard_right: dict[tuple[str, str, str], Tally]) -> Iterator[str]:
    """A column for each thing that can become of a phrase, then of chat; shares are of a hundred."""
    systems = dict.fromkeys(system for system, _, _ in tallies)
    for part, what in WHAT.items():
        names = tuple(CHAT_COSTS if part in _CHAT else COSTS)
        columns = [*names, "cost of 100"] + ([] if part in _CHAT else ["entered, of those heard right"])
        if any(said == part for _, said, _ in tallies):
            yield f"\n{f'{what}, of 100':44}{'level':>7}{'of':>6}" + "".join(f"  {name:>12}" for name in columns)
        for level in _LEVELS:
            for system in systems:
                tally, right = tallies.get((system, part, level)), heard_right.get((system, part, level))
                if tally is None:
                    continue
                cells = [*(f"{tally.share(name):.1f}" for name in names), f"{tally.cost():.1f}"]
                cells += (
                    [f"{right.share(RIGHT):.1f} of {right.count}"] if right is not None and part not in _CHAT else []
                )
                widths = [max(12, len(column)) for column in columns]
                row = "".join(f"  {cell:>{width}}" for cell, width in zip(cells, widths, strict=False))
                yield f"{system:44}{level:>7}{tally.count:6}{row}"


def _believed(heard: Heard, decisions: Sequence[Decision]) -> Iterator[tuple[float, bool]]:
    """How certain each entry or question is, and whether that was said."""
    for each in decisions:
        if each.verdict is not Verdict.LET_GO and each.meaning is not None:
            yield each.certainty, any(same(each.meaning, meaning) for meaning in wanted(heard.item))


def _first_is_right(heard: Heard) -> bool:
    """Whether the first text of the better listener that is held to the phrases means what was said."""
    found: list[object] = []
    for cut in heard.cuts:
        text = next((c.text for c in cut.hearings[cut.better].candidates if c.text), "")
        found += [d.meaning for d in decide_text(text, context(heard.item.context)) if d.meaning is not None]
    expected = wanted(heard.item)
    return bool(expected) and len(found) == len(expected) and all(map(same, found, expected))


def _tell(heard: Heard, level: str, made: str, decisions: Sequence[Decision]) -> None:
    """A line for what was not entered rightly, or let go as it should be."""
    if made in (RIGHT, NONE):
        return
    what = [d.prompt if d.verdict is Verdict.ASK else f"{d.verdict}: {d.heard} ({d.certainty:.2f})" for d in decisions]
    more = [str(m) for d in decisions for m in d.alternatives[1:]]
    print(f"{level}, {heard.item.voice}: {made}: {heard.item.text!r}: {'; '.join(what)} {' '.join(more)}".rstrip())


def _latency(voices: Sequence[str], before: Sequence[Path]) -> list[Row]:
    """From the last speech of a phrase to its entry on disk, the sound coming in as fast as it is said.

    Beside the default stands that of the checkout before, in the same run.
    """
    here = Path(tempfile.gettempdir())
    found = {each.name: each for each in recognisers(SYSTEMS[DEFAULT], speakable(6), None, here)}
    ears = {system: Ears([found[name] for name in SYSTEMS[system]]) for system in (DEFAULT, LIGHT)}
    texts = [text for text in COMMANDS if decide_text(text, CONTEXT)[0].meaning is not None]
    job = [(text, voices[(n + shift) % len(voices)]) for shift in range(2) for n, text in enumerate(JOB)]
    mix = [(texts[7 * n % len(texts)], voices[n % len(voices)]) for n in range(30)]
    rows = []
    for said, phrases in (("a job", job), ("phrases in no order", mix)):
        some = []
        for n, (text, voice) in enumerate(phrases):
            clean = apart(speak(text, voice))
            some.append((mixed(clean, 20, n), speech_end(clean)))
        timed: dict[str, tuple[Latencies, Latencies | None]]
        timed = {system: (latencies(ears[system], some), None) for system in ears}
        if before:
            here, there = by_default(some, [_HERE, *before])
            timed["by default"] = here, there
        for system, (now, was) in timed.items():
            for what in ("taken", "asked"):
                took, took_before = getattr(now, what), getattr(was, what, [])
                if took:
                    note = f"95th percentile {np.percentile(took, 95):.2f} s, {len(took)} utterances, 20 dB"
                    name = f"{system}: from end of speech to entry, {said}, {what}, median"
                    usual_before = statistics.median(took_before) if took_before else None
                    rows.append(Row("hearing", name, statistics.median(took), "s", usual_before, "that checkout's",
                                    note=note))  # fmt: skip
    return rows
