"""A job and what an entry is to say by hand in, out whether the rest of its run leads one to expect that.

Typed numbers are doubted as spoken ones are: a finger slips as easily as an ear.
"""

from __future__ import annotations

from dataclasses import replace

from journal.context import context_of
from journal.errors import BadInput
from journal.facts import UNITS, Baseline, Body, Check, Condition, Cut
from journal.facts.units import convert
from journal.record.job import Job, Run
from journal.wording import describe
from journal.wording.expect import expected
from journal.wording.types import Context


def doubt(job: Job, body: Body, *, entry: str = "", run: int | None = None) -> str:
    """The question to put before a number is entered by hand; empty when nothing speaks against it.

    Args:
        job: the job as it stands.
        body: what is to be entered.
        entry: the entry that it replaces, whose own number does not count; empty for a new one.
        run: number of the run that a new reading belongs to; none for the one in progress.
    """
    if not isinstance(body, Cut | Baseline | Condition | Check):
        return ""
    within = _run(job, entry, run)
    context = _context(job, within, entry)
    if _agrees(body, context) and not (isinstance(body, Baseline) and within and _strands(body, within, context)):
        return ""
    return f"{describe(body)}: that is not what this job leads one to expect. Is it right all the same?"


def _run(job: Job, entry: str, number: int | None) -> Run | None:
    """The run that the reading belongs to."""
    for run in job.runs:
        if run.number == number or any(r.entry == entry for r in (*run.baselines, *run.cuts, *run.conditions)):
            return run
    return job.run_in_progress if number is None and not entry else None


def _context(job: Job, run: Run | None, entry: str) -> Context:
    """What the run leads one to expect without that entry."""
    if run is None:
        return context_of(replace(job, runs=()))
    rest = replace(
        run,
        ended_at=None,
        baselines=tuple(r for r in run.baselines if r.entry != entry),
        cuts=tuple(r for r in run.cuts if r.entry != entry),
        conditions=tuple(r for r in run.conditions if r.entry != entry),
    )
    return context_of(replace(job, runs=(rest,)))


def _agrees(body: Cut | Baseline | Condition | Check, context: Context) -> bool:
    unit = context.unit or UNITS[context.quantity][0]
    if isinstance(body, Cut) and body.value is not None and body.unit and body.unit != unit:
        try:
            body = replace(body, value=convert(body.value, body.unit, unit), unit=unit)
        except BadInput:
            return False
    return expected(body, context)


def _strands(baseline: Baseline, run: Run, context: Context) -> bool:
    """Whether most of the run's cuts could not be what they are with this baseline alone."""
    with_it = replace(context, baseline=baseline.value)
    read = [Cut(r.cylinder, r.value) for r in run.cuts if r.cylinder and r.value is not None and r.unit == context.unit]
    return 2 * sum(not expected(cut, with_it) for cut in read) > len(read)
