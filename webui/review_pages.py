"""A job and which part is asked for in, what the review shows out: a run, a cylinder, the rest, or all by time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from journal.analysis.words import capital
from journal.facts import Answer, Baseline, Body, Check, Condition, Correction, Cut, Entry, Photo, Withdrawal
from journal.output.words import run_title
from journal.record.job import Fact, Job, Picture, Run

READINGS = (Baseline, Cut, Condition)
"""Bodies that are read within a run."""


@dataclass(frozen=True)
class Line:
    """One entry as the review shows it."""

    entry: Entry
    """As it came in."""
    body: Body
    """What it says now."""
    counts: bool
    """False when it was taken back."""
    changed: str
    """`corrected`, `answered`, `taken back` or empty."""


@dataclass(frozen=True)
class Group:
    """Lines that belong together, under their own heading."""

    title: str
    """Its heading."""
    lines: tuple[Line, ...]
    """Its entries: baselines, conditions, then cylinder by cylinder."""
    run: Run | None = None
    """The run that they belong to."""


@dataclass(frozen=True)
class Chosen:
    """What one page of the review shows."""

    key: str
    """How the address names it: `run-2`, `cylinder-3`, `rest` or `all`."""
    title: str
    """Its heading."""
    groups: tuple[Group, ...] = ()
    """Readings, a group for each run."""
    checks: tuple[Fact[Check], ...] = ()
    """Checks on the cylinder that was asked for."""
    pictures: tuple[Picture, ...] = ()
    """Photos of that cylinder."""
    lines: tuple[Line, ...] = ()
    """Other entries, newest first."""


def choices(job: Job) -> list[tuple[str, str]]:
    """What can be asked for: how the address names it, and its words; the latest run first."""
    runs = [(f"run-{run.number}", f"Run {run.number}") for run in reversed(job.runs)]
    cylinders = [(f"cylinder-{n}", f"Cylinder {n}") for n in job.engine.numbers]
    return [*runs, *cylinders, ("rest", "Everything else"), ("all", "All by time")]


def chosen(job: Job, key: str) -> Chosen:
    """The part that is asked for; the latest run where nothing known is, all by time where there is no run."""
    known = dict(choices(job))
    if key not in known:
        key = f"run-{job.runs[-1].number}" if job.runs else "all"
    lines = lines_of(job)
    if key == "all":
        return Chosen(key, "All by time", lines=tuple(lines))
    if key == "rest":
        return Chosen(key, "Everything else", lines=tuple(x for x in lines if not isinstance(x.body, READINGS)))
    kind, _, number = key.partition("-")
    if kind == "run":
        run = job.runs[int(number) - 1]
        return Chosen(key, known[key], (_group(job, run, lines),))
    cylinder = int(number)
    groups = (_group(job, run, lines, cylinder) for run in job.runs)
    return Chosen(
        key,
        known[key],
        groups=tuple(group for group in groups if group.lines),
        checks=tuple(check for check in job.checks if check.body.cylinder == cylinder),
        pictures=tuple(picture for picture in job.pictures if picture.photo.body.cylinder == cylinder),
    )


def lines_of(job: Job) -> list[Line]:
    """Every entry that says something of its own, newest first."""
    by_id = {entry.id: entry for entry in job.entries}
    placed = {picture.photo.body.sha256: picture.photo.body for picture in job.pictures}
    lines = []
    for entry in reversed(job.entries):
        if isinstance(entry.body, Correction | Withdrawal | Answer):
            continue
        now = job.effective.get(entry.id)
        later = [by_id[i].body for i in job.replaced_by.get(entry.id, ())]
        changed = "" if now is not None and now.body == entry.body else _changed(later, now is not None)
        body: Body = now.body if now is not None else entry.body
        if isinstance(body, Photo):
            body = placed.get(body.sha256, body)
        lines.append(Line(entry, body, now is not None, changed))
    return lines


def _changed(later: list[Body], counts: bool) -> str:
    if not counts and any(isinstance(body, Withdrawal) for body in later):
        return "taken back"
    if any(isinstance(body, Correction) for body in later):
        return "corrected"
    return "answered" if later else ""


def _group(job: Job, run: Run, lines: Sequence[Line], cylinder: int | None = None) -> Group:
    """A run's readings, what was taken back among them; of one cylinder only where one is named."""
    mine = {r.entry for r in (*run.baselines, *run.cuts, *run.conditions)}
    until = next((later.started_at for later in job.runs if later.number == run.number + 1), None)
    found = [
        line
        for line in lines
        if isinstance(line.body, READINGS)
        and (line.entry.id in mine or (not line.counts and _during(line.entry, run, until)))
        and (cylinder is None or (isinstance(line.body, Cut) and line.body.cylinder == cylinder))
    ]
    found.sort(key=lambda line: (_place(line.body), line.entry.at_utc, line.entry.id))
    return Group(f"Run {run.number}: {capital(run_title(run.start))}", tuple(found), run)


def _during(entry: Entry, run: Run, until: datetime | None) -> bool:
    return entry.at_utc >= run.started_at and (until is None or entry.at_utc < until)


def _place(body: Body) -> int:
    """Where a reading stands in its run: baselines, conditions, then the cylinders."""
    return body.cylinder if isinstance(body, Cut) else -1 if isinstance(body, Baseline) else 0
