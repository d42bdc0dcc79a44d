"""A job in, findings out: runs, then comparisons, then causes, the next check and the order gate."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.between.compare import compare
from journal.analysis.between.conditions import conditions_of
from journal.analysis.between.machine import Earlier, begun
from journal.analysis.between.repair import Repair
from journal.analysis.causes.history import History
from journal.analysis.causes.rank import rank
from journal.analysis.causes.tables import Tables
from journal.analysis.findings import Findings, Level, Remark, RepairFinding, RunFinding
from journal.analysis.run.find import find_runs
from journal.analysis.settings import Settings, default_settings
from journal.record.job import Job


def diagnose(
    job: Job,
    settings: Settings | None = None,
    *,
    history: History | None = None,
    using: Tables | None = None,
    before: tuple[Job, Findings] | None = None,
    earlier: Sequence[Earlier] = (),
) -> Findings:
    """Everything the analysis states about a job; pure, and never raises for what a technician may have entered.

    Args:
        job: the replayed job.
        settings: thresholds; the packaged ones when none are given.
        history: the shop's own closed jobs; none for the packaged base rates alone.
        using: tables of causes and checks other than the packaged ones.
        before: the job as it stood earlier with what was found then by the same settings and beside the same earlier
            jobs: what was found of a run that has not changed since holds.
        earlier: what earlier jobs on the same machine leave, oldest first.
    """
    used = settings or default_settings()
    known = _known(job, before)
    anew = [run for run in job.runs if run.id not in known]
    start = {run.id: of[1] for run in anew if (of := begun(conditions_of(run), earlier, used)) is not None}
    known |= {found.run: found for found in find_runs(anew, job.engine, used, start)}
    runs = tuple(known[run.id] for run in job.runs)
    between = compare(job, runs, used, earlier)
    causes = rank(job, runs, between, history=history, using=using)
    return Findings(
        headline=causes.headline or _headline(runs),
        runs=runs,
        comparisons=between.comparisons,
        by_pressure=tuple(one.as_finding() for one in between.pressed),
        earlier=between.machine.before if between.machine is not None else (),
        declines=between.machine.declines if between.machine is not None else (),
        cylinders=causes.cylinders,
        engine_causes=causes.engine_causes,
        next_check=causes.next_check,
        runners_up=causes.runners_up,
        why_no_check=causes.why_no_check,
        warnings=(*_asked(job), *causes.warnings),
        outstanding=causes.outstanding,
        mended=causes.mended,
        repair=_repair(between.repair),
        cautions=causes.cautions,
    )


def _known(job: Job, before: tuple[Job, Findings] | None) -> dict[str, RunFinding]:
    """By run, what was found earlier of those that are as they were."""
    if before is None or before[0].engine != job.engine:
        return {}
    earlier = {run.id: (run, found) for run, found in zip(before[0].runs, before[1].runs, strict=True)}
    return {run.id: earlier[run.id][1] for run in job.runs if run.id in earlier and earlier[run.id][0] == run}


def _repair(repair: Repair | None) -> RepairFinding | None:
    if repair is None:
        return None
    return RepairFinding(repair.verdict, repair.back, repair.still_low, repair.new_low, repair.unsettled)


def _asked(job: Job) -> tuple[Remark, ...]:
    """Runs whose start is a question that waits: their readings are kept together, what they mean is not settled."""
    return tuple(
        Remark(Level.WARNING, f"what run {run.number} was is a question that waits: answer it first", (run.id,))
        for run in job.runs
        if run.asked
    )


def _headline(runs: tuple[RunFinding, ...]) -> str:
    if any(run.contributions for run in runs):
        return "The readings so far do not tell how the cylinders compare."
    return "No cut-out readings yet."
