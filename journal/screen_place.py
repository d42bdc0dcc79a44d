"""A job and a photo of a screen in it in, what of the run it shows out, or why that is not plain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from journal.errors import BadInput
from journal.facts import PhotoCue, RunKind
from journal.facts.codec import time_from_text
from journal.record.job import Job, Picture, PlacedBy, Run

SCREEN = "scanner"
"""What a photo shows, as a cue says it, where it is of a screen."""


@dataclass(frozen=True)
class Place:
    """What a photo shows of the run in progress."""

    run: Run
    """The run."""
    cylinder: int | None
    """The cylinder that was cut; none for the baseline."""
    sure: bool = True
    """Whether it was said so; else it is asked."""
    known: bool = True
    """Whether it is known at all; else it can only agree with the reading said last."""


def place_of(job: Job, picture: Picture) -> Place | str:
    """Where a photo's numbers belong, or why that is not plain; empty for a photo that is not of a screen."""
    run, photo, arrived = job.run_in_progress, picture.photo.body, picture.photo.entry.at_utc
    subjects = ("", SCREEN, f"cut-out run {run.number}" if run is not None else "")
    if photo.subject not in subjects and not (run is None and photo.subject.startswith("cut-out run ")):
        return ""
    if job.closed is not None:
        return "the job is closed"
    if run is None or run.asked or run.started_at > arrived:
        return "no run is open that it was taken in"
    if run.start.run is RunKind.SCANNER_RESULT:
        return "a scanner's own result is said or typed"
    if _taken_before(photo.taken_at, run):
        return "it was taken before this run began"
    if photo.cylinder is not None:
        return _cut_place(job, picture, run, photo.cylinder)
    if run.cuts or (run.baselines and photo.subject != SCREEN):
        return Place(run, None, known=False)
    return Place(run, None, sure=photo.subject == SCREEN)


def _cut_place(job: Job, picture: Picture, run: Run, cylinder: int) -> Place | str:
    if cylinder not in job.engine.numbers:
        return f"this engine has no cylinder {cylinder}"
    given = picture.photo.entry.body
    by_cue = picture.placed_by in (PlacedBy.CUE_WHEN_TAKEN, PlacedBy.CUE_WHEN_ARRIVED)
    if by_cue and getattr(given, "cylinder", None) is None:
        cue = next(e for e in reversed(job.entries) if e.id in job.effective and isinstance(e.body, PhotoCue))
        later = [cut.cylinder for cut in run.cuts if cut.at_utc > cue.at_utc and cut.cylinder != cylinder]
        if later:
            return f"cylinder {later[-1]} was cut since the cue for cylinder {cylinder}"
    return Place(run, cylinder)


def _taken_before(taken_at: str, run: Run) -> bool:
    """Whether a photo says that it was taken before the run; cameras keep whole seconds."""
    try:
        return bool(taken_at) and time_from_text(taken_at) < run.started_at - timedelta(seconds=1)
    except BadInput:
        return False
