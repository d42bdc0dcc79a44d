"""What is said in the hearing benchmark, in which voice, noise and context: to fit on, and to report on."""

from __future__ import annotations

import functools
import json
import tempfile
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from journal.context import context_of
from journal.facts import Engine, JobOpened, Question
from journal.facts.codec import body_from_json
from journal.hearing.types import RATE, Expect, Sound
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Context, Verdict, decide_text
from tests.bench import _people
from tests.bench._noise import mixed
from tests.bench._phrases import CHAT, COMMANDS, DICTATED, FITTING_JOBS, NUMBERS
from tests.bench._spoken import LOOKED_AT, REPORTED_ON, SpokenJob
from tests.bench._voices import REPORTED, TUNING, human_chat, human_numbers, missing, speak
from tests.wording.gold_nothing import NOTHING

LEVELS: tuple[float | None, ...] = (None, 20, 15, 10)
"""Speech to noise, decibels; none for clean."""
CONTEXT = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)
AWAITED = replace(CONTEXT, expects_number=True)
"""While a question waits for a number."""
_GAP_S = 0.7
"""Noise alone before and after each phrase, seconds."""
_PAIRS = 50
"""Pairs of digits by each person."""
_LOUDER = (5.0, 0.0)
"""Levels at which digits are lost, so that it can be learnt what tells so."""
_SPOKEN = LOOKED_AT | REPORTED_ON
_SPOKEN_LEVELS = (None, 20)
_LISTS = Path(__file__).resolve().parents[1] / "wording" / "natural"
_LISTED = "listed "


@dataclass(frozen=True)
class Item:
    """One thing said."""

    part: str
    """`job`, `phrases`, `chat`, `numbers`, `digits`, `listed`; a job in two wordings is `own` and `natural`."""
    text: str
    """What was said; for chat of people, which recording it is."""
    voice: str
    """Whose voice."""
    level: float | None = None
    """Speech to noise, decibels; none for clean."""
    context: str = "plain"
    """`plain`, `awaited`, a job's name with how many of its phrases came before, or a list's with a line's."""

    @property
    def key(self) -> str:
        """What tells it from every other."""
        return f"{self.part}|{self.text}|{self.voice}|{self.level}|{self.context}"

    @property
    def dice(self) -> int:
        """A number that is as good as random, and the same in every run."""
        return zlib.crc32(self.key.encode())

    @property
    def spoken(self) -> int:
        """The same for the same text in the same voice, else as good as random."""
        return zlib.crc32(f"{self.voice}, {self.text}".encode())

    @property
    def expect(self) -> Expect:
        """What the listeners are told to expect."""
        return Expect.NUMBER if self.context == "awaited" else Expect.ANYTHING


def to_fit_on() -> list[Item]:
    """What the decision is fitted on, voices and texts in an order that is as good as random."""
    voices = [voice for voice in TUNING if not missing(voice)]
    items = []
    for voice in voices:
        for at in range(len(FITTING_JOBS)):
            items += _some(0.5 if voice.startswith("kokoro") else 0.15, _job(f"fitting {at}", voice))
        items += _some(0.12, _phrases(voice, COMMANDS, LEVELS))
        items += _phrases(voice, _readings(voice, 8), LEVELS)
        items += _some(0.4, [Item("numbers", text, voice, None, "awaited") for text in NUMBERS])
        items += _some(0.3, [Item("chat", text, voice) for text in CHAT])
        items += _some(0.08, [Item("chat", text, voice, 20) for text in NOTHING])
    items += _listed(voices)
    items += [Item("chat", name, "order") for name in _people.orders(fitted=True)]
    items += _digits(_people.FITTED, (*LEVELS, *_LOUDER), alone=True)
    return sorted(items, key=lambda item: (item.spoken, item.dice))


