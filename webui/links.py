"""A job's parts as the technician sees them, and the links given to the parts desk or to a phone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput, NotFound
from journal.facts import PartState, PartWanted
from webui.access import qr_code
from webui.acting import acting, cylinder_of, done, field, whole
from webui.grants import LinkKind
from webui.job import about
from webui.network import lan_address
from webui.photos import landing
from webui.shop import shop

pages = Blueprint("links", __name__)

DESK_DAYS = (1, 7, 30)
"""How long a link for the parts desk may last, days."""

PHONE_HOURS = 2
"""How long a phone may send photos by one QR code."""


@pages.get("/job/<job_id>/parts")
def parts(job_id: str) -> ResponseReturnValue:
    """What is wanted, what is known of it, and the links given out."""
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
        "parts.html", **about(state, "parts"), given=given, days=DESK_DAYS, states=list(PartState), lan=shop().lan
    )


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


@pages.post("/job/<job_id>/parts/<part_id>")
def say(job_id: str, part_id: str) -> ResponseReturnValue:
    """Say how far a part is."""
    session = acting(job_id)
    part = next((part for part in session.job.parts if part.wanted.entry.id == part_id), None)
    if part is None:
        raise NotFound("this job wants no such part: reload the page")
    session.enter(part.now(state_from(field("state", 20))))
    done(f"{part.wanted.body.description}: {field('state', 20)}")
    return redirect(url_for("links.parts", job_id=job_id), 303)


def state_from(text: str, states: Sequence[PartState] = tuple(PartState)) -> PartState:
    """A part's state by its name; `BadInput` for any other word than these."""
    if text not in states:
        raise BadInput(f"state: choose one of {', '.join(states)}")
    return PartState(text)


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
