"""A job, a photo of a screen in it and the numbers that stand on that in, what becomes of them out; nothing is written.

The photo's own place says what was cut; the run that was open when it arrived says what is watched. What a technician
said and what a photo shows are two witnesses of one reading: alike they make one entry, apart a question.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from journal.analysis.words import capital
from journal.answering import new_run, said, same_thing
from journal.facts import (
    Answer,
    Baseline,
    Body,
    Correction,
    Cut,
    Quantity,
    Question,
    Source,
)
from journal.record.job import Asked, Job, Picture, Reading
from journal.screen_numbers import (
    Labels,
    as_shown,
    chance,
    conditions,
    decimals_shown,
    labels_read,
    of_label,
    unit_differs,
)
from journal.screen_place import Place, place_of
from journal.wording import describe
from journal.wording.expect import decimals, expected
from journal.wording.figures import settings
from journal.wording.numbers import plain
from journal.wording.types import Context
from journal.wording.unit_sense import unit_of

if TYPE_CHECKING:
    from journal.seeing.types import Labelled


@dataclass(frozen=True)
class Proposal:
    """One thing that comes of a photo."""

    body: Body | None
    """The entry to write; none where the number speaks for one that is there."""
    numbers: tuple[Labelled, ...]
    """The number that it rests on; of a question one for each option, in order."""
    target: str = ""
    """Identifier of the entry that is there already; of an answer its question."""
    instead_of: str = ""
    """Identifier of a question that this one is put in place of; empty where it is put in place of none."""
    certainty: float = 1.0
    """Probability, 0 to 1, that the engine's display said so."""


@dataclass(frozen=True)
class Proposals:
    """What comes of a photo."""

    made: tuple[Proposal, ...]
    """In order; none where nothing does."""
    line: str
    """What came of it, or why nothing did, in one line; empty for a photo that is not of a screen."""
    quantity: Quantity = Quantity.FUEL_PER_STROKE
    """What the run watches."""


def proposals(job: Job, picture: Picture, numbers: Sequence[Labelled], labels: Labels, context: Context) -> Proposals:
    """What becomes of the numbers on a photo.

    Args:
        job: the job as it stands.
        picture: the photo with its place.
        numbers: what stands on it.
        labels: which labels of this shop's screens were said to stand for what.
        context: what the job leads one to expect; it can make a question of a number, never another number.
    """
    place = place_of(job, picture)
    if isinstance(place, str):
        return Proposals((), f"nothing is entered from it: {place}" if place else "")
    if not numbers:
        return Proposals((), "no number is to be seen on it")
    watched = place.run.start.quantity
    stood = conditions(numbers, place.run, context)
    for each in stood:
        if new_run(job, each.body) is not None:
            told = f"{describe(each.body)} is not this run's: say what is tested now"
            return Proposals((), f"nothing is entered from it: {told}", watched)
    known = {r.quantity for r in place.run.conditions}
    read = [
        Proposal(each.body, (each.number,), certainty=chance(each.number))
        for each in stood
        if each.body.quantity not in known and expected(each.body, context)
    ]
    shown, vouched = of_label(numbers, place.run, labels, labels_read(job, place.run))
    found = _Watched(job, place, picture, context, shown, vouched)
    made, line = found.proposed()
    if made is None:
        return Proposals((), line, watched)
    words = [line, *(describe(p.body) for p in read if p.body is not None)]
    return Proposals((made, *read), "; ".join(words), watched)


