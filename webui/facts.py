"""What a job is about, put right later: unit, complaint, plate, hours, mileage, and the engine's layout."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput
from journal.facts import EngineChanged, JobFact
from journal.facts.one_line import is_seen
from journal.record.job import Job
from webui.acting import acting, done, field
from webui.board import ENGINE_CHOICES, PLATE, engine_fields, engine_in
from webui.job import about
from webui.layout import places
from webui.shop import shop

pages = Blueprint("facts", __name__)

FIELDS = {"unit": 120, "complaint": 600, **PLATE, "mileage": 20}
"""What can be put right, and how long it may be, characters."""


@pages.get("/job/<job_id>/about")
def form(job_id: str) -> ResponseReturnValue:
    """The form, filled in with what is known."""
    state = shop().state(job_id)
    engine = state.job.engine
    return render_template(
        "about.html", **about(state, "overview"), known=_known(state.job), given=_given(state.job),
        engine=engine, drawn=places(engine), plate=PLATE, **ENGINE_CHOICES,
    )  # fmt: skip


@pages.post("/job/<job_id>/about")
def keep(job_id: str) -> ResponseReturnValue:
    """Enter what was changed, and only that."""
    session = acting(job_id)
    job = session.job
    known = _known(job)
    wanted = {name: field(name.replace(" ", "_"), longest) for name, longest in FIELDS.items()}
    if not is_seen(wanted["unit"]):
        raise BadInput("which machine is it? Fill in the unit")
    engine = engine_in(request.form)
    _fits(job, engine.cylinders)
    changed = [JobFact(name, value) for name, value in wanted.items() if value != known[name]]
    for fact in changed:
        session.enter(fact)
    if engine != job.engine:
        session.enter(EngineChanged(engine))
    done("kept" if changed or engine != job.engine else "nothing was changed")
    return redirect(url_for("job.overview", job_id=job_id), 303)


def _known(job: Job) -> dict[str, str]:
    return {"unit": job.unit, "complaint": job.complaint, **{n: job.facts.get(n, "") for n in (*PLATE, "mileage")}}


def _given(job: Job) -> dict[str, str]:
    said = {name.replace(" ", "_"): job.facts.get(name, "") for name in PLATE}
    return {**said, **engine_fields(job.engine), "injection": str(job.engine.injection)}


def _fits(job: Job, cylinders: int) -> None:
    """Refuse an engine that lacks a cylinder of which there are readings."""
    read = [cut.cylinder for run in job.runs for cut in run.cuts if cut.cylinder]
    if read and max(read) > cylinders:
        raise BadInput(f"there are readings of cylinder {max(read)}: take those back first, or give more cylinders")
