"""The parts desk's view: one job, by a link, to be read and answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

from flask import Blueprint, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from journal.analysis.findings import Cause, Gate
from journal.errors import BadInput, NotFound
from journal.facts import JobClosed, PartAnswer, PartState, Source
from journal.output.wanted import causes_meant, finding_for
from journal.record.job import Job, Part
from webui.acting import acting, done, field
from webui.files import photo_of
from webui.grants import Link, LinkKind
from webui.links import state_from
from webui.log import refused
from webui.photos import shown
from webui.shop import State, shop

pages = Blueprint("desk", __name__)

STATES = (PartState.WANTED, PartState.PRICED, PartState.ORDERED, PartState.ARRIVED)
"""What the parts desk may say of a part."""

SETTLED = (PartState.FITTED, PartState.NOT_NEEDED)
"""What only the shop says, and the desk does not change any more."""


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
        abort(410)
    if kind is LinkKind.PHONE and closed_since(shop().state(link.job).job, link):
        refused("link of a closed job")
        abort(410)
    return link


def closed_since(job: Job, link: Link) -> bool:
    """Whether the job was closed after the link was made, and that was not taken back."""
    closings = (entry for entry in job.entries if isinstance(entry.body, JobClosed) and entry.id in job.effective)
    return job.closed is not None or any(entry.at_utc >= link.made_at for entry in closings)


@pages.get("/desk/<token>")
def view(token: str) -> ResponseReturnValue:
    """What is wanted, why, on what evidence, and the answers so far."""
    link = job_behind(token, LinkKind.DESK)
    state = shop().state(link.job)
    return render_template(
        "desk.html", token=token, link=link, job=state.job, states=STATES, settled=SETTLED,
        photos=[shown(picture) for picture in state.job.pictures],
        parts_wanted=[(part, reason_for(state, part)) for part in state.job.parts],
    )  # fmt: skip


@dataclass(frozen=True)
class Reason:
    """Why a part is wanted, as far as the evidence goes."""

    cause: Cause
    """The likeliest cause on the part's cylinder."""
    gate: Gate | None
    """Whether this very part may be ordered; none when nothing is to be said about that any more."""


def reason_for(state: State, part: Part) -> Reason | None:
    """What the evidence says of a wanted part; none without a cylinder or a finding.

    The gate is that of the causes which this part would mend, which need not be the likeliest: an injector is not
    ready to order because a bridge is.
    """
    found = finding_for(part.wanted.body, state.findings)
    if found is None:
        return None
    meant = causes_meant(part.wanted.body, state.findings)
    gates = [cause.gate for cause in meant if cause.gate is not None]
    best = next((gate for gate in gates if gate.ready or gate.overridden), gates[0] if gates else None)
    return Reason(found.causes[0], None if found.past else best)


@pages.post("/desk/<token>/<part_id>")
def answer(token: str, part_id: str) -> ResponseReturnValue:
    """The desk's answer on one part."""
    link = job_behind(token, LinkKind.DESK)
    if not shop().quotas.answer_comes(link.id):
        refused("too many answers by one link", again_and_again=True)
        abort(429)
    session = acting(link.job, Source.DESK)
    if session.job.closed is not None:
        raise BadInput("this job is closed: nothing is wanted any more; ask the shop")
    part = next((part for part in session.job.parts if part.wanted.entry.id == part_id), None)
    if part is None:
        raise NotFound("this job wants no such part: reload the page")
    if part.answers and part.answers[-1].body.state in SETTLED:
        raise BadInput(f"the shop says that this part is {part.answers[-1].body.state}: ask there")
    session.enter(
        PartAnswer(
            part_id, state_from(field("state", 20), STATES), field("number", 80), field("price", 40),
            field("availability", 120), _day(field("date", 10)), field("note", 400),
        )
    )  # fmt: skip
    done("sent; the shop sees it now")
    return redirect(url_for("desk.view", token=token), 303)


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise BadInput(f"date {text!r}: write it like 2026-03-01") from None


@pages.get("/desk/<token>/photo/<sha256:sha>/<any(thumb, page):size>")
def photo(token: str, sha: str, size: str) -> ResponseReturnValue:
    """A photo of the link's own job."""
    return photo_of(shop().state(job_behind(token, LinkKind.DESK).job).job, sha, size)
