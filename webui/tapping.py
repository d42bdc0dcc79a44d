"""What is tapped on the live page besides answers: a number for a cylinder, the baseline or a question, and undoing."""

from __future__ import annotations

from flask import Blueprint, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput
from journal.tapped import tap_answer, tap_baseline, tap_cut, undo
from webui.acting import acting, cylinder_of, field, real
from webui.live import not_too_soon, told, waiting

pages = Blueprint("tapping", __name__)


@pages.post("/job/<job_id>/number")
def number(job_id: str) -> ResponseReturnValue:
    """Take a number for what it was tapped for."""
    session = acting(job_id)
    about, value = field("about", 20), real("value")
    same = bool(field("no_change", 5))
    if value is None and not (same and about == "cylinder"):
        raise BadInput("no number was given: tap its figures first")
    if about == "question":
        assert value is not None
        asked = waiting(session.job, field("question", 80))
        not_too_soon(session.job)
        words = tap_answer(session, asked, value)
    elif about == "cylinder":
        cylinder = cylinder_of(session.job)
        if cylinder is None:
            raise BadInput("which cylinder was cut? Tap it first")
        words = tap_cut(session, cylinder, None if same else value)
    elif about == "baseline":
        assert value is not None
        words = tap_baseline(session, value)
    else:
        raise BadInput("what is the number of? Tap a cylinder, the baseline or a question first")
    return told(words, url_for("live.live", job_id=job_id))


@pages.post("/job/<job_id>/undo")
def take_back(job_id: str) -> ResponseReturnValue:
    """Take back the last act, which the page names."""
    session = acting(job_id)
    undo(session, field("entry", 80))
    return told("undone", url_for("live.live", job_id=job_id))
