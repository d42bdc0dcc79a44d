"""The live loop's core: what was said, typed or tapped becomes entries in the open job, with something to say back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from journal.context import context_of
from journal.facts import (
    Answer,
    Baseline,
    Body,
    Check,
    Condition,
    Correction,
    Cut,
    Entry,
    JobOpened,
    Quantity,
    Question,
    Source,
    Withdrawal,
    new_id,
    to_milliseconds,
)
from journal.facts.quantities import units_by_quantity
from journal.hearing.types import Candidate
from journal.record.job import Asked, Job
from journal.record.replay import replay
from journal.record.shop_units import kept_units
from journal.record.store import Store
from journal.study import ClosedJobs, study
from journal.wording import decide, decide_text, describe, read_back
from journal.wording.complete import certain, complete
from journal.wording.decide import question
from journal.wording.expect import BELIEVABLE, believable
from journal.wording.types import Command, CommandWord, Context, Decision, Meaning, Number, Verdict

Numbered = Cut | Baseline | Condition | Check
"""Bodies that hold a number a correction can replace."""

ANSWERS = {
    CommandWord.YES: 0,
    CommandWord.FIRST: 0,
    CommandWord.SECOND: 1,
    CommandWord.NO: None,
    CommandWord.NEITHER: None,
}
"""Which option of the waiting question each word picks; none for neither."""


@dataclass(frozen=True)
class Outcome:
    """What became of one thing said."""

    verdict: Verdict
    """Taken, asked, or let go."""
    line: str
    """One line for the screen."""
    say: str
    """What to say back; empty when nothing."""
    entry: Entry | None = None
    """The entry that was written; none when nothing was."""
    decision: Decision | None = None
    """The decision it comes from; none for direct acts."""


@dataclass(frozen=True)
class Foreseen:
    """What an utterance would come to if it were over."""

    certain: bool
    """Whether everything in it would be taken."""
    complete: bool
    """Whether it can hardly go on besides."""
    enters: bool = False
    """Whether all of it would be taken and makes entries, which can be taken back should it go on."""


def local_offset_minutes() -> int:
    """Local time minus UTC now, in minutes."""
    offset = datetime.now().astimezone().utcoffset()
    return int(offset.total_seconds() // 60) if offset else 0


class Session:
    """One technician at work on one job; every act is written through before it is said back."""

    def __init__(
        self,
        store: Store,
        job: str,
        technician: str = "",
        source: Source = Source.TYPED,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        """Begin or go on.

        Args:
            store: where entries are kept.
            job: identifier of the job.
            technician: who speaks; empty for whoever opened the job.
            source: how entries come in.
            clock: what time an act gets, aware.

        Raises:
            NotFound: when there is no such job.
        """
        self.store = store
        self.job_id = job
        self.source = source
        self.clock = clock
        self.held = False
        self._units: Mapping[Quantity, str] | None = None
        self._closed = ClosedJobs()
        self.last_said = ""
        technicians = self.job.technicians
        self.technician = technician or (technicians[0] if technicians else "")

    @property
    def job(self) -> Job:
        """The job as it stands on disk now, with what other writers added."""
        return self.store.job(self.job_id)

    @property
    def units(self) -> Mapping[Quantity, str]:
        """What a number without a unit means: as set for this session, else as the shop has chosen by now.

        Raises:
            RecordError: when what the shop has chosen cannot be read.
        """
        return self._units if self._units is not None else kept_units(self.store.folder) or {}

    @units.setter
    def units(self, chosen: str | Mapping[Quantity, str]) -> None:
        """Set them for this session: the name of a set (`si`, `us`), or some quantities with their units.

        Raises:
            BadInput: when there is no such set, or a quantity is not given in that unit.
        """
        self._units = units_by_quantity(chosen)

    def _context(self, job: Job) -> Context:
        return context_of(job, self.units)

    def type(self, text: str) -> list[Outcome]:
        """Typed words through the same decision as spoken ones."""
        job = self.job
        return self._carry_out(decide_text(text, self._context(job)), job)

    def hear(
        self, candidates: Sequence[Candidate], *, free_text: str = "", seconds: float = 0.0, clip: str = ""
    ) -> list[Outcome]:
        """What becomes of an utterance.

        Args:
            candidates: what it may have been.
            free_text: what an unconstrained recogniser made of it.
            seconds: how long its speech took, 0 where that is not known.
            clip: SHA-256 of its sound when that is kept.
        """
        job = self.job
        return self._carry_out(decide(candidates, self._context(job), free_text=free_text, seconds=seconds), job, clip)

    def go_on(
        self,
        entered: Sequence[Outcome],
        candidates: Sequence[Candidate],
        *,
        free_text: str = "",
        seconds: float = 0.0,
        clip: str = "",
    ) -> list[Outcome]:
        """What becomes of all of an utterance that was entered when it seemed over, and then went on.

        What was entered stands where the whole begins with it. Else it is taken back and the whole carried out, so that
        the job comes to what it would have come to had the whole been waited for; where the whole is for nothing in the
        journal, what was entered is asked about, as a figure may have been lost with the rest.

        Args:
            entered: what came of it before, each with its entry.
            candidates: what all of it may have been.
            free_text: what an unconstrained recogniser made of it.
            seconds: how long its speech took, 0 where that is not known.
            clip: SHA-256 of all its sound when that is kept.

        Returns:
            What came of the whole, in order, with those of `entered` that stand.
        """
        decisions = decide(candidates, self._context(self._without(entered)), free_text=free_text, seconds=seconds)
        if all(decision.verdict is Verdict.LET_GO for decision in decisions):
            decisions = tuple(_doubted(outcome.decision) for outcome in entered if outcome.decision is not None)
        begins = [d.meaning for d in decisions[: len(entered)] if d.verdict is Verdict.TAKE]
        if begins == [outcome.entry.body for outcome in entered if outcome.entry is not None]:
            return [*entered, *self._carry_out(decisions[len(entered) :], self.job, clip)]
        taken_back = []
        for outcome in reversed(entered):
            if outcome.entry is not None:
                entry = self.enter(Withdrawal(outcome.entry.id), heard=outcome.entry.heard, clip=clip)
                taken_back.append(Outcome(Verdict.TAKE, f"it went on; taken back: {outcome.line}", "", entry))
        return taken_back + self._carry_out(decisions, self.job, clip)

    def _without(self, entered: Sequence[Outcome]) -> Job:
        """The job as it was before these."""
        job = self.job
        own = {outcome.entry.id for outcome in entered if outcome.entry is not None}
        return replay(entry for entry in job.entries if entry.id not in own) if own else job

    def foresee(
        self,
        candidates: Sequence[Candidate],
        *,
        free_text: str = "",
        seconds: float = 0.0,
        entered: Sequence[Outcome] = (),
    ) -> Foreseen:
        """What an utterance up to a pause would come to if it were over; nothing is entered.

        Args:
            candidates: what it may have been.
            free_text: what an unconstrained recogniser made of it.
            seconds: how long its speech took, 0 where that is not known.
            entered: what was entered of it at a pause before.
        """
        context = self._context(self._without(entered))
        decisions = decide(candidates, context, free_text=free_text, seconds=seconds)
        sure = certain(decisions)
        enters = sure and not self.held and not any(isinstance(d.meaning, Command | Number) for d in decisions)
        return Foreseen(sure, complete(decisions, context), enters)

    def enter(self, body: Body, *, heard: str = "", clip: str = "", certainty: float = 1.0) -> Entry:
        """Write one entry; it is on disk when this returns."""
        at = to_milliseconds(self.clock())
        entry = Entry(
            id=new_id(at),
            job=self.job_id,
            at_utc=at,
            body=body,
            offset_minutes=local_offset_minutes(),
            technician=self.technician,
            source=self.source,
            heard=heard,
            clip=clip,
            certainty=certainty,
        )
        return self.store.append(entry)[0]

    def _carry_out(self, decisions: Sequence[Decision], job: Job, clip: str = "") -> list[Outcome]:
        outcomes = []
        for decision in decisions:
            outcome = self._one(decision, job, clip)
            if outcome.say:
                self.last_said = outcome.say
            outcomes.append(outcome)
            if outcome.entry is not None:
                job = self.job
        return outcomes

    def _one(self, decision: Decision, job: Job, clip: str) -> Outcome:
        meaning = decision.meaning
        if decision.verdict is Verdict.ASK and meaning is None and not self.held:
            return Outcome(Verdict.ASK, decision.prompt, decision.prompt, None, decision)
        if decision.verdict is Verdict.LET_GO or meaning is None:
            return _let_go(decision, decision.reason)
        carry_on = isinstance(meaning, Command) and meaning.word is CommandWord.CARRY_ON
        if self.held and not carry_on:
            return _let_go(decision, "holding on; say carry on")
        if isinstance(meaning, Command | Number):
            return self._command(decision, meaning, job, clip)
        if decision.verdict is Verdict.ASK:
            return self._ask(decision, clip)
        entry = self.enter(meaning, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.TAKE, describe(meaning), read_back(meaning), entry, decision)

    def _ask(self, decision: Decision, clip: str) -> Outcome:
        meanings: tuple[Meaning | None, ...] = (decision.meaning, *decision.alternatives)
        options = tuple(m for m in meanings if m is not None and not isinstance(m, Command | Number))
        question = Question(decision.prompt, options)
        entry = self.enter(question, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.ASK, decision.prompt, decision.prompt, entry, decision)

    def _command(self, decision: Decision, meaning: Command | Number, job: Job, clip: str) -> Outcome:
        if isinstance(meaning, Number):
            return self._number(decision, meaning.value, job, clip)
        word = meaning.word
        if word in ANSWERS:
            return self._answer(decision, word, job, clip)
        if word is CommandWord.SCRATCH:
            return self._scratch(decision, meaning.cylinder, job, clip)
        if word is CommandWord.CORRECT:
            return self._correct(decision, meaning, job, clip)
        if word in (CommandWord.HOLD, CommandWord.CARRY_ON):
            self.held = word is CommandWord.HOLD
            text = "holding on; say carry on" if self.held else "carrying on"
            return Outcome(Verdict.TAKE, text, text, None, decision)
        text = self._told(meaning, job)
        return Outcome(Verdict.TAKE, text, text, None, decision)

    def _told(self, command: Command, job: Job) -> str:
        if command.word is CommandWord.REPEAT:
            return self.last_said or "nothing said yet"
        if command.word is CommandWord.MISSED:
            return missing_text(job)
        if command.word is CommandWord.OUTLOOK:
            return study(self.store, self.job_id, self._closed)[1].headline
        return readings_text(job, command.cylinder)

    def _answer(self, decision: Decision, word: CommandWord, job: Job, clip: str) -> Outcome:
        if not job.waiting:
            return _let_go(decision, "no question is waiting")
        asked = job.waiting[-1]
        options = asked.question.body.options
        choice = ANSWERS[word]
        if (word in (CommandWord.YES, CommandWord.NO) and len(options) > 1) or (
            choice is not None and choice >= len(options)
        ):
            return Outcome(Verdict.ASK, asked.question.body.prompt, asked.question.body.prompt, None, decision)
        return self._settle(decision, asked, Answer(asked.question.entry.id, choice), clip)

    def _number(self, decision: Decision, value: float, job: Job, clip: str) -> Outcome:
        if not job.waiting:
            return _let_go(decision, "a number alone: say which cylinder or what it is")
        asked = job.waiting[-1]
        for index, option in enumerate(asked.question.body.options):
            said = _said(option)
            if isinstance(said, Numbered) and said.value == value:
                return self._settle(decision, asked, Answer(asked.question.entry.id, index), clip)
        answers = "first, second or neither" if len(asked.question.body.options) > 1 else "yes or no"
        prompt = f"{asked.question.body.prompt} Say {answers}."
        return Outcome(Verdict.ASK, prompt, prompt, None, decision)

    def _settle(self, decision: Decision, asked: Asked, answer: Answer, clip: str) -> Outcome:
        entry = self.enter(answer, heard=decision.heard, clip=clip, certainty=decision.certainty)
        if answer.choice is None:
            text = "neither, then; say it again"
            return Outcome(Verdict.TAKE, text, text, entry, decision)
        body = _said(asked.question.body.options[answer.choice])
        return Outcome(Verdict.TAKE, describe(body), read_back(body), entry, decision)

    def _scratch(self, decision: Decision, cylinder: int | None, job: Job, clip: str) -> Outcome:
        target = self._last(job, cylinder) if cylinder is not None else self._last_act(job)
        if target is None:
            return _let_go(decision, "there is nothing to take back")
        entry = self.enter(Withdrawal(target.id), heard=decision.heard, clip=clip, certainty=decision.certainty)
        restored = isinstance(target.body, Withdrawal)
        text = f"{'put back' if restored else 'taken back'}: {_what(target, job)}"
        return Outcome(Verdict.TAKE, text, text, entry, decision)

    def _correct(self, decision: Decision, command: Command, job: Job, clip: str) -> Outcome:
        target = self._last(job, command.cylinder)
        if target is None or command.value is None:
            return _let_go(decision, "there is no reading to correct")
        bodies = [b for v in _values(decision) if (b := _with_value(target.body, v)) is not None]
        if not bodies:
            return _let_go(decision, "there is no reading to correct")
        if decision.verdict is Verdict.TAKE and believable(bodies[0], self._context(job)) >= BELIEVABLE:
            correction = Correction(target.id, bodies[0])
            entry = self.enter(correction, heard=decision.heard, clip=clip, certainty=decision.certainty)
            return Outcome(Verdict.TAKE, f"corrected: {describe(bodies[0])}", read_back(bodies[0]), entry, decision)
        prompt = decision.prompt or f"{read_back(bodies[0])}?"
        question = Question(prompt, tuple(Correction(target.id, body) for body in bodies))
        entry = self.enter(question, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.ASK, prompt, prompt, entry, decision)

    def _last_act(self, job: Job) -> Entry | None:
        """The last entry this technician made that can still be taken back."""
        withdrawn = {
            e.body.target for e in job.entries if isinstance(e.body, Withdrawal) and not _is_withdrawn(job, e.id)
        }
        mine = (e for e in reversed(job.entries) if e.technician == self.technician and e.id not in withdrawn)
        return next((e for e in mine if not isinstance(e.body, JobOpened)), None)

    def _last(self, job: Job, cylinder: int | None) -> Entry | None:
        """The last entry that counts and holds a number (of this cylinder, where one is named)."""
        for entry in reversed(job.entries):
            body = job.effective[entry.id].body if entry.id in job.effective else None
            body = _first_option(body)
            if not isinstance(body, Numbered) or (isinstance(body, Check) and body.value is None):
                continue
            if cylinder is not None and not (isinstance(body, Cut | Check) and body.cylinder == cylinder):
                continue
            if cylinder is None and entry.technician != self.technician:
                continue
            return job.effective[entry.id]
        return None


def _is_withdrawn(job: Job, entry_id: str) -> bool:
    by_id = {e.id: e for e in job.entries}
    later = [by_id[i] for i in job.replaced_by.get(entry_id, ())]
    return any(isinstance(e.body, Withdrawal) and not _is_withdrawn(job, e.id) for e in later)


def _said(body: Body) -> Body:
    """What a body says of the engine: for a correction, what it corrects to."""
    return body.body if isinstance(body, Correction) else body


def _first_option(body: Body | None) -> Body | None:
    return body.options[0] if isinstance(body, Question) and body.options else body


def _values(decision: Decision) -> list[float]:
    commands = [m for m in (decision.meaning, *decision.alternatives) if isinstance(m, Command)]
    return [c.value for c in commands if c.value is not None]


def _with_value(body: Body, value: float) -> Body | None:
    body = _first_option(body) or body
    if isinstance(body, Cut):
        return replace(body, value=value, no_change=False)
    return replace(body, value=value) if isinstance(body, Baseline | Condition | Check) else None


def _what(entry: Entry, job: Job) -> str:
    body = job.effective[entry.id].body if entry.id in job.effective else entry.body
    if isinstance(body, Withdrawal | Correction):
        target = next((e for e in job.entries if e.id == body.target), None)
        return _what(target, job) if target is not None else "the last entry"
    if isinstance(body, Answer):
        return "the answer"
    return body.prompt if isinstance(body, Question) else describe(body)


def _doubted(decision: Decision) -> Decision:
    """A question about what was taken."""
    assert decision.meaning is not None
    return replace(decision, verdict=Verdict.ASK, prompt=question(decision.meaning, ()))


def _let_go(decision: Decision, reason: str) -> Outcome:
    return Outcome(Verdict.LET_GO, reason or "not for the journal", "", None, decision)


def missing_text(job: Job) -> str:
    """What the run in progress lacks, how many questions wait, what was not understood or put back, in few words."""
    parts = []
    if run := job.run_in_progress:
        done = {cut.cylinder for cut in run.cuts}
        missing = [str(c) for c in job.engine.numbers if c not in done and c not in run.start.held_out]
        if not run.baselines:
            parts.append("no baseline yet")
        parts.append("not cut yet: " + ", ".join(missing) if missing else "every cylinder is cut")
    if job.waiting:
        parts.append(f"{len(job.waiting)} question{'s' if len(job.waiting) > 1 else ''} waiting")
    if job.not_understood:
        parts.append(f"{len(job.not_understood)} not understood")
    if job.outstanding:
        parts.append("not put back: " + ", ".join(str(what) for what in job.outstanding))
    return "; ".join(parts) or "nothing is missing; no run is in progress"


def readings_text(job: Job, cylinder: int | None) -> str:
    """The readings of one cylinder, or of the run in progress (else the last one), in few words."""
    runs = job.runs if cylinder is not None else job.runs[-1:]
    parts = []
    for run in runs:
        for reading in (*run.baselines, *run.cuts) if cylinder is None else run.cuts:
            if cylinder is not None and reading.cylinder != cylinder:
                continue
            what = "baseline" if reading.cylinder is None else f"cylinder {reading.cylinder}"
            value = "no change" if reading.no_change else f"{reading.value:g}"
            parts.append(f"{what} {value}")
    return ", ".join(parts) or "no readings yet"


def open_job(
    store: Store,
    opened: JobOpened,
    technician: str,
    source: Source = Source.TYPED,
    at: datetime | None = None,
) -> str:
    """Start a job; its identifier.

    Raises:
        RecordError: when it could not be written.
    """
    at_utc = to_milliseconds(at or datetime.now(UTC))
    job = new_id(at_utc)
    store.append(
        Entry(
            id=new_id(at_utc),
            job=job,
            at_utc=at_utc,
            body=opened,
            offset_minutes=local_offset_minutes(),
            technician=technician,
            source=source,
        )
    )
    return job
