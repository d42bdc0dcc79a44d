"""A job as it stands: what replaying its entries gives."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from typing import Generic, TypeVar

from journal.facts import (
    Answer,
    Check,
    Engine,
    Entry,
    GateOverridden,
    JobClosed,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    PhotoMark,
    Quantity,
    Question,
    RepairDone,
    Restored,
    RunStarted,
    Seen,
    TroubleCode,
)

T = TypeVar("T")


class JobState(StrEnum):
    """How far a job is."""

    OPEN = "open"
    WAITING = "waiting for parts"
    TO_VERIFY = "to verify"
    CLOSED = "closed"


@dataclass(frozen=True)
class Reading:
    """A number with a quantity, a unit and, where it has one, a cylinder."""

    entry: str
    """Identifier of the entry that counts for it (the question's, when it was asked)."""
    at_utc: datetime
    """When it was said."""
    quantity: Quantity
    """What it measures."""
    value: float | None
    """The number; none when `no_change`."""
    unit: str
    """Its unit, never empty."""
    cylinder: int | None = None
    """The cylinder that was cut; none for a baseline or a condition."""
    no_change: bool = False
    """True when the words were that it did not change."""
    certainty: float = 1.0
    """Probability, 0 to 1, that it is what was said."""


@dataclass(frozen=True)
class Run:
    """One cut-out test."""

    id: str
    """Identifier of the entry that started it, or of its first reading when it was never announced."""
    number: int
    """1 for the job's first run."""
    start: RunStarted
    """Its kind and conditions."""
    started_at: datetime
    """When it began."""
    ended_at: datetime | None = None
    """When it ended; none while in progress."""
    asked: bool = False
    """True while its start is a question: `start` is the likelier option, and readings stay out of other runs."""
    baselines: tuple[Reading, ...] = ()
    """Readings with no further cylinder cut, in order."""
    cuts: tuple[Reading, ...] = ()
    """Readings with one cylinder cut, in order; a cylinder may come more than once."""
    conditions: tuple[Reading, ...] = ()
    """Speeds, pressures, temperatures and loads said meanwhile, in order."""

    @property
    def done(self) -> tuple[int, ...]:
        """Cylinders cut so far, in order; one may come more than once."""
        return tuple(cut.cylinder for cut in self.cuts if cut.cylinder is not None)

    def left(self, engine: Engine) -> tuple[int, ...]:
        """Live cylinders not cut yet, by number."""
        return tuple(c for c in engine.numbers if c not in self.done and c not in self.start.held_out)

    def next_cut(self, engine: Engine) -> int | None:
        """The cylinder that "next" means; none when every one was cut."""
        return engine.next_to_cut(self.done, self.start.held_out)


@dataclass(frozen=True)
class Fact(Generic[T]):
    """A body that counts, with the entry it comes from."""

    entry: Entry
    """The entry that counts for it; its body may have been corrected since."""
    body: T
    """What it says after corrections and answers."""


@dataclass(frozen=True)
class Part:
    """A wanted part with the latest that is known of it."""

    wanted: Fact[PartWanted]
    """What is wanted."""
    answers: tuple[Fact[PartAnswer], ...] = ()
    """What was answered, in order; the last one counts."""

    def now(self, state: PartState, number: str = "") -> PartAnswer:
        """What to enter when it has come so far: all else that is known of it stays, but for the last answer's note."""
        known = self.answers[-1].body if self.answers else PartAnswer(self.wanted.entry.id, state)
        return replace(known, state=state, number=number or known.number, note="")


class PlacedBy(StrEnum):
    """What says where a photo belongs; anything but the first two is a guess worth confirming."""

    GIVEN = "given with it"
    HAND = "placed by hand"
    CUE_WHEN_TAKEN = "the spoken cue when it was taken"
    CUE_WHEN_ARRIVED = "the spoken cue when it arrived"
    RUN = "the run in progress when it was taken"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Picture:
    """A photo with where it belongs and what was drawn on it."""

    photo: Fact[Photo]
    """The photo; subject and cylinder as last placed."""
    marks: tuple[Fact[PhotoMark], ...] = ()
    """Rings and arrows on top, in order."""
    placed_by: PlacedBy = PlacedBy.NOTHING
    """What says where it belongs."""


@dataclass(frozen=True)
class Asked:
    """A question and, once settled, its answer."""

    question: Fact[Question]
    """The question."""
    answer: Fact[Answer] | None = None
    """The answer that counts; none while it waits."""
    lapsed: bool = False
    """Whether the run it asks about was over before it was answered; it can still be answered on the page."""


@dataclass(frozen=True)
class Job:
    """The state got by replaying a job's entries in order."""

    id: str
    """UUIDv7."""
    opened_at: datetime
    """When it was opened."""
    unit: str
    """What machine it is."""
    engine: Engine
    """Its engine's layout."""
    complaint: str = ""
    """What the operator says is wrong."""
    technicians: tuple[str, ...] = ()
    """Everyone at the engine who made an entry, in order of their first; the parts desk is not among them."""
    facts: dict[str, str] = field(default_factory=dict)
    """Hours, mileage and the like, by field name."""
    runs: tuple[Run, ...] = ()
    """Cut-out tests in order."""
    conditions: tuple[Reading, ...] = ()
    """Conditions said outside any run."""
    checks: tuple[Fact[Check], ...] = ()
    """Checks in order; a later one on the same subject and cylinder does not erase an earlier one."""
    codes: tuple[Fact[TroubleCode], ...] = ()
    """Trouble codes."""
    notes: tuple[Fact[Note], ...] = ()
    """Notes."""
    pictures: tuple[Picture, ...] = ()
    """Photos."""
    seen: dict[str, tuple[Fact[Seen], ...]] = field(default_factory=dict)
    """What photos of screens show, by identifier of the entry or the question that it speaks for, in order."""
    questions: tuple[Asked, ...] = ()
    """Questions, waiting and settled."""
    parts: tuple[Part, ...] = ()
    """Wanted parts."""
    overrides: tuple[Fact[GateOverridden], ...] = ()
    """Orders made against missing checks."""
    repairs: tuple[Fact[RepairDone], ...] = ()
    """Repairs."""
    edits: dict[str, str] = field(default_factory=dict)
    """The technician's own words by section of the write-up."""
    outstanding: tuple[Restored, ...] = ()
    """What was changed for a test and not yet put back."""
    closed: Fact[JobClosed] | None = None
    """How it was closed; none while it goes on."""
    state: JobState = JobState.OPEN
    """How far it is."""
    entries: tuple[Entry, ...] = ()
    """Every entry in order, whether it counts or not."""
    effective: dict[str, Entry] = field(default_factory=dict)
    """Entries that count, by identifier, with corrections and answers applied to their bodies."""
    replaced_by: dict[str, tuple[str, ...]] = field(default_factory=dict)
    """For an entry that was corrected, withdrawn or answered: the entries that did so, in order."""

    @property
    def run_in_progress(self) -> Run | None:
        """The last run while it has not ended."""
        return self.runs[-1] if self.runs and self.runs[-1].ended_at is None else None

    @property
    def waiting(self) -> tuple[Asked, ...]:
        """Questions without an answer, in order; what was not understood has nothing to choose from and is not here."""
        return tuple(asked for asked in self._unanswered if not asked.lapsed)

    @property
    def lapsed(self) -> tuple[Asked, ...]:
        """Questions whose run was over before they were answered, in order; what they asked about does not count."""
        return tuple(asked for asked in self._unanswered if asked.lapsed)

    @property
    def _unanswered(self) -> tuple[Asked, ...]:
        return tuple(asked for asked in self.questions if asked.answer is None and asked.question.body.options)

    @property
    def not_understood(self) -> tuple[Asked, ...]:
        """What was said for the journal, not understood and not yet put right, in order: questions without options."""
        return tuple(asked for asked in self.questions if asked.answer is None and not asked.question.body.options)
