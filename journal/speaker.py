"""What became of what a technician said in, how much better they are understood than others out, by their own answers.

Each question that was answered and each entry that was left, corrected or taken back is a labelled example: how certain
it was, and whether it was right. One number is fitted to the last few hundred of them, added to the log-odds of what a
technician says: logistic regression of one offset with a normal prior (A. Gelman et al., Bayesian Data Analysis, 3rd
ed., section 16.3). What is kept as an entry's certainty stays what the fitted model has said, so that nothing is learnt
from what was learnt.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from journal.facts import (
    Answer,
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    Entry,
    Question,
    RunStarted,
    Source,
    Withdrawal,
)
from journal.record.job import Job
from journal.record.store import Store
from journal.wording.decide import shifted
from journal.wording.figures import settings

READ = (Baseline, Check, Condition, Cut, RunStarted)
"""What is read out."""


@dataclass(frozen=True)
class Example:
    """One thing said, and whether it was understood."""

    certainty: float
    """How likely the fitted model held it."""
    right: bool
    """Whether it was."""


class Speaker:
    """A technician, known by what they answered and corrected in this journal."""

    def __init__(self, store: Store, technician: str, job_id: str) -> None:
        """Look up earlier jobs once, when it is first asked for."""
        self._store, self._technician, self._job_id = store, technician, job_id
        self._earlier: list[Example] | None = None
        self._told = (-1, 0.0)

    def offset(self, job: Job) -> float:
        """What their log-odds get; 0 for somebody without a name or unknown."""
        if not self._technician:
            return 0.0
        if self._earlier is None:
            self._earlier = list(self._before())
        if self._told[0] != len(job.entries):
            last = int(settings()["speaker"]["last"])
            known = [*self._earlier, *examples(job.entries, self._technician)][-last:]
            self._told = len(job.entries), fitted_offset(known)
        return self._told[1]

    def _before(self) -> Iterator[Example]:
        lines = self._store.jobs(technician=self._technician, limit=int(settings()["speaker"]["jobs"]))
        for line in reversed(lines):
            if line.id != self._job_id:
                yield from examples(self._store.entries_if_any(line.id), self._technician)


def examples(entries: Iterable[Entry], technician: str) -> Iterator[Example]:
    """What a technician said aloud, with whether it was understood; what nobody has settled is left out.

    An entry that was never corrected counts as right: it is read back as it is made.
    """
    said = list(entries)
    answers = {e.body.question: e for e in said if isinstance(e.body, Answer)}
    heard_as = {e.id: e.heard for e in said}
    undone = {
        e.body.target
        for e in said
        if isinstance(e.body, Correction)
        # Taken back with its own words is what went on after a pause.
        or (isinstance(e.body, Withdrawal) and e.heard != heard_as.get(e.body.target))
    }
    for each in said:
        if each.source is not Source.VOICE or each.technician != technician or not each.heard:
            continue
        if isinstance(each.body, Question) and each.body.options and isinstance(each.body.options[0], READ):
            answer = answers.get(each.id)
            if answer is not None and answer.heard and isinstance(answer.body, Answer):
                yield Example(each.certainty, answer.body.choice == 0)
        elif isinstance(each.body, READ):
            yield Example(each.certainty, each.id not in undone)


def fitted_offset(known: Sequence[Example]) -> float:
    """How much likelier than the model says what they say is understood, natural log; less where it is unsure.

    It is lowered until those of the examples that were asked about, and would not be with it, were wrong no more often
    than a wrong entry is worth questions, one more counted with them as the offset itself has it.
    """
    told, costs = settings()["speaker"], settings()["costs"]
    offset, weight = 0.0, 0.0
    for _ in range(20):
        chances = [shifted(each.certainty, offset) for each in known]
        slope = sum(each.right - chance for each, chance in zip(known, chances, strict=True))
        slope -= offset / told["spread"] ** 2
        weight = sum(chance * (1.0 - chance) for chance in chances) + 1.0 / told["spread"] ** 2
        offset = max(-told["most"], min(told["most"], offset + slope / weight))
    unsure = min(abs(offset), told["sure"] / math.sqrt(weight))
    offset -= math.copysign(unsure, offset)
    allowed = costs["question"] / costs["entry"]
    while offset > 0:
        let = [each for each in known if each.certainty < 1.0 - allowed <= shifted(each.certainty, offset)]
        wrong = sum(not each.right for each in let) + allowed
        if not let or wrong <= allowed * (len(let) + 1):
            break
        offset = max(0.0, offset - told["step"])
    return offset
