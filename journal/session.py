"""The live loop's core: what was said, typed or tapped becomes entries in the open job, with something to say back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from journal.amending import correct, scratch
from journal.analysis.words import capital
from journal.answering import ANSWERS, new_run, settled_by
from journal.context import context_of
from journal.facts import (
    Answer,
    Body,
    Correction,
    Cut,
    Entry,
    JobFact,
    JobOpened,
    Note,
    PartWanted,
    Quantity,
    Question,
    Source,
    Withdrawal,
    new_id,
    to_milliseconds,
)
from journal.facts.one_line import check_one_line
from journal.facts.quantities import units_by_quantity
from journal.hearing.types import Candidate
from journal.leading import Asked as AskedFor
from journal.leading import Lead, in_brief, spoken
from journal.learnt import Shop
from journal.machine import EarlierJobs
from journal.outcome import Foreseen, Outcome, let_go
from journal.proposing import photographed_too
from journal.record.job import Job, Reading
from journal.record.replay import replay
from journal.record.shop_labels import learn_label
from journal.record.shop_units import kept_units
from journal.record.store import Store
from journal.settling import answer_by, asked_anew, option_by_words, settle, settle_by_number, settle_by_word
from journal.speaker import Speaker
from journal.steering import steer
from journal.study import ClosedJobs, study
from journal.told import missing_text, readings_text
from journal.wording import decide, decide_text, describe, read_back
from journal.wording.complete import certain, complete
from journal.wording.decide import NOTHING_FOR_IT, doubted, said_twice
from journal.wording.expect import decimals
from journal.wording.lexicon import in_full
from journal.wording.near import Near, near
from journal.wording.numbers import only_figures
from journal.wording.types import Command, CommandWord, Context, Decision, Meaning, Number, Verdict
from journal.wording.unit_sense import remark_of

DOUBTFUL = 0.5
"""Certainty of a note that nobody asked for; half of such statements may be about something else (a guess)."""


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
        self._closed, self._earlier, self._shop = ClosedJobs(), EarlierJobs(), Shop(store)
        self.lead: Lead | None = None
        self.asks = ""
        self.last_said = ""
        self._before: Decision | None = None
        technicians = self.job.technicians
        self.technician = technician or (technicians[0] if technicians else "")
        self.speaker: Speaker | None = Speaker(store, self.technician, job) if source is Source.VOICE else None

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

    def lead_on(self) -> str:
        """Lead the test from now on; what is said to ask for its first reading."""
        self.lead = Lead(lambda: study(self.store, self.job_id, self._closed)[1])
        return self._asks_next(self.job)

    def asked_for(self, job: Job) -> AskedFor | None:
        """What the journal has asked to be read next, where it leads; none where it asks for nothing."""
        return self.lead.asks(job, self.clock()) if self.lead is not None else None

    def _asks_next(self, job: Job) -> str:
        """What is said to ask for the next reading; at the end of a run what it found, once."""
        if self.lead is None:
            return ""
        asked = self.asked_for(job)
        found = ""
        if asked is None:
            run = job.runs[-1].id
            if self.lead.ended == run:
                return ""
            self.lead.ended = run
            found = in_brief(self.lead.findings())
        self.asks = spoken(asked, job, found)
        return self.asks

    def context(self, job: Job) -> Context:
        """What the job leads one to expect, and how well the technician is understood."""
        known = self.speaker.offset(job) if self.speaker is not None else 0.0
        return replace(context_of(job, self.units, self.clock()), awaits=self.asked_for(job), speaker=known)

    def type(self, text: str) -> list[Outcome]:
        """Typed words through the same decision as spoken ones."""
        job = self.job
        return self._carry_out(decide_text(text, self.context(job)), job)

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
        return self._carry_out(decide(candidates, self.context(job), free_text=free_text, seconds=seconds), job, clip)

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
        decisions = decide(candidates, self.context(self._without(entered)), free_text=free_text, seconds=seconds)
        if all(decision.verdict is Verdict.LET_GO for decision in decisions):
            decisions = tuple(doubted(outcome.decision) for outcome in entered if outcome.decision is not None)
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
        context = self.context(self._without(entered))
        decisions = decide(candidates, context, free_text=free_text, seconds=seconds)
        sure = certain(decisions)
        enters = sure and not self.held and not any(isinstance(d.meaning, Command | Number) for d in decisions)
        enters = enters and (context.awaits is None or not all(map(only_figures, (d.heard for d in decisions))))
        return Foreseen(sure, complete(decisions, context), enters)

    def enter(
        self,
        body: Body,
        *,
        heard: str = "",
        clip: str = "",
        certainty: float = 1.0,
        besides: Callable[[str], Sequence[Body]] = lambda entry: (),
    ) -> Entry:
        """Write one entry; it is on disk when this returns.

        Args:
            body: what it says.
            heard: the words as recognised, typed or read.
            clip: SHA-256 of its sound when that is kept.
            certainty: probability, 0 to 1, that it says what was meant.
            besides: what is written with it, all or none, given its identifier.
        """
        check_names(body)
        check_one_line("technician", self.technician)
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
        if self.lead is not None:
            self.lead.read(body.body if isinstance(body, Answer) else body)
        more = [replace(entry, id=new_id(at), body=other, heard="", clip="") for other in besides(entry.id)]
        written = self.store.append(entry, *more)[0]
        if isinstance(body, Answer):
            learn_label(self.store.folder, self.job, body)
        return written

    def _carry_out(self, decisions: Sequence[Decision], job: Job, clip: str = "") -> list[Outcome]:
        outcomes = []
        if len(decisions) == 1:
            before, self._before = self._before, decisions[0]
            settled = None if self.held else said_twice(before, decisions[0], self.context(job))
            decisions = (settled or decisions[0],)
        else:
            self._before = None
        for decision in decisions:
            outcome = self._one(decision, job, clip)
            if outcome.say:
                self.last_said = outcome.say
            outcomes.append(outcome)
            if outcome.entry is not None:
                job = self.job
        return self._led_on(outcomes, job) if self.lead is not None else outcomes

    def _led_on(self, outcomes: list[Outcome], job: Job) -> list[Outcome]:
        """The same, and the next reading asked for where all of it was taken."""
        if self.held or not outcomes or any(outcome.verdict is not Verdict.TAKE for outcome in outcomes):
            return outcomes
        last = outcomes[-1]
        said = f"{capital(last.say)}." if last.say and not last.say.endswith((".", "?")) else capital(last.say)
        self.last_said = f"{said} {self._asks_next(job)}".strip()
        return [*outcomes[:-1], replace(last, say=self.last_said)]

    def _one(self, decision: Decision, job: Job, clip: str) -> Outcome:
        meaning = decision.meaning
        if decision.verdict is Verdict.ASK and meaning is None and not self.held:
            return Outcome(Verdict.ASK, decision.prompt, decision.prompt, None, decision)
        if decision.verdict is Verdict.LET_GO or meaning is None:
            return self._not_understood(decision, job, clip)
        carry_on = isinstance(meaning, Command) and meaning.word is CommandWord.CARRY_ON
        if self.held and not carry_on:
            return let_go(decision, "holding on; say carry on")
        if isinstance(meaning, Command | Number):
            return self._command(decision, meaning, job, clip)
        if decision.verdict is Verdict.ASK:
            return self._ask(decision, clip)
        asked = settled_by(job, meaning)
        if asked is not None:
            return settle(self, decision, job, asked, answer_by(asked, meaning), clip)
        if (begun := new_run(job, meaning)) is not None:
            prompt = f"{read_back(meaning)}: still this run, or a new one?"
            return asked_anew(self, [meaning, begun], decision, clip, prompt)
        said_back = _said_back(meaning, self.asked_for(job))
        if (photographed := photographed_too(job, meaning, self.context(job), self.clock())) is not None:
            return self._as_on_photo(decision, meaning, *photographed, job, clip)
        entry = self.enter(meaning, heard=decision.heard, clip=clip, certainty=decision.certainty)
        remark = remark_of(meaning, self.context(job))
        line = f"{describe(meaning)} ({remark})" if remark else describe(meaning)
        return Outcome(Verdict.TAKE, line, said_back, entry, decision)

    def _as_on_photo(
        self, decision: Decision, meaning: Body, reading: Reading, alike: bool, job: Job, clip: str
    ) -> Outcome:
        """What was just read off a photo is said as well: one reading with two witnesses, or a question."""
        if not alike:
            shown = describe(job.effective[reading.entry].body)
            prompt = f"{read_back(meaning)}? the photo shows {shown}"
            return asked_anew(self, [Correction(reading.entry, meaning)], decision, clip, prompt)
        # A number that is said with fewer decimals than the screen has stands for the screen's.
        kept = job.effective[reading.entry].body if _is_shorter(meaning, reading) else meaning
        correction = Correction(reading.entry, kept)
        entry = self.enter(correction, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.TAKE, f"{describe(kept)} (as on the photo)", read_back(kept), entry, decision)

    def _not_understood(self, decision: Decision, job: Job, clip: str) -> Outcome:
        """Speech that is near something for the journal is asked about, never passed over in silence."""
        if self.held or decision.reason != NOTHING_FOR_IT:
            return let_go(decision, decision.reason)
        if (picked := option_by_words(self, decision.heard, job)) is not None:
            return settle(self, decision, job, *picked, clip)
        if meant := self._as_put_right(decision.heard, job):
            return asked_anew(self, meant, decision, clip)
        kind = near(decision.heard)
        if kind is Near.NOTHING:
            return let_go(decision, decision.reason)
        words = decision.heard.strip(" .,!?")
        if kind is Near.NOTE:
            entry = self.enter(Note(in_full(words)), heard=decision.heard, clip=clip, certainty=DOUBTFUL)
            text = f'kept as a note: "{words}"'
            return Outcome(Verdict.TAKE, text, text, entry, decision)
        options = (Note(words),) if kind is Near.SAYING else ()
        prompt = f'Sorry? Keep it as a note: "{words}"?' if options else f'Sorry? I made out "{words}".'
        entry = self.enter(Question(prompt, options), heard=decision.heard, clip=clip, certainty=0.0)
        return Outcome(Verdict.ASK, prompt, prompt, entry, decision)

    def _as_put_right(self, heard: str, job: Job) -> list[Body]:
        """What words that this shop has put right before stand for; nothing where that is not one plain entry."""
        words = self._shop.words_for(heard, job)
        decisions = decide_text(words, self.context(job)) if words else ()
        if len(decisions) != 1 or isinstance(decisions[0].meaning, Command | Number | None):
            return []
        return [decisions[0].meaning]

    def _ask(self, decision: Decision, clip: str) -> Outcome:
        meanings: tuple[Meaning | None, ...] = (decision.meaning, *decision.alternatives)
        options = tuple(m for m in meanings if m is not None and not isinstance(m, Command | Number))
        question = Question(decision.prompt, options)
        entry = self.enter(question, heard=decision.heard, clip=clip, certainty=decision.certainty)
        return Outcome(Verdict.ASK, decision.prompt, decision.prompt, entry, decision)

    def _command(self, decision: Decision, meaning: Command | Number, job: Job, clip: str) -> Outcome:
        if isinstance(meaning, Number):
            return settle_by_number(self, decision, meaning.value, job, clip)
        word = meaning.word
        if word in ANSWERS:
            return settle_by_word(self, decision, word, job, clip)
        if word is CommandWord.SCRATCH:
            return scratch(self, decision, meaning, job, clip)
        if word is CommandWord.CORRECT:
            return correct(self, decision, meaning, job, clip)
        if word in (CommandWord.HOLD, CommandWord.CARRY_ON):
            self.held = word is CommandWord.HOLD
            text = "holding on; say carry on" if self.held else "carrying on"
            return Outcome(Verdict.TAKE, text, text, None, decision)
        if word in (CommandWord.SKIP, CommandWord.AGAIN, CommandWord.BACK):
            return steer(self, decision, word, job, clip)
        text = self._told(meaning, job)
        return Outcome(Verdict.TAKE, text, text, None, decision)

    def _told(self, command: Command, job: Job) -> str:
        if command.word is CommandWord.REPEAT:
            return self.last_said or "nothing said yet"
        if command.word is CommandWord.MISSED:
            return missing_text(job)
        if command.word is CommandWord.OUTLOOK:
            return study(self.store, self.job_id, self._closed, self._earlier)[1].headline
        return readings_text(job, command.cylinder)


def check_names(body: Body) -> None:
    """Refuse names that are no single line; `BadInput`."""
    match body:
        case JobOpened(unit):
            for what, name in {"unit": unit, **body.facts}.items():
                check_one_line(what, name)
        case JobFact(what, value) if what != "complaint":
            check_one_line(what, value)
        case PartWanted(name):
            check_one_line("part", name)


def _is_shorter(said: Body, reading: Reading) -> bool:
    value = getattr(said, "value", None)
    return value is None or reading.value is None or decimals(value) < decimals(reading.value)


def _said_back(meaning: Meaning, asked: AskedFor | None) -> str:
    """What is said back of something entered: of the cylinder that was asked for its reading alone."""
    if isinstance(meaning, Cut) and isinstance(asked, Cut) and (meaning.cylinder, meaning.unit) == (asked.cylinder, ""):
        return read_back(meaning).partition(", ")[2]
    return read_back(meaning)


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
        BadInput: when a name is no single line.
    """
    check_names(opened)
    check_one_line("technician", technician)
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
