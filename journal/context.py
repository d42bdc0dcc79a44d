"""What a job so far leads one to expect of the next utterance: a job in, a wording context out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from journal.facts import UNITS, Engine, Quantity, RunStarted
from journal.record.job import Job, Reading, Run
from journal.wording.types import Context, Range

SPREAD = 0.5
"""How far, as a fraction, a quantity may move between two readings before it is worth a question."""


def context_of(job: Job, units: Mapping[Quantity, str] | None = None) -> Context:
    """The context in which the next utterance on this job is understood.

    Args:
        job: the job so far.
        units: what a number without a unit means in this shop; a quantity that is not there is in its first unit.
    """
    run = job.run_in_progress
    waiting = job.waiting
    options = waiting[-1].question.body.options if waiting else ()
    context = Context(engine=job.engine, question_options=options, units=tuple((units or {}).items()))
    if run is None:
        return context
    quantity = run.start.quantity
    unit = run.start.unit or UNITS[quantity][0]
    baselines = [r for r in run.baselines if r.quantity == quantity and r.unit == unit]
    announced = job.effective[run.id].body if run.id in job.effective else None
    return replace(
        context,
        run=announced if isinstance(announced, RunStarted) else None,
        run_id=run.id,
        quantity=quantity,
        unit=unit,
        baseline=baselines[-1].value if baselines else None,
        already_cut=_cut_values(run, quantity, unit, baselines),
        held_out=run.start.held_out,
        next_cylinder=next_cylinder(job.engine, run),
        ranges=tuple(_range(r) for r in run.conditions if r.value),
    )


def _cut_values(run: Run, quantity: str, unit: str, baselines: Sequence[Reading]) -> tuple[tuple[int, float], ...]:
    values = []
    for cut in run.cuts:
        value = baselines[-1].value if cut.no_change and baselines else cut.value
        if cut.cylinder is not None and value is not None and cut.quantity == quantity and cut.unit == unit:
            values.append((cut.cylinder, value))
    return tuple(values)


def _range(reading: Reading) -> Range:
    value = reading.value or 0.0
    low, high = sorted((value * (1 - SPREAD), value * (1 + SPREAD)))
    return Range(reading.quantity, low, high, reading.unit)


def next_cylinder(engine: Engine, run: Run) -> int | None:
    """The cylinder that "next" means: the one after the last cut, by number or by firing order.

    The order is the one the cuts so far have followed; by number while they fit both or neither.
    """
    live = [c for c in engine.numbers if c not in run.start.held_out]
    done = [cut.cylinder for cut in run.cuts if cut.cylinder is not None]
    by_firing = [c for c in engine.order if c in live]
    order = by_firing if _follows(done, by_firing) and not _follows(done, live) else live
    if not order:
        return None
    if not done:
        return order[0]
    if done[-1] not in order:
        return None
    at = order.index(done[-1])
    return next((c for c in order[at + 1 :] + order[:at] if c not in done), None)


def _follows(done: list[int], order: list[int]) -> bool:
    places = [order.index(c) for c in done if c in order]
    return len(places) > 1 and all(b - a == 1 for a, b in pairwise(places))
