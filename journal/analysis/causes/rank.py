"""A job with its runs judged in; ranked causes, the next check, the order gate and what is not yet put back out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from journal.analysis.between.compare import Between
from journal.analysis.between.repair import Repair
from journal.analysis.between.words import repair_sentence
from journal.analysis.causes.evidence import Gathered, gather
from journal.analysis.causes.history import History, with_history
from journal.analysis.causes.inference import infer
from journal.analysis.causes.model import Model, build_model
from journal.analysis.causes.ranked import believe, rank_cylinder, rank_engine
from journal.analysis.causes.tables import Tables, tables
from journal.analysis.causes.verdict import headline
from journal.analysis.causes.warnings import warnings_of
from journal.analysis.findings import Cause, CylinderFinding, NextCheck, Remark, RunFinding, Standing
from journal.analysis.order.first import finish_first
from journal.analysis.order.next_check import Done, Proposal, propose
from journal.analysis.settings import Settings
from journal.analysis.words import cylinders_in_words
from journal.facts import Restored
from journal.record.job import Job


@dataclass(frozen=True)
class CauseFindings:
    """The part of `Findings` that is about causes; every field is merged into it under the same name."""

    headline: str = ""
    """The most important thing in one or two sentences; empty when no run judges a cylinder yet."""
    cylinders: tuple[CylinderFinding, ...] = ()
    """Cylinders that do not pull, worst first."""
    engine_causes: tuple[Cause, ...] = ()
    """Causes common to all or to several cylinders, most likely first."""
    next_check: NextCheck | None = None
    """What to check next; none when further checks would not change the decision."""
    runners_up: tuple[NextCheck, ...] = ()
    """The two next best."""
    why_no_check: str = ""
    """Why nothing more need be checked."""
    warnings: tuple[Remark, ...] = ()
    """What the reader needs to know about causes, and about what is not yet put back."""
    outstanding: tuple[Restored, ...] = ()
    """What has not been put back."""
    mended: str = ""
    """After a repair run: whether it is mended, in one sentence."""
    cautions: tuple[str, ...] = ()
    """Cautions for the work at hand."""


def cause_keys() -> tuple[str, ...]:
    """Keys of every cause a job can be closed with, cylinders' first; `unknown` is not among them."""
    return tuple(tables().causes)


def rank(
    job: Job,
    runs: tuple[RunFinding, ...],
    between: Between,
    *,
    history: History | None = None,
    using: Tables | None = None,
) -> CauseFindings:
    """Why the engine does not pull as it should, as far as the job tells.

    Args:
        job: the job as it stands.
        runs: its runs, judged, one for each.
        between: what the runs say of each other.
        history: the shop's own closed jobs; none for the packaged base rates alone.
        using: tables of causes and checks other than the packaged ones.
    """
    book = using or tables()
    if history is not None:
        book = with_history(book, history)
    found = gather(book, job, runs, between)
    mended = repair_sentence(between.repair)
    judged = [c for c, standing in found.standing.items() if standing is not Standing.UNCLEAR]
    common = any(run.half_low for run in runs)
    if not judged and not common:
        return _nothing_to_rank(
            book, job, found, between.settings, history, "", "No cylinder has been judged yet: finish a run first."
        )
    if mended and not found.low:
        now = _nothing_to_rank(book, job, found, between.settings, history, mended, _why_none_after(between.repair))
        return replace(now, cylinders=_before_the_repair(book, job, runs, between))
    model = _model(book, job, found, judged)
    posterior = infer(model, [item.observation for item in found.items])
    done = _done(found)
    belief = believe(book, job, found, posterior, done)
    cylinders = tuple(rank_cylinder(belief, cylinder) for cylinder in model.low)
    engine = rank_engine(belief)
    proposal = finish_first(book, job, found.swaps, between.settings, propose(book, posterior, job.engine, done))
    return CauseFindings(
        headline=headline(book, mended, cylinders, engine, judged),
        cylinders=cylinders,
        engine_causes=engine,
        next_check=proposal.next_check,
        runners_up=proposal.runners_up,
        why_no_check=proposal.why_none,
        warnings=warnings_of(book, job, found, cylinders, history),
        outstanding=job.outstanding,
        mended=mended,
        cautions=tuple(dict.fromkeys((*_always(book), *_at_hand(proposal.next_check, cylinders)))),
    )


def _why_none_after(repair: Repair | None) -> str:
    """Why nothing is to be checked when the run after the repair shows no cylinder low: what it still lacks, if any."""
    assert repair is not None  # There is a sentence about it.
    now = repair.after.finding
    unclear = tuple(c.cylinder for c in now.contributions if c.standing is Standing.UNCLEAR)
    if now.missing:
        return f"Read {cylinders_in_words(now.missing)} first: no other cylinder is low in the run after the repair."
    if unclear:
        return f"Repeat {cylinders_in_words(unclear)} first: no other cylinder is low in the run after the repair."
    return "The run after the repair shows no cylinder low."


def _before_the_repair(
    book: Tables, job: Job, runs: Sequence[RunFinding], between: Between
) -> tuple[CylinderFinding, ...]:
    """What was found on the cylinders that were low before the repair, said as past."""
    after = {run.id for run in job.runs if run.start.after_repair}
    earlier = [run for run in runs if run.run not in after]
    judged = tuple(j for j in between.judged if j.finding.run not in after)
    found = gather(book, job, earlier, replace(between, judged=judged, repair=None))
    clear = [c for c, standing in found.standing.items() if standing is not Standing.UNCLEAR]
    posterior = infer(_model(book, job, found, clear), [item.observation for item in found.items])
    belief = believe(book, job, found, posterior, _done(found))
    return tuple(rank_cylinder(belief, cylinder, past=True) for cylinder in found.low)


def _nothing_to_rank(
    book: Tables, job: Job, found: Gathered, settings: Settings, history: History | None, mended: str, why: str
) -> CauseFindings:
    proposal = finish_first(book, job, found.swaps, settings, Proposal(None, (), why))
    return CauseFindings(
        headline=mended,
        next_check=proposal.next_check,
        why_no_check=proposal.why_none,
        warnings=warnings_of(book, job, found, (), history),
        outstanding=job.outstanding,
        mended=mended,
        cautions=_always(book),
    )


def _model(book: Tables, job: Job, found: Gathered, judged: Sequence[int]) -> Model:
    return build_model(book, job.engine, found.low, judged)


def _done(found: Gathered) -> Done:
    """Checks made, by low cylinder, those of the whole engine among them; none for the whole engine alone."""
    done: dict[int | None, set[str]] = {None: set(), **{c: set() for c in found.low}}
    for item in found.items:
        done[item.observation.cylinder].add(item.observation.check)
    everywhere = frozenset(done[None])
    return {place: frozenset(checks) | everywhere for place, checks in done.items()}


def _always(book: Tables) -> tuple[str, ...]:
    keys = ("always", "rotating", "pressure", "voltage", "air", "eyes", "lockout", "overspeed")
    return tuple(book.cautions[key] for key in keys)


def _at_hand(check: NextCheck | None, cylinders: Sequence[CylinderFinding]) -> tuple[str, ...]:
    causes = [caution for found in cylinders for cause in found.causes[:1] for caution in cause.cautions]
    return (*(check.cautions if check else ()), *causes)
