"""The job page: what was read, what it means, what to check next, and what is not put back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from journal.analysis.findings import RunFinding
from journal.errors import NotFound
from journal.facts import Entry
from journal.output.charts import comparison_charts, run_chart
from journal.record.job import Job, Reading, Run
from webui.shop import State, shop

pages = Blueprint("job", __name__)

TABS = (
    ("overview", "job.overview", "Job"),
    ("live", "live.live", "Live"),
    ("review", "review.review", "Review"),
    ("photos", "photos.gallery", "Photos"),
    ("parts", "links.parts", "Parts"),
    ("writeup", "writeup.writeup", "Write-up"),
    ("finish", "finish.finish", "Finish"),
)
"""The pages of a job: key, endpoint and words."""

IN_FULL = 4
"""How many runs, the latest, the job page shows in full; earlier ones have pages of their own."""


@pages.get("/job/<job_id>")
def overview(job_id: str) -> ResponseReturnValue:
    """One job on one page."""
    state = shop().state(job_id)
    last = state.job.runs[-IN_FULL:]
    earlier = runs(state, state.job.runs[: -len(last)]) if len(last) < len(state.job.runs) else []
    side_by_side = [Markup(drawing) for drawing in comparison_charts(state.job, state.findings)]
    return render_template(
        "job.html", **about(state, "overview"), runs=runs(state, last), earlier=earlier, side_by_side=side_by_side
    )


@pages.get("/job/<job_id>/run/<int:number>")
def run(job_id: str, number: int) -> ResponseReturnValue:
    """One run with its readings."""
    state = shop().state(job_id)
    chosen = [run for run in state.job.runs if run.number == number]
    if not chosen:
        raise NotFound(f"this job has no run {number}: go back to the job to see which it has")
    return render_template("run.html", **about(state, "overview"), item=runs(state, chosen)[0])


def about(state: State, tab: str) -> dict[str, Any]:
    """What every page of a job shows around its content."""
    return {"job": state.job, "findings": state.findings, "tab": tab, "job_tabs": TABS}


def runs(state: State, chosen: Sequence[Run]) -> list[dict[str, Any]]:
    """Each run with its finding, its drawing and its readings in the order said."""
    found = {finding.run: finding for finding in state.findings.runs}
    return [_run(state.job, run, found.get(run.id)) for run in chosen]


def _run(job: Job, run: Run, finding: RunFinding | None) -> dict[str, Any]:
    drawing = Markup(run_chart(finding, job.engine)) if finding is not None and finding.contributions else None
    said = sorted((*run.baselines, *run.cuts, *run.conditions), key=lambda r: (r.at_utc, r.entry))
    return {"run": run, "finding": finding, "drawing": drawing, "said": [(r, _entry(job, r)) for r in said]}


def _entry(job: Job, reading: Reading) -> Entry | None:
    return job.effective.get(reading.entry)
