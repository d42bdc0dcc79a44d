"""What became of one thing said, and what an act needs of the session that carries it out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from journal.facts import Body, Entry
from journal.leading import Lead
from journal.record.job import Job
from journal.wording.types import Context, Decision, Verdict


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


class Acting(Protocol):
    """The session as the acts in it see it."""

    technician: str
    clock: Callable[[], datetime]
    lead: Lead | None

    @property
    def job(self) -> Job:
        """The job as it stands on disk now."""

    def context(self, job: Job) -> Context:
        """What the job leads one to expect."""

    def enter(self, body: Body, *, heard: str = "", clip: str = "", certainty: float = 1.0) -> Entry:
        """Write one entry; it is on disk when this returns."""


def let_go(decision: Decision, reason: str) -> Outcome:
    """Nothing came of it, and why."""
    return Outcome(Verdict.LET_GO, reason or "not for the journal", "", None, decision)
