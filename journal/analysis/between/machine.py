"""Earlier jobs on the same machine, and today's run, to how each cylinder pulled then and now, and slow declines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median

import numpy as np

from journal.analysis.between.conditions import Conditions, Judged
from journal.analysis.between.judged import judged_runs
from journal.analysis.between.line import slope
from journal.analysis.between.pressure import interval
from journal.analysis.findings import Contribution, DeclineFinding, EarlierFinding, RunFinding
from journal.analysis.learnt import Learnt
from journal.analysis.settings import Settings
from journal.facts import UNITS
from journal.facts.units import convert
from journal.record.job import Job

_LEAST_LOST = 0.05
"""A fall of the strength by less than this is none."""
_MOST_AT_ONCE = 0.75
"""Where one step makes more than this part of the fall, it came at once, as it must between two runs; common practice,
no source."""
_MAY_DIFFER = ("after_repair", "swapped", "temperature_c")


@dataclass(frozen=True)
class EarlierRun:
    """One judged run of the whole engine."""

    conditions: Conditions
    """How it was made."""
    baseline: float | None
    """Middle of its baselines; none without one."""
    unit: str
    """Their unit."""
    contributions: tuple[Contribution, ...]
    """What it says of each cylinder."""


@dataclass(frozen=True)
class Earlier:
    """What an earlier job leaves to be compared with."""

    job: str
    """Its identifier."""
    reference: str
    """What people call it."""
    opened_at: datetime
    """When it was opened."""
    cause: str
    """Key of the cause it was closed with; empty while it is open."""
    runs: tuple[EarlierRun, ...]
    """Its judged runs of the whole engine, in order."""
    learnt: tuple[tuple[Conditions, Learnt], ...] = ()
    """What each run that adds up shows of engine and display, in order, with how it was made."""


def remembered(job: Job, runs: Sequence[RunFinding], reference: str = "") -> Earlier:
    """What a job with its judged runs leaves for later ones on the same machine."""
    judged = judged_runs(job, runs)
    whole = [j for j in judged if not j.conditions.held_out]
    cause = job.closed.body.cause if job.closed is not None else ""
    learnt = tuple((j.conditions, j.finding.learnt) for j in judged if j.finding.learnt is not None)
    return Earlier(job.id, reference, job.opened_at, cause, tuple(_run(job, j) for j in whole), learnt)


def begun(now: Conditions, earlier: Sequence[Earlier], settings: Settings) -> tuple[Earlier, Learnt] | None:
    """The earlier job, and what it shows, from which a run made in this way starts; none without one.

    Of the runs made in the same way it is the one with the most readings, of several the latest: each was worked out by
    itself, so that what was believed before any would count more than once if they were taken together.
    """
    found = [(one, of) for one in earlier for how, of in one.learnt if how.like(now, settings, but=_MAY_DIFFER)]
    return max(reversed(found), key=lambda pair: pair[1].readings, default=None)


def _run(job: Job, judged: Judged) -> EarlierRun:
    run = next(run for run in job.runs if run.id == judged.finding.run)
    unit = run.start.unit or UNITS[run.start.quantity][0]
    read = [
        convert(b.value, b.unit, unit)
        for b in run.baselines
        if b.value is not None and b.quantity == run.start.quantity
    ]
    return EarlierRun(judged.conditions, median(read) if read else None, unit, judged.finding.contributions)


@dataclass(frozen=True)
class Machine:
    """The machine before and now."""

    now: EarlierRun
    """Today's last run of the whole engine."""
    run: str
    """Its identifier."""
    before: tuple[EarlierFinding, ...]
    """Earlier jobs, oldest first."""
    declines: tuple[DeclineFinding, ...]
    """Cylinders that pull less from job to job."""
    start: Earlier | None
    """The one that today's run starts from; none where none was read in the same way."""


def machine_of(job: Job, judged: Sequence[Judged], earlier: Sequence[Earlier], settings: Settings) -> Machine | None:
    """What earlier jobs on the machine, oldest first, show beside today's last run of the whole engine.

    None without an earlier job or such a run. Of each earlier job the last run under today's conditions counts; a
    cold engine, injectors in other places and a repair between are allowed, as they would be after weeks.
    """
    whole = [j for j in judged if not j.conditions.held_out and j.plain]
    if not earlier or not whole:
        return None
    now = _run(job, whole[-1])
    pairs = [(one, _alike(one, now, settings)) for one in earlier]
    compared = [(one.opened_at, run) for one, run in pairs if run is not None] + [(whole[-1].started_at, now)]
    declines = tuple(d for c in job.engine.numbers if (d := _decline(c, compared, settings)) is not None)
    start = begun(now.conditions, earlier, settings)
    before = tuple(_finding(one, run, now) for one, run in pairs)
    return Machine(now, whole[-1].finding.run, before, declines, start[0] if start is not None else None)


def _alike(one: Earlier, now: EarlierRun, settings: Settings) -> EarlierRun | None:
    alike = [run for run in one.runs if run.conditions.like(now.conditions, settings, but=_MAY_DIFFER)]
    return alike[-1] if alike else None


def _finding(one: Earlier, run: EarlierRun | None, now: EarlierRun) -> EarlierFinding:
    day = one.opened_at.date().isoformat()
    if run is None:
        return EarlierFinding(one.job, one.reference, day, one.cause)
    baseline = convert(run.baseline, run.unit, now.unit) if run.baseline is not None else None
    return EarlierFinding(one.job, one.reference, day, one.cause, baseline, now.unit, run.contributions)


def _decline(
    cylinder: int, compared: Sequence[tuple[datetime, EarlierRun]], settings: Settings
) -> DeclineFinding | None:
    """A fall from job to job: a sure slope, no sure rise on the way, and no one step that makes most of it."""
    read = [(at, c) for at, run in compared for c in run.contributions if c.cylinder == cylinder]
    if not read:
        return None
    strength, u = np.array([c.strength for _, c in read]), np.array([c.strength_u for _, c in read])
    # In parts of the whole time, so that the slope is what was gained over it.
    whole = (read[-1][0] - read[0][0]).total_seconds() or 1.0
    line = slope([(at - read[0][0]).total_seconds() / whole for at, _ in read], strength.tolist(), u.tolist())
    if line is None:
        return None
    lost, lost_u = -line[0], line[1]
    steps, steps_u = np.diff(strength), np.hypot(u[1:], u[:-1])
    sure = lost > max(_LEAST_LOST, settings.changed_z * lost_u)
    if not sure or (steps > settings.changed_z * steps_u).any() or -steps.min() > _MOST_AT_ONCE * lost:
        return None
    return DeclineFinding(
        cylinder,
        read[0][0].date().isoformat(),
        tuple(float(s) for s in strength),
        lost,
        *interval(lost, lost_u),
    )