def to_report_on() -> list[Item]:
    """What is reported on, voices and texts in an order that is as good as random."""
    voices = [voice for voice in REPORTED if not missing(voice)]
    items = []
    for voice in voices:
        if voice.startswith("kokoro"):
            items += _job("dictated", voice)
        else:
            items += _some(0.25, _phrases(voice, COMMANDS, (*LEVELS, 5)))
        items += _some(0.5, [Item("numbers", text, voice, None, "awaited") for text in NUMBERS])
        items += _some(0.5, [Item("chat", text, voice) for text in CHAT])
    items += [Item("chat", name, "order") for name in _people.orders(fitted=False)]
    items += [Item("chat", name, "package") for name, _ in human_chat()]
    items += [Item("numbers", text, "package", None, "awaited") for text, _ in human_numbers()]
    items += _digits(_people.REPORTED, (None,))
    return sorted(dict.fromkeys(items), key=lambda item: (item.spoken, item.dice))


def to_look_at() -> list[Item]:
    """Jobs in two wordings, to be read line by line, in the voices that are fitted on."""
    return _in_two_wordings(LOOKED_AT, [voice for voice in TUNING if not missing(voice)], 2)


def to_compare() -> list[Item]:
    """Jobs in two wordings that nothing was set by, in the voices that are reported on."""
    return _in_two_wordings(REPORTED_ON, [voice for voice in REPORTED if not missing(voice)], 2)


def left_out() -> list[str]:
    """What is missing on this machine, a line each."""
    lines = [f"{voice}: {why}" for voice in (*TUNING, *REPORTED) if (why := missing(voice))]
    lines += [f"recordings of people: {_people.missing()}"] if _people.missing() else []
    return lines + ([] if human_numbers() else ["numbers by a person: asterisk-core-sounds-en-wav is not installed"])


def sound_of(item: Item) -> Sound:
    """Its sound as a microphone would have it, with noise before and after it too."""
    return mixed(apart(_said(item)), item.level, item.dice)


def apart(sound: Sound) -> Sound:
    """A phrase with room before and after it."""
    gap = np.zeros(round(_GAP_S * RATE), dtype=np.float32)
    return np.concatenate((gap, sound, gap))


def _said(item: Item) -> Sound:
    if item.voice == "order":
        return _people.order(item.text)
    if item.voice == "package":
        return dict(human_chat() if item.part == "chat" else human_numbers())[item.text]
    if item.part == "digits":
        return _people.pair(item.voice, item.text, item.dice)
    return speak(item.text, item.voice)


@functools.cache
def context(name: str) -> Context:
    """The context of that name; see `Item.context`."""
    if name in ("plain", "awaited"):
        return AWAITED if name == "awaited" else CONTEXT
    if name.startswith(_LISTED):
        return _before(*name.removeprefix(_LISTED).split())
    job, _, before = name.rpartition(" ")
    return _contexts(job)[int(before)]


@functools.cache
def wanted(item: Item) -> tuple[object, ...]:
    """What must come of it: what the same words, or the tool's own for them, give when typed; nothing of chat."""
    if item.part == "chat":
        return ()
    text = item.text
    if item.part == "natural":
        job, _, before = item.context.rpartition(" ")
        text = _SPOKEN[job].said[int(before)][0]
    decisions = decide_text(text, context(item.context))
    return tuple(d.meaning for d in decisions if d.meaning is not None and d.verdict is not Verdict.LET_GO)


