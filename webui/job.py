"""The job page: what was read, what it means, what to check next, and what is not put back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from journal.analysis.findings import RunFinding
from journal.errors import NotFound
from journal.output.charts import comparison_charts, run_chart
from journal.output.wanted import past
from journal.record.job import Job, Run
from journal.record.vouched import vouched
from webui.shop import State, shop
from webui.tiles import tiles

pages = Blueprint("job", __name__)

TABS = (
    ("overview", "job.overview", "Job"),
    ("live", "live.live", "Live"),
    ("phone", "handset.view", "Phone"),
    ("review", "review.review", "Review"),
    ("photos", "photos.gallery", "Photos"),
    ("parts", "links.parts", "Parts"),
    ("writeup", "writeup.writeup", "Write-up"),
    ("finish", "finish.finish", "Finish"),
)
"""The pages of a job: key, endpoint and words."""

IN_FULL = 4
"""How many runs, the latest, the job page shows in full; earlier ones have pages of their own."""

AS_SAID = 1
"""Of how many runs, the latest, it lists every reading as well."""


@pages.get("/job/<job_id>")
def overview(job_id: str) -> ResponseReturnValue:
    """One job on one page."""
    state = shop().state(job_id)
    last = state.job.runs[-IN_FULL:]
    earlier = [(run, _finding(state, run)) for run in state.job.runs[:-IN_FULL]]
    side_by_side = [Markup(drawing) for drawing in comparison_charts(state.job, state.findings)]
    return render_template(
        "job.html", **about(state, "overview"), runs=runs(state, last, AS_SAID), earlier=earlier,
        side_by_side=side_by_side, past=past(state.findings), tiles=tiles(state),
        written_by=vouched(shop().store, state.job).lines,
    )  # fmt: skip


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
    return {
        "job": state.job,
        "findings": state.findings,
        "reference": state.line.reference,
        "tab": tab,
        "job_tabs": TABS,
    }


def runs(state: State, chosen: Sequence[Run], as_said: int = 1) -> list[dict[str, Any]]:
    """Each run with its finding and its drawing, and the last `as_said` with their readings in the order said."""
    listed = chosen[-as_said:]
    return [_run(state.job, run, _finding(state, run), run in listed) for run in chosen]


def _finding(state: State, run: Run) -> RunFinding | None:
    return next((finding for finding in state.findings.runs if finding.run == run.id), None)


def _run(job: Job, run: Run, finding: RunFinding | None, listed: bool) -> dict[str, Any]:
    drawing = Markup(run_chart(finding, job.engine)) if finding is not None and finding.contributions else None
    said = sorted((*run.baselines, *run.cuts, *run.conditions), key=lambda r: (r.at_utc, r.entry))
    readings = [(reading, job.effective.get(reading.entry)) for reading in said]
    return {"run": run, "finding": finding, "drawing": drawing, "said": readings if listed else None}