@dataclass(frozen=True)
class _Watched:
    """The number that the run is about, and what is known of it already."""

    job: Job
    place: Place
    picture: Picture
    context: Context
    numbers: tuple[Labelled, ...]
    """What it may be."""
    known: bool
    """Whether its label was said to stand for it."""

    def proposed(self) -> tuple[Proposal | None, str]:
        """What comes of it, and that in words."""
        watched = self.place.run.start.quantity
        if not self.numbers:
            return None, f"no {watched} is to be seen on it"
        already = self._read_already()
        if already is not None:
            alike = [n for n in self.numbers if self._agrees(n, already)]
            if len(self.numbers) == 1 and alike:
                return Proposal(None, (alike[0],), already.entry), f"it shows {self._words(already)} too"
            if alike:
                return None, f"nothing is entered from it: {len(self.numbers)} numbers may be the {watched}"
        if not self.place.known:
            return None, "nothing is entered from it: which cylinder was cut is not known; say it with the photo's cue"
        if len(self.numbers) > 1 + int(settings()["question"]["most"]):
            return None, f"nothing is entered from it: {len(self.numbers)} numbers may be the {watched}"
        if already is not None:
            return self._differs(already)
        asked = next((a for a in reversed(self.job.waiting) if _same(a, self._body(self.numbers[0]))), None)
        return self._answers(asked) if asked is not None else self._alone()

    def _alone(self) -> tuple[Proposal, str]:
        bodies = [self._body(n) for n in self.numbers]
        first, body = self.numbers[0], bodies[0]
        if len(bodies) == 1 and self.known and self.place.sure and self._costs_less(first, body):
            return Proposal(body, (first,), certainty=chance(first)), describe(body)
        return self._question(bodies, self._prompt(bodies), chance(first))

    def _prompt(self, bodies: Sequence[Body]) -> str:
        shown = " or ".join(as_shown(n) if self.known else f"{n.label} {as_shown(n)}" for n in self.numbers)
        return f"{_of_what(bodies[0])}: {shown}?"

    def _question(self, bodies: Sequence[Body], prompt: str, certainty: float) -> tuple[Proposal, str]:
        return Proposal(Question(prompt, tuple(bodies)), self.numbers, certainty=certainty), f"asked: {prompt}"

    def _differs(self, already: Reading) -> tuple[Proposal, str]:
        bodies = [Correction(already.entry, self._body(n)) for n in self.numbers]
        shown = " or ".join(as_shown(n) for n in self.numbers)
        was = "no change" if already.value is None else plain(already.value)
        prompt = f"{_of_what(self._body(self.numbers[0]))}: {shown} on the photo, not {was}?"
        waiting = {option for asked in self.job.waiting for option in asked.question.body.options}
        if set(bodies) <= waiting:
            return self._evidence_of(bodies), f"asked already: {prompt}"
        return self._question(bodies, prompt, chance(self.numbers[0]))

    def _evidence_of(self, bodies: Sequence[Body]) -> Proposal:
        asked = next(a for a in self.job.waiting if set(bodies) <= set(a.question.body.options))
        return Proposal(None, self.numbers[:1], asked.question.entry.id)

    def _answers(self, asked: Asked) -> tuple[Proposal, str]:
        """A question about the same waits: a number that is sure and named settles it, any other is asked about too."""
        options = [said(option) for option in asked.question.body.options]
        first, body = self.numbers[0], self._body(self.numbers[0])
        named = [i for i, option in enumerate(options) if _value(option) == first.value and first.value is not None]
        if len(self.numbers) == 1 and len(named) == 1:
            question = asked.question.entry.id
            if self.known and self.place.sure and self._costs_less(first, body):
                return Proposal(Answer(question, named[0]), (first,), question, certainty=chance(first)), describe(body)
            return Proposal(None, (first,), question), f"it shows {as_shown(first)} too; still asked"
        bodies = [self._body(n) for n in self.numbers]
        others = asked.question.body.options[: 1 + int(settings()["question"]["most"]) - len(bodies)]
        prompt = " or ".join([self._prompt(bodies).rstrip("?"), *(describe(said(other)) for other in others)]) + "?"
        proposal, line = self._question([*bodies, *others], prompt, chance(first))
        return replace(proposal, instead_of=asked.question.entry.id), line

    def _costs_less(self, number: Labelled, body: Body) -> bool:
        """Whether to enter it is expected to cost less than to ask; by the costs of speech."""
        if not number.sure or unit_differs(number, self.place.run):
            return False
        costs = settings()["costs"]
        cost = (1.0 - chance(number)) * costs["entry"]
        cost += 0.0 if expected(body, self.context) else costs["unexpected"]
        baseline = self.context.baseline
        if isinstance(body, Cut) and baseline is not None and decimals_shown(number) < decimals(baseline):
            cost += costs["short"]
        return cost < costs["question"]

    def _body(self, number: Labelled) -> Cut | Baseline:
        assert number.value is not None
        unit = number.unit if unit_differs(number, self.place.run) else ""
        if self.place.cylinder is None:
            return Baseline(number.value, unit=unit)
        return Cut(self.place.cylinder, number.value, unit=unit)

    def _read_already(self) -> Reading | None:
        """The reading that this very photo is of, where it was said, typed or photographed before."""
        run, arrived = self.place.run, self.picture.photo.entry.at_utc
        readings = sorted((*run.baselines, *run.cuts), key=lambda r: (r.at_utc, r.entry))
        if not readings:
            return None
        if not self.place.known:
            last = readings[-1]
            return last if _seconds(last, arrived) <= settings()["seen"]["beside_s"] else None
        mine = [r for r in readings if r.cylinder == self.place.cylinder]
        if not mine:
            return None
        beside = _seconds(mine[-1], arrived) <= settings()["seen"]["beside_s"]
        return mine[-1] if mine[-1] is readings[-1] or beside else None

    def _agrees(self, number: Labelled, reading: Reading) -> bool:
        """Whether a number and a reading are one, as said with fewer decimals or a moment apart."""
        value = self._value_of(reading)
        if value is None or number.value is None or (number.unit and number.unit != reading.unit):
            return False
        near = settings()["seen"]["near"] * abs(value)
        return abs(number.value - value) <= near or round(number.value, decimals(value)) == value

    def _value_of(self, reading: Reading) -> float | None:
        if not reading.no_change:
            return reading.value
        baselines = [r.value for r in self.place.run.baselines if r.unit == reading.unit]
        return baselines[-1] if baselines else None

    def _words(self, reading: Reading) -> str:
        return describe(self.job.effective[reading.entry].body)


