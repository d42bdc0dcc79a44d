"""Entries in, a job out: corrections, withdrawals, answers and photo placements are resolved here, and only here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from journal.errors import BadInput
from journal.facts import (
    UNITS,
    Answer,
    Baseline,
    Body,
    Check,
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
    TroubleCode,
    Withdrawal,
    WriteUpEdited,
)
from journal.record.job import Asked, Fact, Job, JobState, Part, Picture, Reading, Run


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Entries by time, then identifier; one of each identifier."""
    return sorted({entry.id: entry for entry in entries}.values(), key=lambda e: (e.at_utc, e.id))


def replay(entries: Iterable[Entry]) -> Job:
    """The job that these entries of one job make, whatever order they come in.

    Raises:
        BadInput: when no entry opens the job.
    """
    ordered = in_order(entries)
    effective, replaced_by = resolve(ordered)
    opening = next((e for e in ordered if e.id in effective and isinstance(effective[e.id].body, JobOpened)), None)
    if opening is None:
        raise BadInput("these entries hold no job: none of them opens one")
    opened = effective[opening.id].body
    assert isinstance(opened, JobOpened)
    building = _Building(opened.unit, opened)
    for entry in ordered:
        if entry.id in effective:
            building.take(effective[entry.id])
    return building.finish(opening, ordered, effective, replaced_by)


def resolve(ordered: Sequence[Entry]) -> tuple[dict[str, Entry], dict[str, tuple[str, ...]]]:
    """Which entries count, with the bodies that count, and which entries replaced which.

    A withdrawal of an entry removes it; a withdrawal of a correction, an answer or a withdrawal undoes that. The
    latest correction that counts gives the body. An answered question gives the body chosen, at the question's place.
    """
    about: dict[str, list[Entry]] = {}
    for entry in ordered:
        target = _target(entry.body)
        if target is not None and target != entry.id:
            about.setdefault(target, []).append(entry)

    def counts(entry_id: str, seen: frozenset[str]) -> bool:
        later = (e for e in about.get(entry_id, ()) if isinstance(e.body, Withdrawal) and e.id not in seen)
        return not any(counts(e.id, seen | {e.id}) for e in later)

    def body_of(entry: Entry, seen: frozenset[str]) -> Body | None:
        body: Body | None = entry.body
        certainty_is_given = False
        for later in about.get(entry.id, ()):
            if later.id in seen or not counts(later.id, frozenset({later.id})):
                continue
            if isinstance(later.body, Correction):
                corrected = body_of(later, seen | {later.id})
                body = corrected.body if isinstance(corrected, Correction) else later.body.body
            elif isinstance(later.body, Answer) and isinstance(entry.body, Question) and not certainty_is_given:
                body = _answered(entry.body, later.body)
                certainty_is_given = True
        return body

    effective: dict[str, Entry] = {}
    for entry in ordered:
        if isinstance(entry.body, Correction | Withdrawal) or not counts(entry.id, frozenset({entry.id})):
            continue
        body = body_of(entry, frozenset({entry.id}))
        if body is not None:
            changed = body != entry.body
            effective[entry.id] = replace(entry, body=body, certainty=1.0) if changed else entry
    return effective, {target: tuple(e.id for e in later) for target, later in about.items()}


def _target(body: Body) -> str | None:
    if isinstance(body, Correction | Withdrawal):
        return body.target
    return body.question if isinstance(body, Answer) else None


def _answered(question: Question, answer: Answer) -> Body | None:
    if answer.body is not None:
        return answer.body
    if answer.choice is not None and 0 <= answer.choice < len(question.options):
        return question.options[answer.choice]
    return None


