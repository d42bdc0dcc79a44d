"""How well and how fast speech is heard: voices, engine noise, chat, and numbers by a human voice.

`python3 tests --bench hearing` reports on the voices that no threshold was set by; `HEARING_VOICES=tuning` in the
environment takes the others, `HEARING_SHARE=0.2` a fifth of the phrases.
"""

from __future__ import annotations

import os
import resource
import statistics
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from journal.facts import Body, Engine
from journal.hearing.choose import recognisers
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound
from journal.wording import Context, Decision, Number, Verdict, decide, decide_text, speakable
from tests.bench._free import FreeWhisper
from tests.bench._noise import mixed
from tests.bench._phrases import CHAT, COMMANDS, NUMBERS
from tests.bench._voices import REPORTED, TUNING, human_chat, human_numbers, missing, speak
from tests.bench.table import Row

LEVELS: tuple[float | None, ...] = (None, 20, 15, 10, 5)
LISTENERS = ("whisper", "pocketsphinx")
SYSTEMS = {
    "whisper": ("whisper",),
    "pocketsphinx": ("pocketsphinx",),
    "whisper + pocketsphinx": ("whisper", "pocketsphinx"),
    "free dictation": ("free",),
}
"""What is reported: listeners whose candidates are pooled; free dictation is the baseline, with the same parser."""
CONTEXT = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)
ASKED = Context(engine=Engine(6), baseline=31.5, next_cylinder=3, question_options=())


@dataclass(frozen=True)
class Heard:
    """One utterance through all listeners."""

    text: str
    level: float | None
    hearings: dict[str, Hearing]
    seconds: dict[str, float]
    length: float


@dataclass
class Tally:
    """How a system did at one level."""

    counts: Counter[str] = field(default_factory=Counter)

    def share(self, *names: str) -> float:
        return 100 * sum(self.counts[name] for name in names) / max(1, sum(self.counts.values()))


def wanted(text: str) -> list[object]:
    """What must come of a text: what the same words give when typed."""
    return [d.meaning for d in decide_text(text, CONTEXT) if d.meaning is not None and d.verdict is not Verdict.LET_GO]


def judged(decisions: Sequence[Decision], expected: Sequence[object]) -> str:
    """Right, asked, wrong (saved or acted on), or let go."""
    taken = [d.meaning for d in decisions if d.verdict is Verdict.TAKE]
    if any(meaning not in expected for meaning in taken if isinstance(meaning, Body)):
        return "wrong"
    if taken == list(expected):
        return "right"
    if any(d.verdict is Verdict.ASK for d in decisions):
        return "asked"
    return "misled" if any(meaning not in expected for meaning in taken) else "let go"


def pooled(heard: Heard, listeners: Sequence[str]) -> tuple[Decision, ...]:
    """The decision on what these listeners together heard."""
    candidates: list[Candidate] = []
    for name in listeners:
        candidates += heard.hearings[name].candidates
    free = next((heard.hearings[n].free_text for n in listeners if heard.hearings[n].free_text), "")
    return decide(candidates, CONTEXT, free_text=free)


def _voices() -> list[str]:
    chosen = TUNING if os.environ.get("HEARING_VOICES") == "tuning" else REPORTED
    return [voice for voice in chosen if not missing(voice)]


def _hear_all(
    listeners: dict[str, Callable[[Sound, Expect], Hearing]], sounds: list[tuple[str, float | None, Sound, Expect]]
) -> list[Heard]:
    found = []
    for text, level, sound, expect in sounds:
        hearings, seconds = {}, {}
        for name, hear in listeners.items():
            began = time.perf_counter()
            hearings[name] = hear(sound, expect)
            seconds[name] = time.perf_counter() - began
        found.append(Heard(text, level, hearings, seconds, len(sound) / RATE))
    return found


def run() -> list[Row]:
    """Runs it all and prints what goes wrong."""
    share = float(os.environ.get("HEARING_SHARE", "1"))
    ready = recognisers(LISTENERS, speakable(6), None, Path(tempfile.gettempdir()))
    listeners: dict[str, Callable[[Sound, Expect], Hearing]] = {each.name: each.hear for each in ready}
    listeners["free"] = FreeWhisper().hear
    voices = _voices()
    commands = [text for text in COMMANDS if wanted(text)]
    left_out = [text for text in COMMANDS if not wanted(text)]
    if left_out:
        print(f"left out, as they give nothing when typed: {left_out}")
    every = max(1, round(1 / share))
    sounds: list[tuple[str, float | None, Sound, Expect]] = []
    for level in LEVELS:
        for v, voice in enumerate(voices):
            for c, text in enumerate(commands):
                if (c + v) % every == 0:
                    sounds.append((text, level, mixed(speak(text, voice), level, 1_000 * v + c), Expect.ANYTHING))
    rows = _commands(_hear_all(listeners, sounds))
    chat = [(text, None, speak(text, voice), Expect.ANYTHING) for voice in voices for text in CHAT]
    chat += [(f"human: {name}", None, sound, Expect.ANYTHING) for name, sound in human_chat()]
    rows += _negatives(_hear_all(listeners, chat[::every]))
    numbers = [(text, None, speak(text, voice), Expect.NUMBER) for voice in voices for text in NUMBERS]
    numbers += [(text, None, sound, Expect.NUMBER) for text, sound in human_numbers()]
    rows += _numbers(_hear_all(listeners, numbers[::every]))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform != "darwin" else 1024**2)
    rows.append(Row("hearing", "peak memory, all listeners and the benchmark", peak, "MB"))
    return rows


