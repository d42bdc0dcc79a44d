"""The write-up: read, put into the technician's own words, print, download as PDF, and pack to carry."""

from __future__ import annotations

import tempfile
from pathlib import Path

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from journal.errors import BadInput
from journal.facts import WriteUpEdited
from journal.output.charts import charts_of
from journal.output.render import render
from journal.output.writeup import write_up
from journal.output.writeup_html import sheet_style
from journal.record.pack import pack
from journal.record.vouched import vouched
from webui.acting import acting, done, field
from webui.job import about
from webui.photos import shown
from webui.shop import State, shop

pages = Blueprint("writeup", __name__)

KINDS = {"pdf": "application/pdf", "txt": "text/plain; charset=utf-8", "json": "application/json", "html": "text/html"}
PAPERS = ("A4", "Letter")


@pages.get("/job/<job_id>/write-up")
def writeup(job_id: str) -> ResponseReturnValue:
    """The write-up as a page that prints."""
    state = shop().state(job_id)
    return render_template(
        "writeup.html", **about(state, "writeup"), drawings=drawings(state),
        write=write_up(
            state.job, state.findings, vouched(shop().store, state.job).lines, reference=state.line.reference
        ),
        photos=[shown(picture) for picture in state.job.pictures], papers=PAPERS,
    )  # fmt: skip


def drawings(state: State) -> list[Markup]:
    """The picture of each run that has readings, and of the runs against each other."""
    return [Markup(chart) for chart in charts_of(state.job, state.findings)]


@pages.route("/job/<job_id>/write-up/<any(complaint, cause, correction):section>", methods=["GET", "POST"])
def edit(job_id: str, section: str) -> ResponseReturnValue:
    """Put one section into one's own words; empty goes back to the generated ones."""
    state = shop().state(job_id)
    if request.method == "GET":
        write = write_up(state.job, state.findings)
        words = {"complaint": write.complaint, "cause": write.cause, "correction": write.correction}[section]
        return render_template("writeup_edit.html", **about(state, "writeup"), section=section, words=words)
    text = "" if field("generated", 5) else field("text")
    acting(job_id).enter(WriteUpEdited(section, text))
    done(f"{section}: {'your words are kept' if text else 'as generated again'}")
    return redirect(url_for("writeup.writeup", job_id=job_id), 303)


@pages.get("/job/<job_id>/sheet.css")
def sheet(job_id: str) -> Response:
    """What a printer puts on every sheet of the write-up's page: the job's reference and the machine."""
    state = shop().state(job_id)
    style = sheet_style(write_up(state.job, state.findings, reference=state.line.reference).sheet)
    return Response(style, content_type="text/css; charset=utf-8")


@pages.get("/job/<job_id>/write-up.<any(pdf, txt, json, html):form>")
def download(job_id: str, form: str) -> ResponseReturnValue:
    """The write-up as a file."""
    state = shop().state(job_id)
    paper = request.args.get("paper", "A4")
    if paper not in PAPERS:
        raise BadInput(f"paper: choose one of {', '.join(PAPERS)}")
    written_by, name = vouched(shop().store, state.job).lines, state.line.reference
    data = render(state.job, state.findings, form, shop().folder, reference=name, paper=paper, written_by=written_by)
    return _file(data, KINDS[form], f"job-{state.line.reference}.{form}")


@pages.get("/job/<job_id>/pack")
def carry(job_id: str) -> ResponseReturnValue:
    """The job with its photos, sounds and write-up as one file; original photos, which tell more, only when asked."""
    state = shop().state(job_id)
    originals = request.args.get("photos") == "originals"
    written_by, name = vouched(shop().store, state.job).lines, state.line.reference
    page = render(state.job, state.findings, "html", shop().folder, reference=name, written_by=written_by)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "job.zip"
        pack(shop().store, job_id, target, {"write-up.html": page}, originals=originals)
        data = target.read_bytes()
    return _file(data, "application/zip", f"job-{state.line.reference}.zip")


def _file(data: bytes, kind: str, name: str) -> Response:
    return Response(data, 200, {"Content-Disposition": f'attachment; filename="{name}"'}, content_type=kind)
