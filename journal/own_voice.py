"""Whether a technician's own voice is worth fitting: on what they said and nobody took back, each third judged by the
others."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from journal.context import context_of
from journal.errors import BadInput, HearingError, NotFound
from journal.facts import Answer, Body, Correction, Question, Source, Withdrawal
from journal.hearing.apart import Apart
from journal.hearing.choose import EAR
from journal.hearing.modelfile import Floats
from journal.hearing.own import LONGEST_S, Plan, can_fit, fit, keep_own
from journal.hearing.types import RATE, Utterance
from journal.home import models_folder
from journal.listening import Ears, Pooled, utterances_of
from journal.record.clips import clip_path
from journal.record.replay import replay
from journal.record.shop_units import kept_units
from journal.record.store import Store
from journal.speaker import READ
from journal.wording import Context, Verdict, decide, decide_text
from journal.wording.figures import settings

FEWEST = 60
"""Clips below which nothing is fitted."""
_PARTS = 3
_JOBS = 1000
RIGHT, ASKED, LOST, WRONG = "right", "asked", "lost", "wrong"


@dataclass(frozen=True)
class Clip:
    """One utterance with what was meant by it."""

    sha256: str
    """Of its sound."""
    meant: Body
    """What was entered for it, or chosen when the journal asked."""
    context: Context
    """The job as it stood."""


@dataclass(frozen=True)
class Example:
    """A clip as it was heard, with the ear's own text for what was meant."""

    clip: Clip
    utterance: Utterance
    heard: Pooled
    text: str


def confirmed(store: Store, technician: str) -> Iterator[Clip]:
    """Clips that gave one reading that nobody corrected or took back; one that was asked about, as it was answered."""
    units = kept_units(store.folder) or {}
    for line in reversed(store.jobs(technician=technician, limit=_JOBS)):
        entries = store.entries_if_any(line.id)
        uses = Counter(entry.clip for entry in entries)
        answers = {e.body.question: e for e in entries if isinstance(e.body, Answer)}
        undone = {e.body.target for e in entries if isinstance(e.body, Correction | Withdrawal)}
        for at, entry in enumerate(entries):
            if entry.source is not Source.VOICE or entry.technician != technician or uses[entry.clip] != 1:
                continue
            meant, answer = entry.body, answers.get(entry.id)
            if isinstance(meant, Question):
                chosen = answer.body.choice if answer is not None and isinstance(answer.body, Answer) else None
                if answer is None or chosen is None or answer.id in undone:
                    continue
                meant = meant.options[chosen]
            if entry.clip and entry.id not in undone and isinstance(meant, READ):
                yield Clip(entry.clip, meant, context_of(replay(entries[:at]), units))


def train_voice(store: Store, technician: str, tell: Callable[[str], None], plan: Plan | None = None) -> Path | None:
    """Fit, judge and, where it pays, keep a technician's own voice.

    Args:
        store: the journal.
        technician: whose.
        tell: takes a line on how it goes.
        plan: how it is fitted; none for the usual way.

    Returns:
        Where it is kept; none where it would not pay, and nothing was changed.

    Raises:
        BadInput: too few clips.
        HearingError: an extra is missing, or a recogniser cannot go on.
    """
    plan = plan or Plan()
    can_fit()
    known = list(_heard(store, technician))
    if len(known) < FEWEST:
        raise BadInput(
            f"{len(known)} clips of {technician!r} can be learnt from; {FEWEST} are needed: go on listening, or check "
            "the name"
        )
    before, after = Counter[str](), Counter[str]()
    for part in range(_PARTS):
        tell(f"{len(known)} clips, part {part + 1} of {_PARTS}")
        own = _fitted([one for n, one in enumerate(known) if n % _PARTS != part], plan)
        held = known[part::_PARTS]
        before.update(judged(one.heard, one.clip) for one in held)
        after.update(_again(store, held, own))
    tell(f"before: {_told(before)}; with it: {_told(after)}")
    if after[WRONG] > before[WRONG] or cost(after) >= cost(before):
        return None
    record = {"date": store.clock().date().isoformat(), "clips": len(known), "before": before, "with": after}
    return keep_own(store.folder, technician, _fitted(known, plan), record)


def _fitted(examples: Sequence[Example], plan: Plan) -> dict[str, Floats]:
    return fit([one.utterance.sound for one in examples], [one.text for one in examples], plan)


def _heard(store: Store, technician: str) -> Iterator[Example]:
    """What the ear as it ships makes of each; none of what has no text of its own for what was meant."""
    with _Ears(store, None) as ears:
        for clip in confirmed(store, technician):
            try:
                cuts = list(utterances_of(clip_path(store.folder, clip.sha256)))
            except (NotFound, HearingError):
                continue
            if len(cuts) != 1 or len(cuts[0].sound) > LONGEST_S * RATE:
                continue
            heard = ears.hear(clip, cuts[0])
            text = text_for(heard, clip)
            if text:
                yield Example(clip, cuts[0], heard, text)


def _again(store: Store, held: Sequence[Example], own: Mapping[str, Floats]) -> Iterator[str]:
    with _Ears(store, own) as ears:
        for one in held:
            yield judged(ears.hear(one.clip, one.utterance), one.clip)


class _Ears(ExitStack):
    """The usual listeners for each number of cylinders there is; those in processes of their own end with it."""

    def __init__(self, store: Store, own: Mapping[str, Floats] | None) -> None:
        super().__init__()
        self._home, self._own = models_folder(store.folder), own
        self._by_cylinders: dict[int | None, Ears] = {}

    def hear(self, clip: Clip, utterance: Utterance) -> Pooled:
        """It through all of them."""
        cylinders = clip.context.engine.cylinders if clip.context.engine else None
        if cylinders not in self._by_cylinders:
            ears = self._by_cylinders[cylinders] = Ears.open((), None, self._home, cylinders, own=self._own)
            for each in ears.listeners:
                if isinstance(each, Apart):
                    self.callback(each.close)
        return self._by_cylinders[cylinders].hear(utterance)


def text_for(heard: Pooled, clip: Clip) -> str:
    """The ear's own likeliest text for what was meant; empty where it has none."""
    texts = (each.text for each in heard.candidates if each.listener == EAR and each.text)
    return next((t for t in texts if [d.meaning for d in decide_text(t, clip.context)] == [clip.meant]), "")


def judged(heard: Pooled, clip: Clip) -> str:
    """What would become of it: `RIGHT`, `ASKED`, `LOST` or `WRONG`."""
    made = decide(heard.candidates, clip.context, free_text=heard.free_text, seconds=heard.seconds)
    taken = [each.meaning for each in made if each.verdict is Verdict.TAKE]
    if any(meaning != clip.meant for meaning in taken):
        return WRONG
    if taken:
        return RIGHT
    return ASKED if any(each.verdict is Verdict.ASK for each in made) else LOST


def cost(counts: Counter[str]) -> float:
    """In questions, by what a shop holds each to cost."""
    costs = settings()["costs"]
    return counts[ASKED] * costs["question"] + counts[LOST] * costs["lost"] + counts[WRONG] * costs["entry"]


def _told(counts: Counter[str]) -> str:
    return ", ".join(f"{counts[what]} {what}" for what in (RIGHT, ASKED, LOST, WRONG))
