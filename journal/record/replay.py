"""Entries in, a job out: corrections, withdrawals, answers and photo placements are resolved here, and only here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from journal.errors import BadInput
from journal.facts import (
    UNITS,
    Answer,
    Baseline,
    Body,
    Check,
    ClockSetBack,
    Condition,
    Correction,
    Cut,
    EngineChanged,
    Entry,
    GateOverridden,
    JobClosed,
    JobFact,
    JobOpened,
    JobReopened,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    PhotoCue,
    PhotoMark,
    PhotoPlaced,
    PutBack,
    Quantity,
    Question,
    RepairDone,
    Restored,
    RunEnded,
    RunKind,
    RunStarted,
    Seen,
    Source,
    TroubleCode,
    Withdrawal,
    WriteUpEdited,
)
from journal.facts.quantities import WATCHED
from journal.record.job import Asked, Fact, Job, JobState, Part, Reading, Run
from journal.record.pictures import Pictures
from journal.record.resolve import Resolved, in_order, resolve


def replay(entries: Iterable[Entry]) -> Job:
    """The job that these entries of one job make, whatever order they come in.

    Raises:
        BadInput: when no entry opens the job, or when they belong to several.
    """
    ordered = in_order(entries)
    opening = next((entry for entry in ordered if isinstance(entry.body, JobOpened)), None)
    if opening is None:
        raise BadInput("these entries hold no job: none of them opens one")
    if any(entry.job != opening.job for entry in ordered):
        raise BadInput("these entries belong to more than one job: replay one job at a time")
    resolved = resolve(ordered)
    opened = resolved.effective[opening.id].body
    assert isinstance(opened, JobOpened)  # `resolve` lets an opening be corrected by another opening only
    building = _Building(opening, opened, opened.facts)
    for entry in resolved.effective.values():
        building.take(entry)
    return building.finish(ordered, resolved)


@dataclass
class _Building:
    """A job half built; `take` one entry after the other."""

    opening: Entry
    opened: JobOpened
    facts: dict[str, str] = field(default_factory=dict)
    edits: dict[str, str] = field(default_factory=dict)
    runs: list[_Run] = field(default_factory=list)
    conditions: list[Reading] = field(default_factory=list)
    checks: list[Fact[Check]] = field(default_factory=list)
    codes: list[Fact[TroubleCode]] = field(default_factory=list)
    notes: list[Fact[Note]] = field(default_factory=list)
    pictures: Pictures = field(default_factory=Pictures)
    seen: dict[str, list[Fact[Seen]]] = field(default_factory=dict)
    wanted: list[Fact[PartWanted]] = field(default_factory=list)
    answers: dict[str, list[Fact[PartAnswer]]] = field(default_factory=dict)
    overrides: list[Fact[GateOverridden]] = field(default_factory=list)
    repairs: list[Fact[RepairDone]] = field(default_factory=list)
    outstanding: list[Restored] = field(default_factory=list)
    closed: Fact[JobClosed] | None = None
    to_verify: bool = False
    asked: list[str] = field(default_factory=list)
    """Questions about readings that wait in the run in progress."""
    lapsed: set[str] = field(default_factory=set)
    """Those whose run was over before they were answered."""

    def take(self, entry: Entry) -> None:
        """Let one entry that counts work on the job."""
        body = entry.body
        match body:
            case Baseline() | Cut() | Condition():  # first, for they are the most
                self._read(entry, body)
            case JobFact():
                self.facts[body.field] = body.value
            case EngineChanged():
                self.opened = replace(self.opened, engine=body.engine)
            case RunStarted():
                self._start(entry, body)
            case Question(_, (RunStarted() as likelier, *_)):
                self._start(entry, likelier, asked=True)
            case RunEnded():
                self._end(entry)
            case Check():
                self.checks.append(Fact(entry, body))
            case TroubleCode():
                self.codes.append(Fact(entry, body))
            case Note():
                self.notes.append(Fact(entry, body))
            case PhotoCue() | Photo() | PhotoPlaced() | PhotoMark():
                self.pictures.take(entry, body)
            case Seen():
                self.seen.setdefault(body.target, []).append(Fact(entry, body))
            case PutBack():
                self.outstanding = [what for what in self.outstanding if what != body.what]
            case PartWanted():
                self.wanted.append(Fact(entry, body))
            case PartAnswer():
                self.answers.setdefault(body.part, []).append(Fact(entry, body))
                self.to_verify |= body.state is PartState.FITTED
            case GateOverridden():
                self.overrides.append(Fact(entry, body))
            case RepairDone():
                self.repairs.append(Fact(entry, body))
                self.to_verify = True
            case WriteUpEdited():
                self.edits[body.section] = body.text
            case JobClosed():
                self.closed = Fact(entry, body)
            case JobReopened():
                self.closed = None
            case Question():
                if self.runs and self.runs[-1].ended_at is None and _of_readings(body):
                    self.asked.append(entry.id)
            case JobOpened() | Answer() | Correction() | Withdrawal() | ClockSetBack():
                pass

    def _start(self, entry: Entry, start: RunStarted, *, asked: bool = False) -> None:
        self._end(entry)
        if start.repeat and self.runs:
            before = self.runs[-1].start
            start = _again(before, start)
        self.runs.append(_Run(entry.id, len(self.runs) + 1, start, entry.at_utc, asked=asked))
        self.pictures.run_started(entry, len(self.runs))
        if start.held_out:
            self._change(Restored.CYLINDERS)
        if start.pressure is not None or start.pressure_value is not None:
            self._change(Restored.PRESSURE)
        if start.after_repair:
            self.to_verify = False

    def _change(self, what: Restored) -> None:
        if what not in self.outstanding:
            self.outstanding.append(what)

    def _end(self, entry: Entry) -> None:
        if self.runs and self.runs[-1].ended_at is None:
            self.runs[-1].ended_at = entry.at_utc
            self.pictures.run_ended(entry)
            self.lapsed.update(self.asked)
            self.asked = []

    def _read(self, entry: Entry, body: Baseline | Cut | Condition) -> None:
        in_run = bool(self.runs) and self.runs[-1].ended_at is None
        if not in_run and isinstance(body, Condition):
            self.conditions.append(_reading(entry, body, body.quantity, body.unit))
            return
        if not in_run:
            quantity = body.quantity or _watched(body.unit)
            self._start(entry, RunStarted(RunKind.IDLE, quantity, body.unit))
        run = self.runs[-1]
        quantity = body.quantity or run.start.quantity
        unit = body.unit or (run.start.unit if quantity == run.start.quantity else "")
        reading = _reading(entry, body, quantity, unit)
        if isinstance(body, Condition):
            run.conditions.append(reading)
        elif isinstance(body, Baseline):
            run.baselines.append(reading)
        else:
            run.cuts.append(reading)

    def finish(self, ordered: Sequence[Entry], resolved: Resolved) -> Job:
        """The job as it stands after the last entry."""
        parts = tuple(Part(wanted, tuple(self.answers.get(wanted.entry.id, ()))) for wanted in self.wanted)
        # Later than its last entry where the clock was ahead when it was opened.
        opened_at = min(self.opening.at_utc, ordered[-1].at_utc)
        return Job(
            id=self.opening.job,
            opened_at=opened_at,
            unit=self.facts.pop("unit", self.opened.unit),
            engine=self.opened.engine,
            complaint=self.facts.pop("complaint", self.opened.complaint),
            technicians=tuple(
                dict.fromkeys(e.technician for e in ordered if e.technician and e.source is not Source.DESK)
            ),
            facts={name: value for name, value in self.facts.items() if value},
            runs=tuple(run.frozen() for run in self.runs),
            conditions=tuple(self.conditions),
            checks=tuple(self.checks),
            codes=tuple(self.codes),
            notes=tuple(self.notes),
            pictures=self.pictures.placed(opened_at),
            seen={target: tuple(facts) for target, facts in self.seen.items()},
            questions=_questions(ordered, resolved, self.lapsed),
            parts=parts,
            overrides=tuple(self.overrides),
            repairs=tuple(self.repairs),
            edits={section: text for section, text in self.edits.items() if text},
            outstanding=tuple(self.outstanding),
            closed=self.closed,
            state=self._state(parts),
            entries=tuple(ordered),
            effective=resolved.effective,
            replaced_by=resolved.replaced_by,
        )

    def _state(self, parts: Sequence[Part]) -> JobState:
        if self.closed is not None:
            return JobState.CLOSED
        states = [part.answers[-1].body.state if part.answers else PartState.WANTED for part in parts]
        if any(state in _STILL_TO_COME for state in states):
            return JobState.WAITING
        return JobState.TO_VERIFY if self.to_verify else JobState.OPEN


_STILL_TO_COME = (PartState.WANTED, PartState.ANSWERED, PartState.PRICED, PartState.ORDERED)
"""What a part is while a job waits for it."""


def _again(before: RunStarted, start: RunStarted) -> RunStarted:
    """A run that repeats another, with what was said to be different this time."""
    pressed = start.pressure is not None or start.pressure_value is not None
    changed = start if pressed else before
    return replace(
        before,
        repeat=True,
        after_repair=before.after_repair or start.after_repair,
        idle_fuel=start.idle_fuel,
        held_out=start.held_out or before.held_out,
        pressure=changed.pressure,
        pressure_value=changed.pressure_value,
        pressure_unit=changed.pressure_unit,
    )


def _watched(unit: str) -> Quantity:
    """What a reading that nobody announced is of, by its unit."""
    return next((q for q in WATCHED if not unit or unit in UNITS[q]), Quantity.FUEL_PER_STROKE)


def _of_readings(question: Question) -> bool:
    """Whether a question is about what a run read."""
    return bool(question.options) and all(isinstance(_said(b), Baseline | Cut | Condition) for b in question.options)


@dataclass
class _Run:
    """A run half built."""

    id: str
    number: int
    start: RunStarted
    started_at: datetime
    asked: bool = False
    ended_at: datetime | None = None
    baselines: list[Reading] = field(default_factory=list)
    cuts: list[Reading] = field(default_factory=list)
    conditions: list[Reading] = field(default_factory=list)

    def frozen(self) -> Run:
        return Run(
            id=self.id,
            number=self.number,
            start=self.start,
            started_at=self.started_at,
            ended_at=self.ended_at,
            asked=self.asked,
            baselines=tuple(self.baselines),
            cuts=tuple(self.cuts),
            conditions=tuple(self.conditions),
        )


def _reading(entry: Entry, body: Baseline | Cut | Condition, quantity: Quantity, unit: str) -> Reading:
    cylinder, no_change = (body.cylinder, body.no_change) if isinstance(body, Cut) else (None, False)
    unit = unit or UNITS[quantity][0]
    return Reading(entry.id, entry.at_utc, quantity, body.value, unit, cylinder, no_change, entry.certainty)


def _questions(ordered: Sequence[Entry], resolved: Resolved, lapsed: set[str]) -> tuple[Asked, ...]:
    """Every question that was not taken back, with what settled it."""
    asked = []
    for entry in ordered:
        if not isinstance(entry.body, Question):
            continue
        by = resolved.settled_by.get(entry.id)
        if by is None:
            if entry.id in resolved.effective:
                asked.append(Asked(Fact(entry, entry.body), lapsed=entry.id in lapsed))
            continue
        body = by.body if isinstance(by.body, Answer) else Answer(entry.id, body=_said(by.body))
        asked.append(Asked(Fact(entry, entry.body), Fact(by, body)))
    return tuple(asked)


def _said(body: Body) -> Body:
    return body.body if isinstance(body, Correction) else body
