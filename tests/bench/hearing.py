"""How well and how fast speech is heard: voices, engine noise, chat, and numbers by a human voice.

Every sound goes the way a microphone's does: noise before and after it, cut out by the speech detector, heard by each
listener, pooled as the program pools them. `python3 tests --bench hearing` reports on the voices that no threshold was
set by; `HEARING_VOICES=tuning` in the environment takes the others, `HEARING_SHARE=0.2` a fifth of the phrases,
`JOURNAL_BENCH_PARTS=phrases,chat,numbers,latency` a part.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from journal.facts import Body, Engine
from journal.hearing.choose import recognisers
from journal.hearing.endpoint import utterances
from journal.hearing.types import RATE, Expect, Hearing, Recogniser, Sound
from journal.listening import Ears
from journal.wording import Context, Decision, Number, Verdict, decide, decide_text, speakable
from tests.bench._free import FreeWhisper
from tests.bench._latency import latencies, speech_end
from tests.bench._noise import mixed
from tests.bench._phrases import CHAT, COMMANDS, JOB, NUMBERS
from tests.bench._voices import REPORTED, TUNING, human_chat, human_numbers, missing, people_missing, speak
from tests.bench.table import Row

LEVELS: tuple[float | None, ...] = (None, 20, 15, 10, 5)
DEFAULT = "default: whisper + pocketsphinx"
FREE = "free dictation"
SYSTEMS = {DEFAULT: ("whisper", "pocketsphinx"), "whisper": ("whisper",), "pocketsphinx": ("pocketsphinx",)}
"""What is reported: listeners that hear together; they are held against free dictation with the same parser."""
CONTEXT = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)
AWAITED = replace(CONTEXT, expects_number=True)
"""While a question waits for a number."""
_GAP_S = 0.7
"""Noise alone before and after each phrase, seconds."""


@dataclass(frozen=True)
class Said:
    """One phrase in one voice, and what each system made of it."""

    text: str
    level: float | None
    decisions: dict[str, tuple[Decision, ...]]
    seconds: dict[str, float]
    length: float


@dataclass
class Tally:
    """How a system did."""

    counts: Counter[str] = field(default_factory=Counter)

    @property
    def count(self) -> int:
        return sum(self.counts.values())

    def share(self, *names: str) -> float:
        return 100 * sum(self.counts[name] for name in names) / max(1, self.count)


def wanted(text: str) -> list[object]:
    """What must come of a text: what the same words give when typed."""
    return [d.meaning for d in decide_text(text, CONTEXT) if d.meaning is not None and d.verdict is not Verdict.LET_GO]


def judged(decisions: Sequence[Decision], expected: Sequence[object]) -> str:
    """Right, asked with the right one named, asked without, wrong (saved or acted on), or let go."""
    taken = [d.meaning for d in decisions if d.verdict is Verdict.TAKE]
    if any(meaning not in expected for meaning in taken if isinstance(meaning, Body)):
        return "wrong"
    if taken == list(expected):
        return "right"
    asked = [d for d in decisions if d.verdict is Verdict.ASK]
    if asked:
        named = [*taken, *(m for d in asked for m in (d.meaning, *d.alternatives))]
        return "asked" if all(meaning in named for meaning in expected) else "asked, not named"
    return "misled" if any(meaning not in expected for meaning in taken) else "let go"


class Systems:
    """All systems over the same recognisers, each of which hears a sound once."""

    def __init__(self, *, free: bool = True) -> None:
        names = list(dict.fromkeys(name for names in SYSTEMS.values() for name in names))
        found = recognisers(names, speakable(6), None, Path(tempfile.gettempdir()))
        self._listeners: dict[str, Recogniser] = {each.name: each for each in found}
        self.ears = {name: Ears([self._listeners[each] for each in names]) for name, names in SYSTEMS.items()}
        self._free = FreeWhisper() if free else None

    def hear(self, text: str, level: float | None, sound: Sound, expect: Expect = Expect.ANYTHING) -> Said:
        decisions: dict[str, tuple[Decision, ...]] = dict.fromkeys((*SYSTEMS, FREE), ())
        seconds: dict[str, float] = defaultdict(float)
        context = AWAITED if expect is Expect.NUMBER else CONTEXT
        for one in utterances([sound]):
            hearings: dict[str, Hearing] = {}
            for name, listener in self._listeners.items():
                began = time.perf_counter()
                hearings[name] = listener.hear(one.sound, expect)
                seconds[name] += time.perf_counter() - began
            for system, names in SYSTEMS.items():
                pooled = self.ears[system].pool(one, [hearings[name] for name in names])
                decisions[system] += decide(
                    pooled.candidates, context, free_text=pooled.free_text, seconds=pooled.seconds
                )
            if self._free is not None:
                began = time.perf_counter()
                free = self._free.hear(one.sound, expect)
                seconds[FREE] += time.perf_counter() - began
                decisions[FREE] += decide(free.candidates, context)
        return Said(text, level, decisions, dict(seconds), len(sound) / RATE)


def run() -> list[Row]:
    """Runs it all and prints what goes wrong."""
    every = max(1, round(1 / float(os.environ.get("HEARING_SHARE", "1"))))
    chosen = TUNING if os.environ.get("HEARING_VOICES") == "tuning" else REPORTED
    left_out = {voice: why for voice in chosen if (why := missing(voice))}
    for voice, why in left_out.items():
        print(f"left out: {voice}: {why}")
    for name, why in people_missing().items():
        print(f"left out: {name}: {why}")
    voices = [voice for voice in chosen if voice not in left_out]
    systems = Systems()
    parts = os.environ.get("JOURNAL_BENCH_PARTS", "phrases,chat,numbers,latency").split(",")
    rows: list[Row] = []
    if "phrases" in parts:
        rows += _commands([systems.hear(*each) for each in _phrases(voices, every)])
    if "chat" in parts:
        rows += _all_negatives(systems, voices, every)
    if "numbers" in parts:
        rows += _all_numbers(systems, voices, every)
    if "latency" in parts:
        rows += _latency(systems, voices)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    rows.append(Row("hearing", "peak memory, all listeners, free dictation and the benchmark", peak, "MB"))
    return rows


def _all_negatives(systems: Systems, voices: Sequence[str], every: int) -> list[Row]:
    chat = [(text, None, speak(text, voice)) for voice in voices for text in CHAT][::every]
    rows = _negatives([systems.hear(text, level, apart(sound)) for text, level, sound in chat], "synthetic")
    humans = [(name, None, sound) for name, sound in human_chat()][::every]
    return rows + _negatives([systems.hear(text, level, apart(sound)) for text, level, sound in humans], "human")


def _all_numbers(systems: Systems, voices: Sequence[str], every: int) -> list[Row]:
    numbers = [(text, None, speak(text, voice)) for voice in voices for text in NUMBERS][::every]
    rows = _numbers([systems.hear(t, v, apart(s), Expect.NUMBER) for t, v, s in numbers], "synthetic")
    spliced = [(text, None, sound) for text, sound in human_numbers()]
    return rows + _numbers([systems.hear(t, v, apart(s), Expect.NUMBER) for t, v, s in spliced], "human, 8 kHz")


def _phrases(voices: Sequence[str], every: int) -> Iterator[tuple[str, float | None, Sound]]:
    commands = [text for text in COMMANDS if wanted(text)]
    for level in LEVELS:
        for v, voice in enumerate(voices):
            for c, text in enumerate(commands):
                if (c + v) % every == 0:
                    yield text, level, mixed(apart(speak(text, voice)), level, 1_000 * v + c)


def apart(sound: Sound) -> Sound:
    """A phrase with room before and after it."""
    gap = np.zeros(round(_GAP_S * RATE), dtype=np.float32)
    return np.concatenate((gap, sound, gap))


def _commands(heard: list[Said]) -> list[Row]:
    rows = []
    all_levels: dict[str, Tally] = {}
    for system in (*SYSTEMS, FREE):
        tallies: dict[float | None, Tally] = defaultdict(Tally)
        all_levels[system] = Tally()
        for each in heard:
            verdict = judged(each.decisions[system], wanted(each.text))
            tallies[each.level].counts[verdict] += 1
            all_levels[system].counts[verdict] += 1
            if verdict in ("wrong", "misled") or (verdict == "let go" and system == DEFAULT):
                made = [(d.heard, round(d.certainty, 2)) for d in each.decisions[system]]
                print(f"{system}, {_named(each.level)}: {verdict}: {each.text!r} as {made}")
        for level, tally in tallies.items():
            names = ("right", "asked", "asked, not named", "let go", "misled")
            parts = "; ".join(f"{name} {tally.share(name):.1f}" for name in names)
            rows.append(Row("hearing", f"{system}, {_named(level)}: right or asked",
                            tally.share("right", "asked", "asked, not named"), "%",
                            note=f"{parts}; wrong and saved {tally.share('wrong'):.1f} of {tally.count}"))  # fmt: skip
    for system, tally in all_levels.items():
        if system != FREE:
            rows.append(Row("hearing", f"{system}: wrong and saved, all levels", tally.share("wrong"), "%",
                            all_levels[FREE].share("wrong"), "free dictation, same parser"))  # fmt: skip
    for name in heard[0].seconds:
        times = [each.seconds[name] for each in heard]
        factor = sum(times) / sum(each.length for each in heard)
        note = f"95th percentile {np.percentile(times, 95):.2f} s, {factor:.2f} of real time"
        rows.append(
            Row("hearing", f"{name}: recognition of one phrase, median", statistics.median(times), "s", note=note)
        )
    return rows


def _negatives(heard: list[Said], kind: str) -> list[Row]:
    """What became of chat: entries, commands acted on, needless questions; no rows where there was none to hear."""
    rows: list[Row] = []
    if not heard:
        return rows
    for system in (*SYSTEMS, FREE):
        counts: Counter[str] = Counter()
        for each in heard:
            made = [d for d in each.decisions[system] if d.verdict is not Verdict.LET_GO]
            taken = [d for d in made if d.verdict is Verdict.TAKE]
            if any(isinstance(d.meaning, Body) for d in taken):
                what = "entered"
            else:
                what = "acted on" if taken else "asked" if made else "none"
            counts[what] += 1
            if made and (system == DEFAULT or taken):
                print(f"{system}: {what} from chat {each.text!r}: {[d.heard for d in made]}")
        rows.append(Row("hearing", f"{system}: false entries from chat, {kind}", float(counts["entered"]), "",
                        note=f"{counts['acted on']} commands acted on, {counts['asked']} needless questions, "
                        f"of {len(heard)} utterances"))  # fmt: skip
    return rows


def _numbers(heard: list[Said], kind: str) -> list[Row]:
    rows: list[Row] = []
    if not heard:
        return rows
    for system in (*SYSTEMS, FREE):
        right = 0
        for each in heard:
            found = [d.meaning.value for d in each.decisions[system] if isinstance(d.meaning, Number)]
            value = [d.meaning.value for d in decide_text(each.text, AWAITED) if isinstance(d.meaning, Number)]
            right += bool(found) and found == value
            if found != value and system == DEFAULT:
                print(f"{system}, number: {each.text!r} gave {found}, wanted {value}")
        rows.append(Row("hearing", f"{system}: bare numbers right, {kind}", 100 * right / max(1, len(heard)), "%",
                        note=f"{right} of {len(heard)}"))  # fmt: skip
    return rows


def _latency(systems: Systems, voices: Sequence[str]) -> list[Row]:
    """From the last speech of a phrase to its entry on disk, the sound coming in as fast as it is said."""
    rows = []
    texts = [text for text in COMMANDS if wanted(text)]
    job = [(text, voices[(n + shift) % len(voices)]) for shift in range(2) for n, text in enumerate(JOB)]
    mix = [(texts[7 * n % len(texts)], voices[n % len(voices)]) for n in range(30)]
    for said, phrases in (("a job", job), ("phrases in no order", mix)):
        some = []
        for n, (text, voice) in enumerate(phrases):
            clean = apart(speak(text, voice))
            some.append((mixed(clean, 20, n), speech_end(clean)))
        for system in (DEFAULT, "pocketsphinx"):
            found = latencies(systems.ears[system], some)
            for what, times in (("taken", found.taken), ("asked", found.asked)):
                if times:
                    note = f"95th percentile {np.percentile(times, 95):.2f} s, {len(times)} utterances, 20 dB"
                    name = f"{system}: from end of speech to entry, {said}, {what}, median"
                    rows.append(Row("hearing", name, statistics.median(times), "s", note=note))
    return rows


def _named(level: float | None) -> str:
    return "clean" if level is None else f"{level:g} dB"