def _commands(heard: list[Heard]) -> list[Row]:
    rows = []
    wrong: dict[str, float] = {}
    for system, names in SYSTEMS.items():
        tallies: dict[float | None, Tally] = defaultdict(Tally)
        for each in heard:
            expected = wanted(each.text)
            decisions = pooled(each, names)
            verdict = judged(decisions, expected)
            tallies[each.level].counts[verdict] += 1
            if verdict in ("wrong", "misled") or (verdict == "let go" and each.level is None):
                best = [(c.text, round(c.score, 1)) for n in names for c in each.hearings[n].candidates[:3]]
                print(f"{system}, {_named(each.level)}: {verdict}: {each.text!r} as {best}")
        for level, tally in tallies.items():
            count = sum(tally.counts.values())
            parts = ", ".join(f"{name} {tally.share(name):.1f}" for name in ("right", "asked", "let go", "misled"))
            rows.append(Row("hearing", f"{system}, {_named(level)}: right or asked", tally.share("right", "asked"), "%",
                            note=f"{parts}, wrong and saved {tally.share('wrong'):.1f} of {count}"))  # fmt: skip
        wrong[system] = 100 * sum(t.counts["wrong"] for t in tallies.values()) / max(1, len(heard))
        times = [sum(each.seconds[n] for n in names) for each in heard]
        rows.append(Row("hearing", f"{system}: recognition of one utterance, median", statistics.median(times), "s",
                        note=f"95th percentile {np.percentile(times, 95):.2f} s"))  # fmt: skip
        rows.append(Row("hearing", f"{system}: real-time factor", sum(times) / sum(e.length for e in heard), ""))
    for system in list(SYSTEMS)[:-1]:
        rows.append(Row("hearing", f"{system}: wrong and saved, all levels", wrong[system], "%",
                        wrong["free dictation"], "free dictation, same parser"))  # fmt: skip
    return rows


def _negatives(heard: list[Heard]) -> list[Row]:
    rows = []
    for system, names in SYSTEMS.items():
        counts: Counter[str] = Counter()
        for each in heard:
            decisions = pooled(each, names)
            entered = [d for d in decisions if d.verdict is not Verdict.LET_GO and isinstance(d.meaning, Body)]
            kind = "entered" if any(d.verdict is Verdict.TAKE for d in entered) else "asked" if entered else "none"
            counts[kind] += 1
            if entered:
                print(f"{system}: {kind} from chat {each.text!r}: {[d.heard for d in entered]}, "
                      f"free {[h.free_text for h in each.hearings.values() if h.free_text][:1]}")  # fmt: skip
        rows.append(Row("hearing", f"{system}: false entries from chat", float(counts["entered"]), "",
                        note=f"{counts['asked']} needless questions, of {len(heard)} utterances"))  # fmt: skip
    return rows


def _numbers(heard: list[Heard]) -> list[Row]:
    rows = []
    for system, names in SYSTEMS.items():
        right: Counter[str] = Counter()
        of: Counter[str] = Counter()
        for each in heard:
            kind = "human, 8 kHz" if each.text[0].isdigit() else "synthetic"
            found = [d.meaning.value for d in pooled(each, names) if isinstance(d.meaning, Number)]
            value = [d.meaning.value for d in decide_text(each.text, CONTEXT) if isinstance(d.meaning, Number)]
            of[kind] += 1
            right[kind] += bool(found) and found == value
            if found != value:
                best = [c.text for n in names for c in each.hearings[n].candidates[:3]]
                print(f"{system}, number: {each.text!r} gave {found}, wanted {value}, from {best}")
        rows += [Row("hearing", f"{system}: bare numbers right, {kind}", 100 * right[kind] / of[kind], "%",
                     note=f"{right[kind]} of {of[kind]}") for kind in of]  # fmt: skip
    return rows


def _named(level: float | None) -> str:
    return "clean" if level is None else f"{level:g} dB"
