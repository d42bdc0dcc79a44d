"""The parts desk's view: one job, by a link, to be read and answered."""

from __future__ import annotations

from datetime import UTC, datetime

from flask import Blueprint, Response, abort, make_response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.errors import NotFound
from journal.facts import JobClosed, Source
from journal.output.order_sheet import order_sheet, whom_to_ask
from journal.record.job import Job
from webui.acting import acting, done
from webui.answers import DESK_SAYS, FIELDS, Row, blank, read
from webui.files import marked_photo_of, photo_of
from webui.grants import Link, LinkKind
from webui.log import refused
from webui.photos import shown
from webui.shop import shop

pages = Blueprint("desk", __name__)


def job_behind(token: str, kind: LinkKind) -> Link:
    """The link with this token, while it is open.

    A link that was never given out, or was altered, ends in 404; one that expired or was taken back in 410, and so does
    a phone's once the job was closed, also where it was opened again since.
    """
    device = shop().log.tag(request.remote_addr)
    if not shop().door.may_try_link(device):
        refused("too many wrong links", again_and_again=True)
        abort(429)
    link = shop().grants.link(token, kind)
    if link is None:
        shop().door.wrong_link(device)
        refused("link never given out or altered")
        abort(404)
    if not link.open_at(datetime.now(UTC)):
        refused("withdrawn link" if link.withdrawn else "expired link")
        abort(_over(link))
    if kind is LinkKind.PHONE and closed_since(shop().state(link.job).job, link):
        refused("link of a closed job")
        abort(_over(link))
    return link


def _over(link: Link) -> Response:
    """What whoever has a link that is over is told: that it is, and whom to ask."""
    try:
        ask = whom_to_ask(shop().store.job(link.job), shop().store.line(link.job).reference)
    except NotFound:
        ask = "Ask the shop for a new one."
    text = f"This link has ended or was taken back. {ask}"
    return make_response(render_template("over.html", text=text), 410)


def closed_since(job: Job, link: Link) -> bool:
    """Whether the job was closed after the link was made, and that was not taken back."""
    closings = (entry for entry in job.entries if isinstance(entry.body, JobClosed) and entry.id in job.effective)
    return job.closed is not None or any(entry.at_utc >= link.made_at for entry in closings)


@pages.get("/desk/<token>")
def view(token: str) -> ResponseReturnValue:
    """What is wanted, why, on what evidence, and the answers so far."""
    link = job_behind(token, LinkKind.DESK)
    return _page(token, link, blank(shop().state(link.job).job))


def _page(token: str, link: Link, rows: list[Row], problem: str = "") -> str:
    state = shop().state(link.job)
    sheet = order_sheet(state.job, state.findings, state.line.reference)
    return render_template(
        "desk.html", token=token, link=link, job=state.job, sheet=sheet, rows=list(zip(sheet.parts, rows, strict=True)),
        far=DESK_SAYS, fields=FIELDS, problem=problem, photos=[shown(picture) for picture in state.job.pictures],
    )  # fmt: skip


@pages.post("/desk/<token>")
def answer(token: str) -> ResponseReturnValue:
    """The desk's answers on all parts; where one of them is wrong none is entered and all that was typed stays."""
    link = job_behind(token, LinkKind.DESK)
    if not shop().quotas.answer_comes(link.id):
        refused("too many answers by one link", again_and_again=True)
        abort(429)
    session = acting(link.job, Source.DESK)
    rows, answers = read(session.job, shop().state(link.job).findings, request.form, DESK_SAYS, settled=False)
    if session.job.closed is not None:
        return _page(token, link, rows, "this job is closed: nothing is wanted any more; ask the shop"), 400
    if any(row.wrong for row in rows):
        return _page(token, link, rows, "look at what is marked below; what you typed still stands there"), 400
    for one in answers:
        session.enter(one)
    many = "" if len(answers) == 1 else f" ({len(answers)} parts)"
    done(f"sent; the shop sees it now{many}" if answers else "nothing was changed")
    return redirect(url_for("desk.view", token=token), 303)


@pages.get("/desk/<token>/photo/<sha256:sha>")
def opened(token: str, sha: str) -> ResponseReturnValue:
    """A photo of the link's own job in full, with what is drawn on it; it carries nothing but the picture."""
    return marked_photo_of(shop().state(job_behind(token, LinkKind.DESK).job).job, sha)


@pages.get("/desk/<token>/photo/<sha256:sha>/<any(thumb, page):size>")
def photo(token: str, sha: str, size: str) -> ResponseReturnValue:
    """A photo of the link's own job."""
    return photo_of(shop().state(job_behind(token, LinkKind.DESK).job).job, sha, size)