@dataclass
class _Building:
    """A job half built; `take` one entry after the other."""

    unit: str
    opened: JobOpened
    facts: dict[str, str] = field(default_factory=dict)
    edits: dict[str, str] = field(default_factory=dict)
    runs: list[Run] = field(default_factory=list)
    conditions: list[Reading] = field(default_factory=list)
    checks: list[Fact[Check]] = field(default_factory=list)
    codes: list[Fact[TroubleCode]] = field(default_factory=list)
    notes: list[Fact[Note]] = field(default_factory=list)
    pictures: dict[str, Picture] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)
    overrides: list[Fact[GateOverridden]] = field(default_factory=list)
    repairs: list[Fact[RepairDone]] = field(default_factory=list)
    outstanding: list[Restored] = field(default_factory=list)
    cue: PhotoCue | None = None
    closed: Fact[JobClosed] | None = None

    def take(self, entry: Entry) -> None:
        """Let one entry that counts work on the job."""
        body = entry.body
        match body:
            case JobFact():
                self.facts[body.field] = body.value
            case EngineChanged():
                self.opened = replace(self.opened, engine=body.engine)
            case RunStarted():
                self._start(entry, body)
            case RunEnded():
                self._end(entry)
            case Baseline() | Cut() | Condition():
                self._read(entry, body)
            case Check():
                self.checks.append(Fact(entry, body))
            case TroubleCode():
                self.codes.append(Fact(entry, body))
            case Note():
                self.notes.append(Fact(entry, body))
            case PhotoCue():
                self.cue = body
            case Photo():
                self._picture(entry, body)
            case PhotoPlaced() | PhotoMark():
                self._on_picture(entry, body)
            case PutBack():
                self.outstanding = [what for what in self.outstanding if what != body.what]
            case PartWanted():
                self.parts[entry.id] = Part(Fact(entry, body))
            case PartAnswer():
                if body.part in self.parts:
                    part = self.parts[body.part]
                    self.parts[body.part] = replace(part, answers=(*part.answers, Fact(entry, body)))
            case GateOverridden():
                self.overrides.append(Fact(entry, body))
            case RepairDone():
                self.repairs.append(Fact(entry, body))
            case WriteUpEdited():
                self.edits[body.section] = body.text
            case JobClosed():
                self.closed = Fact(entry, body)
            case JobReopened():
                self.closed = None
            case _:
                pass

    def _start(self, entry: Entry, start: RunStarted) -> None:
        self._end(entry)
        self.runs.append(Run(entry.id, len(self.runs) + 1, start, entry.at_utc))
        if start.held_out:
            self._change(Restored.CYLINDERS)
        if start.pressure is not None or start.pressure_value is not None:
            self._change(Restored.PRESSURE)

    def _change(self, what: Restored) -> None:
        if what not in self.outstanding:
            self.outstanding.append(what)

    def _end(self, entry: Entry) -> None:
        if self.runs and self.runs[-1].ended_at is None:
            self.runs[-1] = replace(self.runs[-1], ended_at=entry.at_utc)

    def _read(self, entry: Entry, body: Baseline | Cut | Condition) -> None:
        in_run = bool(self.runs) and self.runs[-1].ended_at is None
        if not in_run and isinstance(body, Condition):
            self.conditions.append(_reading(entry, body, body.quantity, body.unit))
            return
        if not in_run:
            quantity = body.quantity or Quantity.FUEL_PER_STROKE
            self._start(entry, RunStarted(RunKind.IDLE, quantity, body.unit))
        run = self.runs[-1]
        quantity = body.quantity or run.start.quantity
        unit = body.unit or (run.start.unit if quantity == run.start.quantity else "")
        reading = _reading(entry, body, quantity, unit)
        if isinstance(body, Condition):
            run = replace(run, conditions=(*run.conditions, reading))
        elif isinstance(body, Baseline):
            run = replace(run, baselines=(*run.baselines, reading))
        else:
            run = replace(run, cuts=(*run.cuts, reading))
        self.runs[-1] = run

    def _picture(self, entry: Entry, photo: Photo) -> None:
        if photo.sha256 in self.pictures:
            return
        if not photo.subject and self.cue is not None:
            photo = replace(photo, subject=self.cue.subject, cylinder=self.cue.cylinder)
        self.pictures[photo.sha256] = Picture(Fact(entry, photo))

    def _on_picture(self, entry: Entry, body: PhotoPlaced | PhotoMark) -> None:
        picture = self.pictures.get(body.photo)
        if picture is None:
            return
        if isinstance(body, PhotoMark):
            self.pictures[body.photo] = replace(picture, marks=(*picture.marks, Fact(entry, body)))
        else:
            photo = replace(picture.photo.body, subject=body.subject, cylinder=body.cylinder)
            self.pictures[body.photo] = replace(picture, photo=Fact(picture.photo.entry, photo))

    def finish(
        self,
        opening: Entry,
        ordered: Sequence[Entry],
        effective: dict[str, Entry],
        replaced_by: dict[str, tuple[str, ...]],
    ) -> Job:
        """The job as it stands after the last entry."""
        return Job(
            id=opening.job,
            opened_at=opening.at_utc,
            unit=self.facts.get("unit", self.unit),
            engine=self.opened.engine,
            complaint=self.facts.get("complaint", self.opened.complaint),
            technicians=tuple(dict.fromkeys(e.technician for e in ordered if e.technician)),
            facts={k: v for k, v in self.facts.items() if k not in ("unit", "complaint")},
            runs=tuple(self.runs),
            conditions=tuple(self.conditions),
            checks=tuple(self.checks),
            codes=tuple(self.codes),
            notes=tuple(self.notes),
            pictures=tuple(self.pictures.values()),
            questions=_questions(ordered, effective, replaced_by),
            parts=tuple(self.parts.values()),
            overrides=tuple(self.overrides),
            repairs=tuple(self.repairs),
            edits={k: v for k, v in self.edits.items() if v},
            outstanding=tuple(self.outstanding),
            closed=self.closed,
            state=self._state(),
            entries=tuple(ordered),
            effective=effective,
            replaced_by=replaced_by,
        )

    def _state(self) -> JobState:
        if self.closed is not None:
            return JobState.CLOSED
        states = [p.answers[-1].body.state if p.answers else PartState.WANTED for p in self.parts.values()]
        if any(s in (PartState.WANTED, PartState.PRICED, PartState.ORDERED) for s in states):
            return JobState.WAITING
        repaired = bool(self.repairs) or PartState.FITTED in states
        verified = any(run.start.after_repair for run in self.runs)
        return JobState.TO_VERIFY if repaired and not verified else JobState.OPEN


def _reading(entry: Entry, body: Baseline | Cut | Condition, quantity: Quantity, unit: str) -> Reading:
    return Reading(
        entry=entry.id,
        at_utc=entry.at_utc,
        quantity=quantity,
        value=body.value,
        unit=unit or UNITS[quantity][0],
        cylinder=body.cylinder if isinstance(body, Cut) else None,
        no_change=isinstance(body, Cut) and body.no_change,
        certainty=entry.certainty,
    )


def _questions(
    ordered: Sequence[Entry], effective: dict[str, Entry], replaced_by: dict[str, tuple[str, ...]]
) -> tuple[Asked, ...]:
    by_id = {entry.id: entry for entry in ordered}
    asked = []
    for entry in ordered:
        if not isinstance(entry.body, Question) or (entry.id not in effective and not replaced_by.get(entry.id)):
            continue
        later = [by_id[i] for i in replaced_by.get(entry.id, ())]
        if any(isinstance(e.body, Withdrawal) for e in later) and entry.id not in effective:
            continue
        answer = next((Fact(e, e.body) for e in later if isinstance(e.body, Answer) and e.id in effective), None)
        asked.append(Asked(Fact(entry, entry.body), answer))
    return tuple(asked)