def photographed_too(job: Job, body: Body, context: Context, now: datetime) -> tuple[Reading, bool] | None:
    """The reading off a photo that a plain statement is about as well, and whether both say the same.

    Args:
        job: the job before the statement.
        body: what was said.
        context: what the job leads one to expect.
        now: when it was said, aware.

    Returns:
        None where the run's last reading was not read off a photo just now, or is of something else.
    """
    run = job.run_in_progress
    if run is None or not isinstance(body, Cut | Baseline):
        return None
    readings = sorted((*run.baselines, *run.cuts), key=lambda r: (r.at_utc, r.entry))
    if not readings or _seconds(readings[-1], now) > settings()["seen"]["beside_s"]:
        return None
    last = readings[-1]
    entry, acts = job.effective[last.entry], job.replaced_by.get(last.entry, ())
    said_too = any(e.id in acts and isinstance(e.body, Correction) for e in job.entries)
    if entry.source is not Source.PHOTO or said_too or not same_thing(entry.body, body):
        return None
    value = context.baseline if isinstance(body, Cut) and body.no_change else body.value
    if value is None or last.value is None or (body.unit or unit_of(last.quantity, context)) != last.unit:
        return last, False
    near = settings()["seen"]["near"] * abs(last.value)
    return last, abs(value - last.value) <= near or round(last.value, decimals(value)) == value


def _same(asked: Asked, body: Body) -> bool:
    return all(same_thing(said(option), body) for option in asked.question.body.options)


def _value(body: Body) -> float | None:
    return getattr(body, "value", None)


def _of_what(body: Body) -> str:
    """What a number is of: "Cylinder 4 cut"."""
    return capital(describe(body).partition(":")[0])


def _seconds(reading: Reading, at: datetime) -> float:
    return abs((reading.at_utc - at).total_seconds())
