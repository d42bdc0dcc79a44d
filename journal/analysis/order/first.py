"""A job in; the reading or the run that comes before any check out: what is begun is finished first."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.between.swaps import Swap, Went
from journal.analysis.causes.tables import Tables
from journal.analysis.findings import NextCheck
from journal.analysis.order.next_check import Proposal
from journal.analysis.settings import Settings
from journal.analysis.words import cylinders_in_words
from journal.facts import Subject
from journal.record.job import Job, Run


def finish_first(tables: Tables, job: Job, swaps: Sequence[Swap], settings: Settings, proposal: Proposal) -> Proposal:
    """The proposal behind what is begun.

    That is, in this order: a new baseline where cuts of the last run lie long from any, cylinders it has not read, each
    of which takes seconds, and the run that shows what a swap of injectors did.
    """
    others = [check for check in (proposal.next_check, *proposal.runners_up) if check is not None]
    first = _long_apart(tables, job, settings) or _unread(tables, job) or _swapped(tables, job, swaps)
    if first is None:
        return proposal
    others = [check for check in others if not swaps or check.subject != Subject.INJECTOR_SWAP]
    return Proposal(first, tuple(others[:2]), "")


def _begun(job: Job) -> list[Run]:
    return [run for run in job.runs if run.baselines or run.cuts]


def _long_apart(tables: Tables, job: Job, settings: Settings) -> NextCheck | None:
    """A new baseline where the engine was another one by then: overnight, or after hours of work."""
    begun = _begun(job)
    if not begun or not begun[-1].baselines:
        return None
    run, far, near = begun[-1], set[int](), set[int]()
    for cut in run.cuts:
        gap = min(abs((cut.at_utc - baseline.at_utc).total_seconds()) for baseline in run.baselines)
        if cut.cylinder is not None:
            (far if gap > 60 * settings.held_apart_minutes else near).add(cut.cylinder)
    if not (again := sorted(far - near)):
        return None
    which = cylinders_in_words(again)
    return NextCheck(
        subject="cut-out run",
        cylinder=None,
        name=f"Read a new baseline, and {which} again: in run {run.number} they lie long from any baseline",
        why="Cold, or under another load, it is another engine: its cuts say little beside that baseline.",
        minutes=tables.next_check["cut_minutes"] * (1 + len(again)),
        cautions=tuple(tables.cautions[key] for key in tables.checks["same run again"].cautions),
        say="baseline, and the reading",
    )


def _unread(tables: Tables, job: Job) -> NextCheck | None:
    begun = _begun(job)
    if not begun or not (missing := begun[-1].left(job.engine)):
        return None
    following = begun[-1].next_cut(job.engine) or missing[0]
    return NextCheck(
        subject="cut-out run",
        cylinder=following,
        name=f"Cut {cylinders_in_words(missing)}, not read yet in run {begun[-1].number}",
        why="It completes the run: only then do the shares show whether the readings belong together.",
        minutes=tables.next_check["cut_minutes"] * len(missing),
        cautions=tuple(tables.cautions[key] for key in tables.checks["same run again"].cautions),
        say=f"cylinder {following} cut, and the reading",
    )


def _swapped(tables: Tables, job: Job, swaps: Sequence[Swap]) -> NextCheck | None:
    if not swaps or swaps[-1].went is not Went.OPEN:
        return None
    again, which = tables.checks["same run again"], cylinders_in_words(sorted(swaps[-1].pair))
    return NextCheck(
        subject="cut-out run",
        cylinder=None,
        name=f"Repeat the cut-out: the injectors of {which} changed places",
        why="It tells whether the miss went along with the injector or stayed with the cylinder.",
        minutes=again.minutes,
        cautions=tuple(tables.cautions[key] for key in again.cautions),
        say=again.say,
    )
