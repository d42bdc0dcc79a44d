"""A job's parts as the technician sees them, and the links given to the parts desk or to a phone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput, NotFound
from journal.facts import PartWanted
from journal.output.order_pdf import as_order_pdf
from journal.output.order_sheet import as_message, order_sheet
from journal.output.render import picture_with
from webui.access import qr_code
from webui.acting import acting, cylinder_of, done, field, whole
from webui.answers import FIELDS, SHOP_SAYS, Row, blank, read
from webui.grants import LinkKind
from webui.job import about
from webui.network import lan_address
from webui.photos import landing
from webui.shop import shop
from webui.writeup import PAPERS

pages = Blueprint("links", __name__)

DESK_DAYS = (1, 7, 30)
"""How long a link for the parts desk may last, days."""

PHONE_HOURS = 2
"""How long a phone may send photos by one QR code."""


@pages.get("/job/<job_id>/parts")
def parts(job_id: str) -> ResponseReturnValue:
    """What is wanted, what is known of it, and the links given out."""
    return _page(job_id, blank(shop().state(job_id).job))


def _page(job_id: str, rows: list[Row]) -> str:
    state = shop().state(job_id)
    now = datetime.now(UTC)
    given = [
        {
            "link": link,
            "address": _address(url_for("desk.view", token=shop().grants.token(link))),
            "open": link.open_at(now),
        }
        for link in shop().grants.links(job_id, LinkKind.DESK)
    ]
    return render_template(
        "parts.html", **about(state, "parts"), given=given, days=DESK_DAYS, lan=shop().lan, rows=rows, far=SHOP_SAYS,
        fields=FIELDS, papers=PAPERS, message=as_message(order_sheet(state.job, state.findings, state.line.reference)),
    )  # fmt: skip


@pages.post("/job/<job_id>/parts")
def want(job_id: str) -> ResponseReturnValue:
    """Want a part."""
    session = acting(job_id)
    words = field("description", 200)
    if not words:
        raise BadInput("which part? Say what it is")
    session.enter(PartWanted(words, whole("quantity") or 1, cylinder_of(session.job), field("reason", 400)))
    done(f"wanted: {words}")
    return redirect(url_for("links.parts", job_id=job_id), 303)


@pages.post("/job/<job_id>/parts/answers")
def say(job_id: str) -> ResponseReturnValue:
    """Say what is known of the parts and how far they are; what is wrong leaves everything as it was typed."""
    session = acting(job_id)
    rows, answers = read(session.job, shop().state(job_id).findings, request.form, SHOP_SAYS, settled=True)
    if any(row.wrong for row in rows):
        return _page(job_id, rows), 400
    for one in answers:
        session.enter(one)
    names = {part.wanted.entry.id: part.wanted.body.description for part in session.job.parts}
    done("; ".join(f"{names[one.part]}: {one.state}" for one in answers) or "nothing was changed")
    return redirect(url_for("links.parts", job_id=job_id), 303)


@pages.get("/job/<job_id>/order.pdf")
def order(job_id: str) -> ResponseReturnValue:
    """One sheet for a parts desk that no link can reach."""
    state = shop().state(job_id)
    paper = request.args.get("paper", "A4")
    if paper not in PAPERS:
        raise BadInput(f"paper: choose one of {', '.join(PAPERS)}")
    marks = {p.photo.body.sha256: [fact.body for fact in p.marks] for p in state.job.pictures}
    data = as_order_pdf(
        order_sheet(state.job, state.findings, state.line.reference),
        lambda sha: picture_with(shop().folder, sha, marks.get(sha, ())),
        paper=paper,
    )
    name = f"job-{state.line.reference}-parts.pdf"
    return Response(
        data, 200, {"Content-Disposition": f'attachment; filename="{name}"'}, content_type="application/pdf"
    )


@pages.post("/job/<job_id>/links")
def give(job_id: str) -> ResponseReturnValue:
    """Make a link for the parts desk."""
    shop().store.line(job_id)
    days = whole("days")
    if days not in DESK_DAYS:
        raise BadInput(f"days: choose one of {', '.join(map(str, DESK_DAYS))}")
    shop().grants.give(job_id, LinkKind.DESK, timedelta(days=days))
    done("link made; send it to the parts desk")
    return redirect(url_for("links.parts", job_id=job_id), 303)


@pages.post("/job/<job_id>/links/<link_id>/withdraw")
def withdraw(job_id: str, link_id: str) -> ResponseReturnValue:
    """Take a link back; it opens nothing from now on."""
    if not shop().grants.withdraw(job_id, link_id):
        raise NotFound("this job has no such link: reload the page")
    done("link withdrawn")
    if request.form.get("back") == "devices":
        return redirect(url_for("access.devices"), 303)
    page = "photos.gallery" if request.form.get("back") == "photos" else "links.parts"
    return redirect(url_for(page, job_id=job_id), 303)


@pages.post("/job/<job_id>/phone")
def phone(job_id: str) -> ResponseReturnValue:
    """A QR code by which a phone sends photos to this job, and nothing else."""
    state = shop().state(job_id)
    if state.job.closed is not None:
        raise BadInput("this job is closed: open it again to take photos in from a phone")
    link = shop().grants.give(job_id, LinkKind.PHONE, timedelta(hours=PHONE_HOURS))
    address = _address(url_for("phone.view", token=shop().grants.token(link)))
    return render_template(
        "phone_code.html", **about(state, "photos"), address=address, code=qr_code(address), hours=PHONE_HOURS,
        lan=shop().lan, landing=landing(state.job),
    )  # fmt: skip


def _address(path: str) -> str:
    """A whole address that other devices can reach: with this machine's own one where the network may see it."""
    name, _, port = request.host.rpartition(":") if not request.host.endswith("]") else (request.host, "", "")
    name, port = (name, port) if name else (port, "")
    if shop().lan and name in ("localhost", "127.0.0.1", "[::1]"):
        name = lan_address() or name
    return f"{request.scheme}://{name}{f':{port}' if port else ''}{path}"
