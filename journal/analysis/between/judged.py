"""A job and what its runs say in; the runs that judged a cylinder, with how each was made, out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from journal.analysis.between.conditions import Judged, conditions_of
from journal.analysis.between.swaps import seats, swaps_of
from journal.analysis.findings import RunFinding
from journal.record.job import Job


def judged_runs(job: Job, runs: Sequence[RunFinding]) -> list[Judged]:
    """The runs with contributions, in order."""
    by_id = {run.id: run for run in job.runs}
    judged = [
        Judged(conditions_of(run), run.start, found, run.started_at)
        for found in runs
        if found.contributions and (run := by_id.get(found.run)) is not None
    ]
    swaps = swaps_of(job, judged)
    return [replace(one, conditions=replace(one.conditions, swapped=seats(swaps, one.started_at))) for one in judged]
