"""A job in, what the journal tells of it when it is asked out, in few words."""

from __future__ import annotations

from journal.facts.quantities import PRINTED_UNITS
from journal.record.job import Job, Reading


def missing_text(job: Job) -> str:
    """What the run in progress lacks, which questions wait, what was not understood or put back, in few words."""
    parts = []
    if run := job.run_in_progress:
        missing = [str(c) for c in run.left(job.engine)]
        if not run.baselines:
            parts.append("no baseline yet")
        parts.append("not cut yet: " + ", ".join(missing) if missing else "every cylinder is cut")
        following = run.next_cut(job.engine)
        if following is not None and missing[0] != str(following):
            parts.append(f"next is {following}")
    if job.waiting:
        many = len(job.waiting)
        prompts = " ".join(asked.question.body.prompt for asked in job.waiting)
        parts.append(f"{many} question{'s' if many > 1 else ''} waiting: {prompts}")
    if job.not_understood:
        parts.append(f"{len(job.not_understood)} not understood")
    if job.outstanding:
        parts.append("not put back: " + ", ".join(str(what) for what in job.outstanding))
    return "; ".join(parts) or "nothing is missing; no run is in progress"


def readings_text(job: Job, cylinder: int | None) -> str:
    """The readings of one cylinder, or of the run in progress (else the last one), in few words."""
    runs = job.runs if cylinder is not None else job.runs[-1:]
    parts = []
    for run in runs:
        for reading in (*run.baselines, *run.cuts) if cylinder is None else run.cuts:
            if cylinder is None or reading.cylinder == cylinder:
                what = "baseline" if reading.cylinder is None else f"cylinder {reading.cylinder}"
                parts.append(f"{what} {_value(reading)}")
    return ", ".join(parts) or "no readings yet"


def _value(reading: Reading) -> str:
    if reading.no_change or reading.value is None:
        return "no change"
    return f"{reading.value:g} {PRINTED_UNITS.get(reading.unit, reading.unit)}"