def _listed(voices: Sequence[str]) -> list[Item]:
    """Every third line of the lists of natural phrases that may be looked at, in one voice and at one level each."""
    items = []
    for path in sorted(_LISTS.glob("tuned_*.jsonl")):
        for line in map(json.loads, path.read_text(encoding="utf-8").splitlines()):
            dice = zlib.crc32(line["id"].encode())
            if dice % 3 == 0:
                part = "chat" if line["group"] == "negative" else "listed"
                voice, level = voices[dice // 3 % len(voices)], LEVELS[dice // 7 % len(LEVELS)]
                items.append(Item(part, line["say"], voice, level, f"{_LISTED}{path.stem} {line['id']}"))
    return [item for item in items if item.part == "chat" or wanted(item)]


@functools.cache
def _before(name: str, line_id: str) -> Context:
    """What a line of a list is said in."""
    with (_LISTS / f"{name}.jsonl").open(encoding="utf-8") as lines, tempfile.TemporaryDirectory() as folder:
        line = next(told for told in map(json.loads, lines) if told["id"] == line_id)
        store = Store.open(Path(folder))
        session = Session(store, open_job(store, JobOpened("Bench", Engine(line["cylinders"])), "Ash"))
        session.units = line["units"]
        for text in line["before"]:
            session.type(text)
        if "asked" in line:
            session.enter(Question("which?", tuple(body_from_json(body) for body in line["asked"])))
        return context_of(session.job, session.units)


def _job(name: str, voice: str) -> list[Item]:
    said = enumerate(_dictated(name))
    return [Item("job", text, voice, level, f"{name} {before}") for before, text in said for level in LEVELS]


def _phrases(voice: str, texts: Iterable[str], levels: Sequence[float | None]) -> list[Item]:
    items = [Item("phrases", text, voice, level) for text in texts for level in levels]
    return [item for item in items if wanted(item)]


def readings(voice: str, level: float | None, count: int) -> list[Item]:
    """So many readings, each once, in one voice and at one level; what is typed with doubt is none."""
    texts = dict.fromkeys(text for text in _readings(f"own {voice}", 3 * count))
    items = [Item("phrases", text, voice, level) for text in texts]
    return [item for item in items if len(wanted(item)) == 1][:count]


def _in_two_wordings(jobs: dict[str, SpokenJob], voices: Sequence[str], each_in: int) -> list[Item]:
    """Each thing said in so many of the voices, in both wordings and at both levels; all in one voice each first."""
    said = [(name, before, pair) for name, job in jobs.items() for before, pair in enumerate(job.said)]
    return [
        Item(part, text, voices[(at + turn * len(voices) // each_in) % len(voices)], level, f"{name} {before}")
        for turn in range(min(each_in, len(voices)))
        for at, (name, before, pair) in enumerate(said)
        for level in _SPOKEN_LEVELS
        for part, text in zip(("own", "natural"), pair, strict=True)
    ]


def _dictated(job: str) -> Sequence[str]:
    if job in _SPOKEN:
        return [own for own, _ in _SPOKEN[job].said]
    return DICTATED if job == "dictated" else FITTING_JOBS[int(job.removeprefix("fitting "))]


@functools.cache
def _contexts(job: str) -> tuple[Context, ...]:
    """Before each phrase of a job, what the ones before it lead one to expect."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(Path(folder))
        engine = _SPOKEN[job].engine if job in _SPOKEN else Engine(6, (1, 5, 3, 6, 2, 4))
        session = Session(store, open_job(store, JobOpened("Bench", engine), "Ash"))
        for text in _dictated(job):
            found.append(context_of(session.job))
            session.type(text)
    return tuple(found)


def _digits(people: Sequence[str], levels: Sequence[float | None], *, alone: bool = False) -> list[Item]:
    """Pairs of digits, with `alone` each digit by itself too."""
    if _people.missing():
        return []
    said = _people.WORDS if alone else ()
    texts = [(who, text) for who in people for text in (*_people.pairs(who, _PAIRS), *said)]
    return [Item("digits", text, who, level, "awaited") for who, text in texts for level in levels]


def _some(share: float, items: list[Item]) -> list[Item]:
    """About so many of them, each with all its levels."""
    return [item for item in items if item.spoken % 1000 < 1000 * share]


def _readings(seed: str, count: int) -> Iterator[str]:
    """Readings as they are said, each with another number."""
    dice = np.random.default_rng(zlib.crc32(seed.encode()))
    ways = ("cylinder {} cut, {}", "{}, {}", "number {} out, {}", "{} cut, {}", "cut {}, {}")
    tens = ("thirty", "forty", "fifteen", "fifty", "nineteen", "ninety", "thirteen", "seventy")
    units = ("", " one", " two", " three", " four", " five", " six", " seven", " eight", " nine")
    names = ("one", "two", "three", "four", "five", "six")
    for _ in range(count):
        ten = tens[dice.integers(2 if dice.random() < 0.6 else len(tens))]
        unit = units[dice.integers(10)] if ten.endswith("ty") else ""
        tenth = f" point{units[dice.integers(1, 10)]}" if dice.random() < 0.5 else ""
        yield ways[dice.integers(len(ways))].format(names[dice.integers(6)], ten + unit + tenth)
